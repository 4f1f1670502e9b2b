"""Level ground in a file: ``height = 0``."""

from __future__ import annotations

from surefoot.ground import Flat
from surefoot.grounds.kind import GroundKind, GroundTable, Told

__all__ = ["KIND"]


class _Flat(GroundTable, forbid_unknown_fields=True):
    height: float = 0.0


def _flat(told: Told[_Flat]) -> Flat:
    return Flat(told.table.height * told.metres, told.table.name or "flat")


KIND = GroundKind("flat", _Flat, _flat)
