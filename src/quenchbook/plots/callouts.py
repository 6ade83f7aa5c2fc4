"""Words beside marks, put where they hide no mark, no line and no other words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from quenchbook.plots.sheet import Sheet, text_width
from quenchbook.plots.style import AXIS_PT, INK, PENCIL, VALUE_PT

Points = npt.NDArray[np.float64]

_LINE: Final = 11.0
_PAD: Final = 3.0
_GAP: Final = 4.0  # from the end of a leader to its mark [pt]
_HIDDEN: Final = 40.0  # cost of a hidden mark, as a longer leader [pt]
_IMPOSSIBLE: Final = 1e6
_NEAR: Final = 8.0  # so near to its mark a leader is always on the line [pt]
_APART: Final = 6.0  # words of two marks [pt]
_REACH: Final = (200.0, 110.0)


@dataclass(frozen=True)
class Box:
    """A box on a sheet [pt], its top above its bottom."""

    left: float
    top: float
    right: float
    bottom: float

    def touches(self, other: Box, slack: float = 0.0) -> bool:
        """Whether two boxes share a place."""
        return (
            self.left < other.right + slack
            and other.left < self.right + slack
            and self.top < other.bottom + slack
            and other.top < self.bottom + slack
        )

    def holds(self, points: Points, slack: float = 0.0) -> npt.NDArray[np.bool_]:
        """Which points lie inside, shape (points,)."""
        x, y = points[:, 0], points[:, 1]
        across = (x > self.left - slack) & (x < self.right + slack)
        return np.asarray(across & (y > self.top - slack) & (y < self.bottom + slack))

    def nearest(self, x: float, y: float) -> tuple[float, float]:
        """Place on the box that is nearest to a point."""
        return min(max(x, self.left), self.right), min(max(y, self.top), self.bottom)


@dataclass(frozen=True)
class Callout:
    """Words for one mark.

    Attributes
    ----------
    x, y : float
        Middle of the mark [pt].
    lines : tuple of str
    bold : bool
    clear : float
        Radius around the mark that the leader keeps clear [pt].
    """

    x: float
    y: float
    lines: tuple[str, ...]
    bold: bool = False
    clear: float = _GAP

    @property
    def width(self) -> float:
        """Width of the words [pt]."""
        return max(text_width(line, VALUE_PT, bold=self.bold) for line in self.lines)

    @property
    def height(self) -> float:
        """Height of the words [pt]."""
        return _LINE * len(self.lines)


def draw_callouts(
    sheet: Sheet,
    callouts: Sequence[Callout],
    room: Box,
    *,
    marks: Points,
    path: Points,
    taken: Sequence[Box] = (),
) -> list[Box]:
    """Write words beside marks, each with a leader; words without a free place are left out.

    Parameters
    ----------
    sheet : Sheet
    callouts : sequence of Callout
        The most important first.
    room : Box
        Where words may stand.
    marks : ndarray, shape (marks, 2)
        Middles of marks that should stay visible [pt].
    path : ndarray, shape (points, 2)
        A line that words must not cross, as points close to each other [pt].
    taken : sequence of Box
        Words that stand already.

    Returns
    -------
    list of Box
        Where the words stand.
    """
    boxes = list(taken)
    placed: list[Box] = []
    for callout in callouts:
        box = _best_box(callout, room, marks, path, boxes)
        if box is None:
            continue
        x, y = box.nearest(callout.x, callout.y)
        away = float(np.hypot(x - callout.x, y - callout.y))
        if away > callout.clear + 5.0:
            share = callout.clear / away
            end = (callout.x + share * (x - callout.x), callout.y + share * (y - callout.y))
            sheet.line((x, end[0]), (y, end[1]), PENCIL, AXIS_PT, zorder=4)
        for number, line in enumerate(callout.lines):
            sheet.text(
                box.left + _PAD, box.top + _PAD + 8.5 + _LINE * number, line,
                size=VALUE_PT, colour=INK, bold=callout.bold,
            )  # fmt: skip
        boxes.append(box)
        placed.append(box)
    return placed


def _best_box(
    callout: Callout, room: Box, marks: Points, path: Points, taken: Sequence[Box]
) -> Box | None:
    width, height = callout.width + 2 * _PAD, callout.height + 2 * _PAD
    best, least = None, _IMPOSSIBLE
    for dx in np.arange(-_REACH[0], _REACH[0] + 1, 8.0):
        for dy in np.arange(-_REACH[1], _REACH[1] + 1, 6.0):
            left, top = callout.x + dx, callout.y + dy
            box = Box(left, top, left + width, top + height)
            if box.left < room.left or box.right > room.right:
                continue
            if box.top < room.top or box.bottom > room.bottom:
                continue
            if any(box.touches(other, _APART) for other in taken):
                continue
            cost = _cost(callout, box, marks, path, taken)
            if cost < least:
                best, least = box, cost
    return best


def _cost(callout: Callout, box: Box, marks: Points, path: Points, taken: Sequence[Box]) -> float:
    x, y = box.nearest(callout.x, callout.y)
    length = float(np.hypot(x - callout.x, y - callout.y))
    if length < callout.clear + 1.0 or box.holds(path).any():
        return _IMPOSSIBLE
    share = np.linspace(0.0, 1.0, max(2, int(length / 2.0)))[:, None]
    leader = (1 - share) * np.array([[x, y]]) + share * np.array([[callout.x, callout.y]])
    if any(other.holds(leader).any() for other in taken):
        return _IMPOSSIBLE
    outer = leader[np.hypot(leader[:, 0] - callout.x, leader[:, 1] - callout.y) > _NEAR]
    crossed = along = 0
    if len(outer):
        crossed = int((_distances(outer, marks).min(axis=0) < 3.0).sum()) if len(marks) else 0
        along = int((_distances(outer, path).min(axis=1) < 3.0).sum()) if len(path) else 0
    hidden = int(box.holds(marks, 2.5).sum())
    return length + _HIDDEN * hidden + 6.0 * crossed + 3.0 * along


def _distances(first: Points, second: Points) -> Points:
    return np.asarray(np.linalg.norm(first[:, None, :] - second[None, :, :], axis=2))
