"""``surefoot formats``: what can be read and written."""

from __future__ import annotations

import argparse

__all__ = ["DESCRIPTION", "EXAMPLE", "add_options", "run"]

DESCRIPTION = "List the formats that are read and written, what they hold and how exactly."
EXAMPLE = "surefoot formats --json"
FIELDS = ("name", "suffixes", "holds", "read", "written", "precision", "needs")


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options to its parser."""
    parser.add_argument("--json", action="store_true", help="print JSON, not a table")


def run(options: argparse.Namespace) -> int:
    """Print the table of formats."""
    from surefoot.commands.as_json import print_json
    from surefoot.formats.opening import known_formats
    from surefoot.printed import fitted

    if options.json:
        print_json({"formats": [{field: getattr(one, field) for field in FIELDS} for one in known_formats()]})
        return 0
    rows = [("format", "suffixes", "read", "written", "holds", "precision", "extra")]
    for one in known_formats():
        words = ("yes" if one.read else "no", "yes" if one.written else "no")
        rows.append((one.name, " ".join(one.suffixes), *words, one.holds, one.precision, one.needs or "-"))
    print("\n".join(fitted(rows[0], rows[1:], [False] * len(rows[0]))))
    print("what a format can't carry (loop, belt, stances, keys) is in the mapping beside it: FILE.map.toml")
    return 0
