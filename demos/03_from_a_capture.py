"""From a capture: points become a rig and a clip, the belt is estimated, the feet are planted.

The walk is a real one, on a treadmill (see `tests/data/PROVENANCE.md`); for animation, not for
clinical or ergonomic use. Run it from the repository's top: `python -m demos.03_from_a_capture`.
"""

from __future__ import annotations

import numpy as np
from tests.data.treadmill import treadmill

import surefoot


def main() -> None:
    """Print the fitted leg, the belt, the stances and what planting did."""
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
