"""The coupon matrix as it was really run, beside what was planned."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from quenchbook.errors import Problem
from quenchbook.plan.randomization import CouponMatrix
from quenchbook.study.definition import Study
from quenchbook.study.factors import UNITS, Factor, Level

_MANY = 2  # more settings of a factor than this are told in one sentence


def matrix_as_run(
    matrix: CouponMatrix, deviations: pd.DataFrame
) -> tuple[pd.DataFrame, list[str], list[Problem]]:
    """Coupon matrix with actual levels, ``<column>_planned`` beside each factor column.

    A factor analysed as a curve or a line takes the actual value. A factor analysed by levels takes
    the nearest declared level, on log(1 + minutes) for a time. What is told for one coupon goes
    before what is told for its batch, and that before what is told for its load.

    Parameters
    ----------
    matrix : CouponMatrix
    deviations : DataFrame
        Deviations of `Records`.

    Returns
    -------
    frame : DataFrame
    notes : list of str
        What is analysed as something else than planned.
    problems : list of Problem
        Levels of a factor that does not exist for the coupons, or that are not told.
    """
    study = matrix.study
    frame = matrix.frame.copy()
    notes: list[str] = []
    problems: list[Problem] = []
    rows: list[dict[str, Any]] = [
        {str(key): value for key, value in row.items()} for row in deviations.to_dict("records")
    ]
    rows.sort(key=lambda row: UNITS.index(row["what"]))
    for factor in study.factors:
        own = [row for row in rows if row["item"] == factor.name]
        place = int(frame.columns.get_loc(factor.column)) + 1  # type: ignore[arg-type]
        frame.insert(place, f"{factor.column}_planned", matrix.frame[factor.column])
        values = matrix.frame[factor.column].tolist()
        exists = _exists(factor, study, frame)
        for row in own:
            label = frame[row["what"]].astype(str) == row["which"]
            here = [same and there for same, there in zip(label, exists, strict=True)]
            at = [i for i, chosen in enumerate(here) if chosen]
            if not at:
                problems.append(_no_meaning(row, factor, study))
            for i in at:
                values[i] = _analysed(factor, row["actual"])
        blank: Level = math.nan if factor.is_numeric else ""
        values = [value if there else blank for value, there in zip(values, exists, strict=True)]
        frame[factor.column] = pd.Series(values, index=frame.index).astype(
            matrix.frame[factor.column].dtype
        )
        notes += [note[:1].upper() + note[1:] for note in _notes(factor, own, study)]
        if factor.nested_in:
            problems += _not_told(factor, study, frame, exists, rows)
    return frame, notes, problems


def _exists(factor: Factor, study: Study, frame: pd.DataFrame) -> list[bool]:
    if not factor.nested_in:
        return [True] * len(frame)
    parent = study.factor(factor.nested_in)
    return [bool(here) for here in frame[parent.column].isin(factor.exists_for)]


def _analysed(factor: Factor, actual: Level) -> Level:
    """Level that enters the analysis for an actual level."""
    if not factor.is_numeric or factor.shape != "levels":
        return actual

    def scale(value: Level) -> float:
        return math.log1p(float(value)) if factor.dimension == "time" else float(value)

    return min(factor.levels, key=lambda level: abs(scale(level) - scale(actual)))


def _no_meaning(row: dict[str, Any], factor: Factor, study: Study) -> Problem:
    parent = study.factor(factor.nested_in)
    levels = ", ".join(parent.word(level) for level in factor.exists_for)
    return Problem(
        f"{row['file']} row {row['row']}",
        f"{factor.name} has no meaning for {study.unit_word(row['what'])} {row['which']}: "
        f"it exists only for {levels}",
        f"Correct the label, or tell first that {parent.name} was different.",
    )


def _not_told(
    factor: Factor,
    study: Study,
    frame: pd.DataFrame,
    exists: list[bool],
    rows: list[dict[str, Any]],
) -> list[Problem]:
    """Coupons that came to need a level of this factor, without one."""
    parent = study.factor(factor.nested_in)
    told = [_is_told(value) for value in frame[factor.column]]
    blank = [i for i, there in enumerate(exists) if there and not told[i]]
    problems = []
    for row in (row for row in rows if row["item"] == parent.name and blank):
        label = frame[row["what"]].astype(str) == row["which"]
        if any(label.iloc[i] for i in blank):
            word = f"{study.unit_word(row['what'])} {row['which']}"
            example = factor.word(factor.levels[0]).replace("\u00a0", " ")
            problems.append(
                Problem(
                    f"{row['file']} row {row['row']}",
                    f"{parent.title} of {word} was {parent.word(row['actual'])}, "
                    f"but its {factor.title} is not told",
                    f"Add a row: {row['what']},{row['which']},{factor.name},{example}",
                )
            )
    return problems


def _is_told(value: object) -> bool:
    return value == value and value != ""


def _notes(factor: Factor, rows: list[dict[str, Any]], study: Study) -> list[str]:
    """Say what was run differently and what it is analysed as."""
    changed = [row for row in rows if row["actual"] != row["planned"]]
    if factor.is_numeric and factor.shape != "levels" and len(changed) > _MANY:
        return [_notes_in_one(factor, changed, study)]
    notes = []
    for row in changed:
        unit = f"{study.unit_word(row['what'])} {row['which']}"
        text = f"{factor.title} of {unit} was {factor.word(row['actual'])}"
        if _is_told(row["planned"]) and row["planned"] is not None:
            text += f", planned {factor.word(row['planned'])}"
        level = _analysed(factor, row["actual"])
        if level != row["actual"]:
            notes.append(f"{text}: analysed as {factor.word(level)}, the nearest declared level.")
        else:
            notes.append(f"{text}: analysed as it was run.")
    return notes


def _notes_in_one(factor: Factor, rows: list[dict[str, Any]], study: Study) -> str:
    off = [
        (abs(float(row["actual"]) - float(row["planned"])), row)
        for row in rows
        if isinstance(row["planned"], float) and row["planned"] == row["planned"]
    ]
    units = {str(row["what"]) for row in rows}
    unit = units.pop() if len(units) == 1 else ""
    where = f"{len(rows)} {study.unit_word(unit, len(rows))}" if unit else f"{len(rows)} places"
    text = f"{factor.title} was logged for {where}"
    if off:
        most, row = max(off, key=lambda pair: pair[0])
        at = f"{study.unit_word(row['what'])} {row['which']}"
        text += f", at most {factor.word(round(most, 1))} from the plan ({at})"
    return f"{text}: analysed as it was run."
