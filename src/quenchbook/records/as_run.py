"""The coupon matrix as it was really run, beside what was planned."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from quenchbook.errors import Problem
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.as_run_notes import as_run_notes
from quenchbook.records.labels import csv_row
from quenchbook.records.moved_coupons import with_moves
from quenchbook.records.nearest_level import analysed_level, distance_words
from quenchbook.study.definition import Study
from quenchbook.study.factors import UNITS, Factor, Level
from quenchbook.units import capital

Rows = list[dict[str, Any]]


def matrix_as_run(
    matrix: CouponMatrix, deviations: pd.DataFrame, *, as_analysed: bool = True
) -> tuple[pd.DataFrame, list[str], list[Problem]]:
    """Coupon matrix with actual levels, ``<column>_planned`` beside each factor column.

    A factor analysed as a curve or a line takes the actual value. A factor analysed by levels takes
    the nearest declared level, if the actual one is within a third of the distance to the next
    (on log(1 + minutes) for a time); farther away is a problem, unless the coupons are recorded as
    lost: then they are not in the frame. A coupon that came into another load or batch is in that
    one, see `quenchbook.records.moved_coupons`. What is told for one coupon goes before what is
    told for its batch, and that before what is told for its load.

    Parameters
    ----------
    matrix : CouponMatrix
    deviations : DataFrame
        Deviations of `Records`.
    as_analysed : bool
        False: every factor takes the actual value, and no coupon is left out.

    Returns
    -------
    frame : DataFrame
    notes : list of str
        What is analysed as something else than planned.
    problems : list of Problem
        Levels of a factor that does not exist for the coupons, that are not told, or that are no
        declared ones.
    """
    study = matrix.study
    frame, notes, problems = with_moves(matrix, deviations)
    rows: Rows = [
        {str(key): value for key, value in row.items()} for row in deviations.to_dict("records")
    ]
    rows.sort(key=lambda row: UNITS.index(row["what"]))
    lost = _lost(frame, rows)
    left_out: set[int] = set()
    for factor in study.factors:
        own = [row for row in rows if row["item"] == factor.name]
        place = int(frame.columns.get_loc(factor.column)) + 1  # type: ignore[arg-type]
        frame.insert(place, f"{factor.column}_planned", frame[factor.column])
        values = frame[factor.column].tolist()
        exists = _exists(factor, study, frame)
        told_by: dict[int, int] = {}
        for number, row in enumerate(own):
            label = frame[row["what"]].astype(str) == row["which"]
            here = [same and there for same, there in zip(label, exists, strict=True)]
            at = [i for i, chosen in enumerate(here) if chosen]
            if not at:
                problems.append(_no_meaning(row, factor, study))
            told_by |= dict.fromkeys(at, number)
        undeclared: dict[int, list[int]] = {}
        for i, number in told_by.items():
            actual = own[number]["actual"]
            level = analysed_level(factor, actual) if as_analysed else actual
            if level is None:
                undeclared.setdefault(number, []).append(i)
            else:
                values[i] = level
        for number, at in undeclared.items():
            if set(at) <= lost:
                left_out.update(at)
                notes.append(_left_out(own[number], len(at), factor, study))
            else:
                problems.append(_far_from_levels(own[number], factor, study))
        blank: Level = math.nan if factor.is_numeric else ""
        values = [value if there else blank for value, there in zip(values, exists, strict=True)]
        frame[factor.column] = pd.Series(values, index=frame.index).astype(
            matrix.frame[factor.column].dtype
        )
        notes += as_run_notes(
            factor, [row for n, row in enumerate(own) if n not in undeclared], study
        )
        if factor.nested_in:
            problems += _not_told(factor, study, frame, exists, rows)
    if left_out:
        frame = frame.drop(index=frame.index[sorted(left_out)]).reset_index(drop=True)
    return frame, notes, problems


def lost_coupons(frame: pd.DataFrame, rows: Rows) -> Rows:
    """Coupons that are lost, each with the first reason told.

    Parameters
    ----------
    frame : DataFrame
        Coupons in the loads and batches they were really in.
    rows : sequence of dict
        Rows of the deviations.
    """
    lost: dict[str, dict[str, Any]] = {}
    for row in rows:
        if row["item"] == "lost":
            reason = "; ".join(part for part in (row["actual"], row["note"]) if part)
            for coupon in frame.loc[frame[row["what"]].astype(str) == row["which"], "coupon"]:
                own = {"reason": reason, "file": row["file"], "row": row["row"]}
                lost.setdefault(coupon, {"coupon": coupon, **own})
    return list(lost.values())


def _lost(frame: pd.DataFrame, rows: Rows) -> set[int]:
    """Places of the coupons that are recorded as lost."""
    found: set[int] = set()
    for row in rows:
        if row["item"] == "lost":
            same = (frame[row["what"]].astype(str) == row["which"]).tolist()
            found.update(i for i, chosen in enumerate(same) if chosen)
    return found


def _exists(factor: Factor, study: Study, frame: pd.DataFrame) -> list[bool]:
    if not factor.nested_in:
        return [True] * len(frame)
    parent = study.factor(factor.nested_in)
    return [bool(here) for here in frame[parent.column].isin(factor.exists_for)]


def _far_from_levels(row: dict[str, Any], factor: Factor, study: Study) -> Problem:
    unit = study.unit_word(row["what"])
    number = f"{round(float(row['actual']), 1):g}"
    written = f"{number} {factor.unit.replace('minutes', 'min')}"
    line = csv_row(row["what"], row["which"], "lost", f"{factor.name} was {written}", "")
    which = "that coupon" if row["what"] == "coupon" else f"the coupons of that {unit}"
    shape = "quadratic" if len(factor.levels) > 2 else "linear"
    return Problem(
        f"{row['file']} row {row['row']}, {unit} {row['which']}",
        f"{factor.name}: {distance_words(factor, float(row['actual']))}",
        f"Mistyped? If it was really run, record {which} as lost for this comparison "
        f'(deviations.csv: {line}), or declare the factor with shape = "{shape}".',
    )


def _left_out(row: dict[str, Any], count: int, factor: Factor, study: Study) -> str:
    unit = f"{study.unit_word(row['what'])} {row['which']}"
    away = distance_words(factor, float(row["actual"]))
    coupons = f"{count} lost {study.unit_word('coupon', count)}"
    return f"{capital(factor.title)} of {unit}: {away}. Nothing of its {coupons} is analysed."


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
