"""Coupons of one unit tied by a thin upright line with a dash at their mean, and its key."""

from __future__ import annotations

from typing import TYPE_CHECKING

from quenchbook.plots.style import MEAN_PT, PENCIL, TIE_PT
from quenchbook.study.terms import Array

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from quenchbook.plots.sheet import Sheet


def draw_tie(axes: Axes, x: Array, y: Array, colour: str, half: float) -> None:
    """Tie the coupons of one unit; nothing for a single one.

    Parameters
    ----------
    axes : Axes
    x, y : ndarray, shape (coupons,)
    colour : str
    half : float
        Half the length of the dash [units of x].
    """
    if len(x) < 2:
        return
    middle, mean = float(x.mean()), float(y.mean())
    axes.plot([middle, middle], [y.min(), y.max()], color=colour, linewidth=TIE_PT, zorder=4)
    axes.plot(
        [middle - half, middle + half], [mean, mean], color=colour, linewidth=MEAN_PT,
        solid_capstyle="butt", zorder=4,
    )  # fmt: skip


def draw_tie_key(sheet: Sheet, left: float, middle: float) -> None:
    """Mark of a tie in the key below a figure."""
    sheet.line((left + 4, left + 4), (middle - 5, middle + 5), PENCIL, TIE_PT)
    sheet.line((left + 1, left + 7), (middle, middle), PENCIL, MEAN_PT)
