"""Lengths that may stand beside readings: of the coupon, and where its indents are."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from quenchbook.errors import Problem, UnitError
from quenchbook.plan.entry_tables import response_stem
from quenchbook.records.cells import is_missing, place
from quenchbook.records.labels import Labels
from quenchbook.records.tables import Row, Table
from quenchbook.study.definition import Study
from quenchbook.units import parse_quantity, unit_named

MEASURES: Final[Mapping[str, tuple[str, float]]] = {
    "length_before": ("length before the cold step", 1000.0),
    "length_after": ("length after the cold step", 1000.0),
    "thickness": ("thickness where it was tested", 500.0),
    "indent_spacing": ("smallest distance of two indents, centre to centre", 500.0),
    "edge_distance": ("smallest distance of an indent from an edge, from its centre", 500.0),
}
"""What a column ``<name>_mm`` beside readings holds, and the largest plausible one [mm]."""

MEASURE_COLUMNS: Final = ("coupon", "measure", "value", "file", "row")
MOST_GROWTH: Final = (
    0.015  # all of a coupon from austenite to martensite grows 1.4 % (length_change)
)

Key = tuple[str, str]  # coupon, measure


def measure_of(column: str, study: Study) -> str:
    """Measure that a column holds; empty for any other, and where the study declares it itself.

    Parameters
    ----------
    column : str
        Such as ``length_before_mm`` or ``thickness``.
    study : Study
        A response of this name goes before: then it is analysed.
    """
    for stem in MEASURES:
        if column == stem or (column.startswith(f"{stem}_") and _unit(column, stem)):
            declared = {response_stem(r) for r in study.responses} | {
                r.name for r in study.responses
            }
            return "" if declared & {stem, column} else stem
    return ""


def coupon_measures(
    tables: Sequence[Table], study: Study, labels: Labels
) -> tuple[list[dict[str, Any]], list[Problem]]:
    """Read the lengths beside readings.

    Parameters
    ----------
    tables : sequence of Table
        Tables with a column ``coupon``; a label that is not in the plan is told with the readings.
    study : Study
    labels : Labels

    Returns
    -------
    rows : list of dict
        ``coupon``, ``measure``, ``value`` [mm], ``file``, ``row``.
    problems : list of Problem
    """
    found: dict[Key, dict[str, Any]] = {}
    problems: list[Problem] = []
    for table in tables:
        columns = {name: measure for name in table.header if (measure := measure_of(name, study))}
        if not columns:
            continue
        names = dict.fromkeys(columns.values())
        if len(names) < len(columns):
            twice = next(m for m in names if list(columns.values()).count(m) > 1)
            own = [name for name, measure in columns.items() if measure == twice]
            wrong = f"'{own[0]}' and '{own[1]}' are the same measure"
            where = f"{table.name} row {table.header_row}"
            problems.append(Problem(where, wrong, "Keep one of them."))
            continue
        for row in table.rows:
            code = labels.coupon(row.text("coupon"))
            filled = [name for name in columns if not is_missing(row.text(name))]
            if filled and is_missing(row.text("coupon")) and not _has_readings(table, row, columns):
                wrong = "has a length but no coupon"
                problems.append(Problem(place(table, row), wrong, "Write the coupon's code."))
            for name in filled:
                value, problem = _length(table, row, name, columns[name])
                if problem is not None:
                    problems.append(problem)
                elif code is not None and value is not None:
                    problems += _kept(found, table, row, code, columns[name], value)
    problems += _impossible_growths(found)
    rows = [{"coupon": c, "measure": m, **entry} for (c, m), entry in found.items()]
    return rows, problems


def _has_readings(table: Table, row: Row, columns: Mapping[str, str]) -> bool:
    """Whether a row also holds readings: then a missing label is told with these."""
    labels = ("coupon", "reading", "order", "place", "note", *columns)
    return any(not is_missing(row.text(name)) for name in table.header if name not in labels)


def _unit(column: str, stem: str) -> str:
    """Unit that a header names; empty for none."""
    words = column.removeprefix(stem).strip("_").replace("_", " ")
    try:
        unit_named(words, "length")
    except UnitError:
        return ""
    return words


def _length(table: Table, row: Row, name: str, measure: str) -> tuple[float | None, Problem | None]:
    """Length of a cell [mm], or what is wrong with it."""
    text, where = row.text(name), place(table, row, row.text("coupon"))
    decimal = table.decimal_in(row, name)
    try:
        value = parse_quantity(text, "length", unit=_unit(name, measure) or None, decimal=decimal)
    except UnitError as error:
        if decimal is None and "thousand" in str(error):
            return None, None  # told once for the whole table
        remedy = "Write a length such as 60.012 mm, or leave the cell empty."
        if "no unit" in str(error):
            return None, Problem(where, f"{name} is '{text}' without a unit", remedy)
        return None, Problem(where, f"{name} is '{text}', not a length", remedy)
    most = MEASURES[measure][1]
    if not 0 < value <= most:
        wrong = f"{name} is {value:g} mm, expected above 0, up to {most:g}"
        return None, Problem(
            where, wrong, "Look at the sheet again, and at the unit of the column."
        )
    return value, None


def _kept(
    found: dict[Key, dict[str, Any]], table: Table, row: Row, code: str, measure: str, value: float
) -> list[Problem]:
    """Keep a length; a second one that differs is a mistake."""
    first = found.setdefault(
        (code, measure), {"value": value, "file": table.name, "row": row.number}
    )
    if first["value"] == value:
        return []
    there = f"{first['file']} row {first['row']}"
    wrong = f"{measure} is {value:g} mm, and {first['value']:g} mm in {there}"
    return [Problem(place(table, row, code), wrong, "Delete one of the two, or correct the label.")]


def _impossible_growths(found: Mapping[Key, Mapping[str, Any]]) -> list[Problem]:
    """Coupons that would have grown or shrunk more than any steel does."""
    problems = []
    for (code, measure), after in found.items():
        before = found.get((code, "length_before"))
        if measure != "length_after" or before is None:
            continue
        if abs(after["value"] / before["value"] - 1) > MOST_GROWTH:
            wrong = f"{before['value']:g} mm before and {after['value']:g} mm after the cold step"
            problems.append(
                Problem(
                    f"{after['file']} row {after['row']}, coupon {code}",
                    f"{wrong}: no steel changes its length by more than {MOST_GROWTH:.1%}",
                    "Is a digit wrong, or a length in inches?",
                )
            )
    return problems
