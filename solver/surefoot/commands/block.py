"""``surefoot block``: a first layered cycle from a recipe, planted, beside gait science."""

from __future__ import annotations

import argparse

__all__ = ["DESCRIPTION", "EXAMPLE", "add_options", "run"]

DESCRIPTION = (
    "Block out a first cycle from a short recipe, layer by layer, plant its feet, and set it beside gait science. "
    "Recipes that ship: climb, run, shuffle, sneak, trudge, walk."
)
EXAMPLE = "surefoot block walk --amount bob=0.7 --off arc -o walk.json"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the command's own options to its parser."""
    parser.add_argument("recipe", metavar="RECIPE", help="a recipe in TOML, or the name of one that ships")
    parser.add_argument("-o", "--output", metavar="CLIP", help="where the clip goes")
    parser.add_argument(
        "--rig", metavar="RIG", help="a rig's name or TOML file; left out, the one that the recipe names"
    )
    told = "multiply a layer's amount, such as bob=0.7; may be repeated"
    parser.add_argument("--amount", metavar="LAYER=FACTOR", action="append", default=[], help=told)
    parser.add_argument("--off", metavar="LAYERS", help="switch layers off, such as arc,arms")
    parser.add_argument("--stairs", metavar="FILE", help="also write the stairs of a climb, as a ground in TOML")
    keys = parser.add_mutually_exclusive_group()
    keys.add_argument("--no-plant", action="store_true", help="leave the feet as they were blocked")
    keys.add_argument("--every-frame", action="store_true", help="a key on every frame of what planting changes")
    parser.add_argument("--json", action="store_true", help="print JSON, not a table: the same figures, unrounded")


def run(options: argparse.Namespace) -> int:
    """Block, plant, check, print, and write what was asked for."""
    from pathlib import Path

    from surefoot.blocking import block
    from surefoot.checking import check
    from surefoot.clip_file import clip_bytes
    from surefoot.commands.as_json import cautions_json, print_json, report_json
    from surefoot.commands.job import check_outputs, said_of
    from surefoot.errors import InputError, UnknownName
    from surefoot.gait_bands import beside_science
    from surefoot.gait_tables import beside_json, print_beside, print_blocked
    from surefoot.ground import Profile
    from surefoot.options import read_amounts
    from surefoot.pairs import load_pairs, pair_names
    from surefoot.planting import plant
    from surefoot.printed import written_line
    from surefoot.profile_file import profile_bytes
    from surefoot.recipe_file import load_recipe
    from surefoot.rig_file import load_rig, preset_names
    from surefoot.save import save_all
    from surefoot.tables import Seen, print_findings

    check_outputs(
        {"--output": options.output, "--stairs": options.stairs},
        {"the recipe": options.recipe, "--rig": options.rig},
    )
    recipe = load_recipe(options.recipe)
    with said_of("--amount"):
        recipe = recipe.scaled(read_amounts(options.amount, place="--amount"))
    if options.off is not None:
        with said_of("--off"):
            recipe = recipe.without(*(name.strip() for name in options.off.split(",")))
    name = recipe.rig if options.rig is None else options.rig
    if not name:
        told = f"the recipe names no rig; give one with --rig (a TOML file, or {', '.join(preset_names())})"
        raise InputError(told, place=options.recipe)
    if name in pair_names():
        from surefoot.commands.pairwise import block_in_pairs

        return block_in_pairs(options, recipe, load_pairs(name))
    beside = Path(options.recipe).parent / name
    try:
        rig = load_rig(beside if options.rig is None and name.endswith(".toml") and beside.is_file() else name)
    except UnknownName as error:
        raise (error if error.place else error.within("--rig" if options.rig else f"{options.recipe}: rig")) from None
    if options.stairs is not None and recipe.stairs is None:
        raise InputError(f"the recipe {recipe.name!r} climbs no stairs", place="--stairs")
    blocked = block(recipe, rig)
    clip = blocked.clip
    if not options.no_plant:
        clip = plant(clip, rig, ground=blocked.ground, keys="every" if options.every_frame else "few").clip
    report = check(clip, rig, ground=blocked.ground)
    rows = beside_science(clip, rig, recipe.gait, ground=blocked.ground)
    files = [(clip_bytes(clip), options.output)] if options.output is not None else []
    if options.stairs is not None and isinstance(blocked.ground, Profile):
        files.append((profile_bytes(blocked.ground), options.stairs))
    save_all(files)
    written = [path for _, path in files]
    if options.json:
        moments = dict(blocked.frames)
        print_json({"recipe": recipe.name, "rig": rig.name, "moments": moments, "gait": beside_json(rows),
                    "after": report_json(report), "written": written,
                    **cautions_json(blocked.ground, gait=True)})  # fmt: skip
    else:
        print_blocked(blocked, clip)
        print_beside(rows)
        stairs = blocked.ground.for_pictures
        name = blocked.ground.name if stairs else ""
        seen = Seen(belt_stated=True, stances_stated=True, ground=name, for_pictures=stairs)
        print_findings(clip, report, seen=seen)
        for path in written:
            print(written_line(path))
        if not written:
            print("nothing written; name a file with -o to keep the result")
    return 0 if report.is_clean else 1
