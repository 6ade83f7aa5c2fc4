"""Which table a header belongs to, and what each of its columns means."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from quenchbook.errors import Problem, UnitError
from quenchbook.plan.entry_tables import (
    BLOCK_COLUMNS,
    CORRECTION_COLUMNS,
    DEVIATION_COLUMNS,
    IMPACT_CHECK_COLUMNS,
    actual_column,
    logged_factors,
    reading_columns,
    response_stem,
)
from quenchbook.records.cells import dimension_of, nearest_words
from quenchbook.records.measures import measure_of
from quenchbook.records.other_scales import NOT_CONVERTED, is_other_scale
from quenchbook.records.tables import Table, column_name
from quenchbook.study.definition import Response, Study
from quenchbook.study.factors import Factor, Unit
from quenchbook.units import unit_ending, unit_named

LOG_UNITS: Final[tuple[Unit, ...]] = ("furnace_load", "cold_batch", "temper_batch")
CHECK_STEMS: Final = {"block checks": "block_value", "impact checks": "certified_value"}
"""Kinds of tables about the testers, each with the column that only it has."""
_EXTRA: Final = ("order", "note")
_BESIDE: Final = (*_EXTRA, "place")  # of a coupon; a place is read by `Labels`


@dataclass(frozen=True)
class ReadingColumn:
    """A column of readings: of which response, which reading, in which unit.

    `reading` is None in a long table; `unit` is empty when each cell must carry it.
    """

    name: str
    response: Response
    reading: int | None
    unit: str


@dataclass(frozen=True)
class ActualColumn:
    """A column of levels that were really run; `unit` as in `ReadingColumn`."""

    name: str
    factor: Factor
    unit: str


def table_kind(table: Table) -> str:
    """Kind of a table by its header; empty if it is of none."""
    names = set(table.header)
    for kind, stem in CHECK_STEMS.items():
        if any(name.startswith(stem) for name in names):
            return kind
    if {"found", "corrected"} <= names:
        return "corrections"
    if {"what", "which"} <= names:
        return "deviations"
    if "coupon" in names:
        return "readings"
    return "log" if names & set(LOG_UNITS) else ""


def unknown_table_problem(table: Table, study: Study) -> Problem:
    """Say that a header is of no known table, and which is nearest."""
    where = f"{table.name} row {table.header_row}"
    wrong = f"the columns {', '.join(table.header[:6])} are of no known table"
    known = _known_columns(study)

    def likeness(kind: str) -> int:
        return sum(bool(difflib.get_close_matches(n, known[kind], 1, 0.75)) for n in table.header)

    kind = max(known, key=likeness)
    if not likeness(kind):
        return Problem(where, wrong, "If it is not a table of readings, move it out of the folder.")
    keys = {
        "deviations": ("what", "which"),
        "corrections": ("found", "corrected"),
        "block checks": ("block_value_hrc",),
        "impact checks": ("certified_value_j",),
    }
    key = next(
        name
        for name in keys.get(kind, ("furnace_load" if kind == "log" else "coupon",))
        if name not in table.header
    )
    close = difflib.get_close_matches(key, table.header, 1, 0.6)
    kind_words = {"readings": "a table of readings", "log": "a furnace log"}.get(kind, kind)
    remedy = f"Is '{close[0]}' the column {key}?" if close else f"It needs the column {key}."
    return Problem(where, f"{wrong}; nearest is {kind_words}", remedy)


def _known_columns(study: Study) -> Mapping[str, list[str]]:
    readings = [n for r in study.responses for n in (r.name, *reading_columns(r))]
    logged = [column_name(actual_column(f)) for u in LOG_UNITS for f in logged_factors(study, u)]
    return {
        "readings": ["coupon", "reading", *readings],
        "log": ["furnace_load", *logged],
        "deviations": list(DEVIATION_COLUMNS[:4]),
        "corrections": list(CORRECTION_COLUMNS),
        "block checks": list(BLOCK_COLUMNS[:4]),
        "impact checks": list(IMPACT_CHECK_COLUMNS[:2]),
    }


def missing_columns(table: Table, needed: Sequence[str]) -> list[Problem]:
    """Columns that a table of this kind needs and does not have."""
    where = f"{table.name} row {table.header_row}"
    return [
        Problem(where, f"there is no column '{name}'", f"The columns are {', '.join(needed)}.")
        for name in needed
        if name not in table.header
    ]


def unknown_columns(table: Table, known: Sequence[str]) -> list[Problem]:
    """Columns that a table of this kind does not know."""
    where = f"{table.name} row {table.header_row}"
    return [
        Problem(where, f"the column '{name}' is not known here", nearest_words(name, known), name)
        for name in table.header
        if name not in known
    ]


# --- readings -------------------------------------------------------------------------------------


def columns_of_readings(table: Table, study: Study) -> tuple[list[ReadingColumn], list[Problem]]:
    """Meaning of every column of a table of readings."""
    where = f"{table.name} row {table.header_row}"
    columns: list[ReadingColumn] = []
    problems: list[Problem] = []
    known = ["coupon", *(name for r in study.responses for name in reading_columns(r)), *_BESIDE]
    for name in table.header:
        if name in ("coupon", "reading", *_BESIDE) or measure_of(name, study):
            continue
        match = _response_of(name, study)
        if match is None:
            known_words = nearest_words(name, known)
            wrong = f"the column '{name}' is not known here"
            problems.append(Problem(where, wrong, known_words, name))
            continue
        response, rest = match
        reading, unit_words = _number_and_unit(rest)
        unit = _header_unit(unit_words, response.unit)
        if unit is None:
            problems.append(_unit_problem(where, name, unit_words, response))
        elif reading is not None and not 1 <= reading <= response.readings:
            count = f"{response.readings} reading{'s' if response.readings > 1 else ''}"
            problems.append(
                Problem(
                    where,
                    f"the column '{name}' is reading {reading}, the study has {count} a coupon",
                    "Correct the number, or the readings in study.toml.",
                    name,
                )
            )
        else:
            columns.append(ReadingColumn(name, response, reading, unit))
    measured = "place" in table.header or any(measure_of(n, study) for n in table.header)
    if not columns and not problems and not measured:
        names = ", ".join(response.name for response in study.responses)
        problems.append(Problem(where, "there is no column of readings", f"Known: {names}."))
    if "reading" in table.header and any(column.reading is not None for column in columns):
        problems.append(
            Problem(
                where, "has a column 'reading' and numbered columns as well", "Keep one of them."
            )
        )
    seen: dict[tuple[str, int | None], str] = {}
    for column in list(columns):
        first = seen.setdefault((column.response.name, column.reading), column.name)
        if first != column.name:
            columns.remove(column)
            problems.append(
                Problem(
                    where,
                    f"'{first}' and '{column.name}' are the same reading",
                    "Keep one of them.",
                )
            )
    return columns, problems


def _response_of(name: str, study: Study) -> tuple[Response, str] | None:
    """Response a column belongs to, and the rest of its name."""
    stems = {response_stem(r): r for r in study.responses}
    indented = [r for r in study.responses if r.kind == "hardness"]
    if len(indented) == 1:
        stems.setdefault("indent", indented[0])
    for stem in sorted(stems, key=len, reverse=True):
        if name == stem or name.startswith(f"{stem}_"):
            return stems[stem], name[len(stem) :].strip("_")
    return None


def _number_and_unit(rest: str) -> tuple[int | None, str]:
    """Reading number and unit words of ``hrc_1``, ``1_hrc``, ``1`` or ``hrc``."""
    parts = [part for part in rest.split("_") if part]
    for at in (-1, 0):
        if parts and re.fullmatch(r"[0-9]{1,4}", parts[at]):
            number = int(parts.pop(at))
            return number, " ".join(parts)
    return None, " ".join(parts)


def _header_unit(words: str, own: str) -> str | None:
    """Unit that a header names; empty for none, None if it is none of the response's kind."""
    if not words:
        return ""
    if unit_ending(words) == unit_ending(own):
        return own
    dimension = dimension_of(own)
    return words if dimension and _is_unit(words, dimension) else None


def _unit_problem(where: str, name: str, words: str, response: Response) -> Problem:
    if response.unit == "HRC" and is_other_scale(words):
        wrong = f"the column '{name}' is on the scale {words.upper()}, not HRC"
        return Problem(where, wrong, NOT_CONVERTED, name)
    wrong = f"the column '{name}' is not known here: '{words}' is not a unit of {response.quantity}"
    return Problem(where, wrong, f"Name it {reading_columns(response)[0]} if that is it.", name)


def _is_unit(words: str, dimension: str) -> bool:
    try:
        unit_named(words, dimension)
    except UnitError:
        return False
    return True


# --- logs -----------------------------------------------------------------------------------------


def columns_of_log(
    table: Table, study: Study, unit: Unit
) -> tuple[list[ActualColumn], list[Problem]]:
    """Meaning of every column of the log of a unit."""
    where = f"{table.name} row {table.header_row}"
    factors = logged_factors(study, unit)
    known = [unit, *(actual_column(factor) for factor in factors), *_EXTRA]
    columns: list[ActualColumn] = []
    problems: list[Problem] = []
    for name in table.header:
        if name in (unit, *_EXTRA):
            continue
        factor = next((f for f in factors if name.startswith(f"{f.name}_actual")), None)
        if factor is None:
            known_words = nearest_words(name, known)
            wrong = f"the column '{name}' is not known here"
            problems.append(Problem(where, wrong, known_words, name))
            continue
        words = name.removeprefix(f"{factor.name}_actual").strip("_").replace("_", " ")
        if words and not (factor.is_numeric and _is_unit(words, factor.dimension)):
            wrong = f"the column '{name}': '{words}' is not a unit of {factor.title}"
            remedy = f"Name it {actual_column(factor)} if that is it."
            problems.append(Problem(where, wrong, remedy, name))
            continue
        columns.append(ActualColumn(name, factor, words))
    if not columns and not problems:
        problems.append(
            Problem(
                where, "there is no column of what was really run", f"Known: {', '.join(known)}."
            )
        )
    return columns, problems
