"""Tables of readings on a hardness block and on certified impact coupons."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from quenchbook.errors import Problem, UnitError
from quenchbook.plan.entry_tables import BLOCK_COLUMNS, IMPACT_CHECK_COLUMNS
from quenchbook.records.cells import (
    dimension_of,
    is_missing,
    nearest_words,
    place,
    reading_problem,
    reading_value,
    unit_gap,
)
from quenchbook.records.headers import ReadingColumn, missing_columns
from quenchbook.records.measurements import implausible_problem
from quenchbook.records.tables import Row, Table
from quenchbook.study.definition import Response
from quenchbook.study.plausible_readings import plausible
from quenchbook.units import unit_named

WHEN: Final = ("before", "after")
BLOCK_FRAME: Final = (
    "session", "when", "block_value_hrc", "block_uncertainty_hrc", "reading", "hardness_hrc",
    "note", "file", "row",
)  # fmt: skip
IMPACT_CHECK_FRAME: Final = (
    "session", "certified_value_j", "reading", "impact_j", "note", "file", "row",
)  # fmt: skip
LARGEST_BLOCK_UNCERTAINTY: Final = 2.0  # common practice, no source: certificates tell 0.2 to 1 HRC

Rows = list[dict[str, Any]]


@dataclass(frozen=True)
class _Kind:
    """One kind of table: what its columns hold.

    `words` names the readings in messages; `labels` are columns of text; `numbers` maps the
    beginning of a column to what it holds, the last of them the readings.
    """

    words: str
    columns: tuple[str, ...]
    labels: tuple[str, ...]
    numbers: Mapping[str, Response]

    @property
    def readings(self) -> Response:
        return list(self.numbers.values())[-1]


_BLOCK: Final = _Kind(
    "block readings",
    BLOCK_COLUMNS,
    ("session", "when", "note"),
    {
        "block_value": Response("block_value_hrc", "value of the block", "HRC", "hardness"),
        "block_uncertainty": Response(
            "block_uncertainty_hrc", "uncertainty of the block", "HRC", "hardness"
        ),
        "hardness": Response("hardness_hrc", "hardness", "HRC", "hardness"),
    },
)
_IMPACT: Final = _Kind(
    "impact readings",
    IMPACT_CHECK_COLUMNS,
    ("session", "note"),
    {
        "certified_value": Response("certified_value_j", "certified value", "J", "impact"),
        "impact": Response("impact_j", "impact energy", "J", "impact"),
    },
)


def block_readings(tables: Sequence[Table]) -> tuple[Rows, list[Problem]]:
    """Readings on a hardness block, one row a reading, columns of `BLOCK_FRAME`.

    Parameters
    ----------
    tables : sequence of Table
        Tables with a column ``block_value_hrc``.

    Returns
    -------
    rows : list of dict
    problems : list of Problem
    """
    return _rows_of(tables, _BLOCK)


def impact_check_readings(tables: Sequence[Table]) -> tuple[Rows, list[Problem]]:
    """Readings on certified impact coupons, one row a reading, columns of `IMPACT_CHECK_FRAME`.

    Parameters
    ----------
    tables : sequence of Table
        Tables with a column ``certified_value_j``.

    Returns
    -------
    rows : list of dict
    problems : list of Problem
    """
    return _rows_of(tables, _IMPACT)


def _rows_of(tables: Sequence[Table], kind: _Kind) -> tuple[Rows, list[Problem]]:
    rows: Rows = []
    problems: list[Problem] = []
    seen: dict[tuple[object, ...], str] = {}
    counts: Counter[tuple[object, ...]] = Counter()
    for table in tables:
        columns, wrong = _columns_of(table, kind)
        problems += wrong
        if wrong:
            continue
        for row in table.rows:
            labels, numbers, readings, slips = _cells_of(table, row, columns, kind)
            problems += slips
            if slips or not readings:
                continue
            told = (value if value == value else None for value in numbers.values())
            key = (*(text.casefold() for text in labels.values()), *told)
            here = f"{table.name} row {row.number}"
            first = seen.setdefault((*key, tuple(readings)), here)
            if first != here and len(readings) > 1:
                remedy = "Delete one of the two, or correct the session."
                problems.append(Problem(here, f"repeats the {kind.words} of {first}", remedy))
                continue
            source = {"note": row.text("note"), "file": table.name, "row": row.number}
            for value in readings:
                counts[key] += 1
                reading = {"reading": counts[key], kind.readings.name: value}
                rows.append({**labels, **numbers, **reading, **source})
    return rows, problems


def _columns_of(table: Table, kind: _Kind) -> tuple[list[tuple[str, ReadingColumn]], list[Problem]]:
    """Columns of numbers with the beginning of their name, and what is wrong with the header."""
    where = f"{table.name} row {table.header_row}"
    problems = missing_columns(table, [name for name in kind.labels if name != "note"])
    columns: list[tuple[str, ReadingColumn]] = []
    for name in (own for own in table.header if own not in kind.labels):
        stem = next((s for s in kind.numbers if name == s or name.startswith(f"{s}_")), "")
        if not stem:
            known = nearest_words(name, kind.columns)
            problems.append(Problem(where, f"the column '{name}' is not known here", known))
            continue
        response = kind.numbers[stem]
        words = re.sub(r"^\d{1,2}_|_?\d{1,2}$", "", name.removeprefix(stem).strip("_"))
        unit = words.replace("_", " ")
        if unit and not _is_unit(unit, response):
            wrong = f"the column '{name}': '{unit}' is not a unit of {response.quantity}"
            problems.append(Problem(where, wrong, f"Name it {response.name} if that is it."))
            continue
        filled = [text for row in table.rows if not is_missing(text := row.text(name))]
        if not unit and (gap := unit_gap(name, filled)):
            remedy = f"Name it {response.name} if it is {response.unit}."
            problems.append(Problem(where, gap, remedy))
            continue
        if unit.casefold() == response.unit.casefold():
            unit = response.unit
        columns.append((stem, ReadingColumn(name, response, None, unit)))
    known_stems = [stem for stem, _ in columns]
    if not problems and list(kind.numbers)[-1] not in known_stems:
        first = f"{kind.readings.name}_1"
        problems.append(Problem(where, f"there is no column of {kind.words}", f"Name it {first}."))
    return columns, problems


def _is_unit(words: str, response: Response) -> bool:
    try:
        unit_named(words, dimension_of(response.unit))
    except UnitError:
        return False
    return True


def _cells_of(
    table: Table, row: Row, columns: Sequence[tuple[str, ReadingColumn]], kind: _Kind
) -> tuple[dict[str, str], dict[str, float], list[float], list[Problem]]:
    """Labels, told numbers and readings of a row, and its mistakes; a blank row has none."""
    last = list(kind.numbers)[-1]
    cells = [(stem, column) for stem, column in columns if not is_missing(row.text(column.name))]
    if not any(stem == last for stem, _ in cells):
        return {}, {}, [], []
    where = place(table, row)
    problems: list[Problem] = []
    numbers = dict.fromkeys((kind.numbers[s].name for s in kind.numbers if s != last), float("nan"))
    readings: list[float] = []
    for stem, column in cells:
        value, problem = _number(table, row, column, where)
        if problem is not None:
            problems.append(problem)
        elif value is not None and stem == last:
            readings.append(value)
        elif value is not None:
            numbers[column.response.name] = value
    labels, wrong = _labels_of(row, kind, where)
    problems += wrong
    told = next(iter(kind.numbers.values()))
    if not any(column.response is told for _, column in cells):
        remedy = "Write the value of the certificate."
        problems.append(Problem(where, f"has {kind.words} but no {told.name}", remedy))
    return labels, numbers, readings, problems


def _labels_of(row: Row, kind: _Kind, where: str) -> tuple[dict[str, str], list[Problem]]:
    problems = []
    session, when = row.text("session").removesuffix(".0"), row.text("when").casefold()
    if is_missing(session):
        remedy = "Write a number or a date, the same before and after."
        problems.append(Problem(where, f"has {kind.words} but no session", remedy))
    if "when" not in kind.labels:
        return {"session": session}, problems
    if when not in WHEN:
        wrong = f"when is '{row.text('when')}', expected before or after"
        problems.append(Problem(where, wrong, nearest_words(when, WHEN)))
    return {"session": session, "when": when}, problems


def _number(
    table: Table, row: Row, column: ReadingColumn, where: str
) -> tuple[float | None, Problem | None]:
    """Plausible number of a cell, or what is wrong with it."""
    text, decimal, response = (
        row.text(column.name),
        table.decimal_in(row, column.name),
        column.response,
    )
    try:
        value = reading_value(text, response, column.unit, decimal)
    except UnitError as error:
        if decimal is None and "thousand" in str(error):
            return None, None  # told once for the whole table
        return None, reading_problem(where, column.name, text, response, error)
    if response.name == "block_uncertainty_hrc" and not 0 < value <= LARGEST_BLOCK_UNCERTAINTY:
        wrong = (
            f"{response.name} is {value:g}, expected above 0, up to {LARGEST_BLOCK_UNCERTAINTY:g}"
        )
        remedy = "Write the expanded uncertainty of the certificate, or leave the cell empty."
        return None, Problem(where, wrong, remedy)
    if response.name == "block_value_hrc" and not 20 <= value <= 70:
        wrong = f"{response.name} is {value:g}, expected 20 to 70"
        return None, Problem(where, wrong, "Write the value of the certificate.")
    if not plausible(response).holds(value):
        return None, implausible_problem(where, value, column, decimal)
    return value, None
