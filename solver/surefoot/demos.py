"""The demo clips that ship with the package."""

from __future__ import annotations

from pathlib import Path

from surefoot.clip import Clip
from surefoot.clip_file import load_clip
from surefoot.errors import UnknownName
from surefoot.rig import Rig
from surefoot.rig_file import load_rig

__all__ = ["deck_names", "deck_path", "demo", "demo_name", "demo_path"]


def _folder() -> Path:
    inside = Path(__file__).parent / "demo_data"
    return inside if inside.is_dir() else Path(__file__).parents[2] / "demos" / "data"


def demo_path(name: str) -> Path:
    """Return the file of a demo clip, or raise UnknownName with those that there are."""
    path = _folder() / f"{name}.json"
    if not path.is_file():
        raise UnknownName("demo", name, [p.stem for p in _folder().glob("*.json")])
    return path


def deck_path(name: str) -> Path | None:
    """Return the file of the deck that a demo clip stands on, None where it stands on none."""
    path = _folder() / f"{name}_deck.toml"
    return path if path.is_file() else None


def deck_names() -> list[str]:
    """Return the demo clips that stand on a deck."""
    return sorted(path.stem.removesuffix("_deck") for path in _folder().glob("*_deck.toml"))


def demo_name(path: Path) -> str:
    """Return the name of the demo whose file that is, or nothing."""
    return path.stem if path.parent == _folder() and path.suffix == ".json" else ""


def demo(name: str = "lamplighter") -> tuple[Clip, Rig]:
    """Return a demo clip and its rig.

    ``lamplighter``, ``trudge``, ``run`` and ``ferry`` are invented, ``treadmill`` is a real walk. Lengths in the
    clips are centimetres, those of the treadmill metres, as their rigs say.

    Parameters
    ----------
    name : str
        Of one of the five.

    Raises
    ------
    UnknownName
        If no demo has that name; lists those that there are.

    Examples
    --------
    >>> import surefoot
    >>> clip, rig = surefoot.demo("trudge")
    >>> clip.loop, rig.name
    (True, 'lamplighter')
    """
    clip = load_clip(demo_path(name))
    return clip, load_rig(clip.rig or name)
