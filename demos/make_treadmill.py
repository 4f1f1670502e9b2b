"""Make `rigs/treadmill.toml` and `demos/data/treadmill.json` from the captured treadmill walk.

Shows how a capture becomes a rig and a clip. Run it from the repository's top, as
`python -m demos.make_treadmill`. Where the capture comes from is in `tests/data/PROVENANCE.md`.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
from tests.data.treadmill import treadmill

from surefoot.belt import Belt
from surefoot.capture import BALL_BREADTH, Capture, calibrate, capture_clip, fit_rig
from surefoot.clip import Clip
from surefoot.clip_file import save_clip
from surefoot.rig import Leg, Rig
from surefoot.rig_file import parse_rig

TOP = Path(__file__).parents[1]
RIG_FILE = TOP / "rigs" / "treadmill.toml"
CLIP_FILE = TOP / "demos" / "data" / "treadmill.json"

SPEED = 1.10
"""The belt, metres per second: what the feet did in mid-stance was 1.100 left and 1.095 right."""
FIRST, LAST = 392, 737
"""Frames of the capture, from 1: three strides, from 0.14 s before a left strike to 0.06 s before another."""
EVERY = 2
SOURCE = "fitted to one person's captured treadmill walk: gaitalytics 0.2.2 (MIT), treadmill_events.c3d"


def capture() -> Capture:
    """Return the whole walk, its ankles at the middle of the malleoli and rigid with the feet.

    No marker was on the first metatarsal: the inner side of the ball is moved on, along the line through the
    fifth and the second, until the ball is as broad as ANSUR II has it for the foot's length.
    """
    walk = treadmill()
    points = walk.points.copy()
    points[:, :, 2] = (walk.ankle_inner + walk.ankle_outer) / 2.0
    length = np.median(np.linalg.norm(points[:, :, 5] - points[:, :, 3], axis=-1), axis=0)  # (2,)
    across = walk.ball_inner - walk.ball_outer
    across = across / np.linalg.norm(across, axis=-1, keepdims=True)
    inner = walk.ball_outer + across * (BALL_BREADTH * length)[:, None]
    whole = Capture(points, walk.rate, walk.hips, walk.hips_rotation, inner, walk.ball_outer)
    return whole.with_rigid_ankles()


def rig_text(rig: Rig) -> str:
    """Return the rig as TOML, to a tenth of a millimetre."""
    head = [
        "# One person's legs, from a motion capture: for animation, not for clinical or ergonomic use.",
        "# The toe tip wasn't captured, it lies on the line from heel through ball.",
        "# Made by demos/make_treadmill.py.",
        'surefoot = "rig/1"',
        f'name = "{rig.name}"',
        'unit = "m"',
        'angle = "deg"',
        'style = "ankle"',
        f'source = "{rig.source}"',
    ]
    tables = [_leg_text(name, leg) for name, leg in zip(("leg", "right_leg"), rig.legs, strict=True)]
    return "\n".join(head) + "\n\n" + "\n".join(tables)


def _leg_text(name: str, leg: Leg) -> str:
    def row(values: np.ndarray) -> str:
        return "[" + ", ".join(f"{value:.4f}" for value in values + 0.0) + "]"

    foot = leg.foot
    corners = "\n".join(f"  {row(corner)}," for corner in foot.outline)
    return (
        f"[{name}]\nhip = {row(leg.hip)}\nthigh = {leg.thigh:.4f}\nshank = {leg.shank:.4f}\n\n"
        f"[{name}.foot]\nheel = {row(foot.heel)}\nball = {row(foot.ball)}\ntoe = {row(foot.toe)}\n"
        f"onset = {np.degrees(foot.onset):.1f}\n"
        f"outline = [\n{corners}\n]\n"
    )


def rounded(clip: Clip) -> Clip:
    """Return the clip with its values to four decimals: 0.1 mm and 0.0001 degrees."""
    return clip.with_channels(
        {name: replace(curve, values=np.round(curve.values, 4) + 0.0) for name, curve in clip.channels.items()}
    )


def make() -> tuple[str, Clip]:
    """Return the rig's text and the clip made for the rig as written."""
    whole = capture()
    flat = calibrate(whole)
    text = rig_text(fit_rig(whole, name="treadmill", calibration=flat, source=SOURCE))
    cut = whole.part(FIRST, LAST, every=EVERY)
    clip = capture_clip(
        cut,
        parse_rig(text),
        belt=Belt([0.0, 0.0, -SPEED]),
        name="treadmill walk",
        calibration=flat,
    )
    about = "A captured walk in place on a treadmill, 50 frames a second: gaitalytics 0.2.2 (MIT)."
    return text, replace(rounded(clip), extra={"about": about})


def main() -> None:
    """Write both files."""
    text, clip = make()
    RIG_FILE.write_text(text, encoding="utf-8")
    save_clip(clip, CLIP_FILE)


if __name__ == "__main__":
    main()
