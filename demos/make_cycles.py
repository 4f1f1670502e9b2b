"""Make `demos/data/trudge.json` and `demos/data/run.json`, two more walks of the lamplighter.

Shows how a cycle is blocked by hand: a few keys on each channel of the hips and the left foot, and the
same keys half a cycle later, sideways channels negated, for the right. The foot controls turn about the
ankle, so planted feet slide, cut the ground and hover, as such blocking does before it's planted. Run it
from the repository's top, as `python -m demos.make_cycles`. Both cycles are invented.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from surefoot.belt import Belt
from surefoot.clip import Clip
from surefoot.clip_file import save_clip
from surefoot.curves import Curve, Outside, Shape

FOLDER = Path(__file__).parent / "data"
SIDEWAYS = ("x", "yaw", "cant")

Key = tuple[int, float] | tuple[int, float, Shape]
Keys = list[Key]
LEVEL = Shape.LEVEL

TRUDGE_HIPS: dict[str, Keys] = {
    "x": [(1, -0.6), (9, 4.2, LEVEL), (17, 0.6), (25, -4.2, LEVEL), (33, -0.6)],
    "y": [
        (1, 83.6), (5, 81.4, LEVEL), (12, 85.2, LEVEL), (17, 83.6), (21, 81.4, LEVEL), (28, 85.2, LEVEL), (33, 83.6),
    ],
    "z": [(1, 0.5), (6, -2.0, LEVEL), (13, 1.5, LEVEL), (17, 0.5), (22, -2.0, LEVEL), (29, 1.5, LEVEL), (33, 0.5)],
    "pitch": [(1, 13.0), (6, 17.0, LEVEL), (13, 11.5, LEVEL), (17, 13.0), (22, 17.0, LEVEL), (29, 11.5, LEVEL),
              (33, 13.0)],
    "yaw": [(1, -4.0, LEVEL), (17, 4.0, LEVEL), (33, -4.0, LEVEL)],
    "roll": [(1, 0.0), (9, 4.0, LEVEL), (17, 0.0), (25, -4.0, LEVEL), (33, 0.0)],
}  # fmt: skip
TRUDGE_FOOT: dict[str, Keys] = {
    "x": [(1, 2.4, LEVEL), (17, 2.8, LEVEL), (27, 5.2, LEVEL), (33, 2.4, LEVEL)],
    "y": [(1, 0.9), (4, 0.0, LEVEL), (13, 0.0, LEVEL), (17, 1.2), (22, 7.4), (24, 10.8), (26, 11.6, LEVEL), (30, 4.8),
          (33, 0.9)],
    "z": [(1, 26.0), (4, 18.2), (11, 1.6), (17, -14.6), (22, -27.0), (24, -28.6, LEVEL), (29, 7.0), (32, 26.4, LEVEL),
          (33, 26.0)],
    "pitch": [(1, -11.0), (4, 0.0, LEVEL), (13, 0.0, LEVEL), (17, 9.0), (22, 34.0), (24, 38.0, LEVEL), (29, 4.0),
              (32, -11.0, LEVEL), (33, -11.0)],
    "yaw": [(1, 11.0, LEVEL), (17, 11.0, LEVEL), (26, 14.0, LEVEL), (33, 11.0, LEVEL)],
    "cant": [(1, 1.0, LEVEL), (4, 0.0, LEVEL), (17, 0.0, LEVEL), (27, 3.0, LEVEL), (33, 1.0, LEVEL)],
    "bend": [(1, 4.0, LEVEL), (4, 0.0, LEVEL), (13, 0.0, LEVEL), (17, 7.0), (22, 27.0, LEVEL), (28, 0.0, LEVEL),
             (33, 4.0, LEVEL)],
}  # fmt: skip
TRUDGE_REST: dict[str, Keys] = {
    "spine.pitch": [(1, 9.0), (7, 13.0, LEVEL), (14, 8.0, LEVEL), (17, 9.0), (23, 13.0, LEVEL), (30, 8.0, LEVEL),
                    (33, 9.0)],
    "chest.roll": [(1, 0.0), (9, -5.0, LEVEL), (17, 0.0), (25, 5.0, LEVEL), (33, 0.0)],
    "head.pitch": [(1, -10.0), (9, -14.0, LEVEL), (17, -10.0), (25, -14.0, LEVEL), (33, -10.0)],
}  # fmt: skip

RUN_HIPS: dict[str, Keys] = {
    "x": [(1, 0.4), (4, 1.2, LEVEL), (9, -0.4), (12, -1.2, LEVEL), (17, 0.4)],
    "y": [(1, 85.6), (3, 82.8, LEVEL), (7, 88.4, LEVEL), (9, 85.6), (11, 82.8, LEVEL), (15, 88.4, LEVEL), (17, 85.6)],
    "z": [(1, 0.0), (3, -1.2, LEVEL), (6, 0.8, LEVEL), (9, 0.0), (11, -1.2, LEVEL), (14, 0.8, LEVEL), (17, 0.0)],
    "pitch": [(1, 8.0), (4, 11.0, LEVEL), (9, 8.0), (12, 11.0, LEVEL), (17, 8.0)],
    "yaw": [(1, -7.0, LEVEL), (9, 7.0, LEVEL), (17, -7.0, LEVEL)],
    "roll": [(1, 0.0), (4, 3.0, LEVEL), (9, 0.0), (12, -3.0, LEVEL), (17, 0.0)],
}
RUN_FOOT: dict[str, Keys] = {
    "x": [(1, -4.0, LEVEL), (9, -3.2, LEVEL), (13, -2.6, LEVEL), (17, -4.0, LEVEL)],
    "y": [(1, 0.6), (3, 0.0, LEVEL), (6, 7.4), (9, 32.0, LEVEL), (13, 20.0), (17, 0.6)],
    "z": [(1, 24.0), (3, -0.6), (6, -33.0), (9, -48.0, LEVEL), (13, 16.0), (15, 36.0, LEVEL), (17, 24.0)],
    "pitch": [(1, 3.0), (2, 0.0, LEVEL), (3, 0.0, LEVEL), (6, 42.0), (9, 84.0, LEVEL), (13, 14.0), (17, 3.0)],
    "yaw": [(1, 4.0, LEVEL), (9, 6.0, LEVEL), (17, 4.0, LEVEL)],
    "cant": [(1, 0.0, LEVEL), (9, 3.0, LEVEL), (17, 0.0, LEVEL)],
    "bend": [(1, 3.0), (2, 0.0, LEVEL), (3, 0.0, LEVEL), (6, 30.0, LEVEL), (9, 6.0, LEVEL), (17, 3.0)],
}  # fmt: skip
RUN_REST: dict[str, Keys] = {
    "spine.pitch": [(1, 7.0), (4, 9.0, LEVEL), (9, 7.0), (12, 9.0, LEVEL), (17, 7.0)],
    "chest.yaw": [(1, 9.0, LEVEL), (9, -9.0, LEVEL), (17, 9.0, LEVEL)],
    "left_arm.swing": [(2, -38.0, LEVEL), (10, 34.0, LEVEL), (18, -38.0, LEVEL)],
    "right_arm.swing": [(2, 34.0, LEVEL), (10, -38.0, LEVEL), (18, 34.0, LEVEL)],
}


def curve(keys: Keys) -> Curve:
    """Return keys as a curve that repeats; a key without a shape has the slope of its neighbours."""
    shapes = [key[2] if len(key) == 3 else Shape.THROUGH for key in keys]
    none = np.zeros(len(keys))
    return Curve(
        np.array([key[0] for key in keys], dtype=float), np.array([key[1] for key in keys], dtype=float),
        np.array(shapes, dtype=np.int8), none, none, None, Outside.REPEAT, Outside.REPEAT,
    )  # fmt: skip


def later(keys: Keys, frames: int, sign: float) -> Keys:
    """Return a cycle's keys half a cycle later, times a sign; one of them must lie on the half's first frame."""
    half = frames // 2
    moved: list[Key] = []
    for frame, value, *shape in keys[:-1]:
        moved.append(((frame - 1 + half) % frames + 1, sign * value, *shape))  # type: ignore[arg-type]
    moved.sort(key=lambda key: key[0])
    if moved[0][0] != 1:
        raise ValueError(f"no key lies on frame {half + 1}: {keys}")
    return [*moved, (frames + 1, *moved[0][1:])]  # type: ignore[list-item]


def cycle(
    frames: int,
    speed: float,
    hips: dict[str, Keys],
    foot: dict[str, Keys],
    rest: dict[str, Keys],
    name: str,
    about: str,
) -> Clip:
    """Return a cycle in place at 24 frames a second, on a belt of ``speed`` metres per second."""
    channels = {f"hips.{key}": curve(keys) for key, keys in hips.items()}
    channels |= {f"left_foot.{key}": curve(keys) for key, keys in foot.items()}
    for key, keys in foot.items():
        channels[f"right_foot.{key}"] = curve(later(keys, frames, -1.0 if key in SIDEWAYS else 1.0))
    channels |= {key: curve(keys) for key, keys in rest.items()}
    return Clip(
        channels, 24, 1, frames, loop=True, belt=Belt([0.0, 0.0, -speed]), name=name, rig="lamplighter",
        unit="cm", angle="deg", extra={"about": about},
    )  # fmt: skip


def make() -> dict[str, Clip]:
    """Return both cycles by the name of their file."""
    trudge = cycle(
        32, 0.6, TRUDGE_HIPS, TRUDGE_FOOT, TRUDGE_REST, "lamplighter trudges",
        "The lamplighter carries his ladder up the hill and home, blocked in place: invented for Surefoot.",
    )  # fmt: skip
    run = cycle(
        16, 3.0, RUN_HIPS, RUN_FOOT, RUN_REST, "lamplighter runs",
        "The rain has put a lamp out, and the lamplighter runs to it, blocked in place: invented for Surefoot.",
    )  # fmt: skip
    return {"trudge": trudge, "run": run}


def main() -> None:
    """Write both files."""
    for name, clip in make().items():
        save_clip(clip, FOLDER / f"{name}.json")


if __name__ == "__main__":
    main()
