"""What each command does: read, call the library, show, write.

A command is a module of this package of the same name, with ``DESCRIPTION``, ``EXAMPLE``, ``add_options`` (which
gets its parser) and ``run`` (which gets the parsed options and returns the exit status), and one line in `COMMANDS`.
A module is imported only when its command is asked for, and what takes time to import, numpy and the solver with it,
only inside ``run``, so that ``--help`` answers at once.
"""

from __future__ import annotations

__all__ = ["COMMANDS"]

COMMANDS = {
    "block": "make a first layered cycle from a short recipe",
    "check": "say what is wrong with the feet, in which frames and by how much",
    "plant": "mend the feet of a clip and write it to a new file",
    "convert": "write a clip's feet in another style: about the ankle, by rockers, by joints",
    "draw": "draw a clip: pose strip, track plan, gait diagram, curves",
    "report": "write one HTML file with pictures, findings, proposals and a figure to scrub",
}
"""Every command and what it is for, in the order in which ``surefoot --help`` lists them."""
