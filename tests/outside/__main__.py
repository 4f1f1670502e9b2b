"""Print every check against something outside as a table: ``python -m tests.outside [pytest's options]``.

The tests of this folder are run, and the rows are those that they made. Ends with status 1 where one doesn't hold.
"""

from __future__ import annotations

import contextlib
import io
import shutil
import sys
from pathlib import Path

import pytest
from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table

from tests.outside import table

WIDTH = 200
"""Characters a line where it isn't a terminal that reads it."""


def printed(rows: list[table.Row], width: int) -> None:
    """Print the rows, by the module that they come from."""
    console = Console(width=width, highlight=False)
    whole = Table(box=SIMPLE_HEAD, pad_edge=False)
    for name in ("what", "ours", "theirs", "difference", "bound", "cases", "source", "flag"):
        whole.add_column(name, overflow="fold", no_wrap=name in ("difference", "bound", "cases", "flag"))
    module = ""
    for row in rows:
        here = row.test.split(".")[-2].removeprefix("test_").replace("_", " ")
        if here != module:
            whole.add_section()
        module = here
        gap = f"{row.difference:.2g}" + ("" if row.held else " NO")
        told = (f"{here}: {row.what}", row.ours, row.theirs, gap, f"{row.bound:.2g}", str(row.cases), row.source)
        whole.add_row(*told, row.flag)
    console.print(whole)
    console.print("Of several cases the worst is shown; difference and bound of a band count from its middle.")
    for flag, meaning in table.FLAGS.items():
        console.print(f"{flag}: {meaning} ({sum(row.flag == flag for row in rows)} rows)")
    console.print("Gait figures are for animation, not for clinical or ergonomic use.")


def main(words: list[str]) -> int:
    """Run the tests, print the table, return the status."""
    told = io.StringIO()
    with contextlib.redirect_stdout(told):
        status = pytest.main([str(Path(__file__).parent), "-q", "-p", "no:cacheprovider", *words])
    printed(list(table.rows.values()), shutil.get_terminal_size((WIDTH, 24)).columns)
    misses = [row for row in table.rows.values() if not row.held]
    lines = told.getvalue().strip().splitlines()
    print("\n".join(lines if status else lines[-1:]))
    return int(bool(status or misses))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
