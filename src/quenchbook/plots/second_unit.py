"""The other unit in a figure: a second line under the ticks, and its name in the axis title."""

from __future__ import annotations

from typing import Final

from quenchbook.both_units import Printed
from quenchbook.plots.sheet import Panel, Sheet
from quenchbook.plots.style import PENCIL, SMALL_PT, TICK_PT

_UNDER: Final = 11.0  # room of a second line [pt]
_FEWER: Final = 0.65  # ticks of an upright axis where each has two lines


def under_room(printed: Printed) -> float:
    """Room that a second line under the ticks takes [pt]; 0 where there is none."""
    return _UNDER if printed.other is not None else 0.0


def axis_words(title: str, printed: Printed, *, more: str = "") -> str:
    """Title of an axis: ``Austenitize, °C (below in °F)``; more about it in the same brackets."""
    beside = f"below in {printed.other.unit}" if printed.other is not None else ""
    notes = "; ".join(filter(None, (beside, more)))
    return f"{title} ({notes})" if notes else title


def most_ticks(most: int, printed: Printed) -> int:
    """Most intervals of an upright axis: fewer where ticks have two lines."""
    return int(most * _FEWER) if printed.other is not None else most


def draw_y_tick(sheet: Sheet, panel: Panel, place: float, words: str, *, under: str = "") -> None:
    """Write the words of a tick left of a panel, with the other unit below them.

    Parameters
    ----------
    sheet : Sheet
    panel : Panel
    place : float
        On the upright axis of the panel.
    words : str
    under : str
        The same value in the other unit; empty for none.
    """
    right, y = panel.left - 5.0, panel.y_place(place) + 0.36 * TICK_PT
    if under:
        y -= 4.5
        sheet.text(right, y + 9.0, under, size=SMALL_PT, colour=PENCIL, align="right")
    sheet.text(right, y, words, size=TICK_PT, align="right")
