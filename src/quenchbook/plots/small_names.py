"""Names of the curves of a small figure: beside their curve, or above it where no place is free."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from quenchbook.plots.sheet import Panel, Sheet, text_width
from quenchbook.plots.style import PAPER, MarkStyle, draw_marks

Box = tuple[float, float, float, float]
"""Left, top, width, height [pt]."""

_POINTS: Final = 200  # places along a line that a name may not cover


@dataclass(frozen=True)
class Group:
    """One group with what is drawn of it."""

    key: str
    words: str
    style: MarkStyle
    line: pd.DataFrame
    coupons: pd.DataFrame


def names_width(groups: list[Group], size: float) -> float:
    """Width of all names with their marks on one line [pt]."""
    return sum(_name_width(group, size) for group in groups)


def draw_names(
    sheet: Sheet, panel: Panel, groups: list[Group], marks: np.ndarray, lines: list[np.ndarray],
    row: float, *, size: float, reach: float,
) -> None:  # fmt: skip
    """Write the name of each group where it hides nothing, or all names on a line above.

    Parameters
    ----------
    sheet : Sheet
    panel : Panel
    groups : list of Group
    marks : ndarray, shape (coupons, 2)
        Places of all coupons on the sheet [pt].
    lines : list of ndarray, shape (points, 2)
        Ties and plumb lines [pt].
    row : float
        Baseline of the line above [pt].
    size : float
        Size of type [pt].
    reach : float
        Half a mark [pt].
    """
    boxes = _free_places(panel, groups, marks, lines, size, reach)
    if boxes is None:
        _draw_above(sheet, panel, groups, row, size)
        return
    for (left, top, width, height), group in zip(boxes, groups, strict=True):
        sheet.box(left - 2, top, width + 4, height, face=PAPER, alpha=0.75, zorder=5)
        sheet.text(left, top + 0.98 * size, group.words, size=size, colour=group.style.colour,
                   bold=True)  # fmt: skip


def _draw_above(sheet: Sheet, panel: Panel, groups: list[Group], row: float, size: float) -> None:
    """All names with their marks at the right end of a line."""
    left = panel.left + panel.width - names_width(groups, size) + size
    for group in groups:
        draw_marks(sheet.ground, [left + 0.4 * size], [row - 0.34 * size], group.style,
                   scale=0.11 * size, zorder=6)  # fmt: skip
        sheet.text(left + size, row, group.words, size=size, colour=group.style.colour, bold=True)
        left += _name_width(group, size)


def _name_width(group: Group, size: float) -> float:
    return text_width(group.words, size, bold=True) + 2.0 * size


def _free_places(
    panel: Panel, groups: list[Group], marks: np.ndarray, lines: list[np.ndarray], size: float,
    reach: float,
) -> list[Box] | None:  # fmt: skip
    """Place of each name that meets no mark, tie, curve or other name; None if one has none."""
    curves = [_dense(panel, group) for group in groups]
    inked = np.vstack([*curves, *lines]) if lines else np.vstack(curves)
    taken: list[Box] = []
    for own, group in enumerate(groups):
        width = text_width(group.words, size, bold=True)
        best: tuple[float, Box] | None = None
        for share in np.linspace(0.0, 1.0, 25):
            at = curves[own][round(share * (len(curves[own]) - 1))]
            for away in (-3.2, -2.2, -1.2, 1.2, 2.2, 3.2):
                left = min(max(at[0] - width / 2, panel.left), panel.left + panel.width - width)
                middle = at[1] + away * size
                box = (left, middle - 0.62 * size, width, 1.24 * size)
                nearest = [np.abs(line - (left + width / 2, middle)).sum(axis=1).min()
                           for place, line in enumerate(curves) if place != own]  # fmt: skip
                if (
                    _covers(box, marks, reach) or _covers(box, inked, 0.08 * size)
                    or any(_meet(box, other) for other in taken)
                    or not panel.top <= box[1] <= box[1] + box[3] <= panel.top + panel.height
                    or any(gap < abs(away) * size for gap in nearest)
                ):  # fmt: skip
                    continue
                cost = 0.6 * abs(away) + 6 * _in_a_band(panel, groups, box)
                if best is None or cost < best[0]:
                    best = (cost, box)
        if best is None:
            return None
        taken.append(best[1])
    return taken


def _dense(panel: Panel, group: Group) -> np.ndarray:
    """Places along a curve, near enough that no name slips between two."""
    x, y = (group.line[name].to_numpy(dtype=float) for name in ("x", "value"))
    every = np.linspace(x.min(), x.max(), _POINTS)
    heights = np.interp(every, x, y)
    return np.column_stack(
        [[panel.x_place(own) for own in every], [panel.y_place(own) for own in heights]]
    )


def _in_a_band(panel: Panel, groups: list[Group], box: Box) -> int:
    """Bands that the middle line of a box meets."""
    low, high = panel.x_limits
    places = np.linspace(box[0], box[0] + box[2], 5)
    x = low + (places - panel.left) / panel.width * (high - low)
    met = 0
    for group in groups:
        ends = [
            np.array([panel.y_place(y) for y in np.interp(x, group.line["x"], group.line[name])])
            for name in ("conf_high", "conf_low")
        ]
        inside = (x >= group.line["x"].min()) & (x <= group.line["x"].max())
        met += bool((inside & (ends[0] < box[1] + box[3]) & (box[1] < ends[1])).any())
    return met


def _covers(box: Box, points: np.ndarray, reach: float) -> bool:
    """Whether a box comes nearer than `reach` to any point."""
    left, top, width, height = box
    inside = (
        (points[:, 0] > left - 2 - reach) & (points[:, 0] < left + width + 2 + reach)
        & (points[:, 1] > top - reach) & (points[:, 1] < top + height + reach)
    )  # fmt: skip
    return bool(inside.any())


def _meet(first: Box, second: Box) -> bool:
    return (
        first[0] < second[0] + second[2] and second[0] < first[0] + first[2]
        and first[1] < second[1] + second[3] and second[1] < first[1] + first[3]
    )  # fmt: skip
