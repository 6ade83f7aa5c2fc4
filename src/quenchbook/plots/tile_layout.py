"""Layout of the coupon tiles: which factor is drawn as what, and rows of days."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, cast

import pandas as pd

from quenchbook.plots.sheet import INNER, MARGIN, text_width
from quenchbook.plots.style import TITLE_PT
from quenchbook.study.factors import Factor

if TYPE_CHECKING:
    from quenchbook.study.definition import Study

LOADS_IN_A_ROW: Final = 14
_LEAST_PITCH: Final = 20.0
_MOST_PITCH: Final = 56.0
_MOST_TILE: Final = 21.0
_DAY_GAP: Final = 14.0
_MOST_STROKES: Final = 5


@dataclass(frozen=True)
class Roles:
    """Which factor is drawn as what."""

    step: Factor | None
    mark: Factor | None
    strokes: Factor | None
    frame: Factor | None
    left_out: tuple[Factor, ...]


def roles_of(study: Study) -> Roles:
    """Choose what each factor of a study is drawn as."""

    def first(*kinds: Sequence[Factor]) -> Factor | None:
        found = next((factor for kind in kinds for factor in kind), None)
        if found is not None:
            rest.remove(found)
        return found

    rest = list(study.factors)
    step = first([f for f in rest if f.set_for == "furnace_load"])
    frame = first(
        [f for f in rest if f.name == "temper"], [f for f in rest if f.set_for == "temper_batch"]
    )
    inner = [f for f in rest if f.set_for != "furnace_load"]
    mark = first(
        [f for f in inner if f.name == "cold_route"],
        [f for f in inner if not f.is_numeric and not f.nested_in],
        [f for f in inner if not f.nested_in],
        [f for f in rest if not f.is_numeric],
    )
    fine = [f for f in rest if len(f.levels) <= _MOST_STROKES]
    strokes = first([f for f in fine if f.nested_in], fine)
    return Roles(step, mark, strokes, frame, tuple(rest))


@dataclass(frozen=True)
class Rows:
    """Rows of days, and the measure all of them share."""

    rows: tuple[tuple[tuple[int, tuple[int, ...]], ...], ...]  # row, (day, loads)
    pitch: float
    gap: float
    tile: float

    def columns(self, row: int) -> list[tuple[int, int, float]]:
        """Day, load and middle of its column [pt]."""
        columns, left = [], MARGIN
        for day, loads in self.rows[row]:
            for load in loads:
                columns.append((day, load, left + self.tile / 2))
                left += self.pitch
            left += self.gap
        return columns


def rows_of(frame: pd.DataFrame) -> Rows:
    """Fill rows with whole days, as many as fit."""
    days: list[tuple[int, tuple[int, ...]]] = []
    for day, group in frame.groupby("day", sort=True):
        loads = sorted({int(load) for load in group["furnace_load"]})
        for start in range(0, len(loads), LOADS_IN_A_ROW):
            days.append((int(cast(Any, day)), tuple(loads[start : start + LOADS_IN_A_ROW])))
    rows: list[list[tuple[int, tuple[int, ...]]]] = [[]]
    for item in days:
        longer = [*rows[-1], item]
        count = sum(len(loads) for _, loads in longer)
        if rows[-1] and (count > LOADS_IN_A_ROW or _pitch(longer, _DAY_GAP) < _LEAST_PITCH):
            rows.append([item])
        else:
            rows[-1] = longer
    pitch = min(_MOST_PITCH, *(_pitch(row, _DAY_GAP) for row in rows))
    tile = min(_MOST_TILE, pitch - 4.5)
    return Rows(tuple(tuple(row) for row in rows), pitch, _DAY_GAP, tile)


def _pitch(row: Sequence[tuple[int, tuple[int, ...]]], gap: float) -> float:
    count = sum(len(loads) for _, loads in row)
    return (INNER + 4.5 - (len(row) - 1) * gap) / count


def day_names_fit(rows: Rows) -> bool:
    """Whether "Day 3" fits above the loads of every day."""
    return all(
        text_width(f"Day {day}", TITLE_PT, bold=True) < len(loads) * rows.pitch + rows.gap - 6
        for line in rows.rows
        for day, loads in line
    )
