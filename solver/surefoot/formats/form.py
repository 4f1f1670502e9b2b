"""What a format is: its suffixes, what it holds and how exactly, and how it's read and written."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from surefoot.clip import Clip
from surefoot.errors import InputError
from surefoot.formats.mapping import Mapping
from surefoot.formats.motion import Motion
from surefoot.rig import Rig

__all__ = ["Format", "Reading", "Writing", "Written"]


class Reading(NamedTuple):
    """A file to read, with its mapping and rig where it has them, and a rate where the format knows seconds only."""

    path: Path
    mapping: Mapping | None = None
    rig: Rig | None = None
    rate: float | str | None = None


class Writing(NamedTuple):
    """A clip to write to a path; ``spline`` asks for keys with slopes where the format has them."""

    clip: Clip
    rig: Rig | None
    path: Path
    spline: bool = True

    def rig_for_nodes(self) -> Rig:
        """Return the rig whose controls become nodes; raise InputError where none is given."""
        if self.rig is None:
            raise InputError("nodes need a rig to move; give one", place=str(self.path))
        return self.rig


class Written(NamedTuple):
    """A clip in a format: the file's bytes, and the mapping that says what it can't carry, where there is any."""

    data: bytes
    mapping: Mapping | None = None


@dataclass(frozen=True, slots=True)
class Format:
    """A format: its name and suffixes, what it holds, its precision, what it needs, and how it's read and written.

    It's read as a clip, or as a motion that needs a mapping, or not at all; and written, or not. Readers raise
    FileError or InputError with the place in the file; a writer gives bytes and writes nothing.
    """

    name: str
    suffixes: tuple[str, ...]
    holds: str
    precision: str
    needs: str = ""
    read_clip: Callable[[Reading], Clip] | None = None
    read_motion: Callable[[Reading], Motion] | None = None
    write_clip: Callable[[Writing], Written] | None = None

    @property
    def read(self) -> bool:
        """Whether it's read."""
        return self.read_clip is not None or self.read_motion is not None

    @property
    def written(self) -> bool:
        """Whether it's written."""
        return self.write_clip is not None
