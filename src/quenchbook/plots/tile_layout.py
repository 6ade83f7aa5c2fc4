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
MOST_PLACES: Final = 14  # tiles of a column; a larger load goes on in the next column
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


TileColumn = tuple[int, int]  # load, and which part of it


@dataclass(frozen=True)
class Rows:
    """Rows of days, and the measure all of them share."""

    rows: tuple[tuple[tuple[int, tuple[TileColumn, ...]], ...], ...]  # row, (day, columns)
    pitch: float
    gap: float
    tile: float
    places: int  # tiles of the longest column

    def columns(self, row: int) -> list[tuple[int, int, float]]:
        """Load, part of it and middle of its column [pt]."""
        columns, left = [], MARGIN
        for _, own in self.rows[row]:
            for load, part in own:
                columns.append((load, part, left + self.tile / 2))
                left += self.pitch
            left += self.gap
        return columns


def rows_of(frame: pd.DataFrame) -> Rows:
    """Fill rows with whole days, as many as fit; the rows of a long day are alike."""
    days: list[tuple[int, tuple[TileColumn, ...]]] = []
    most = int(frame["load_place"].max())
    for day, group in frame.groupby("day", sort=True):
        sizes = group.groupby("furnace_load")["load_place"].max()
        own = [
            (int(cast(Any, load)), part)
            for load, size in sizes.items()
            for part in range(-(-int(size) // MOST_PLACES))
        ]
        in_a_row = -(-len(own) // -(-len(own) // LOADS_IN_A_ROW))
        for start in range(0, len(own), in_a_row):
            days.append((int(cast(Any, day)), tuple(own[start : start + in_a_row])))
    rows: list[list[tuple[int, tuple[TileColumn, ...]]]] = [[]]
    for item in days:
        longer = [*rows[-1], item]
        count = sum(len(own) for _, own in longer)
        if rows[-1] and (count > LOADS_IN_A_ROW or _pitch(longer, _DAY_GAP) < _LEAST_PITCH):
            rows.append([item])
        else:
            rows[-1] = longer
    widest = _MOST_PITCH if most <= MOST_PLACES else _MOST_TILE + 4.0
    pitch = min(widest, *(_pitch(row, _DAY_GAP) for row in rows))
    tile = min(_MOST_TILE, pitch - 4.0 if most > MOST_PLACES else pitch - 4.5)
    return Rows(tuple(map(tuple, rows)), pitch, _DAY_GAP, tile, min(most, MOST_PLACES))


def _pitch(row: Sequence[tuple[int, tuple[TileColumn, ...]]], gap: float) -> float:
    count = sum(len(own) for _, own in row)
    return (INNER + 4.5 - (len(row) - 1) * gap) / count


def day_names_fit(rows: Rows) -> bool:
    """Whether "Day 3" fits above the loads of every day."""
    return all(
        text_width(f"Day {day}", TITLE_PT, bold=True) < len(own) * rows.pitch + rows.gap - 6
        for line in rows.rows
        for day, own in line
    )
