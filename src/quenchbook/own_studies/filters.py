"""Rows of the table that a person asks for: words, numbers with units, ranges, dates."""

from __future__ import annotations

import unicodedata
from typing import TYPE_CHECKING, Any, Final

from quenchbook.errors import EstimabilityError, UnitError, with_suggestion
from quenchbook.own_studies.coupon_table import response_words
from quenchbook.study.factors import COLUMN_ENDINGS
from quenchbook.units import parse_quantity

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt
    import pandas as pd

    Marks = npt.NDArray[np.bool_]

_OTHER_NAMES: Final = {"route": "cold_route", "lot": "heat_lot"}
_NEAR: Final = 0.01  # of a level in storage units: 1450 degF is 787.777... degC
_TINY: Final = 1e-9  # so that an end is inside whatever the conversion did to its last digit
_FAHRENHEIT: Final = ("_f", "_degf")


def column_named(table: pd.DataFrame, name: str) -> tuple[str, str]:
    """Column that a name means, and the unit of bare numbers where it is not that of the column.

    Parameters
    ----------
    table : DataFrame
    name : str
        A column, a factor without the ending of its unit, ``route``, ``lot``, or a temperature with
        the ending ``_f``.

    Raises
    ------
    EstimabilityError
        If there is none.
    """
    if name in table:
        return name, ""
    wanted = _OTHER_NAMES.get(name, name)
    if wanted in table:
        return wanted, ""
    for ending, _ in COLUMN_ENDINGS.values():
        if f"{wanted}{ending}" in table:
            return f"{wanted}{ending}", ""
    for ending in _FAHRENHEIT:
        celsius = f"{wanted.removesuffix(ending)}_c"
        if wanted.endswith(ending) and celsius in table:
            return celsius, "degF"
    words = f"There is no column '{name}'. There are {', '.join(table.columns)}."
    raise EstimabilityError(with_suggestion(words, name, table.columns))


def rows_with(table: pd.DataFrame, name: str, value: Any) -> Marks:
    """Which rows have a value, one of several, or one in a range.

    Parameters
    ----------
    table : DataFrame
    name : str
        As `column_named` takes it.
    value : value, list of values, or pair (low, high)
        A pair is a range of a column of numbers or of dates; an end that is None is open. Numbers
        may be texts with a unit: ``"1850 degF"``. Words are compared without regard to case, and
        ``dry ice`` is ``dry_ice``.

    Returns
    -------
    ndarray of bool, shape (rows,)
    """
    import numpy as np

    column, unit = column_named(table, name)
    own = table[column]
    is_range = isinstance(value, tuple) and len(value) == 2
    if own.dtype.kind == "f" or (own.dtype.kind in "iu" and is_range):
        return _numbers(own, column, value, unit)
    if own.dtype.kind in "iub":
        return np.asarray(own.isin(_several(value)), dtype=bool)
    if column == "date" and is_range:
        return _dates(own, value)
    plain = {text: _plain(text) for text in own.dropna().unique()}
    wanted = {_plain(one) for one in _several(value)}
    if column == "response":  # also by its name in words: hardness for hardness_hrc
        first = table.drop_duplicates(column)
        names = dict(zip(first[column], response_words(first), strict=True))
        wanted |= {plain[text] for text, words in names.items() if _plain(words) in wanted}
    hit = own.isin([text for text, one in plain.items() if one in wanted])
    return np.asarray(hit, dtype=bool)


def _several(value: Any) -> list[Any]:
    return [value] if isinstance(value, str | float | int) else list(value)


def _dates(own: pd.Series[Any], value: tuple[Any, Any]) -> Marks:
    """Dates in a range; an end may be a year or a month, and holds all of it."""
    import numpy as np

    low, high = ("" if end is None else str(end) for end in value)
    texts = [text if isinstance(text, str) else "" for text in own]
    return np.array([bool(t) and t >= low and (not high or t[: len(high)] <= high) for t in texts])


def filter_words(name: str, value: Any) -> str:
    """What was asked for, in words.

    >>> filter_words("austenitize", ("980 degC", None)), filter_words("steel", ["A2", "O1"])
    ('austenitize from 980 degC', 'steel A2 or O1')
    """
    if isinstance(value, tuple) and len(value) == 2:
        ends = [f"{word} {end}" for word, end in zip(("from", "to"), value, strict=True) if end]
        return f"{name.replace('_', ' ')} {' '.join(ends)}".rstrip()
    return f"{name.replace('_', ' ')} {' or '.join(map(str, _several(value)))}"


def _numbers(own: pd.Series[Any], column: str, value: Any, unit: str) -> Marks:
    import numpy as np

    numbers = own.to_numpy(dtype=float)
    hit: Marks = np.zeros(len(own), dtype=bool)
    if isinstance(value, tuple) and len(value) == 2:
        low, high = (_number(end, column, unit) for end in value)
        hit = ~np.isnan(numbers)
        hit &= numbers >= (-np.inf if low is None else low - _TINY)
        hit &= numbers <= (np.inf if high is None else high + _TINY)
        return hit
    for one in _several(value):
        number = _number(one, column, unit)
        if number is not None:
            hit |= np.isclose(numbers, number, rtol=0.0, atol=_NEAR)
    return hit


def _number(value: Any, column: str, unit: str) -> float | None:
    """Number in the unit of a column; None for an open end."""
    if value is None:
        return None
    for dimension, (ending, storage) in COLUMN_ENDINGS.items():
        if column.endswith(ending):
            own = storage.replace("minutes", "min")
            try:
                return parse_quantity(_written(value), dimension, unit=unit or own)
            except UnitError as error:
                raise EstimabilityError(f"{column}: {error}") from None
    try:
        return float(value)
    except (TypeError, ValueError):
        raise EstimabilityError(f"{column} holds numbers, and {value!r} is none.") from None


def _written(value: Any) -> str:
    return value if isinstance(value, str) else f"{float(value):.12f}".rstrip("0").rstrip(".")


def _plain(value: object) -> str:
    text = unicodedata.normalize("NFKC", str(value)).casefold()
    return " ".join(text.replace("_", " ").split())
