"""After a hip edit: the footprints stay where they were in the clip before it.

The lamplighter is in better spirits now: the hips ride 6 mm higher, sway further and turn more.
Stances and footprints come from the planted clip before the edit, so that the feet stand
where they stood, and only the legs and heels answer to the new hips. Run it from anywhere:
`python demos/02_after_a_hip_edit.py`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

import surefoot


def main() -> None:
    """Print how far each footprint and each ankle moved."""
    clip, rig = surefoot.demo("lamplighter")
    before = surefoot.plant(clip, rig)
    hips = {
        "hips.y": replace(clip.channels["hips.y"], values=clip.channels["hips.y"].values + 0.6),
        "hips.x": replace(clip.channels["hips.x"], values=clip.channels["hips.x"].values * 1.6),
        "hips.yaw": replace(clip.channels["hips.yaw"], values=clip.channels["hips.yaw"].values * 1.5),
    }
    edited = before.clip.with_channels(hips)
    after = surefoot.plant(edited, rig, before=before.clip)
    for one, two in zip(before.footprints, after.footprints, strict=True):
        gap = 1e3 * float(np.linalg.norm(np.subtract(one.place, two.place)))
        print(f"{one.stance.foot} footprint moved {gap:.3f} mm")
    print(f"ankles moved {1e3 * float(np.abs(after.ankle_change).max()):.1f} mm at most")
    print("left over:", surefoot.check(after.clip, rig).worst)


if __name__ == "__main__":
    main()
