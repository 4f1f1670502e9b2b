"""Pictures as PNG, by resvg (the extra ``png``: ``pip install 'surefoot[png]'``)."""

from __future__ import annotations

from surefoot.errors import InputError
from surefoot.pictures.ink import Theme
from surefoot.pictures.svg import Picture

__all__ = ["png_bytes"]

MOST_PIXELS = 80_000_000


def png_bytes(picture: Picture, *, theme: Theme = "light", zoom: float = 2.0) -> bytes:
    """Return a picture as a PNG file.

    Parameters
    ----------
    theme : str
        ``light`` or ``dark``; ``auto`` is light, since a PNG can't ask the screen.
    zoom : float
        Pixels to a CSS pixel: 2 is good for print on A4.

    Raises
    ------
    InputError
        If resvg isn't installed, or the picture would have more than eighty million pixels.
    """
    try:
        import resvg_py
    except ImportError:
        raise InputError("PNG needs resvg; install it with: pip install 'surefoot[png]'", place="png") from None
    if not 0.1 <= zoom <= 8.0:
        raise InputError(f"wanted a zoom from 0.1 to 8, got {zoom!r}", place="png")
    if picture.width * picture.height * zoom**2 > MOST_PIXELS:
        raise InputError(f"{picture.title} would have more than {MOST_PIXELS} pixels; draw less of it", place="png")
    svg = picture.svg("light" if theme == "auto" else theme)
    return bytes(resvg_py.svg_to_bytes(svg_string=svg, zoom=zoom))
