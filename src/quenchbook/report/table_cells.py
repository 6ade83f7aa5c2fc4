"""A data frame to the texts of a table: units in the heads, decimals alike down a column."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import pandas as pd

from quenchbook.report.blocks import Column, TableBlock
from quenchbook.report.number_columns import number_texts
from quenchbook.units import MINUS, number_text, unit_text

_MOST_DECIMALS = 6


def table_block(
    frame: pd.DataFrame,
    *,
    key: str,
    caption: str,
    titles: Mapping[str, str] | None = None,
    units: Mapping[str, str] | None = None,
    decimals: Mapping[str, int] | int | None = None,
    notes: Sequence[str] = (),
    missing: str = "",
) -> TableBlock:
    """Write each cell of a frame for people.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row of the table a row; the index is not shown.
    key : str
        Short name, unlike that of any other table of the report.
    caption : str
        What the table shows, as a sentence.
    titles, units : mapping of str to str, optional
        Head and unit of a column by its name in the frame.
    decimals : int or mapping of str to int, optional
        Decimals of the numbers, for all columns or by name. Without it a column gets as many as
        its numbers need, at most six.
    notes : sequence of str
        Lines under the table.
    missing : str
        What stands for a missing value, such as ``"not known"``.

    Returns
    -------
    TableBlock
        Numbers with a true minus, flush right; the pages set them on one decimal point. A unit
        that all texts of a column carry moves into its head.
    """
    titles, units = titles or {}, units or {}
    columns: list[Column] = []
    cells: list[list[str]] = []
    for position, label in enumerate(frame.columns):
        name, values = str(label), frame.iloc[:, position]
        places = decimals.get(name) if isinstance(decimals, Mapping) else decimals
        numeric = _is_numeric(values)
        if numeric and places is None:
            places = _decimals_needed(values)
        unit = unit_text(units.get(name, ""))
        texts = [_cell(value, places if numeric else None, missing) for value in values]
        numbers = None if numeric else number_texts(texts)
        if numbers is not None and not (numbers.unit and unit):
            unit, texts = numbers.unit or unit, list(numbers.texts)
        columns.append(
            Column(
                title=titles.get(name, name.replace("_", " ")),
                unit=unit,
                align="right" if numeric or numbers is not None else "left",
                decimals=places if numeric else None,
            )
        )
        cells.append(texts)
    return TableBlock(
        key=key,
        caption=caption,
        columns=tuple(columns),
        rows=tuple(zip(*cells, strict=True)),
        notes=tuple(notes),
    )


def _is_numeric(values: pd.Series) -> bool:
    return pd.api.types.is_numeric_dtype(values) and not pd.api.types.is_bool_dtype(values)


def _decimals_needed(values: pd.Series) -> int:
    """Fewest decimals that show every value to six significant digits."""
    needed = 0
    for value in values.dropna():
        number = float(value)
        if not math.isfinite(number) or number == 0:
            continue
        room = min(_MOST_DECIMALS, max(0, 5 - math.floor(math.log10(abs(number)))))
        digits = f"{number:.{room}f}".rstrip("0")
        needed = max(needed, len(digits.partition(".")[2]))
    return needed


def _cell(value: object, decimals: int | None, missing: str) -> str:
    if value is None or value is pd.NaT or value is pd.NA or value != value:
        return missing
    if isinstance(value, bool):
        return "yes" if value else "no"
    if decimals is not None:
        return number_text(float(str(value)), decimals)
    if isinstance(value, int | float):
        return f"{value:g}".replace("-", MINUS)
    return str(value)
