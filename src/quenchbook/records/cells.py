"""Text of one cell to a reading or to a level that was really run."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from typing import Final

from quenchbook.errors import Problem, UnitError, did_you_mean
from quenchbook.records.other_scales import NOT_CONVERTED, is_other_scale
from quenchbook.records.tables import Row, Table
from quenchbook.study.definition import Response
from quenchbook.study.factors import Factor, Level
from quenchbook.units import (
    STORAGE_UNITS,
    convert,
    parse_number,
    parse_quantity,
    unit_named,
    unit_text,
)

MISSING: Final = frozenset({"", "?", "lost", "-", "\u2013", "\u2014", "n/a"})
_NO_NUMBER: Final = frozenset({"nan", "na", "inf", "-inf", "infinity", "null", "none", "#n/a"})
_BARE = re.compile(r"^[+-]?[\d.,' ]+(?:e[+-]?\d+)?$", re.IGNORECASE)


def is_missing(text: str) -> bool:
    """Whether a cell says that there is no reading.

    >>> is_missing("n/a"), is_missing("0")
    (True, False)
    """
    return text.lower() in MISSING


def place(table: Table, row: Row, coupon: str = "") -> str:
    """Where a mistake is: ``hardness.csv row 14, coupon K7TC``."""
    return f"{table.name} row {row.number}" + (f", coupon {coupon}" if coupon else "")


def unit_gap(name: str, filled: list[str]) -> str:
    """Say that neither a column nor its cells have a unit; empty if they have.

    >>> unit_gap("hardness_1", ["62", "61 HRC"])
    "the column 'hardness_1' has no unit, and 1 of its 2 filled cells have none"
    """
    bare = sum(map(is_bare, filled))
    if not bare:
        return ""
    cells = (
        "its cells have none"
        if bare == len(filled)
        else f"{bare} of its {len(filled)} filled cells have none"
    )
    return f"the column '{name}' has no unit, and {cells}"


def is_bare(text: str) -> bool:
    """Whether a text is a number without a unit.

    >>> is_bare("62,5"), is_bare("62.5 HRC")
    (True, False)
    """
    return _BARE.match(_plain(text)) is not None


def dimension_of(unit: str) -> str:
    """Dimension of a unit; empty for a unit that is never converted."""
    for dimension in STORAGE_UNITS:
        try:
            unit_named(unit, dimension)
        except UnitError:
            continue
        return dimension
    return ""


def reading_value(text: str, response: Response, unit: str, decimal: str | None) -> float:
    """Number in the unit of the response.

    Parameters
    ----------
    text : str
        Cell, a number with or without a unit.
    response : Response
    unit : str
        Unit of a bare number (from the header); empty when there is none.
    decimal : {".", ",", None}
        Decimal mark of the cell.

    Raises
    ------
    UnitError
        If it is no such number.
    """
    if not response.unit:
        return parse_number(text, decimal=decimal)
    if is_bare(text):
        if not unit:
            raise UnitError(f"'{text}' has no unit.")
        if unit == response.unit:
            return parse_number(text, decimal=decimal)
    dimension = dimension_of(response.unit)
    if not dimension:
        return parse_number(_plain(text).removesuffix(response.unit).strip(), decimal=decimal)
    stored = parse_quantity(text, dimension, unit=unit or None, decimal=decimal)
    if unit_named(response.unit, dimension) == STORAGE_UNITS[dimension]:
        return stored
    zero, one = (convert(x, response.unit, dimension) for x in (0.0, 1.0))
    return (stored - zero) / (one - zero)


def reading_problem(
    where: str, name: str, text: str, response: Response, error: UnitError
) -> Problem:
    """Say why a cell is no reading."""
    unit = f" in {response.unit}" if response.unit else ""
    if "thousand" in str(error):
        found, _, write = str(error).partition(". ")
        return Problem(where, f"{name}: {found}", write)
    if text.lower() in _NO_NUMBER:
        return Problem(
            where,
            f"{name} is '{text}', which is no reading",
            "Leave the cell empty if there is none.",
        )
    if text[:1] in "<>\u2264\u2265":
        return Problem(
            where,
            f"{name} is '{text}', a limit and no reading",
            "Leave it empty; say why in a note.",
        )
    if response.unit == "HRC" and is_other_scale(re.sub(r"^[\d.,\s]+", "", text)):
        return Problem(where, f"{name} is '{text}', not in HRC", NOT_CONVERTED)
    return Problem(
        where,
        f"{name} is '{text}', not a number{unit}",
        "Write the reading, or leave the cell empty.",
    )


def actual_level(text: str, factor: Factor, unit: str, decimal: str | None) -> Level:
    """Level that was really run, in the storage unit; a named level must be a declared one.

    Parameters
    ----------
    text : str
        Such as ``982 degC``, ``85 min``, ``dry ice``.
    factor : Factor
    unit : str
        Unit of a bare number (from the header); empty when there is none.
    decimal : {".", ",", None}
        Decimal mark of the cell.

    Raises
    ------
    UnitError
        If it is no such level; the message says what to write.
    """
    if factor.is_numeric:
        value = parse_quantity(text, factor.dimension, unit=unit or None, decimal=decimal)
        if factor.dimension != "temperature" and value < 0:
            raise UnitError(f"'{text}' is below zero.")
        return round(value, 6)
    for level in factor.levels:
        if _word(text) in (_word(str(level)), _word(factor.set_word(level))):
            return level
    words = [factor.set_word(level) for level in factor.levels]
    raise UnitError(f"'{text}' is not a level of {factor.title}. {nearest_words(text, words)}")


def actual_problem(
    where: str, name: str, text: str, factor: Factor, error: UnitError, written: str = ""
) -> Problem:
    """Say why a cell is no level of a factor, in the unit of its column where that tells one."""
    if not factor.is_numeric:
        found, _, remedy = str(error).partition(". ")
        return Problem(where, f"{name}: {found}", remedy)
    unit = {"degC": "degC", "minutes": "min"}.get(factor.unit, factor.unit)
    if is_bare(text) and "no unit" in str(error):
        return Problem(
            where,
            f"{name} is '{text}' without a unit",
            f"Write it as {text} {unit}, if that is it.",
        )
    if "below zero" in str(error):
        return Problem(where, f"{name} is '{text}', below zero", "Look at the log again.")
    own, example = factor.unit, float(factor.levels[0])
    if written and unit_named(written, factor.dimension) == "degF":
        own = unit = "degF"
        example = round(in_degf(example))
    return Problem(
        where,
        f"{name} is '{text}', not a {factor.dimension} in {unit_text(own)}",
        f"Write it such as {example:g} {unit}, or leave the cell empty.",
    )


def in_degf(celsius: float) -> float:
    """Temperature of the Celsius scale on that of Fahrenheit."""
    return celsius * 1.8 + 32


def nearest_words(text: str, known: Iterable[str]) -> str:
    """Remedy that names the nearest known word, or all of them.

    >>> nearest_words("freezr", ["freezer", "dry ice"])
    'Did you mean freezer?'
    """
    known = list(dict.fromkeys(known))
    return did_you_mean(text, known) or f"Known: {', '.join(known)}."


def _plain(text: str) -> str:
    plain = unicodedata.normalize("NFKC", text).replace("\u2212", "-").replace("\u2013", "-")
    return " ".join(plain.split())


def _word(text: str) -> str:
    return re.sub(r"[\s_-]+", " ", unicodedata.normalize("NFKC", text)).strip().casefold()
