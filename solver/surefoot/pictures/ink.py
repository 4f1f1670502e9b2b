"""Ink: colours, strokes and letters of the pictures, on light and on dark paper.

The colours that tell things apart are those of Okabe and Ito, "Color Universal Design (CUD): How to make figures
and presentations that are friendly to colorblind people", 2008 (from memory): blue and vermilion on light paper
for left and right, sky blue and orange on dark; reddish purple for findings, bluish green for what is allowed.
Nothing rests on colour alone: the left foot is drawn full, the right one open and hatched, and its line dashed.
Papers, inks and earth are our own. In print the light ones are used, whatever the screen has.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal

__all__ = ["FACE", "OKABE_ITO", "PAPERS", "SIZES", "THEMES", "Theme", "defs_of", "style_of", "variables"]

Theme = Literal["auto", "light", "dark"]
THEMES: tuple[Theme, ...] = ("auto", "light", "dark")

OKABE_ITO: Mapping[str, str] = MappingProxyType(
    {
        "black": "#000000",
        "orange": "#E69F00",
        "sky blue": "#56B4E9",
        "bluish green": "#009E73",
        "yellow": "#F0E442",
        "blue": "#0072B2",
        "vermilion": "#D55E00",
        "reddish purple": "#CC79A7",
    }
)

PAPERS: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        "light": {
            "paper": "#FFFFFF", "ink": "#1B1A17", "soft": "#5C5850", "hair": "#D5D0C5", "earth": "#EFEBE2",
            "stone": "#8C8576", "left": OKABE_ITO["blue"], "right": OKABE_ITO["vermilion"],
            "finding": OKABE_ITO["reddish purple"], "allowed": OKABE_ITO["bluish green"], "faint": "0.38",
        },
        "dark": {
            "paper": "#16181A", "ink": "#EFECE4", "soft": "#B5AFA2", "hair": "#3C3F40", "earth": "#25282A",
            "stone": "#7F796C", "left": OKABE_ITO["sky blue"], "right": OKABE_ITO["orange"],
            "finding": OKABE_ITO["reddish purple"], "allowed": OKABE_ITO["bluish green"], "faint": "0.5",
        },
    }
)  # fmt: skip
"""What each role's colour is on either paper, and how opaque what was before is."""

SIZES = (11.0, 12.0, 14.0, 20.0)
"""The sizes of letters, CSS pixels: the smallest is 8 points and a quarter in print."""
FACE = 'Helvetica, Arial, "Liberation Sans", "Nimbus Sans", "DejaVu Sans", sans-serif'

_RULES = """\
.sf-paper{{fill:{paper}}}
text{{fill:{ink};font-family:{face}}}
.sf-soft{{fill:{soft}}}
.sf-ink,.sf-hair,.sf-stone,.sf-left,.sf-right,.sf-leg,.sf-lim{{fill:none;stroke-linecap:round;stroke-linejoin:round}}
.sf-ink,.sf-lim{{stroke:{ink};stroke-width:1}}
.sf-lim{{stroke-dasharray:5 3}}
.sf-hair{{stroke:{hair};stroke-width:1}}
.sf-stone{{stroke:{stone};stroke-width:1}}
.sf-left{{stroke:{left};stroke-width:1.6}}
.sf-right{{stroke:{right};stroke-width:1.6}}
.sf-dash{{stroke-dasharray:6 2.5}}
.sf-dots{{stroke-dasharray:1.5 3}}
.sf-leg{{stroke-width:5}}
.sf-bone{{stroke-width:2.6}}
.sf-bone.sf-dash{{stroke-dasharray:6.5 5}}
.sf-thin{{stroke-width:1.1}}
.sf-streak{{fill:none;stroke:{finding};stroke-width:7;stroke-opacity:.75;stroke-linejoin:round}}
.sf-streak.sf-dots{{stroke-width:5;stroke-linecap:round;stroke-dasharray:.1 8}}
.sf-left-full{{fill:{left};stroke:{left};stroke-width:1}}
.sf-left-pale{{fill:{left};fill-opacity:.3;stroke:{left};stroke-width:1.4}}
.sf-right-full{{fill:url(#sf-hatch-{theme});stroke:{right};stroke-width:1.4}}
.sf-right-pale{{fill:url(#sf-hatch-{theme});stroke:{right};stroke-width:1.4}}
.sf-left-dot{{fill:{left};stroke:{paper};stroke-width:1}}
.sf-right-dot{{fill:{paper};stroke:{right};stroke-width:1.6}}
.sf-allowed{{fill:{allowed};fill-opacity:.28}}
.sf-ink-full{{fill:{ink}}}
.sf-ink-dot{{fill:{ink};stroke:{paper};stroke-width:1}}
.sf-ink-ring{{fill:{paper};stroke:{ink};stroke-width:1.6}}
.sf-earth{{fill:{earth}}}
.sf-hatched{{fill:url(#sf-earth-{theme})}}
.sf-open{{fill:none;stroke:{soft};stroke-width:1.1}}
.sf-hatch-line{{stroke:{right};stroke-width:1.7}}
.sf-earth-line{{stroke:{stone};stroke-width:.8}}
.sf-note{{paint-order:stroke;stroke:{paper};stroke-width:3.5;stroke-linejoin:round}}
.sf-faint{{opacity:{faint}}}
"""

_DEFS = (
    '<defs><pattern id="sf-hatch-{theme}" width="4.5" height="4.5" patternUnits="userSpaceOnUse" '
    'patternTransform="rotate(45)"><path class="sf-hatch-line" d="M0 0V4.5"/></pattern>'
    '<pattern id="sf-earth-{theme}" width="7" height="7" patternUnits="userSpaceOnUse" '
    'patternTransform="rotate(45)"><path class="sf-earth-line" d="M0 0V7"/></pattern></defs>'
)


def defs_of(theme: Theme = "auto") -> str:
    """Return the hatchings: the right foot's, and the earth's as a section shows it."""
    return _DEFS.format(theme=theme)


def _rules(paper: str, theme: Theme) -> str:
    """Return the rules of a paper for the pictures of a theme: several in one page don't colour each other."""
    lines = _RULES.replace("\\\n", "").format(face=FACE, theme=theme, **PAPERS[paper]).splitlines()
    whole = [line.partition("{") for line in lines]
    return "".join(
        ",".join(f".sf-{theme} {one}" for one in names.split(",")) + "{" + rest + "\n" for names, _, rest in whole
    )


def variables() -> str:
    """Return the same colours as variables of a page's style sheet, such as ``--left``, for light and dark screens."""

    def told(paper: str) -> str:
        colours = "".join(f"--{role}:{colour};" for role, colour in PAPERS[paper].items())
        return f":root{{{colours}--face:{FACE};color-scheme:{paper}}}"

    return f"{told('light')}\n@media screen and (prefers-color-scheme:dark){{{told('dark')}}}\n"


def style_of(theme: Theme = "auto") -> str:
    """Return the style sheet: one paper, or with ``auto`` the one that the screen asks for, light in print."""
    if theme == "auto":
        return f"{_rules('light', theme)}@media screen and (prefers-color-scheme:dark){{\n{_rules('dark', theme)}}}\n"
    return _rules(theme, theme)
