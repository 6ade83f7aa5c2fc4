"""A table of numbers as people read it: rounded by its standard error, the interval in one cell."""

from __future__ import annotations

import math
import numbers
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from quenchbook.columns import meaning
from quenchbook.units import decimals_for, number_text, unit_ending, unit_text

if TYPE_CHECKING:
    import pandas as pd

MOST_ROWS: Final = 24
"""Rows of a listing that are shown; `to_frame` has them all."""

_WIDEST: Final = 48  # letters of a cell, so that a row of numbers stays on a screen

_ENDS: Final = (("conf_low", "conf_high"), ("inner_low", "inner_high"))
_ROUNDED: Final = {
    "df": 1, "df_error": 1, "statistic": 2, "critical": 2, "price": 2, "total": 2, "hours": 1,
    "furnace_hours": 1, "power": 2, "simulated_power": 2, "equivalence_power": 2,
    "simulated_equivalence_power": 2,
}  # fmt: skip
_IN_WORDS: Final = ("stratum", "what")  # columns that name a unit, such as furnace_load
_SHARED: Final = (
    "sd",
    "sd_lowest",
    "sd_highest",
    "mean",
    "estimate",
    "std_error",
    "conf_low",
    "conf_high",
    "inner_low",
    "inner_high",
)


@dataclass(frozen=True)
class Column:
    """One column of a written table.

    Attributes
    ----------
    head : str
    meaning : str
        What it means, from the glossary; empty where the head says it.
    cells : tuple of str
    is_number : bool
        Numbers stand at the right.
    """

    head: str
    meaning: str
    cells: tuple[str, ...]
    is_number: bool


@dataclass(frozen=True)
class WrittenTable:
    """Columns of text, and how many rows were left out.

    Attributes
    ----------
    columns : tuple of Column
    left_out : int
        Rows that are not shown.
    """

    columns: tuple[Column, ...]
    left_out: int = 0

    @property
    def rows(self) -> list[tuple[str, ...]]:
        """Cells row by row."""
        return list(zip(*(own.cells for own in self.columns), strict=True))

    def lines(self) -> list[str]:
        """Lines of text: heads and cells in columns, words at the left and numbers at the right."""
        if not self.rows:
            return []
        heads = tuple(own.head for own in self.columns)
        rows = [tuple(map(_shortened, row)) for row in (heads, *self.rows)]
        widths = [max(map(len, cells)) for cells in zip(*rows, strict=True)]
        lines = []
        for row in rows:
            cells = [
                cell.rjust(width) if own.is_number else cell.ljust(width)
                for cell, width, own in zip(row, widths, self.columns, strict=True)
            ]
            lines.append("  ".join(cells).rstrip())
        return [*lines, *self.more()]

    def more(self) -> list[str]:
        """Line that says how many rows are not shown; none where all are."""
        return [f"({self.left_out} more rows: to_frame() has them all)"] if self.left_out else []


def written_table(
    frame: pd.DataFrame,
    *,
    confidence: float | None = None,
    unit: str = "",
    most_rows: int = MOST_ROWS,
) -> WrittenTable:
    r"""Write a table for people.

    Limits become one column of intervals, an estimate is rounded to two digits of its standard
    error, a p value to three decimals, other fractions to four digits. What is not known is blank.

    Parameters
    ----------
    frame : DataFrame
        Columns as in the glossary.
    confidence : float, optional
        Confidence level of the limits, for the head of their column.
    unit : str
        Of the estimates; HRC and J get no more decimals than help.
    most_rows : int

    Examples
    --------
    >>> import pandas as pd
    >>> row = {"contrast": "a - b", "estimate": 0.9441, "std_error": 0.125, "p_value": 1e-5}
    >>> print("\n".join(written_table(pd.DataFrame([row])).lines()))
    contrast  estimate  std error        p
    a - b         0.94       0.12  < 0.001
    """
    shown = frame.head(most_rows)
    rows = shown.to_dict("records")
    places = [_decimals(row, unit) for row in rows]
    columns = []
    for name in map(str, shown.columns):
        pair = next((own for own in _ENDS if name in own and set(own) <= set(shown.columns)), None)
        if pair is not None and name == pair[1]:
            continue
        if pair is not None:
            level = confidence if pair == _ENDS[0] else 2 * confidence - 1 if confidence else None
            head = f"{100 * level:g} % interval" if level else "interval"
            cells = [
                _interval(row[pair[0]], row[pair[1]], decimals)
                for row, decimals in zip(rows, places, strict=True)
            ]
            columns.append(Column(head, "lower and upper limit", tuple(cells), True))
            continue
        cells = [_cell(name, row[name], d) for row, d in zip(rows, places, strict=True)]
        is_number = any(_is_number(row[name]) for row in rows)
        columns.append(Column(_head(name), meaning(name)[0], tuple(cells), is_number))
    kept = tuple(own for own in columns if any(own.cells)) or tuple(columns)
    return WrittenTable(kept, len(frame) - len(shown))


def _head(name: str) -> str:
    """Name of a column in words: the unit that it ends in stands after a comma."""
    if name == "p_value":
        return "p"
    unit = meaning(name)[1]
    base, planned = name.removesuffix("_planned"), name.endswith("_planned")
    for ending in (unit_ending(unit), unit_ending(unit_text(unit))):
        if unit and base.endswith(f"_{ending}"):
            words = base.removesuffix(f"_{ending}").replace("_", " ")
            return f"{words}{' planned' if planned else ''}, {unit_text(unit)}"
    return name.replace("_", " ")


def _shortened(cell: str) -> str:
    """Cell for a table of text; a notebook shows the whole of it."""
    return cell if len(cell) <= _WIDEST else f"{cell[: _WIDEST - 1]}\u2026"


def _is_number(value: Any) -> bool:
    return isinstance(value, numbers.Number) and not isinstance(value, bool)


def _decimals(row: dict[Any, Any], unit: str) -> int | None:
    """Decimals of estimate and limits of a row; None where nothing tells how sure it is."""
    error = row.get("std_error", math.nan)
    if not (_is_number(error) and error > 0):
        ends = [row.get(name, math.nan) for name in _ENDS[0]]
        if not all(_is_number(end) and math.isfinite(end) for end in ends):
            return None
        error = (ends[1] - ends[0]) / 4  # about: a half width is some two standard errors
    return decimals_for(float(error), unit) if error > 0 else None


def _interval(low: Any, high: Any, decimals: int | None) -> str:
    if not (_is_number(low) and _is_number(high)) or low != low or high != high:
        return ""
    if math.isinf(low) and math.isinf(high):
        return "no limit"
    if math.isinf(low):
        return f"up to {_number(high, decimals)}"
    if math.isinf(high):
        return f"{_number(low, decimals)} or more"
    return f"{_number(low, decimals)} to {_number(high, decimals)}"


def _number(value: float, decimals: int | None) -> str:
    if decimals is not None:
        return number_text(value, decimals)
    digits = 3 - math.floor(math.log10(abs(value))) if value and math.isfinite(value) else 0
    text = number_text(value, min(max(digits, 0), 6))
    return text.rstrip("0").rstrip(".") if "." in text else text


def _cell(name: str, value: Any, decimals: int | None) -> str:
    if value is None or value != value:  # nan, NaT and None: not known, so blank
        return ""
    if not _is_number(value):
        words = {True: "yes", False: "no"}.get(value) if isinstance(value, bool) else None
        text = words or " ".join(str(value).split())
        if name == "unit":
            return unit_text(text)
        return text.replace("_", " ") if name in _IN_WORDS else text
    if isinstance(value, numbers.Integral):
        return str(int(value)).replace("-", "\u2212")
    if name.startswith("p_") and 0 <= value <= 1:
        return "< 0.001" if value < 0.001 else number_text(value, 3)
    if name in _ROUNDED:
        text = number_text(value, _ROUNDED[name])
        return text.removesuffix(".0") if _ROUNDED[name] == 1 else text
    if name in _SHARED:
        return _number(value, decimals)
    return _number(value, 0 if float(value).is_integer() else None)


def joined(lines: Sequence[str]) -> str:
    """Lines as one text, empty ones left out."""
    return "\n".join(line for line in lines if line)
