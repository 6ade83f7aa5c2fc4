"""One estimate in words, off the log scale: values in their unit, ratios in per cent."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, TypeAlias

import pandas as pd

from quenchbook.fit.mixed import MixedModel
from quenchbook.units import decimals_for, interval_text, number_text, with_unit

Row: TypeAlias = "Mapping[Any, Any] | pd.Series[Any]"
"""One estimate of a table with ``estimate, conf_low, conf_high`` and perhaps ``std_error``."""


def level_of(model: MixedModel, name: str, level: Any) -> str:
    """Level in print, as the study words it; of a data frame as it stands there."""
    variable = name if model.study is not None and model.study.has(name) else ""
    if model.study is not None and variable:
        return model.study.factor(variable).named_word(level)
    return f"{level:g}" if isinstance(level, float) else str(level)


def value_words(model: MixedModel, row: Row) -> str:
    """A mean with its interval: ``62.45 HRC (62.30 to 62.60)``; on the log scale the median."""
    ends = [float(row[name]) for name in ("estimate", "conf_low", "conf_high")]
    if math.isnan(ends[0]):
        return "not estimable"
    error = float(row.get("std_error", math.nan))
    if model.scale == "log":
        middle = math.exp(ends[0])
        ends, error = [_raised(end) for end in ends], middle * error
    decimals = _decimals(ends, error, model.unit)
    middle_text = with_unit(number_text(ends[0], decimals), model.unit)
    return f"{middle_text} ({interval_text(ends[1], ends[2], decimals)})"


def difference_words(model: MixedModel, row: Row, *, is_slope: bool = False) -> str:
    """A difference with its interval: ``+0.94 HRC (+0.69 to +1.19)``; a ratio in per cent.

    A slope gets all the decimals of its standard error, however many those are.
    """
    ends = [float(row[name]) for name in ("estimate", "conf_low", "conf_high")]
    if math.isnan(ends[0]):
        return "not estimable"
    error, unit = float(row.get("std_error", math.nan)), model.unit
    if model.scale == "log":
        error *= 100 * math.exp(ends[0])
        ends, unit = [100 * (_raised(end) - 1) for end in ends], "%"
    decimals = _decimals(ends, error, "" if is_slope else unit)
    middle = with_unit(number_text(ends[0], decimals, sign=True), unit)
    return f"{middle} ({interval_text(ends[1], ends[2], decimals, sign=True)})"


def _raised(end: float) -> float:
    return math.exp(end) if end < 700 else math.inf  # beyond it there is no limit in any unit


def _decimals(ends: list[float], error: float, unit: str) -> int:
    if math.isnan(error):
        error = (ends[2] - ends[1]) / 4  # a half width is some two standard errors
    return decimals_for(error, unit)


def means_sentence(
    model: MixedModel, grid: pd.DataFrame, table: pd.DataFrame, *, is_difference: bool
) -> str:
    """Means, or contrasts of them, in one sentence: each of up to two, of more the ends.

    Parameters
    ----------
    model : MixedModel
    grid : DataFrame
        What each row is.
    table : DataFrame
        The same rows with their estimates.
    is_difference : bool
        Whether the rows are contrasts or slopes.
    """
    rows = table.to_dict("records")
    is_slope = is_difference and list(grid.columns) != ["contrast"]
    named = [
        f"{_row_name(model, grid, place)} "
        + (
            difference_words(model, row, is_slope=is_slope)
            if is_difference
            else value_words(model, row)
        )
        for place, row in enumerate(rows)
    ]
    quantity = (
        f"Slope of {model.quantity_word[:1].lower()}{model.quantity_word[1:]}"
        if is_slope
        else model.quantity_word
    )
    if len(rows) <= 2 or table["estimate"].isna().any():
        return f"{quantity}: {'; '.join(named)}."
    values = table["estimate"].to_numpy(dtype=float)
    if is_difference:
        told = int(((table["conf_low"] > 0) | (table["conf_high"] < 0)).sum())
        largest = named[int(abs(values).argmax())]
        return f"{quantity}: {told} of {len(rows)} intervals leave out zero; largest: {largest}."
    low, high = named[int(values.argmin())], named[int(values.argmax())]
    return f"{quantity}, lowest mean: {low}; highest: {high}."


def _row_name(model: MixedModel, grid: pd.DataFrame, place: int) -> str:
    if list(grid.columns) == ["contrast"]:
        return str(grid["contrast"].iloc[place]).replace("_", " ")
    row = grid.iloc[place]
    names = {model.terms.variable(v.name).column: v.name for v in model.terms.variables}
    return ", ".join(
        level_of(model, names.get(str(column), str(column)), row[column])
        for column in grid.columns
        if row[column] == row[column]
    )
