"""Palette, marks and lines of every figure; nothing here changes a global setting."""

from __future__ import annotations

import contextlib
import string
import warnings
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.font_manager import FontProperties
from matplotlib.path import Path
from matplotlib.textpath import TextPath

from quenchbook.study.factors import Factor, Level, route_key

PAPER: Final = "#FDFCF9"
INK: Final = "#22262B"
PENCIL: Final = "#5A6069"
HAIRLINE: Final = "#DAD6CC"
GHOST: Final = "#BDB8AC"
CALM: Final = "#E3EAE3"
CALM_EDGE: Final = "#6F8577"
CALM_TEXT: Final = "#3F5447"
STRAW: Final = "#F3DFA6"
STRAW_EDGE: Final = "#8A6D1B"
LOAD: Final = "#E7E3DA"
COMMON: Final = "#EFEBE1"
CORE: Final = "#DAD5C8"
RIM: Final = "#F1EEE6"

FONT: Final = "DejaVu Sans"
TITLE_PT: Final = 9.5
TICK_PT: Final = 9.0
VALUE_PT: Final = 8.5
SMALL_PT: Final = 8.0

CURVE_PT: Final = 1.9
THIN_PT: Final = 0.9
TIE_PT: Final = 0.8
MEAN_PT: Final = 1.5
ESTIMATE_PT: Final = 2.6
END_PT: Final = 1.1
AXIS_PT: Final = 0.8
HAIRLINE_PT: Final = 0.7
CURVE_BAND: Final = 0.15
ESTIMATE_BAND: Final = 0.32

ABSENT: Final = "coupons without a reading"
COUPONS: Final = "coupons"  # label of the artists that hold one mark for each coupon

Dash = str | tuple[float, Sequence[float]]


@dataclass(frozen=True)
class MarkStyle:
    """How one level of a factor is drawn.

    Attributes
    ----------
    colour : str
        Edge of the mark, line and words.
    marker : str or Path
        Marker of matplotlib.
    size : float
        Width of the mark [pt].
    face : str
        Ground of the mark.
    half : bool
        Whether only the lower half of the mark is filled with `colour`.
    dot : bool
        Whether a dot stands in the middle.
    dash : str or tuple
        Line style, in line widths.
    """

    colour: str
    marker: str | Path
    size: float
    face: str
    half: bool = False
    dot: bool = False
    dash: Dash = "solid"


ROUTE_STYLES: Final[Mapping[str, MarkStyle]] = {
    "none": MarkStyle("#B0591B", "o", 5.2, PAPER, dash=(0.0, (1.0, 1.5))),
    "freezer": MarkStyle("#745A69", "s", 4.8, "#D5CBD1", dash=(0.0, (3.6, 1.7))),
    "dry_ice": MarkStyle("#2A4CA3", "^", 5.8, "#2A4CA3", dash=(0.0, (7.0, 1.8, 1.2, 1.8))),
    "liquid_nitrogen": MarkStyle("#1A2238", "D", 4.5, "#1A2238"),
}

NEUTRAL: Final = MarkStyle(INK, "o", 5.0, PAPER)

_NEUTRAL_STYLES: Final = (
    NEUTRAL,
    replace(NEUTRAL, dot=True),
    replace(NEUTRAL, half=True),
    replace(NEUTRAL, face=INK),
)  # ink circles from hollow to filled
_SQUARE: Final = replace(NEUTRAL, marker="s", size=4.8, dash=(0.0, (3.6, 1.7)))
_MORE_STYLES: Final = (
    _SQUARE,
    replace(_SQUARE, dot=True),
    replace(_SQUARE, half=True),
    replace(_SQUARE, face=INK),
)  # then squares, with dashed lines
_STROKE: Final = Path([(-0.24, -0.5), (0.24, 0.5)])  # steeper than the edge of a diamond
_LETTER_PT: Final = 6.5
_LETTERS: Final = string.ascii_uppercase + string.ascii_lowercase
_LETTER_FONT: Final = FontProperties(family=[FONT], weight="bold")
_NOT_DRAWING: Final = ("backend", "interactive", "webagg", "toolbar", "savefig.dir")


def mark_styles(factor: Factor | None) -> dict[Level, MarkStyle]:
    """Style of each level: the routes have their own, all else gets neutral ink marks.

    Parameters
    ----------
    factor : Factor or None
        None gives an empty mapping.
    """
    if factor is None:
        return {}
    if factor.name == "cold_route":
        keys = {level: route_key(level) for level in factor.levels}
        known = [key for key in keys.values() if key in ROUTE_STYLES]
        others = [level for level in factor.levels if keys[level] not in ROUTE_STYLES]
        if known and len(set(known)) == len(known):
            return {
                level: ROUTE_STYLES[key]
                if key in ROUTE_STYLES
                else _other_route_style(others.index(level))
                for level, key in keys.items()
            }
    return {level: neutral_style(i, len(factor.levels)) for i, level in enumerate(factor.levels)}


def _other_route_style(index: int) -> MarkStyle:
    """Ink mark of a route that is not in the table: none that is hollow, as no cold step is."""
    styles = (*_NEUTRAL_STYLES[:0:-1], *_MORE_STYLES[:0:-1])
    return styles[index] if index < len(styles) else neutral_style(index, len(_LETTERS))


def neutral_style(index: int, count: int) -> MarkStyle:
    """Ink mark of a level by its place among all; letters where there are more than four."""
    if count == 1:
        return NEUTRAL
    if count <= len(_NEUTRAL_STYLES):
        # two levels are hollow and filled, three have the half-filled one between them
        chosen = {2: (0, 3), 3: (0, 2, 3), 4: (0, 1, 2, 3)}[count]
        return _NEUTRAL_STYLES[chosen[index]]
    if count <= len(_NEUTRAL_STYLES) + len(_MORE_STYLES):
        return (*_NEUTRAL_STYLES, *_MORE_STYLES)[index]
    letter = _LETTERS[index % len(_LETTERS)]
    return MarkStyle(INK, _letter(letter), _LETTER_PT, INK)


def _letter(letter: str) -> Path:
    """Outline of a letter about its own middle."""
    outline = TextPath((0.0, 0.0), letter, size=10.0, prop=_LETTER_FONT)
    vertices = np.asarray(outline.vertices)
    middle = (vertices.min(axis=0) + vertices.max(axis=0)) / 2
    return Path(vertices - middle, outline.codes)


def draw_marks(
    axes: Axes,
    x: Sequence[float],
    y: Sequence[float],
    style: MarkStyle,
    *,
    scale: float = 1.0,
    label: str = "_marks",
    zorder: float = 5.0,
) -> None:
    """Draw one mark for each point in the style of a level."""
    letter = isinstance(style.marker, Path)
    (line,) = axes.plot(
        x, y, linestyle="none", marker=style.marker, markersize=style.size * scale,
        markeredgecolor=style.colour, markeredgewidth=0.0 if letter else 1.0,
        markerfacecolor=style.colour if style.half else style.face,
        markerfacecoloralt=style.face, fillstyle="bottom" if style.half else "full",
        label=label, zorder=zorder, clip_on=False,
    )  # fmt: skip
    line.set_solid_joinstyle("miter")
    if style.dot:
        axes.plot(
            x, y, linestyle="none", marker="o", markersize=0.38 * style.size * scale,
            markeredgewidth=0.0, markerfacecolor=style.colour, label="_dots", zorder=zorder + 0.1,
            clip_on=False,
        )  # fmt: skip


def draw_strikes(
    axes: Axes, x: Sequence[float], y: Sequence[float], *, size: float = 10.0, zorder: float = 5.6
) -> None:
    """Strike marks through: what they stand for is not as it was planned.

    Paper on both sides of the stroke keeps it in sight on a filled mark.
    """
    for width, colour, order in ((1.9, PAPER, zorder), (0.9, INK, zorder + 0.1)):
        axes.plot(
            x, y, linestyle="none", marker=_STROKE, markersize=size, markeredgewidth=width,
            markeredgecolor=colour, markerfacecolor="none", label="_strikes", zorder=order,
            clip_on=False,
        )  # fmt: skip


@contextlib.contextmanager
def drawing_rules(**more: object) -> Iterator[None]:
    """Draw with matplotlib's own defaults and our font, whatever the session has set."""
    ours: dict[Any, Any] = {
        "font.family": [FONT],
        "text.parse_math": False,  # a dollar sign in a label is a dollar sign
        "axes.unicode_minus": True,
        "path.simplify": False,
        **more,
    }
    defaults: dict[Any, Any] = {
        key: value
        for key, value in matplotlib.rcParamsDefault.items()
        if not key.startswith(_NOT_DRAWING)
    }
    with warnings.catch_warnings():
        # rc_context sets every key, the deprecated ones of matplotlib too
        warnings.simplefilter("ignore", matplotlib.MatplotlibDeprecationWarning)
        with matplotlib.rc_context({**defaults, **ours}):
            yield
