"""Make `demos/data/ferry.json`, the lamplighter crossing a ferry's deck in the evening swell.

Shows what an animator has who hung the whole figure on the boat and then wrote hips and feet down in the world,
with a key on every other frame: the boat steams on, heaves, rolls and turns under him, and between those keys, and
wherever the walk was never planted, the soles creep on the deck. The boat's own motion is `data/ferry_deck.toml`.
Run it from the repository's top, as `python -m demos.make_ferry`. Walk and boat are invented.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from surefoot import Clip, Curve, Flat, Rig, demo, lay, load_deck
from surefoot.clip_file import save_clip
from surefoot.rotations import angles_of
from surefoot.rotations import matrix as turn_of

FOLDER = Path(__file__).parent / "data"
EVERY = 2


def ferry() -> Clip:
    """Return two strides on the ferry, in the world."""
    cycle, rig = demo("lamplighter")
    walk = lay(cycle, rig, ground=Flat(0.0), loops=2).clip
    deck = load_deck(FOLDER / "ferry_deck.toml").motion(walk)
    made = {}
    for name in ("hips", "left_foot", "right_foot"):
        made |= carried(walk, rig, name, deck)
    kept = {name: thinned(curve) for name, curve in made.items()}
    return replace(walk.with_channels(kept), belt=None, name="ferry")


def carried(clip: Clip, rig: Rig, name: str, deck: np.ndarray) -> dict[str, Curve]:
    """Return a control's channels with the deck's motion in them, a key on every frame."""
    control = rig.controls[name]
    frames = np.arange(clip.first, clip.last + 1.0)
    own = {}
    for key in ("x", "y", "z", "pitch", "yaw", "roll"):
        axis = control.axes[key]
        own[key] = (clip.channels[axis.channel].at(frames) - axis.zero) * axis.scale
    turn = np.moveaxis(deck[:, :3, :3], 0, -1)
    local = np.stack([own[key] for key in "xyz"]) + np.array(control.rest)[:, None]
    place = np.einsum("ijf,jf->if", turn, local) + deck[:, :3, 3].T - np.array(control.rest)[:, None]
    angles = [own[key] for key in ("pitch", "yaw", "roll")]
    turned = np.einsum("ijf,jkf->ikf", turn, turn_of(*angles, order=control.order))
    pitch, yaw, roll = angles_of(turned, order=control.order, near=tuple(angles))
    values = dict(zip(("x", "y", "z", "pitch", "yaw", "roll"), (*place, pitch, yaw, roll), strict=True))
    return {
        control.axes[key].channel: Curve.through(
            frames, np.round(v / control.axes[key].scale + control.axes[key].zero, 4)
        )
        for key, v in values.items()
    }


def thinned(curve: Curve) -> Curve:
    """Return a channel with every other key and the last."""
    at = np.unique(np.append(np.arange(0, len(curve.frames), EVERY), len(curve.frames) - 1))
    return Curve.through(curve.frames[at], curve.values[at])


if __name__ == "__main__":
    save_clip(ferry(), FOLDER / "ferry.json")
