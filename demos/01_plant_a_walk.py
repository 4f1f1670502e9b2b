"""Plant a walk: what was wrong with the lamplighter's feet, and what is left after planting.

Shows the whole job in the library: check, plant, check again, the layer between. Run it
from anywhere: `python demos/01_plant_a_walk.py`.
"""

from __future__ import annotations

import surefoot


def main() -> None:
    """Print the findings by kind before and after."""
    clip, rig = surefoot.demo("lamplighter")
    done = surefoot.plant(clip, rig)
    reports = {"before": surefoot.check(clip, rig), "after": surefoot.check(done.clip, rig)}
    for when, report in reports.items():
        for kind in ("slide", "sink", "hover", "stretch"):
            worst = report.most(kind)
            print(f"{when:7} {kind:8}", f"{worst.shown:.1f} {worst.unit} ({worst.level})" if worst else "-")
    layer = surefoot.layer_between(clip, done.clip)
    print("changed:", ", ".join(sorted(layer.channels)))


if __name__ == "__main__":
    main()
