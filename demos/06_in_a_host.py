"""In a host program: plant through the host protocol, in one undo step, on a layer of its own.

The host here is one in memory; for a real one write a class with the same dozen methods
(`surefoot.host.Host`). First a constraint drives a toe, which is refused by name, then it's freed.
Run it from anywhere: `python demos/06_in_a_host.py`.
"""

from __future__ import annotations

import surefoot
import surefoot.host


def main() -> None:
    """Print what the host's feet are like before, after planting, and after undoing it."""
    clip, rig = surefoot.demo("lamplighter")
    belt = surefoot.Belt([0, 0, -1.35])
    driven = surefoot.host.MemoryHost(clip, statuses={"left_foot.bend": surefoot.host.Status.DRIVEN})
    try:
        surefoot.host.plant(driven, rig, belt=belt)
    except surefoot.host.Refused as refusal:
        print("refused:", refusal, "| steps:", driven.steps)
    host = surefoot.host.MemoryHost(clip)
    print("before:", surefoot.host.check(host, rig, belt=belt).worst)
    done = surefoot.host.plant(host, rig, belt=belt, progress=lambda done, what: print(f"{done:4.0%} {what}"))
    print("written:", len(done.written), "channels on the layer", repr(done.layer), "| steps:", host.steps)
    print("after:", surefoot.host.check(host, rig, belt=belt, stances=done.planted.stances).worst)
    host.undo_step()
    print("undone:", surefoot.host.check(host, rig, belt=belt).worst, "| layers:", host.layers())


if __name__ == "__main__":
    main()
