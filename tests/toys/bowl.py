"""A toy ground: a round bowl, ``kind = "bowl"``, that rises with the square of the distance from its middle."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from surefoot.ground_coordinates import common_shape
from surefoot.ground_surface import Placed
from surefoot.grounds.kind import GroundKind, GroundTable, Three, Told

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Bowl(Placed):
    """A bowl: its lowest point is its origin, and a metre away from it stands ``rise`` metres higher."""

    rise: float
    origin: Array = field(default_factory=lambda: np.zeros(3))
    heading: float = 0.0
    name: str = "bowl"

    @property
    def is_level(self) -> bool:
        return False

    def height(self, x: ArrayLike, z: ArrayLike) -> Array:
        common_shape(x, z)
        off = np.subtract(x, self.origin[0]) ** 2 + np.subtract(z, self.origin[2]) ** 2
        return np.asarray(self.origin[1] + self.rise * off)

    def normal(self, x: ArrayLike, z: ArrayLike) -> tuple[Array, Array, Array]:
        common_shape(x, z)
        x_slope, z_slope = np.broadcast_arrays(
            2.0 * self.rise * np.subtract(x, self.origin[0]), 2.0 * self.rise * np.subtract(z, self.origin[2])
        )
        up = 1.0 / np.sqrt(1.0 + x_slope**2 + z_slope**2)
        return -x_slope * up, up, -z_slope * up

    def depth(self, x: ArrayLike, y: ArrayLike, z: ArrayLike) -> Array:
        common_shape(x, y, z)
        return np.asarray((self.height(x, z) - y) * self.normal(x, z)[1])  # so shallow a bowl is its tangent plane


class _Bowl(GroundTable, forbid_unknown_fields=True, kw_only=True):
    rise: float
    origin: Three = (0.0, 0.0, 0.0)


def _bowl(told: Told[_Bowl]) -> Bowl:
    table, metres = told.table, told.metres
    return Bowl(table.rise / metres, np.array(table.origin) * metres, name=table.name or "bowl")


KIND = GroundKind("bowl", _Bowl, _bowl)
