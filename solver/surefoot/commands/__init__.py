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
    "remix": "scale, add to and shift channels, mix clips, close the loop; then plant again",
    "twin": "give the other side one side's channels half a cycle later",
    "travel": "measure a walk; make it travel or bring it in place; bring it to a speed",
    "draw": "draw a clip: pose strip, track plan, gait diagram, curves",
    "report": "write one HTML file with pictures, findings, proposals and a figure to scrub",
    "page": "open a clip in a browser on this machine: mix, watch the feet, accept or reject, save",
    "rpc": "answer JSON-RPC 2.0 calls on standard input and output, for hosts with an older Python",
    "batch": "check or plant a whole folder of clips",
    "convert": "write a clip in another format, by suffix, or its feet in another style",
    "map": "propose which joint, node or marker of a file is which",
    "rig": "show a rig in words, derive its legs, or measure one from a capture",
    "demo": "run the first hour: block, edit, plant, travel, climb stairs, hand over",
    "formats": "list the formats that are read and written",
}
"""Every command and what it is for, in the order in which ``surefoot --help`` lists them."""
