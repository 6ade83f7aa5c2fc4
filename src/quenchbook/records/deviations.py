"""What went differently: the log of each unit, deviations, lost coupons, notes."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import pandas as pd

from quenchbook.errors import Problem, UnitError
from quenchbook.plan.entry_tables import (
    DEVIATION_COLUMNS,
    FARTHEST_DELTA_C,
    deviating_units,
    movable_units,
)
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.cells import (
    actual_level,
    actual_problem,
    in_degf,
    is_bare,
    is_missing,
    nearest_words,
    place,
    unit_gap,
)
from quenchbook.records.headers import (
    LOG_UNITS,
    columns_of_log,
    missing_columns,
    unknown_columns,
)
from quenchbook.records.labels import Labels
from quenchbook.records.tables import Row, Table, column_name
from quenchbook.study.factors import Factor, Level
from quenchbook.units import convert, unit_named


@dataclass
class Differences:
    """What went differently, while it is read.

    Attributes
    ----------
    rows : list of dict
        ``what, which, item, planned, actual, unit, note, file, row``.
    problems : list of Problem
    """

    rows: list[dict[str, Any]] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)


def differences(
    logs: Sequence[Table], deviations: Sequence[Table], matrix: CouponMatrix, labels: Labels
) -> Differences:
    """Read logs and deviations.

    Parameters
    ----------
    logs : sequence of Table
        Tables with one row a furnace load, cold batch or temper batch.
    deviations : sequence of Table
    matrix : CouponMatrix
    labels : Labels
        Labels of the plan.
    """
    found = Differences()
    for table in logs:
        _read_log(table, matrix, labels, found)
    for table in deviations:
        wrong = missing_columns(table, DEVIATION_COLUMNS[:4])
        found.problems += wrong + unknown_columns(table, (*DEVIATION_COLUMNS, "order"))
        if not wrong:
            for row in table.rows:
                _read_deviation(table, row, matrix, labels, found)
    return found


def _read_log(table: Table, matrix: CouponMatrix, labels: Labels, found: Differences) -> None:
    unit = next(unit for unit in LOG_UNITS if unit in table.header)
    columns, problems = columns_of_log(table, matrix.study, unit)
    found.problems += problems
    for column in list(columns):
        filled = [c for c in (row.text(column.name) for row in table.rows) if not is_missing(c)]
        gap = unit_gap(column.name, filled)
        if column.factor.is_numeric and not column.unit and gap:
            columns.remove(column)
            found.problems.append(
                Problem(
                    f"{table.name} row {table.header_row}",
                    gap,
                    f"Write the unit into its name, or beside each number "
                    f"({next(filter(is_bare, filled))} {_written_unit(column.factor)}).",
                )
            )
    for row in table.rows:
        text = row.text(unit)
        if not text and all(is_missing(row.text(column.name)) for column in columns):
            continue
        label = labels.find(unit, text)
        if label is None:
            found.problems.append(labels.problem(unit, text, table, row, unit))
            continue
        for column in columns:
            cell = row.text(column.name)
            if is_missing(cell):
                continue
            where = f"{place(table, row)}, {matrix.study.unit_word(unit)} {label}"
            decimal = table.decimal_in(row, column.name)
            level = _level(where, column.name, cell, column.factor, column.unit, decimal, found)
            if level is not None:
                _add(table, row, unit, label, column.factor, level, matrix, found)
        if row.text("note"):
            _remark(table, row, unit, str(label), row.text("note"), found)


def _read_deviation(
    table: Table, row: Row, matrix: CouponMatrix, labels: Labels, found: Differences
) -> None:
    study, where = matrix.study, place(table, row)
    words = {column_name(study.unit_word(u)): u for u in labels.units()}
    what = column_name(row.text("what"))
    what = words.get(what, what)
    if what not in labels.units():
        known = [unit for unit in deviating_units(study) if unit in labels.units()]
        wrong = f"'{row.text('what')}' is not something that can deviate"
        found.problems.append(Problem(where, wrong, nearest_words(what, known), "what"))
        return
    label = labels.find(what, row.text("which"))
    if label is None:
        found.problems.append(labels.problem(what, row.text("which"), table, row, "which"))
        return
    item, actual, note = column_name(row.text("item")), row.text("actual"), row.text("note")
    where = f"{where}, {study.unit_word(what)} {label}"
    if item == "note":
        words_of_note = "; ".join(part for part in (actual, note) if part)
        if not words_of_note:
            found.problems.append(
                Problem(where, "the note is empty", "Write it, or delete the row.")
            )
        else:
            _remark(table, row, what, str(label), words_of_note, found)
    elif item == "lost":
        reason = "; ".join(part for part in (actual, note) if part)
        if not reason:
            found.problems.append(
                Problem(
                    where,
                    "is lost without a reason",
                    "Say what happened in the column actual.",
                    "actual",
                )
            )
            return
        found.rows.append(_entry(table, row, what, str(label), "lost", None, actual, "", note))
    elif what == "coupon" and words.get(item, item) in movable_units(study):
        _read_move(table, row, str(label), words.get(item, item), matrix, labels, found)
    else:
        factor = next((f for f in study.factors if item in (f.name, f.column)), None)
        if factor is None:
            items = [*(own.name for own in study.factors), "lost", "note"]
            wrong = f"the item '{row.text('item')}' is not known here"
            found.problems.append(Problem(where, wrong, nearest_words(item, items), "item"))
            return
        if is_missing(actual):
            found.problems.append(
                Problem(
                    where,
                    f"{factor.name} has no actual level",
                    "Write what was really run.",
                    "actual",
                )
            )
            return
        decimal = table.decimal_in(row, "actual")
        level = _level(where, "actual", actual, factor, "", decimal, found)
        if level is not None:
            _add(table, row, what, label, factor, level, matrix, found)


def _read_move(
    table: Table,
    row: Row,
    coupon: str,
    unit: str,
    matrix: CouponMatrix,
    labels: Labels,
    found: Differences,
) -> None:
    """Keep the load or batch that a coupon was really in."""
    label = labels.find(unit, row.text("actual"))
    if label is None:
        found.problems.append(labels.problem(unit, row.text("actual"), table, row, "actual"))
        return
    word = matrix.study.unit_word(unit)
    for other in found.rows:
        if (other["what"], other["which"], other["item"]) == ("coupon", coupon, unit):
            if other["actual"] != str(label):
                wrong = f"{coupon} was in {word} {label}, but {other['file']} row {other['row']} "
                wrong += f"says {other['actual']}"
                found.problems.append(
                    Problem(place(table, row), wrong, "Keep where it really was.", "actual")
                )
            return
    planned = str(matrix.frame.loc[matrix.frame["coupon"] == coupon, unit].iloc[0])
    found.rows.append(
        _entry(table, row, "coupon", coupon, unit, planned, str(label), "", row.text("note"))
    )


def _level(
    where: str,
    column: str,
    text: str,
    factor: Factor,
    unit: str,
    decimal: str | None,
    found: Differences,
) -> Level | None:
    """Plausible level of a cell, or None with a problem."""
    try:
        level = actual_level(text, factor, unit, decimal)
    except UnitError as error:
        if not (decimal is None and "thousand" in str(error)):
            wrong = actual_problem(where, factor.name, text, factor, error, unit)
            found.problems.append(replace(wrong, column=column))
        return None
    if factor.dimension == "temperature":
        planned = [float(level) for level in factor.levels]
        low, high = min(planned) - FARTHEST_DELTA_C, max(planned) + FARTHEST_DELTA_C
        if not low <= float(level) <= high:
            far = _far_off(where, text, _unit_of(text, unit), float(level), factor, (low, high))
            found.problems.append(replace(far, column=column))
            return None
    return level


def _unit_of(text: str, unit: str) -> str:
    """Unit of a temperature, of its cell or else of its column, as pint knows it."""
    own = re.sub(r"^[\W\d_]+", "", unicodedata.normalize("NFKC", text)).strip()
    try:
        return unit_named(own or unit, "temperature")
    except UnitError:  # a number written in a way of its own, such as 1e3
        return unit_named(unit, "temperature")


def _far_off(
    where: str, text: str, unit: str, value: float, factor: Factor, ends: tuple[float, float]
) -> Problem:
    """Say that a temperature is far from the plan, also in the unit it was written in.

    The other unit is asked about only where the same number is possible with it.
    """
    low, high = ends
    expected = f"{low:g} to {high:g} °C"
    number, other = value, "degF"
    if unit == "degF":
        number, other = in_degf(value), "degC"
        expected += f" ({in_degf(low):.0f} to {in_degf(high):.0f} °F)"
    elif unit == "kelvin":
        number += 273.15
    swapped = convert(number, other, "temperature")
    remedy = "Look at the log again."
    if low <= swapped <= high:
        same = "" if other == "degC" else f" ({factor.word(round(swapped, 1))})"
        remedy = f"Was it {round(number, 2):g} {other}{same}?"
    found = f"{factor.name} is '{text}' ({factor.word(round(value, 1))})"
    return Problem(where, f"{found}, expected {expected}", remedy)


def _add(
    table: Table,
    row: Row,
    what: str,
    label: int | str,
    factor: Factor,
    level: Level,
    matrix: CouponMatrix,
    found: Differences,
) -> None:
    """Keep an actual level; the same one twice is told once, two different ones are a problem."""
    for other in found.rows:
        if (other["what"], other["which"], other["item"]) == (what, str(label), factor.name):
            if other["actual"] != level:
                word = f"{matrix.study.unit_word(what)} {label}"
                found.problems.append(
                    Problem(
                        place(table, row),
                        f"{factor.name} of {word} is {factor.word(level)}, but "
                        f"{other['file']} row {other['row']} says {factor.word(other['actual'])}",
                        "Keep the one that was really run.",
                    )
                )
            return
    planned = _planned(matrix.frame, what, label, factor)
    note = row.text("note")
    found.rows.append(
        _entry(table, row, what, str(label), factor.name, planned, level, factor.unit, note)
    )


def _planned(frame: pd.DataFrame, what: str, label: int | str, factor: Factor) -> Level | None:
    """Planned level of a unit: one level, the levels in words if several, None if it has none."""
    levels = frame.loc[frame[what] == label, factor.column].dropna().drop_duplicates().tolist()
    levels = [level for level in levels if level != ""]
    if len(levels) > 1:
        return ", ".join(factor.word(level) for level in levels)
    if not levels:
        return None
    return float(levels[0]) if factor.is_numeric else str(levels[0])


def _remark(table: Table, row: Row, what: str, which: str, note: str, found: Differences) -> None:
    found.rows.append(_entry(table, row, what, which, "note", None, None, "", note))


def _entry(
    table: Table,
    row: Row,
    what: str,
    which: str,
    item: str,
    planned: Level | None,
    actual: Level | None,
    unit: str,
    note: str,
) -> dict[str, Any]:
    return {
        "what": what,
        "which": which,
        "item": item,
        "planned": planned,
        "actual": actual,
        "unit": unit,
        "note": note,
        "file": table.name,
        "row": row.number,
    }


def _written_unit(factor: Factor) -> str:
    return {"minutes": "min"}.get(factor.unit, factor.unit)
