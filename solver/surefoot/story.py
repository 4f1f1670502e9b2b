"""The first hour: a walk blocked out, its hips edited, planted, sent along the street and up stairs, handed over.

`surefoot demo` runs it where Surefoot is installed; the tutorial in ``demos`` is written from it.
"""

from __future__ import annotations

from dataclasses import dataclass

from surefoot.cautions import FOR_ANIMATION, FOR_PICTURES

__all__ = ["STORY", "Step", "introduction"]


@dataclass(frozen=True, slots=True)
class Step:
    """One step: what it's called, why it's done, the commands as typed, what they leave to say, and its picture.

    Parameters
    ----------
    commands : tuple of str
        Command lines, without the word ``surefoot``; their files lie in the folder of the story.
    after : str
        What to see in what they printed.
    drawing : str
        The command that draws the picture, its file named last; empty where there's none.
    shows : str
        What the picture shows.
    """

    title: str
    why: str
    commands: tuple[str, ...]
    after: str
    drawing: str = ""
    shows: str = ""

    @property
    def picture(self) -> str:
        """The picture's file, or an empty word."""
        return self.drawing.rpartition(" ")[2]


def introduction() -> str:
    """Return what is told before the first step."""
    return (
        "An evening lamplighter walks up a hill street. You block out her walk, the hips are changed once more, and "
        "the feet are mended; then she goes along the street and up the steps at its end, and the result is handed "
        f"over. Figures of gait are {FOR_ANIMATION}. Stairs are {FOR_PICTURES}."
    )


STORY = (
    Step(
        "Block out a walk",
        "A recipe holds a walk in a few lines: step, bob, sway, heel to toe. The command makes keys of it, plants the "
        "feet and sets the walk beside gait science. It walks in place: the ground moves under it like a belt.",
        ("block walk -o walk.json",),
        "No finding is left, and every figure lies within what is published for people. `walk.json` holds the keys.",
        "draw walk.json --pictures strip,gait -o 1_blocked.svg",
        "The blocked walk at contact and passing, and when heel, ball and toe of each foot are down.",
    ),
    Step(
        "Change the hips",
        "Prouder, please, and with more swing: half as much movement again in every channel of the hips, the bob "
        "three frames later, a centimetre higher. `--no-plant` leaves the feet as they were, to see what that breaks.",
        ("remix walk.json --scale hips=1.5 --shift hips.y=3 --add hips.y=1.0 --no-plant -o edited.json",),
        "The hips rise while the legs trail, so the legs come up short (`stretch`) and the knees jerk straight "
        "(`snap`, a note so far). The command ends with status 1, as a script would want to know.",
        "draw edited.json --before walk.json --pictures legs -o 2_edited.svg",
        "After the edit (strong) and before it (faint): where the knee lies flat at 0, hip and ankle are farther apart "
        "than the leg is long.",
    ),
    Step(
        "Plant the feet",
        "The hips stay as you set them. `--before` takes stances and footprints from the walk as it was; where a leg "
        "is too short the heel lifts sooner. `--layer` also writes the change alone, to add on top of your own file.",
        ("plant edited.json --before walk.json --layer correction.json -o planted.json",),
        "Nothing is left. Your keys got new values and a few were added; every other channel is untouched.",
        "draw planted.json --before edited.json --pictures legs,channels --channels left_foot.y,left_foot.pitch"
        " -o 3_planted.svg",
        "Planted (strong) and as edited (faint): the legs stay within reach; the heel lifts sooner.",
    ),
    Step(
        "Go along the street",
        "The cycle gets a root channel that carries it forward just as fast as the belt ran; nothing else changes, so "
        "nothing can slide.",
        ("travel planted.json --to travelling -o street.json",),
        "`--to in-place` brings it back, exactly. The duty factor is the time from contact to toe-off, as everywhere: "
        "a foot that lands at frame 1 and leaves at frame 15 is down for 14 of 24.",
        "draw street.json --pictures plan -o 4_street.svg",
        "The footprints from above: where each foot stands, in which frames, and the stride between.",
    ),
    Step(
        "Climb the stairs",
        "Treads are closer than strides on the level, and on stairs the foot lands flatter. So shorten the stride, "
        "halve the roll of the feet, then lay four rounds out over the stairs. The hips have to go up as well; "
        "`--let hips.y` says that they may.",
        (
            "travel planted.json --speed 0.62 --by stride -o short.json",
            "remix short.json --scale left_foot.pitch=0.5@rest --scale right_foot.pitch=0.5@rest -o flatter.json",
            "plant flatter.json --ground accessible-stairs --loops 4 --clearance 15mm --let hips.y -o stairs.json",
        ),
        "Each step was fitted to a tread, the swings clear the edges, and the hips climb with her. Left out, "
        "`--let hips.y` would leave the hips alone and tell what they need.",
        "draw stairs.json --ground accessible-stairs --pictures strip,plan -o 5_stairs.svg",
        "Up the stairs, from the side and from above.",
    ),
    Step(
        "Hand it over",
        "A report is one file to send to a colleague: pictures, findings and a figure to scrub. The clip goes to glTF, "
        "and what glTF can't hold goes beside it. Check what you hand over, not what you meant to.",
        (
            "report stairs.json --ground accessible-stairs --as-is -o report.html",
            "convert stairs.json stairs.glb",
            "check stairs.glb --ground accessible-stairs",
        ),
        "The glTF file reads back as it was planted.",
    ),
)
"""The steps in their order."""
