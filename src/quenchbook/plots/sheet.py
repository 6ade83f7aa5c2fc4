"""One figure as a sheet of paper: places in points from the top left, panels, measured words."""

from __future__ import annotations

import functools
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon, Rectangle
from matplotlib.text import Text
from matplotlib.textpath import text_to_path

from quenchbook.plots.style import AXIS_PT, FONT, INK, PAPER, PENCIL, VALUE_PT

WIDTH_IN: Final = 4.6
WIDTH: Final = WIDTH_IN * 72.0
MARGIN: Final = 8.0
INNER: Final = WIDTH - 2 * MARGIN
_MISSING: Final = "\u25a1"


def new_figure(height_in: float, width_in: float = WIDTH_IN) -> Figure:
    """Make an empty figure on paper, 4.6 in wide unless said otherwise.

    Parameters
    ----------
    height_in, width_in : float
        Size [in].
    """
    return Figure(figsize=(width_in, height_in), facecolor=PAPER)


@functools.cache
def _font(bold: bool, family: str = FONT) -> tuple[FontProperties, frozenset[int]]:
    properties = FontProperties(family=[family], weight="bold" if bold else "normal")
    return properties, frozenset(get_font(findfont(properties)).get_charmap())


def printable(text: str) -> str:
    """Text with one blank for each control character and a box for what the font lacks."""
    known = _font(False)[1] & _font(True)[1]
    signs = (
        " " if unicodedata.category(sign) in ("Cc", "Zl", "Zp") else sign for sign in str(text)
    )
    return "".join(sign if ord(sign) in known else _MISSING for sign in signs)


@functools.lru_cache(maxsize=4096)
def text_width(text: str, size: float, *, bold: bool = False, family: str = FONT) -> float:
    """Width of a text [pt]."""
    if not text:
        return 0.0
    properties, known = _font(bold, family)
    properties = properties.copy()
    properties.set_size(size)
    text = printable(text)
    if family != FONT:  # what it lacks is drawn in our usual font, about as wide as its widest
        text = "".join(sign if ord(sign) in known else "M" for sign in text)
    width, _, _ = text_to_path.get_text_width_height_descent(text, properties, False)
    return float(width)


def wrapped(
    text: str, width: float, size: float, *, bold: bool = False, family: str = FONT
) -> list[str]:
    """Lines of a text that are no wider than `width` [pt]; a longer word is cut.

    Breaks only at plain blanks: a no-break space keeps number and unit together.
    """
    lines: list[str] = []
    line = ""
    for word in printable(text).split(" "):
        joined = f"{line} {word}" if line else word
        if text_width(joined, size, bold=bold, family=family) <= width:
            line = joined
            continue
        if line:
            lines.append(line)
        while text_width(word, size, bold=bold, family=family) > width and len(word) > 1:
            cut = max(
                (
                    n
                    for n in range(1, len(word))
                    if text_width(word[:n], size, bold=bold, family=family) <= width
                ),
                default=1,
            )
            lines.append(word[:cut])
            word = word[cut:]
        line = word
    return [*lines, line] if line else lines or [""]


@dataclass
class Panel:
    """Axes on a sheet, with the place of each value in points of the sheet.

    Attributes
    ----------
    axes : Axes
    left, top, width, height : float
        Place on the sheet [pt].
    x_limits, y_limits : tuple of float
        Values at the edges.
    """

    axes: Axes
    left: float
    top: float
    width: float
    height: float
    x_limits: tuple[float, float]
    y_limits: tuple[float, float]

    def x_place(self, value: float) -> float:
        """Distance of a value from the left edge of the sheet [pt]."""
        low, high = self.x_limits
        return self.left + (value - low) / (high - low) * self.width

    def y_place(self, value: float) -> float:
        """Distance of a value from the top edge of the sheet [pt]."""
        low, high = self.y_limits
        return self.top + (high - value) / (high - low) * self.height

    def x_points(self, points: float) -> float:
        """Difference in x that is `points` wide."""
        return points / self.width * (self.x_limits[1] - self.x_limits[0])


class Sheet:
    """A figure whose ground counts points from the top left corner.

    Parameters
    ----------
    height, width : float
        Size [pt].
    """

    def __init__(self, height: float, width: float = WIDTH) -> None:
        self.height = height
        self.width = width
        self.figure = new_figure(height / 72.0, width / 72.0)
        self.ground: Axes = self.figure.add_axes((0.0, 0.0, 1.0, 1.0))
        self.ground.set_axis_off()
        self.ground.set_xlim(0.0, width)
        self.ground.set_ylim(height, 0.0)
        self.ground.set_zorder(2)

    def panel(
        self,
        left: float,
        top: float,
        width: float,
        height: float,
        x_limits: tuple[float, float],
        y_limits: tuple[float, float],
    ) -> Panel:
        """Add empty axes without frame or ticks."""
        axes = self.figure.add_axes(
            (
                left / self.width,
                1.0 - (top + height) / self.height,
                width / self.width,
                height / self.height,
            )
        )
        axes.patch.set_visible(False)
        axes.set_axis_off()
        axes.set_xlim(*x_limits)
        axes.set_ylim(*y_limits)
        axes.set_zorder(1)
        return Panel(axes, left, top, width, height, x_limits, y_limits)

    def text(
        self,
        x: float,
        y: float,
        text: str,
        *,
        size: float = VALUE_PT,
        colour: str = INK,
        bold: bool = False,
        align: str = "left",
        family: str = FONT,
    ) -> Text:
        """Write one line; `y` is its baseline."""
        more: dict[str, Any] = {} if family == FONT else {"family": [family, FONT]}
        return self.ground.text(
            x, y, printable(text), size=size, color=colour, ha=align, va="baseline",
            weight="bold" if bold else "normal", zorder=6,
            **more,
        )  # fmt: skip

    def line(
        self, x: Sequence[float], y: Sequence[float], colour: str, width: float, **more: Any
    ) -> None:
        """Draw a line through places [pt]."""
        more = {"solid_capstyle": "butt", "zorder": 3, **more}
        self.ground.add_line(Line2D(x, y, color=colour, linewidth=width, **more))

    def box(
        self,
        left: float,
        top: float,
        width: float,
        height: float,
        *,
        face: str,
        edge: str = "none",
        edge_width: float = 0.0,
        alpha: float | None = None,
        zorder: float = 1,
    ) -> None:
        """Draw a box with square corners."""
        self.ground.add_patch(
            Rectangle(
                (left, top),
                width,
                height,
                facecolor=face,
                edgecolor=edge,
                linewidth=edge_width,
                alpha=alpha,
                zorder=zorder,
                joinstyle="miter",
            )
        )

    def arrow(self, x: float, y: float, sign: int, *, size: float = 5.0, colour: str = INK) -> None:
        """Draw an arrow head with its tip at `x`: the interval runs on."""
        back = x - sign * size
        corners = [(x, y), (back, y - 0.7 * size), (back, y + 0.7 * size)]
        self.ground.add_patch(
            Polygon(corners, closed=True, facecolor=colour, linewidth=0, zorder=5)
        )

    def axis_line(self, left: float, right: float, y: float) -> None:
        """Draw the one axis line of a panel."""
        self.line((left, right), (y, y), PENCIL, AXIS_PT)

    def tick(self, x: float, y: float, text: str, *, size: float) -> None:
        """Draw a tick under the axis line at `y` with its words."""
        self.line((x, x), (y, y + 3.0), PENCIL, AXIS_PT)
        if text:
            half = text_width(text, size) / 2 + 1.0
            inside = min(max(x, half), self.width - half)
            self.text(inside, y + 5.5 + 0.76 * size, text, size=size, align="center")
