"""``surefoot convert``: a clip in another format, or the same feet in another style of control."""

from __future__ import annotations

import argparse

__all__ = ["DESCRIPTION", "EXAMPLE", "add_options", "run"]

DESCRIPTION = (
    "Write a clip in the format of another suffix; what that can't carry goes into a mapping beside it, OUT.map.toml. "
    "Or write its feet in another style of control: about the ankle, by rockers (heel, ball and toe), or by joint "
    "angles. Hips and every other channel stay as they are."
)
TOLD = 1e-4
"""Metres by which a leg by joints may miss its foot unsaid."""
EXAMPLE = "surefoot convert walk.json walk.glb; or: surefoot convert walk.json --style rockers -o rockers.json"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options to its parser."""
    parser.add_argument("clip", metavar="IN", help="a clip (surefoot formats lists which), or a demo")
    parser.add_argument("out", metavar="OUT", nargs="?", help="where it goes: .json, .csv, .glb, .gltf, .usda or .usdc")
    parser.add_argument("--map", metavar="FILE", help="the mapping of IN; left out, IN.map.toml where there is one")
    parser.add_argument("--linear", action="store_true", help="glTF: straight between frames, not CUBICSPLINE")
    parser.add_argument("--rig", metavar="RIG", help="a rig's name or TOML file; left out, the one that the clip names")
    parser.add_argument("--style", metavar="STYLE", help="ankle, rockers or joints")
    parser.add_argument("--single", action="store_true", help="rockers: one foot-roll channel in place of three")
    told = "the rig to write for, of the same lengths; left out, one with channels named after part and axis"
    parser.add_argument("--to", metavar="RIG", help=told)
    parser.add_argument("-o", "--output", metavar="OUT", help="where the clip goes, in place of OUT")
    parser.add_argument("--rig-out", metavar="FILE", help="where its rig goes; left out, beside the clip as OUT.toml")
    parser.add_argument("--json", action="store_true", help="print JSON, not text: the same figures, unrounded")


def run(options: argparse.Namespace) -> int:
    """Convert the clip and write it; where its style changes, with its rig, and say how near it comes."""
    from surefoot.errors import InputError

    if options.out is not None and options.output is not None:
        raise InputError("names the result twice; give OUT or --output", place="convert")
    options.output = options.out if options.output is None else options.output
    if options.style is None and options.to is None and options.output is not None:
        return _other_format(options)
    return _other_style(options)


def _other_format(options: argparse.Namespace) -> int:
    from surefoot.commands.as_json import print_json
    from surefoot.commands.job import check_outputs, open_plain, told_of
    from surefoot.errors import InputError
    from surefoot.formats.opening import clip_files, written_form
    from surefoot.printed import written_line
    from surefoot.save import save_all

    if options.rig_out is not None or options.single:
        raise InputError("goes with --style only", place="--single" if options.single else "--rig-out")
    form = written_form(options.output)
    if options.linear and form.name != "glTF 2.0":
        raise InputError("goes with .glb and .gltf only", place="--linear")
    path, clip, rig, rig_file, fitted = open_plain(options)
    check_outputs({"OUT": options.output}, {"the clip": str(path), "--map": options.map, "--rig": options.rig})
    with told_of(path):
        files = clip_files(
            clip, rig, options.output, fitted=fitted, rig_file=rig_file, spline=not options.linear
        )  # fmt: skip
    save_all(files)
    if options.json:
        print_json({"written": [name for _, name in files]})
    else:
        print("\n".join(written_line(name) for _, name in files))
    return 0


def _other_style(options: argparse.Namespace) -> int:
    from dataclasses import replace
    from pathlib import Path

    from surefoot.commands.as_json import print_json
    from surefoot.commands.job import check_outputs, open_plain, said_of, told_of
    from surefoot.errors import InputError
    from surefoot.formats.opening import clip_files
    from surefoot.printed import written_line
    from surefoot.restyle import convert
    from surefoot.rig_file import load_rig
    from surefoot.rig_save import rig_text
    from surefoot.save import save_all

    if (options.style is None) == (options.to is None):
        raise InputError("wanted one of --style (ankle, rockers or joints) and --to (a rig)", place="convert")
    if options.rig_out is not None and (options.output is None or options.to is not None):
        raise InputError("goes with --output and --style only", place="--rig-out")
    path, clip, rig, _, _ = open_plain(options)
    if rig is None:
        raise InputError("the clip names no rig; give one with --rig", place=str(path))
    rig_out = options.rig_out
    if options.output is not None and options.to is None and rig_out is None:
        rig_out = str(Path(options.output).with_suffix(".toml"))
    check_outputs(
        {"--output": options.output, "--rig-out": rig_out},
        {"the clip": str(path), "--rig": options.rig, "--to": options.to},
        over="--output",
    )
    with told_of(path):
        to = None
        if options.to is not None:
            with said_of("--to"):
                to = load_rig(options.to)
        made = convert(clip, rig, style=options.style or "", single=options.single, to=to)
    written = []
    if options.output is not None:
        named = options.to if rig_out is None else _beside(rig_out, options.output)
        written += clip_files(replace(made.clip, rig=named), made.rig, options.output, spline=not options.linear)
        if rig_out is not None:
            written.append((rig_text(made.rig).encode("utf-8"), rig_out))
    save_all(written)
    files = [name for _, name in written]
    channels = [name for name in made.clip.channels if name not in clip.channels]
    if options.json:
        off = {"on_frames_m": made.on_frames, "between_m": made.between}
        print_json({"style": made.rig.style, "new_channels": channels, **off, "written": files})
    else:
        print(f"feet by {made.rig.style}: {len(channels)} new channels" if channels else f"feet by {made.rig.style}")
        print(f"off by {1e3 * made.on_frames:.3g} mm on the frames, {1e3 * made.between:.3g} mm between two")
        if made.rig.style == "joints" and made.on_frames > TOLD:
            print("a leg by joints can't be longer than it is: plant the clip first where it's stretched")
        print("\n".join(map(written_line, files)), end="\n" if files else "")
    return 0


def _beside(rig: str, clip: str) -> str:
    """Return how a clip's file names a rig's: by its name where they lie in one folder."""
    from pathlib import Path

    one, two = Path(rig), Path(clip)
    return one.name if one.parent.resolve() == two.parent.resolve() else str(one.resolve())
