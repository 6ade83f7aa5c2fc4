"""Say what was run differently from the plan: a line for a factor, single lines for what is far."""

from __future__ import annotations

from itertools import pairwise
from typing import Any, Final

from quenchbook.records.nearest_level import analysed_level
from quenchbook.study.definition import Study
from quenchbook.study.factors import Factor
from quenchbook.units import capital

# Nearer to the plan than this is told in one line for a factor; common practice, no source.
NEAR_DELTA_C: Final = 5.0
NEAR_SHARE: Final = 0.10  # of a time or a length

Rows = list[dict[str, Any]]


def as_run_notes(factor: Factor, rows: Rows, study: Study) -> list[str]:
    """Notes on the levels of a factor that were run differently.

    Parameters
    ----------
    factor : Factor
    rows : list of dict
        Rows of the deviations of this factor, each near enough to a declared level.
    study : Study
    """
    changed = [row for row in rows if row["actual"] != row["planned"]]
    single = [row for row in changed if _is_far(factor, row) or _is_outside(factor, row)]
    if len(changed) == 1:
        single = changed
    notes = [] if len(single) == len(changed) else [_in_one_line(factor, changed, study)]
    return notes + [_line(factor, row, study) for row in single]


def _planned(row: dict[str, Any]) -> float | None:
    planned = row["planned"]
    return planned if isinstance(planned, float) and planned == planned else None


def _is_far(factor: Factor, row: dict[str, Any]) -> bool:
    """Whether a level deserves its own line: named, not planned at all, or far from the plan."""
    planned = _planned(row)
    if not factor.is_numeric or planned is None:
        return True
    near = NEAR_DELTA_C if factor.dimension == "temperature" else NEAR_SHARE * planned
    return abs(float(row["actual"]) - planned) > near


def _is_outside(factor: Factor, row: dict[str, Any]) -> bool:
    """Whether a curve would be continued by more than its smallest step."""
    if not factor.is_numeric or factor.shape == "levels":
        return False
    levels = sorted(float(level) for level in factor.levels)
    step = min(b - a for a, b in pairwise(levels))
    actual = float(row["actual"])
    return max(levels[0] - actual, actual - levels[-1]) > step


def _line(factor: Factor, row: dict[str, Any], study: Study) -> str:
    unit = f"{study.unit_word(row['what'])} {row['which']}"
    text = f"{capital(factor.title)} of {unit} was {factor.word(row['actual'])}"
    planned = row["planned"]
    if planned is not None and planned == planned and planned != "":
        text += f", planned {factor.word(planned)}"
    level = analysed_level(factor, row["actual"])
    if level is not None and level != row["actual"]:
        return f"{text}: analysed as {factor.word(level)}, the nearest declared level."
    if _is_outside(factor, row):
        low, high = min(factor.levels), max(factor.levels)
        return (
            f"{text}: analysed as it was run, outside the tested range "
            f"({factor.word(low)} to {factor.word(high)})."
        )
    return f"{text}: analysed as it was run."


def _in_one_line(factor: Factor, rows: Rows, study: Study) -> str:
    off = [
        (abs(float(row["actual"]) - planned), row)
        for row in rows
        if factor.is_numeric and (planned := _planned(row)) is not None
    ]
    units = {str(row["what"]) for row in rows}
    unit = units.pop() if len(units) == 1 else ""
    where = f"{len(rows)} {study.unit_word(unit, len(rows))}" if unit else f"{len(rows)} places"
    text = f"{capital(factor.title)} was not exactly as planned in {where}"
    if off:
        most, row = max(off, key=lambda pair: pair[0])
        at = f"{study.unit_word(row['what'])} {row['which']}"
        text += f", at most {factor.difference_word(round(most, 1))} off ({at})"
    if factor.shape == "levels":
        return f"{text}: analysed as the nearest declared level."
    return f"{text}: analysed as it was run."
