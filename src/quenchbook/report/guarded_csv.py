"""Tables as CSV that no spreadsheet takes for formulas, and as JSON Lines without any guard.

A spreadsheet evaluates a cell that begins with ``=``, ``+``, ``-``, ``@``, a tab or a line end,
also inside quotation marks; one that expects semicolons between cells even after a semicolon in
the middle. There an apostrophe goes in front, and one more before an apostrophe that stands there
already, so `unguarded` gives back every text exactly. Numbers are not guarded.

Source of the characters: OWASP, "CSV injection" (from memory); the full-width forms and the
semicolon are our own precaution.
"""

from __future__ import annotations

import csv
import io
import json
import math
import re
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    import pandas as pd

STRING, INTEGER, NUMBER, BOOLEAN = "string", "integer", "number", "boolean"

_NUMBERS: Final = frozenset({
    "estimate", "std_error", "df", "df_error", "statistic", "conf_low", "conf_high", "inner_low",
    "inner_high", "margin", "p_value", "confidence", "safety_factor",
})  # fmt: skip
_WHOLE: Final = frozenset({"level_coupons", "against_coupons", "furnace_loads"})
_DANGEROUS: Final = r"=+\-@\t\r\n\uff1d\uff0b\uff0d\uff20"
_AT_RISK: Final = re.compile(rf"(^|[;\t\r\n])(?=['{_DANGEROUS}])")
_GUARD: Final = re.compile(r"(^|[;\t\r\n])'")
_PLAIN_NUMBER: Final = re.compile(r"-(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?")
_LARGEST_WHOLE: Final = 1e15  # below it every whole number is a float of its own


def field_type(column: str, values: pd.Series) -> str:
    """Type of a column: ``string``, ``integer``, ``number`` or ``boolean``."""
    from pandas.api import types

    if types.is_bool_dtype(values) or column in ("declared", "analysed", "guarded"):
        return BOOLEAN
    if types.is_integer_dtype(values) or column in _WHOLE or column.endswith("_order"):
        return INTEGER
    if types.is_float_dtype(values) or column in _NUMBERS:
        return NUMBER
    return STRING


def cell_texts(values: Iterable[Any], kind: str) -> list[str]:
    """Exact text of each cell; blank where there is nothing, ``INF`` for infinite."""
    if kind == STRING:
        return [_words(value) for value in values]
    if kind == BOOLEAN:
        return ["" if _is_missing(value) else str(bool(value)).lower() for value in values]
    return ["" if _is_missing(value) else number_text(float(value)) for value in values]


def number_text(value: float) -> str:
    """Shortest text that is this number; whole numbers without a decimal point.

    >>> number_text(64.0), number_text(0.1), number_text(float("-inf"))
    ('64', '0.1', '-INF')
    """
    if math.isinf(value):
        return "INF" if value > 0 else "-INF"
    whole = value.is_integer() and abs(value) < _LARGEST_WHOLE
    return str(int(value)) if whole else repr(value)


def guarded(text: str) -> str:
    """Text that a spreadsheet shows as it is.

    >>> guarded("=1+1"), guarded("-18"), guarded("- cracked"), guarded("62,5")
    ("'=1+1", '-18', "'- cracked", '62,5')
    """
    return text if _PLAIN_NUMBER.fullmatch(text) else _AT_RISK.sub(r"\1'", text)


def unguarded(text: str) -> str:
    """Text as it was before `guarded`."""
    return _GUARD.sub(r"\1", text)


def csv_text(columns: Sequence[str], kinds: Sequence[str], cells: Sequence[Sequence[str]]) -> str:
    """CSV after RFC 4180 with LF line ends; texts are guarded.

    Parameters
    ----------
    columns, kinds : sequence of str
        Names and types, from `field_type`.
    cells : sequence of sequence of str
        Exact texts, one sequence a column, from `cell_texts`.
    """
    safe = [
        [guarded(text) for text in texts] if kind == STRING else texts
        for kind, texts in zip(kinds, cells, strict=True)
    ]
    lines = [columns, *zip(*safe, strict=True)]
    return "".join(f"{','.join(map(_cell, line))}\n" for line in lines)


def json_lines(columns: Sequence[str], kinds: Sequence[str], cells: Sequence[Sequence[str]]) -> str:
    """Return the same rows as JSON Lines: one object a row, null where there is nothing."""
    lines = []
    for row in zip(*cells, strict=True):
        pairs = zip(columns, map(_json_value, row, kinds), strict=True)
        lines.append(json.dumps(dict(pairs), ensure_ascii=False, allow_nan=False))
    return "".join(f"{line}\n" for line in lines)


def rows_of_csv(text: str) -> tuple[list[str], list[list[str]]]:
    """Column names and cells of a CSV text, guards taken off; ValueError if it is damaged."""
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except csv.Error as error:
        raise ValueError(str(error)) from None
    if not rows:
        raise ValueError("it is empty")
    head, *body = rows
    if any(len(row) != len(head) for row in body):
        raise ValueError("a row has more or fewer cells than the head")
    return head, [[unguarded(cell) for cell in row] for row in body]


def rows_of_json_lines(text: str) -> tuple[list[str], list[list[str]]]:
    """Column names and cells of JSON Lines, as texts; ValueError if they are damaged."""
    rows = [json.loads(line) for line in text.split("\n") if line]
    if not rows:
        raise ValueError("it is empty")
    if any(not isinstance(row, dict) or list(row) != list(rows[0]) for row in rows):
        raise ValueError("a row has other columns than the first")
    return list(rows[0]), [[_json_text(value) for value in row.values()] for row in rows]


def _cell(text: str) -> str:
    """Cell of a CSV line; csv.writer of Python 3.11 leaves a carriage return unquoted."""
    return '"' + text.replace('"', '""') + '"' if set(text) & set(',"\r\n') else text


def _json_value(text: str, kind: str) -> Any:
    if not text:
        return None
    if kind == BOOLEAN:
        return text == "true"
    if kind == STRING or text.endswith("INF"):
        return text
    return json.loads(text)


def _json_text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    return number_text(float(value)) if isinstance(value, int | float) else str(value)


def _words(value: Any) -> str:
    if _is_missing(value):
        return ""
    return number_text(float(value)) if isinstance(value, int | float) else str(value)


def _is_missing(value: Any) -> bool:
    return value is None or value != value
