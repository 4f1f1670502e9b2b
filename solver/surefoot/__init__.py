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
    from surefoot.capture import Capture, capture_clip, fit_rig
    from surefoot.checking import Report, check
    from surefoot.choice import Choice
    from surefoot.clip import Clip, Stance
    from surefoot.clip_file import clip_schema, load_clip, save_clip
    from surefoot.contact import ContactLimits
    from surefoot.curves import Curve, Outside, Shape
    from surefoot.demos import demo
    from surefoot.errors import FileError, InputError, OutOfReach, ShapeError, SurefootError, UnitError, UnknownName
    from surefoot.few import KeyTolerance
    from surefoot.findings import Finding
    from surefoot.ground import Flat, Ground, Plane, Profile
    from surefoot.ground_file import load_ground
    from surefoot.ground_grid import Grid
    from surefoot.ground_presets import preset_ground, preset_grounds
    from surefoot.lay import Laid, lay
    from surefoot.layer import layer_between
    from surefoot.letting import let_down
    from surefoot.planting import Footprint, Planted, plant
    from surefoot.proposals import Proposal, Worse, apply, propose
    from surefoot.rig import Axis, Control, Foot, Leg, Limits, Rig
    from surefoot.rig_file import load_rig, preset_names
    from surefoot.route import Route

_HOMES = {
    "belt": ("Belt",),
    "capture": ("Capture", "capture_clip", "fit_rig"),
    "checking": ("Report", "check"),
    "clip": ("Clip", "Stance"),
    "letting": ("let_down",),
    "few": ("KeyTolerance",),
    "choice": ("Choice",),
    "clip_file": ("clip_schema", "load_clip", "save_clip"),
    "contact": ("ContactLimits",),
    "curves": ("Curve", "Outside", "Shape"),
    "demos": ("demo",),
    "errors": ("FileError", "InputError", "OutOfReach", "ShapeError", "SurefootError", "UnitError", "UnknownName"),
    "findings": ("Finding",),
    "ground": ("Flat", "Ground", "Plane", "Profile"),
    "ground_file": ("load_ground",),
    "ground_grid": ("Grid",),
    "ground_presets": ("preset_ground", "preset_grounds"),
    "lay": ("Laid", "lay"),
    "layer": ("layer_between",),
    "planting": ("Footprint", "Planted", "plant"),
    "proposals": ("Proposal", "Worse", "apply", "propose"),
    "rig": ("Axis", "Control", "Foot", "Leg", "Limits", "Rig"),
    "rig_file": ("load_rig", "preset_names"),
    "route": ("Route",),
}
_HOME_OF = {name: module for module, names in _HOMES.items() for name in names}

__all__ = [
    "Axis",
    "Belt",
    "Capture",
    "Choice",
    "Clip",
    "ContactLimits",
    "Control",
    "Curve",
    "FileError",
    "Finding",
    "Flat",
    "Foot",
    "Footprint",
    "Grid",
    "Ground",
    "InputError",
    "KeyTolerance",
    "Laid",
    "Leg",
    "Limits",
    "OutOfReach",
    "Outside",
    "Plane",
    "Planted",
    "Profile",
    "Proposal",
    "Report",
    "Rig",
    "Route",
    "Shape",
    "ShapeError",
    "Stance",
    "SurefootError",
    "UnitError",
    "UnknownName",
    "Worse",
    "__version__",
    "apply",
    "capture_clip",
    "check",
    "clip_schema",
    "demo",
    "fit_rig",
    "lay",
    "layer_between",
    "let_down",
    "load_clip",
    "load_ground",
    "load_rig",
    "plant",
    "preset_ground",
    "preset_grounds",
    "preset_names",
    "propose",
    "save_clip",
]


def __getattr__(name: str) -> Any:
    module = _HOME_OF.get(name)
    if module is None:
        raise AttributeError(f"module 'surefoot' has no attribute {name!r}")
    from importlib import import_module

    value = getattr(import_module(f"surefoot.{module}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
