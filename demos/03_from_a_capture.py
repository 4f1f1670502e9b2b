"""From a capture: points become a rig and a clip, the belt is estimated, the feet are planted.

The walk is a real one, on a treadmill (see `tests/data/PROVENANCE.md`); for animation, not for
clinical or ergonomic use. Run it from anywhere: `python demos/03_from_a_capture.py`.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

import surefoot

TOP = str(Path(__file__).parents[1])


def main() -> None:
    """Print the fitted leg, the belt, the stances and what planting did."""
    if TOP not in sys.path:
        sys.path.append(TOP)  # the walk's numbers stand beside the tests
    from tests.data.treadmill import treadmill

    walk = treadmill()
    points = walk.points.copy()
    points[:, :, 2] = (walk.ankle_inner + walk.ankle_outer) / 2.0
    capture = surefoot.Capture(points, walk.rate, walk.hips, walk.hips_rotation, walk.ball_inner, walk.ball_outer)
    capture = capture.with_rigid_ankles()
    rig = surefoot.fit_rig(capture, name="treadmill walker")
    clip = surefoot.capture_clip(capture, rig)
    done = surefoot.plant(clip, rig)
    print(f"leg {rig.leg:.3f} m, belt {done.belt.speed:.3f} m/s, {len(done.stances)} stances")
    before, after = (surefoot.check(c, rig, belt=done.belt, stances=done.stances) for c in (clip, done.clip))
    for kind in ("slide", "sink"):
        one, two = before.most(kind), after.most(kind)
        print(f"{kind}: {one.shown if one else 0.0:.1f} mm before, {two.shown if two else 0.0:.1f} mm after")
    print(f"ankles moved {1e3 * float(np.sqrt((done.ankle_change**2).sum(-1).mean())):.1f} mm rms")


if __name__ == "__main__":
    main()
