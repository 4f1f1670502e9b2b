"""The rest of the day: hips re-mixed, a side copied, the loop on the road and back, at another speed.

Every hip edit breaks the feet, so each step plants again; what isn't edited stays the very same keys. Run it from
anywhere: `python demos/05_the_rest_of_the_day.py`.
"""

from __future__ import annotations

import surefoot
from surefoot import Edit


def main() -> None:
    """Print what each edit leaves to mend, and the gait before and after."""
    clip, rig = surefoot.demo("lamplighter")
    walk = surefoot.plant(clip, rig, keys="few").clip

    edits = [Edit("scale", "hips", 0.7), Edit("shift", "chest", 1.0)]
    calmer = surefoot.replant(walk, surefoot.remix(walk, rig, edits), rig).clip
    print("hips at 0.7, chest a frame later:", surefoot.check(calmer, rig).worst)

    both = surefoot.twin(calmer, rig, source="left", centre=True)
    even = surefoot.replant(calmer, both.clip, rig, feet=("right",)).clip
    print(f"right side from the left: {len(both.changed)} channels,", surefoot.check(even, rig).worst)

    road = surefoot.travelling(even, rig)
    on_the_road = surefoot.check(road, surefoot.rooted(rig, road))
    back = surefoot.in_place(road, rig)
    same = all(back.channels[name] is curve for name, curve in even.channels.items())
    print(f"on the road: {on_the_road.worst}; back in place, the same channels: {same}")

    slow = surefoot.plant(surefoot.at_speed(even, rig, 1.1, by="stride"), rig, keys="few").clip
    for told, one in (("before", even), ("slower", slow)):
        gait = surefoot.gait_of(one, rig)
        print(f"{told}: {gait.speed:.2f} m/s, stride {gait.stride:.2f} m, Froude number {gait.froude:.2f}")
    for step in surefoot.step_frames(slow, rig):
        print(f"{step.foot}: contact {step.contact}, down {step.down}, passing {step.passing}, up {step.up}")


if __name__ == "__main__":
    main()
