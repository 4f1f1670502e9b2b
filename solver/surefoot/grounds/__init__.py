"""Kinds of ground as ground files tell them: a module a kind, and one line in `KINDS`.

Such a module holds a `kind.GroundKind` as ``KIND``: the fields of its table, and how a ground is made of it. The
ground's class may stand there too, or further up where others need it.
"""

from __future__ import annotations

__all__ = ["KINDS"]

KINDS = [
    "flat",
    "plane",
    "profile",
    "grid",
    "mesh",
]
"""The modules of the kinds, in the order in which messages list them."""
