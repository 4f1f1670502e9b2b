"""``surefoot draw``: a clip as pictures, in an SVG or PNG file."""

from __future__ import annotations

import argparse

from surefoot.commands.arguments import add_clip_options

__all__ = ["DESCRIPTION", "EXAMPLE", "add_options", "run"]

DESCRIPTION = "Draw a clip: pose strip, track plan, gait diagram, channels with keys, clearance, knee and leg."
EXAMPLE = "surefoot draw walk.json -o sheet.svg --planted --pictures strip,plan"

OPTIONS = (
    ("--before", "CLIP", "the clip before a change: drawn faint behind"),
    ("--pictures", "KINDS", "which, in this order: strip, plan, gait, channels, clearance, legs; left out, all"),
    ("--channels", "CHANNELS", "whose curves are drawn, such as left_foot.y,hips.y; left out, what was changed"),
    ("--frames", "FRAMES", "frames of the pose strip, such as 1,4,7; left out, contact, down, passing and up"),
    ("--paper", "PAPER", "light, dark, or auto: as the screen has it, light in print; left out, auto (PNG: light)"),
)


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options to its parser."""
    add_clip_options(parser)
    told = "where the picture goes: .svg, or .png with the extra surefoot[png]"
    parser.add_argument("-o", "--output", metavar="FILE", required=True, help=told)
    parser.add_argument("--planted", action="store_true", help="draw the clip planted, and as it is faint behind")
    for flag, metavar, told in OPTIONS:
        parser.add_argument(flag, metavar=metavar, help=told)


def run(options: argparse.Namespace) -> int:
    """Draw the clip and say where it was written."""
    from surefoot.cautions import BUILT_GROUNDS
    from surefoot.commands.as_json import cautions_json, print_json
    from surefoot.commands.compared import read_compared
    from surefoot.errors import FileError, UnknownName
    from surefoot.options import read_frames
    from surefoot.pictures.ink import THEMES
    from surefoot.pictures.png import png_bytes
    from surefoot.pictures.sheet import KINDS_OF_PICTURE, pictures_of
    from surefoot.save import save_bytes

    suffix = options.output.lower().rpartition(".")[2]
    if suffix not in ("svg", "png"):
        raise FileError("wanted a file that ends in .svg or .png", place=f"--output {options.output}")
    kinds = KINDS_OF_PICTURE if options.pictures is None else tuple(options.pictures.split(","))
    for kind in kinds:
        if kind not in KINDS_OF_PICTURE:
            raise UnknownName("picture", kind, KINDS_OF_PICTURE, place="--pictures")
    paper = "auto" if options.paper is None else options.paper
    if paper not in THEMES:
        raise UnknownName("paper", paper, THEMES, place="--paper")
    frames = None if options.frames is None else read_frames(options.frames, place="--frames")
    channels = None if options.channels is None else tuple(options.channels.split(","))
    now, before = read_compared(options)
    picture = pictures_of(now, before=before, kinds=kinds, channels=channels, frames=frames)
    data = picture.svg(paper).encode() if suffix == "svg" else png_bytes(picture, theme=paper)
    save_bytes(data, options.output)
    if options.json:
        print_json(
            {
                "clip": now.clip.name,
                "pictures": list(kinds),
                "told": picture.told,
                "written": options.output,
                **cautions_json(now.scene.ground, gait="gait" in kinds),
            }
        )
    else:
        print(f"drawn: {', '.join(kinds)}")
        if now.scene.ground.for_pictures:
            print(BUILT_GROUNDS)
        print(f"written: {options.output}")
    return 0
