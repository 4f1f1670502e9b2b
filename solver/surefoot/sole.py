"""The sole: which of its points touch, and where the ankle is when they're planted.

Everything here is in *footprint space*: origin on the ground under the ankle of
the flat foot, +Y the ground's normal, +Z the footprint's heading. Angles are
the foot's own relative to that space: pitch (positive heel up), cant (positive
left side up), swivel (yaw away from the footprint's heading) and toe bend.

Arrays run ``(feet, ...)``, feet left and right.

Notes
-----
With ``q`` the point of the foot that touches and ``a`` its anchor in the footprint,
the planted ankle lies at ``a - R q`` across the ground, ``R = Ry(swivel) Rx(pitch) Rz(cant)``,
and as high as the lowest corner of the whole sole needs. The rockers, after
Perry and Burnfield (2010; the fourth from memory), differ only in ``q``:
heel edge for pitch below zero; the toe segment's line under the ball hinge up
to the onset, with the toes flat; then the toe edge, with the bend held.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any, NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from surefoot.rig import Foot, Rig
from surefoot.rotations import matrix

__all__ = ["FLAT", "LEVEL", "Soles", "Turns"]

Array = NDArray[np.float64]

FLAT = float(np.radians(1.0))
"""Pitch up to which a foot counts as flat on the ground, radians."""
LEVEL = 1e-9
"""Pitch within which a foot is flat whatever its sign, radians: rounding must not choose its rocker."""
EDGE_BLEND = float(np.radians(0.5))
"""Cant over which the touching point runs from one end of an edge to the other, radians.

Small enough that no corner sinks by more than 0.1 mm on the way; the height
itself always comes from the lowest corner.
"""


class Turns(NamedTuple):
    """A foot's angles in footprint space, radians, each ``(feet, ...)``."""

    pitch: Array
    cant: Array
    swivel: Array
    bend: Array


def _stack(values: list[float]) -> Array:
    return np.array(values, dtype=np.float64)[:, None]


@dataclass(frozen=True, slots=True, eq=False)
class Soles:
    """Both feet's sole geometry, as columns ``(2, 1)`` that broadcast over frames (metres)."""

    sole: Array
    ball: Array  # (3, 2, 1)
    heel_z: Array
    toe_z: Array
    heel_edge: Array  # (2, 2, 1): middle and half width of the edge
    ball_edge: Array
    toe_edge: Array
    hind: Array  # (3, corners, 2, 1) in foot space
    toes: Array  # (3, corners, 2, 1) relative to the ball hinge
    hinged: NDArray[np.bool_]
    onset: Array
    heel_line: Array  # (3, 1, 2, 1): the heel's middle in foot space
    toe_line: Array  # (3, 2, 2, 1): under the hinge and at the toe edge, relative to the ball hinge
    hind_rows: Array  # (2, corners, 3): the same corners, for products
    toe_rows: Array
    ball_row: Array  # (2, 1, 3)

    @staticmethod
    @lru_cache(maxsize=32)
    def of(rig: Rig) -> Soles:
        """Return the geometry of a rig's two feet; the same rig gives the same object."""
        feet = [leg.foot for leg in rig.legs]

        def edge(z_of: str) -> Array:
            spans = []
            for foot in feet:
                z = {"heel": foot.outline[:, 1].min(), "ball": foot.ball[2], "toe": foot.outline[:, 1].max()}[z_of]
                spans.append(foot.edge(float(z)))
            low, high = np.array(spans).T
            return np.array([(low + high) / 2, (high - low) / 2])[:, :, None]

        hind = _padded([foot.hind_corners for foot in feet])
        toes = _padded([foot.toe_corners - foot.ball for foot in feet])
        return Soles(
            sole=_stack([foot.sole for foot in feet]),
            ball=np.array([foot.ball for foot in feet]).T[:, :, None],
            heel_z=_stack([float(foot.outline[:, 1].min()) for foot in feet]),
            toe_z=_stack([float(foot.outline[:, 1].max()) for foot in feet]),
            heel_edge=edge("heel"),
            ball_edge=edge("ball"),
            toe_edge=edge("toe"),
            hind=hind,
            toes=toes,
            heel_line=_padded([_heel_line(foot) for foot in feet]),
            toe_line=_padded([_toe_line(foot) for foot in feet]),
            hind_rows=np.ascontiguousarray(hind[..., 0].transpose(2, 1, 0)),
            toe_rows=np.ascontiguousarray(toes[..., 0].transpose(2, 1, 0)),
            ball_row=np.array([foot.ball for foot in feet])[:, None, :],
            hinged=np.array([[foot.hinged] for foot in feet]),
            onset=_stack([foot.onset if foot.hinged else 0.0 for foot in feet]),
        )

    def gathered(self, foot: NDArray[np.intp]) -> Self:
        """Return the geometry for a flat list of samples, each of foot 0 or 1: columns become ``(1, samples)``."""
        columns = {
            name: getattr(self, name)[..., foot, 0][..., None, :]
            for name in self.__dataclass_fields__
            if name not in ("hind_rows", "toe_rows", "ball_row")
        }
        rows = {name: getattr(self, name)[foot][None] for name in ("hind_rows", "toe_rows", "ball_row")}
        return type(self)(**columns, **rows)

    def planted_bend(self, pitch: Array, cant: Array, authored: Array) -> Array:
        """Return the toe bend of a planted foot: toes flat from pitch 0 to the onset, then held.

        A flat foot's toes are straight, up to one degree of negative pitch; below that the
        authored bend stays, but not with the toes under the ground. So it does on a foot without a hinge.
        """
        extra = pitch.ndim - 2
        held = np.minimum(pitch, _fit(self.onset, extra))
        flat = held if not cant.any() else np.arctan(np.tan(held) / np.cos(cant))
        near_flat = np.where(pitch > -FLAT, 0.0, np.maximum(authored, flat))
        return np.where(_fit(self.hinged, extra), np.where(pitch >= 0.0, flat, near_flat), authored)

    def lowest(self, pitch: Array, cant: Array, bend: Array) -> Array:
        """Return the height of the sole's lowest corner relative to the ankle, metres, ``(feet, ...)``."""
        return self._lowest(np.sin(pitch), np.cos(pitch), _pair(cant), np.sin(bend), np.cos(bend))

    def _lowest(self, sp: Array, cp: Array, canted: tuple[Array, Array] | None, sb: Array, cb: Array) -> Array:
        # heights are linear in the corners' coordinates: one small product for the hindfoot, one for the toes
        lead = self.hind_rows.shape[:-2]
        across = 0.0 if canted is None else (canted[0] * cp).reshape(*lead, -1)
        up = (cp if canted is None else canted[1] * cp).reshape(*lead, -1)
        down, sine, cosine = (value.reshape(*lead, -1) for value in (sp, sb, cb))
        basis = np.empty((*lead, 3, up.shape[-1]))
        basis[..., 0, :], basis[..., 1, :], basis[..., 2, :] = across, up, -down
        low = (self.hind_rows @ basis).min(axis=-2)
        hinge = (self.ball_row @ basis)[..., 0, :]
        basis[..., 1, :] = cosine * up + sine * down
        basis[..., 2, :] = sine * up - cosine * down
        toe_low = (self.toe_rows @ basis).min(axis=-2) + hinge
        return np.asarray(np.minimum(low, toe_low).reshape(sp.shape))

    def corners(self, angles: Array, bend: Array) -> Array:
        """Return the sole's corners relative to the ankle, ``(3, corners, feet, ...)`` metres.

        ``angles`` are pitch, yaw and cant ``(3, feet, ...)`` in the space of the answer.
        """
        return self._placed(angles, bend, corners=True, lines=False)

    def centre_line(self, angles: Array, bend: Array) -> Array:
        """Return heel, ball and toe on the sole's centre line relative to the ankle, ``(3, 3, feet, ...)`` metres.

        The first axis is x, y, z; the second heel, ball, toe. The ball is the toe
        segment's point under the hinge.
        """
        return self._placed(angles, bend, corners=False, lines=True)

    def points(self, angles: Array, bend: Array) -> Array:
        """Return `corners` and then `centre_line`, ``(3, corners + 3, feet, ...)`` metres."""
        return self._placed(angles, bend, corners=True, lines=True)

    def _placed(self, angles: Array, bend: Array, *, corners: bool, lines: bool) -> Array:
        extra = bend.ndim - 2
        ball = _fit(self.ball, extra)
        parts = [(self.hind, False), (self.toes, True)] if corners else []
        parts += [(self.heel_line, False), (self.toe_line, True)] if lines else []
        turn = matrix(*angles)
        sb, cb = np.sin(bend), np.cos(bend)
        out = np.empty((3, sum(part.shape[1] for part, _ in parts), *bend.shape))
        row = 0
        for part, bends in parts:  # fixed to the hindfoot, or about the ball hinge
            x, y, z = _fit(part, extra)
            if bends:
                x, y, z = x + ball[0], y * cb + z * sb + ball[1], z * cb - y * sb + ball[2]
            for i in range(3):
                out[i, row : row + part.shape[1]] = turn[i, 0] * x + turn[i, 1] * y + turn[i, 2] * z
            row += part.shape[1]
        return out

    def planted(self, turns: Turns) -> Array:
        """Return the planted ankle in footprint space, ``(3, feet, ...)`` metres.

        Parameters
        ----------
        turns : Turns
            The foot's angles; the bend is taken as it stands (see `planted_bend`).
        """
        pitch, cant, swivel, bend = turns
        extra = pitch.ndim - 2
        heel, toe = pitch < -LEVEL, pitch > _fit(self.onset, extra) + LEVEL
        ball, sole, heel_z = _fit(self.ball, extra), _fit(self.sole, extra), _fit(self.heel_z, extra)
        sp, cp, sb, cb = np.sin(pitch), np.cos(pitch), np.sin(bend), np.cos(bend)
        canted = _pair(cant)
        x = self._touching_x(cant if canted else None, heel, toe)
        drop = ball[1] - sole
        reach = np.where(toe, _fit(self.toe_z, extra) - ball[2], 0.0)
        y = np.where(heel, sole, ball[1] - drop * cb + reach * sb)
        z = np.where(heel, heel_z, ball[2] + drop * sb + reach * cb)
        anchor_z = np.where(heel, heel_z, ball[2] + reach)
        across = x
        if canted is not None:
            across, y = x * canted[1] - y * canted[0], x * canted[0] + y * canted[1]
        along = y * sp + z * cp
        if swivel.any():
            ss, cs = np.sin(swivel), np.cos(swivel)
            across, along = across * cs + along * ss, along * cs - across * ss
        out = np.empty((3, *along.shape))
        out[0] = x - across
        out[1] = -self._lowest(sp, cp, canted, sb, cb)
        out[2] = anchor_z - along
        return out

    def _touching_x(self, cant: Array | None, heel: NDArray[np.bool_], toe: NDArray[np.bool_]) -> Array:
        """Return the foot-space x of the touching point on its edge: the low end, blended near zero cant."""
        extra = heel.ndim - 2
        h, b, t = (_fit(edge, extra) for edge in (self.heel_edge, self.ball_edge, self.toe_edge))
        mid = np.where(heel, h[0], np.where(toe, t[0], b[0]))
        if cant is None:
            return np.asarray(mid)
        half = np.where(heel, h[1], np.where(toe, t[1], b[1]))
        return np.asarray(mid - half * np.minimum(np.maximum(cant / EDGE_BLEND, -1.0), 1.0))


def _pair(cant: Array) -> tuple[Array, Array] | None:
    """Return the cant's sine and cosine, or None where no foot cants at all."""
    return (np.sin(cant), np.cos(cant)) if cant.any() else None


def _fit(column: NDArray[Any], extra: int) -> NDArray[Any]:
    """Give a column ``(..., 2, 1)`` as many trailing axes as the angles have."""
    return column.reshape(*column.shape, *([1] * extra)) if extra > 0 else column


def _heel_line(foot: Foot) -> Array:
    """Return the middle of the heel's edge in foot space, ``(1, 3)``."""
    back = float(foot.outline[:, 1].min())
    return np.array([[sum(foot.edge(back)) / 2.0, foot.sole, back]])


def _toe_line(foot: Foot) -> Array:
    """Return the toe segment's points under the hinge and at the toe edge, relative to the ball hinge."""
    tip = float(foot.outline[:, 1].max())
    middles = [sum(foot.edge(z)) / 2.0 for z in (float(foot.ball[2]), tip)]
    return np.array([[x, foot.sole, z] for x, z in zip(middles, (foot.ball[2], tip), strict=True)]) - foot.ball


def _padded(corners: list[Array]) -> Array:
    """Return corners of two feet as ``(3, most, 2, 1)``; the shorter list repeats its last corner."""
    most = max(len(c) for c in corners)
    full = [np.concatenate([c, np.repeat(c[-1:], most - len(c), axis=0)]) for c in corners]
    return np.array(full).transpose(2, 1, 0)[:, :, :, None]
