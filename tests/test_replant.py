"""Replanting: footprints from before an edit are those of the edit, round for round."""

from __future__ import annotations

import numpy as np

from surefoot import Curve, Outside, Shape, demo, plant, replant
from surefoot.footprint import Tracks
from surefoot.key_edits import affine
from surefoot.planting import scene_of
from surefoot.replanting import feet_edited


def test_footprints_from_before_an_edit_count_the_same_rounds_as_the_edit_does() -> None:
    """Where a loop's frames are laid out from depends on the pitch in its longest stance, which an edit may change."""
    clip, rig = demo("lamplighter")
    before = plant(clip, rig).clip
    # the sole now lies flat at the stance's end, over the seam: in frames 23 to 27, which are 23, 24 and 1 to 3
    late = Curve.shaped([1, 3, 5, 8, 13, 17, 18, 22, 23, 25], [0, 0, 40, 10, -20, -8, 8, 10, 0, 0], shape=Shape.LINEAR,
                        before=Outside.REPEAT, after=Outside.REPEAT)  # fmt: skip
    after = before.with_channels({"right_foot.pitch": late})
    layouts = [int(Tracks.of(scene_of(c, rig), before.stances or ()).index[1, 0]) for c in (before, after)]
    assert layouts[0] != layouts[1]
    done = plant(after, rig, before=before)
    for one, two in zip(plant(before, rig).footprints, done.footprints, strict=True):
        apart = np.subtract(one.place, two.place)
        assert np.abs(apart - [0.0, 0.0, 1.35 * round(apart[2] / 1.35)]).max() < 1e-3
    assert np.abs(done.ankle_change).max() < 0.3


def test_a_foot_that_was_edited_is_planted_where_the_edit_put_it() -> None:
    clip, rig = demo("lamplighter")
    before = plant(clip, rig).clip
    moved = before.with_channels({"left_foot.x": affine(before.channels["left_foot.x"], offset=2.0)})
    assert feet_edited(before, moved, rig) == ("left",)
    one, two = (replant(before, after, rig).footprints for after in (before, moved))
    shift = np.subtract(two[0].place, one[0].place)
    assert np.abs(shift - [0.02, 0.0, 0.0]).max() < 1e-6
    assert np.abs(np.subtract(two[1].place, one[1].place)).max() < 1e-6
