"""Tables of readings to one row a reading: long or wide, any unit, every slip told."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from quenchbook.errors import Problem, UnitError
from quenchbook.plan.entry_tables import reading_columns
from quenchbook.records.cells import (
    is_missing,
    place,
    reading_problem,
    reading_value,
    unit_gap,
)
from quenchbook.records.headers import ReadingColumn, columns_of_readings
from quenchbook.records.labels import Labels
from quenchbook.records.tables import Row, Table
from quenchbook.study.definition import Response, Study
from quenchbook.study.plausible_readings import plausible

_MANY = 5  # more repeated rows than this are a table that is there twice

Key = tuple[str, str, int]  # response, coupon, reading


@dataclass
class Measurements:
    """What the tables of readings hold, while they are read.

    Attributes
    ----------
    readings : dict
        Response, coupon and reading to value, file and row.
    missing : dict
        Readings that were said to be missing, to file and row.
    remarks : list of dict
        Notes beside readings.
    problems : list of Problem
    """

    readings: dict[Key, dict[str, Any]] = field(default_factory=dict)
    missing: dict[Key, dict[str, Any]] = field(default_factory=dict)
    remarks: list[dict[str, Any]] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)


def measurements(tables: Sequence[Table], study: Study, labels: Labels) -> Measurements:
    """Read every table of readings.

    Parameters
    ----------
    tables : sequence of Table
        Tables with a column ``coupon``.
    study : Study
    labels : Labels
        Labels of the plan.
    """
    found = Measurements()
    for table in tables:
        columns, problems = columns_of_readings(table, study)
        found.problems += problems
        _read_table(table, _with_units(table, columns, found), labels, found)
    for key in found.readings:
        found.missing.pop(key, None)
    return found


def _with_units(
    table: Table, columns: Sequence[ReadingColumn], found: Measurements
) -> list[ReadingColumn]:
    """Columns whose unit is told by the header or by every cell."""
    kept = []
    for column in columns:
        cells = [row.text(column.name) for row in table.rows]
        filled = [cell for cell in cells if not is_missing(cell)]
        gap = unit_gap(column.name, filled)
        if column.response.unit and not column.unit and gap:
            own = reading_columns(column.response)
            name = own[column.reading - 1] if column.reading else column.response.name
            found.problems.append(
                Problem(
                    f"{table.name} row {table.header_row}",
                    gap,
                    f"Name it {name} if it is {column.response.unit}.",
                    column.name,
                )
            )
        else:
            kept.append(column)
    return kept


def _read_table(
    table: Table, columns: Sequence[ReadingColumn], labels: Labels, found: Measurements
) -> None:
    repeats: dict[tuple[str, int], list[tuple[Row, str, ReadingColumn, int]]] = defaultdict(list)
    earlier: dict[tuple[str, int], tuple[str, int]] = {}
    counts: Counter[tuple[str, str]] = Counter()
    known = frozenset(labels.codes)
    for row in table.rows:
        code = _coupon(table, row, columns, labels, found)
        if code is None:
            continue
        if row.text("note"):
            found.remarks.append(
                {"which": code, "note": row.text("note"), "file": table.name, "row": row.number}
            )
        for column in columns:
            number = _reading_number(table, row, column, code, counts, found)
            if number is None:
                continue
            value = _value(table, row, column, code, found)
            key = (column.response.name, code, number)
            source = {"file": table.name, "row": row.number}
            if value is None:
                if is_missing(row.text(column.name)):
                    found.missing.setdefault(key, source)
            elif key in found.readings and code in known:
                first = found.readings[key]
                place_of = (code, row.number)
                repeats[place_of].append((row, code, column, number))
                earlier[place_of] = (first["file"], first["row"])
            elif code in known:
                found.readings[key] = {"value": value, **source}
    found.problems += _repeat_problems(table, repeats, earlier)


def _coupon(
    table: Table, row: Row, columns: Sequence[ReadingColumn], labels: Labels, found: Measurements
) -> str | None:
    """Code of a row's coupon; the text itself if it is not in the plan; None for a row without."""
    text = row.text("coupon")
    if is_missing(text):
        if any(not is_missing(row.text(column.name)) for column in columns):
            found.problems.append(labels.no_coupon_problem(text, table, row))
        return None
    code = labels.coupon(text)
    if code is None:
        found.problems.append(labels.problem("coupon", text, table, row, "coupon"))
        return text
    return code


def _reading_number(
    table: Table,
    row: Row,
    column: ReadingColumn,
    code: str,
    counts: Counter[tuple[str, str]],
    found: Measurements,
) -> int | None:
    """Which reading of its coupon a cell is."""
    if column.reading is not None:
        return column.reading
    most = column.response.readings
    expected = f"expected 1 to {most}" if most > 1 else "expected 1"
    text = row.text("reading")
    if "reading" in table.header and not (is_missing(text) and is_missing(row.text(column.name))):
        whole = text.removesuffix(".0")
        if not (whole.isascii() and whole.isdecimal() and 1 <= int(whole[:9]) <= most):
            found.problems.append(
                Problem(
                    place(table, row, code),
                    f"reading is '{text}', {expected}",
                    "Number the readings of each coupon.",
                    "reading",
                )
            )
            return None
        return int(whole)
    counts[column.response.name, code] += 1
    number = counts[column.response.name, code]
    if number > most:
        if is_missing(row.text(column.name)):
            return None
        if most == 1:
            return 1  # told as a reading that is there twice
        found.problems.append(
            Problem(
                place(table, row, code),
                f"is reading {number} of {column.response.name}, {expected}",
                "Delete it, or correct the label.",
                column.name,
            )
        )
        return None
    return number


def _value(
    table: Table, row: Row, column: ReadingColumn, code: str, found: Measurements
) -> float | None:
    """Plausible value of a cell; None for a missing one and for a mistake."""
    text, decimal = row.text(column.name), table.decimal_in(row, column.name)
    if is_missing(text):
        return None
    where, name = place(table, row, code), column.response.name
    try:
        value = reading_value(text, column.response, column.unit, decimal)
    except UnitError as error:
        told = decimal is None and "thousand" in str(error)  # once for the whole table
        if not told:
            wrong = reading_problem(where, name, text, column.response, error)
            found.problems.append(replace(wrong, column=column.name))
        return None
    if not plausible(column.response).holds(value):
        found.problems.append(implausible_problem(where, value, column, decimal))
        return None
    return value


def implausible_problem(
    where: str, value: float, column: ReadingColumn, decimal: str | None = "."
) -> Problem:
    """Say that a reading cannot be, and the likeliest slip, with the decimal mark of the file."""
    response, limits = column.response, plausible(column.response)
    remedy = "Look at the sheet again; leave the cell empty if it cannot be read."
    if response.unit == "HRC" and value > limits.high:
        likely = value / 10 if value / 10 <= limits.high else value / 100
        if limits.holds(likely) and likely >= 20:
            word, mark = ("comma", ",") if decimal == "," else ("point", ".")
            remedy = f"Was the decimal {word} lost ({f'{likely:g}'.replace('.', mark)})?"
    elif value < 0 and limits.holds(-value):
        remedy = "Is the minus sign a slip?"
    elif value == 0 and response.kind != "other":
        remedy = "Leave the cell empty if there is no reading."
    converted = column.unit not in ("", response.unit)
    unit = f" {response.unit}" if converted else ""
    wrong = f"{response.name} is {value:g}{unit}, expected {limits.words}"
    return Problem(where, wrong, remedy, column.name)


def _repeat_problems(
    table: Table,
    repeats: dict[tuple[str, int], list[tuple[Row, str, ReadingColumn, int]]],
    earlier: dict[tuple[str, int], tuple[str, int]],
) -> list[Problem]:
    """Readings that are there twice: one problem for a row, or for a whole table."""
    by_file: dict[str, list[tuple[str, int]]] = defaultdict(list)
    for key in repeats:
        by_file[earlier[key][0]].append(key)
    problems = []
    for file, keys in by_file.items():
        if len(keys) > _MANY and file != table.name:
            problems.append(
                Problem(
                    table.name,
                    f"{len(keys)} rows repeat readings of {file} (first: row {keys[0][1]}, "
                    f"coupon {keys[0][0]})",
                    "Move one of the two out of the folder.",
                )
            )
            continue
        for code, number in keys:
            cells = repeats[code, number]
            what = _readings_words([(column.response, reading) for _, _, column, reading in cells])
            first = earlier[code, number]
            same = "this row" if first == (table.name, number) else f"{first[0]} row {first[1]}"
            problems.append(
                Problem(
                    f"{table.name} row {number}, coupon {code}",
                    f"{what} already read in {same}",
                    "Delete one of the two, or correct the label.",
                )
            )
    return problems


def _readings_words(cells: Sequence[tuple[Response, int]]) -> str:
    response = cells[0][0]
    if response.readings == 1:
        return f"{response.name} was"
    numbers = [number for own, number in cells if own.name == response.name]
    if len(numbers) == 1:
        return f"{response.name} reading {numbers[0]} was"
    return f"{response.name} readings {', '.join(map(str, numbers))} were"
