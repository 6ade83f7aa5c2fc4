"""Coupons that were treated in another load or batch than planned, and what that changes."""

from __future__ import annotations

from typing import Any

import pandas as pd

from quenchbook.errors import Problem
from quenchbook.plan.entry_tables import movable_units
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import Study
from quenchbook.study.factors import Factor, Unit
from quenchbook.units import capital, listed

Move = dict[str, Any]  # a row of the deviations whose item is a unit


def with_moves(
    matrix: CouponMatrix, deviations: pd.DataFrame
) -> tuple[pd.DataFrame, list[str], list[Problem]]:
    """Coupon matrix with each coupon in the load and the batches it was really in.

    A moved coupon takes the planned levels of the load or batch it came into, so that a level set
    once for a load still is one level of that load and is judged against loads. A coupon that came
    into another load takes its day, counts as the last one of that load (its place is not known),
    and belongs to the cold batch there with its own cold step, or to the one that is told.

    Parameters
    ----------
    matrix : CouponMatrix
    deviations : DataFrame
        Deviations of `Records`.

    Returns
    -------
    frame : DataFrame
        Columns of the coupon matrix; ``<unit>_planned`` beside a unit that coupons were moved in.
    notes : list of str
        One sentence a coupon: where it was, and which levels that changed.
    problems : list of Problem
        Coupons whose cold batch in another load cannot be told.
    """
    frame, study = matrix.frame.copy(), matrix.study
    moves: list[Move] = [
        {str(key): value for key, value in row.items()}
        for row in deviations.to_dict("records")
        if row["item"] in movable_units(study)
    ]
    if not moves:
        return frame, [], []
    problems: list[Problem] = []
    for unit in movable_units(study):
        if unit not in frame:
            continue
        own = {row["which"]: row for row in moves if row["item"] == unit}
        if unit == "cold_batch":
            into = [row for row in moves if row["item"] == "furnace_load"]
            own |= _followed(matrix, [row for row in into if row["which"] not in own], problems)
        if own:
            _move(frame, matrix, unit, own)
    coupons = dict.fromkeys(row["which"] for row in moves)
    notes = [_note(coupon, frame, matrix) for coupon in coupons]
    return frame, notes, problems


def _move(frame: pd.DataFrame, matrix: CouponMatrix, unit: Unit, moves: dict[str, Move]) -> None:
    """Put coupons into a unit, with the levels that are planned for it."""
    planned = matrix.frame
    labels = {str(label): label for label in planned[unit]}
    place = int(frame.columns.get_loc(unit)) + 1  # type: ignore[arg-type]
    frame.insert(place, f"{unit}_planned", planned[unit])
    factors = [factor for factor in matrix.study.factors if factor.set_for == unit]
    for coupon, row in moves.items():
        at = int(frame.index[frame["coupon"] == coupon][0])
        label = labels[str(row["actual"])]
        frame.loc[at, unit] = label
        there = planned[planned[unit] == label]
        for factor in factors:
            frame.loc[at, factor.column] = _level(there, factor)
        if unit == "furnace_load":
            frame.loc[at, "day"] = there["day"].iloc[0]
            frame.loc[at, "load_place"] = frame.loc[frame[unit] == label, "load_place"].max() + 1


def _level(there: pd.DataFrame, factor: Factor) -> Any:
    """Planned level of a unit; a reference that leaves the step out does not tell it."""
    told = there.loc[there[factor.column].notna() & (there[factor.column] != ""), factor.column]
    return told.iloc[0] if len(told) else there[factor.column].iloc[0]


def _followed(matrix: CouponMatrix, moves: list[Move], problems: list[Problem]) -> dict[str, Move]:
    """Cold batches of coupons that came into another load: the one there with their cold step."""
    frame, found = matrix.frame, {}
    bath = [factor.column for factor in matrix.study.factors if factor.set_for == "cold_batch"]
    coupons = frame.set_index("coupon")
    for row in moves:
        own = coupons.loc[row["which"]]
        if own["cold_batch"] == "":
            continue
        there = frame[frame["furnace_load"].astype(str) == str(row["actual"])]
        alike = there[there["cold_batch"] != ""]
        for column in bath:
            level = own[column]
            same = alike[column].isna() if level != level else alike[column] == level
            alike = alike[same]
        batches = alike["cold_batch"].unique().tolist()
        if len(batches) == 1:
            found[row["which"]] = {**row, "item": "cold_batch", "actual": batches[0]}
        else:
            problems.append(_untold(row, there, matrix.study))
    return found


def _untold(row: Move, there: pd.DataFrame, study: Study) -> Problem:
    batches = [label for label in there["cold_batch"].unique() if label]
    word, load = study.unit_word("cold_batch"), study.unit_word("furnace_load")
    example = batches[0] if batches else "2-1"
    return Problem(
        f"{row['file']} row {row['row']}, {study.unit_word('coupon')} {row['which']}",
        f"came into {load} {row['actual']}, where no single {word} has its cold step",
        f"Tell its {word} too: coupon,{row['which']},cold_batch,{example}",
        "actual",
    )


def _note(coupon: str, frame: pd.DataFrame, matrix: CouponMatrix) -> str:
    """Where a coupon was, and what differs from the levels it was planned for."""
    study = matrix.study
    now = frame.set_index("coupon").loc[coupon]
    then = matrix.frame.set_index("coupon").loc[coupon]
    places = [
        f"{study.unit_word(unit)} {now[unit]} instead of {then[unit]}"
        for unit in movable_units(study)
        if unit in matrix.frame and now[unit] != then[unit]
    ]
    levels = []
    for factor in study.factors:
        words, planned = (_words(factor, own[factor.column]) for own in (now, then))
        if words != planned:
            levels.append(f"{factor.title} {words} instead of {planned}")
    head = f"{capital(study.unit_word('coupon'))} {coupon} was in {listed(places)}"
    if not places:
        return f"{capital(study.unit_word('coupon'))} {coupon} was where it was planned."
    if not levels:
        return f"{head}: analysed there; its setting is the same."
    return f"{head}: analysed there, with {listed(levels)}."


def _words(factor: Factor, level: Any) -> str:
    return factor.word(level) if level == level and level != "" else "none"
