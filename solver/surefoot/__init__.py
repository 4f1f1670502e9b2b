"""Planted feet for animated legs.

Finds sliding, cutting, hovering and over-stretched feet in a clip, mends them by
moving the feet only, and leaves the hips exactly as the animator set them.

Everything here is loaded when first asked for, so that importing the package costs little.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from surefoot._version import __version__

if TYPE_CHECKING:
    from surefoot.belt import Belt
    from surefoot.blocking import Blocked, block
    from surefoot.capture import Capture, capture_clip, fit_rig
    from surefoot.checking import Report, check
    from surefoot.choice import Choice, Rejected
    from surefoot.clip import Clip, Stance
    from surefoot.clip_file import clip_schema, load_clip, save_clip
    from surefoot.closing import close_loop
    from surefoot.contact import ContactLimits
    from surefoot.curves import Curve, Outside, Shape
    from surefoot.deck import Deck, aboard, plant_aboard
    from surefoot.demos import demo
    from surefoot.errors import FileError, InputError, OutOfReach, ShapeError, SurefootError, UnitError, UnknownName
    from surefoot.few import KeyTolerance
    from surefoot.findings import Finding
    from surefoot.formats.deck_file import load_deck
    from surefoot.gait import Gait, gait_of, gait_warnings
    from surefoot.gait_bands import Beside, beside_science
    from surefoot.gait_phases import Phase, StepFrames, phases_of, step_frames
    from surefoot.ground import Flat, Ground, Plane, Profile
    from surefoot.ground_file import load_ground
    from surefoot.ground_grid import Grid
    from surefoot.ground_mesh import Mesh
    from surefoot.ground_presets import preset_ground, preset_grounds
    from surefoot.layer import layer_between
    from surefoot.laying import Laid, lay
    from surefoot.leg_solve import SolvedLegs, solve_legs
    from surefoot.letting import let_down
    from surefoot.oppose import Drag, drags
    from surefoot.pacing import at_speed
    from surefoot.pairs import Pairs, PlantedPairs, block_pairs, check_pairs, load_pairs, plant_pairs
    from surefoot.pendulum import compass_rise, roller_rise
    from surefoot.pictures.report import html_report
    from surefoot.pictures.sheet import draw
    from surefoot.pictures.svg import Picture
    from surefoot.planting import Footprint, Planted, plant
    from surefoot.proposals import Proposal, Worse, apply_proposals, propose
    from surefoot.recipe import Recipe
    from surefoot.recipe_file import load_recipe, recipe_names
    from surefoot.remixing import Edit, mix, remix
    from surefoot.replanting import replant
    from surefoot.restyle import Converted, convert
    from surefoot.rig import Axis, Control, Foot, Leg, Limits, Rig
    from surefoot.rig_file import load_rig, preset_names
    from surefoot.rig_save import save_rig
    from surefoot.rig_styles import rig_in_style
    from surefoot.route import Route
    from surefoot.side_map import mirror_map
    from surefoot.travel import in_place, rooted, travelling
    from surefoot.twinning import Twinned, twin

_HOMES = {
    "deck": ("Deck", "aboard", "plant_aboard"),
    "formats.deck_file": ("load_deck",),
    "belt": ("Belt",),
    "blocking": ("Blocked", "block"),
    "capture": ("Capture", "capture_clip", "fit_rig"),
    "checking": ("Report", "check"),
    "choice": ("Choice", "Rejected"),
    "clip": ("Clip", "Stance"),
    "clip_file": ("clip_schema", "load_clip", "save_clip"),
    "closing": ("close_loop",),
    "contact": ("ContactLimits",),
    "curves": ("Curve", "Outside", "Shape"),
    "demos": ("demo",),
    "errors": ("FileError", "InputError", "OutOfReach", "ShapeError", "SurefootError", "UnitError", "UnknownName"),
    "few": ("KeyTolerance",),
    "findings": ("Finding",),
    "gait": ("Gait", "gait_of", "gait_warnings"),
    "gait_bands": ("Beside", "beside_science"),
    "gait_phases": ("Phase", "StepFrames", "phases_of", "step_frames"),
    "ground": ("Flat", "Ground", "Plane", "Profile"),
    "ground_file": ("load_ground",),
    "ground_grid": ("Grid",),
    "ground_mesh": ("Mesh",),
    "ground_presets": ("preset_ground", "preset_grounds"),
    "laying": ("Laid", "lay"),
    "layer": ("layer_between",),
    "letting": ("let_down",),
    "leg_solve": ("SolvedLegs", "solve_legs"),
    "pairs": ("Pairs", "PlantedPairs", "block_pairs", "check_pairs", "load_pairs", "plant_pairs"),
    "oppose": ("Drag", "drags"),
    "pacing": ("at_speed",),
    "pendulum": ("compass_rise", "roller_rise"),
    "pictures.report": ("html_report",),
    "pictures.sheet": ("draw",),
    "pictures.svg": ("Picture",),
    "planting": ("Footprint", "Planted", "plant"),
    "proposals": ("Proposal", "Worse", "apply_proposals", "propose"),
    "recipe": ("Recipe",),
    "recipe_file": ("load_recipe", "recipe_names"),
    "remixing": ("Edit", "mix", "remix"),
    "replanting": ("replant",),
    "restyle": ("Converted", "convert"),
    "rig": ("Axis", "Control", "Foot", "Leg", "Limits", "Rig"),
    "rig_file": ("load_rig", "preset_names"),
    "rig_save": ("save_rig",),
    "rig_styles": ("rig_in_style",),
    "route": ("Route",),
    "side_map": ("mirror_map",),
    "travel": ("in_place", "rooted", "travelling"),
    "twinning": ("Twinned", "twin"),
}
_HOME_OF = {name: module for module, names in _HOMES.items() for name in names}

__all__ = [
    "Axis",
    "Belt",
    "Beside",
    "Blocked",
    "Capture",
    "Choice",
    "Clip",
    "ContactLimits",
    "Control",
    "Converted",
    "Curve",
    "Deck",
    "Drag",
    "Edit",
    "FileError",
    "Finding",
    "Flat",
    "Foot",
    "Footprint",
    "Gait",
    "Grid",
    "Ground",
    "InputError",
    "KeyTolerance",
    "Laid",
    "Leg",
    "Limits",
    "Mesh",
    "OutOfReach",
    "Outside",
    "Pairs",
    "Phase",
    "Picture",
    "Plane",
    "Planted",
    "PlantedPairs",
    "Profile",
    "Proposal",
    "Recipe",
    "Rejected",
    "Report",
    "Rig",
    "Route",
    "Shape",
    "ShapeError",
    "SolvedLegs",
    "Stance",
    "StepFrames",
    "SurefootError",
    "Twinned",
    "UnitError",
    "UnknownName",
    "Worse",
    "__version__",
    "aboard",
    "apply_proposals",
    "at_speed",
    "beside_science",
    "block",
    "block_pairs",
    "capture_clip",
    "check",
    "check_pairs",
    "clip_schema",
    "close_loop",
    "compass_rise",
    "convert",
    "demo",
    "drags",
    "draw",
    "fit_rig",
    "gait_of",
    "gait_warnings",
    "html_report",
    "in_place",
    "lay",
    "layer_between",
    "let_down",
    "load_clip",
    "load_deck",
    "load_ground",
    "load_pairs",
    "load_recipe",
    "load_rig",
    "mirror_map",
    "mix",
    "phases_of",
    "plant",
    "plant_aboard",
    "plant_pairs",
    "preset_ground",
    "preset_grounds",
    "preset_names",
    "propose",
    "recipe_names",
    "remix",
    "replant",
    "rig_in_style",
    "roller_rise",
    "rooted",
    "save_clip",
    "save_rig",
    "solve_legs",
    "step_frames",
    "travelling",
    "twin",
]


def __getattr__(name: str) -> Any:
    from importlib import import_module

    if name == "host":  # a package of its own, so that `import surefoot` is enough in a script
        return import_module("surefoot.host")
    module = _HOME_OF.get(name)
    if module is None:
        raise AttributeError(f"module 'surefoot' has no attribute {name!r}")
    value = getattr(import_module(f"surefoot.{module}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
