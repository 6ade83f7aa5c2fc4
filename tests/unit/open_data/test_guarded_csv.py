"""Cells that no spreadsheet evaluates, and that nothing is lost by it."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from quenchbook.report.guarded_csv import (
    STRING,
    csv_text,
    guarded,
    json_lines,
    rows_of_csv,
    rows_of_json_lines,
    unguarded,
)

TEXTS = st.text(
    alphabet=st.sampled_from("=+-@'\t\r\n;,\"| aé\u00a0\uff1d1.\x00\u2028"), max_size=12
)


@pytest.mark.parametrize(
    ("text", "safe"),
    [
        ("=1+1", "'=1+1"), ("+5", "'+5"), ("@A1", "'@A1"), ("\tx", "'\tx"), ("\rx", "'\rx"),
        ("-18", "-18"), ("-1.5e-3", "-1.5e-3"), ("-", "'-"), ("-18 degC", "'-18 degC"),
        ("- cracked", "'- cracked"), ("'=x", "''=x"), ("a=1", "a=1"), ("", ""), ("1-2", "1-2"),
        ("x;=1", "x;'=1"), ("x\n=1", "x\n'=1"), ("\uff1d1", "'\uff1d1"),
    ],
)  # fmt: skip
def test_a_cell_that_begins_like_a_formula_gets_an_apostrophe(text: str, safe: str) -> None:
    assert guarded(text) == safe


@given(TEXTS)
@example("'")
@example(";'")
@example("\t=")
def test_taking_the_guard_off_gives_back_every_text(text: str) -> None:
    assert unguarded(guarded(text)) == text


@given(TEXTS)
def test_no_guarded_cell_begins_like_a_formula(text: str) -> None:
    # also where semicolons separate cells
    for part in guarded(text).split(";"):
        number = part[:1] == "-" and part[1:].replace(".", "", 1).isdigit()
        assert number or part[:1] not in set("=+-@\t\r\n\uff1d") or part == ""


@given(st.lists(st.tuples(TEXTS, TEXTS), min_size=1, max_size=4))
def test_csv_and_json_lines_give_back_every_cell(rows: list[tuple[str, str]]) -> None:
    cells = [list(column) for column in zip(*rows, strict=True)]
    head, kinds = ["a", "b"], [STRING, STRING]
    text = csv_text(head, kinds, cells)
    assert rows_of_csv(text) == (head, [list(row) for row in rows])
    assert rows_of_json_lines(json_lines(head, kinds, cells)) == (head, [list(r) for r in rows])
    # the reader of the standard library sees the same cells, guards on
    plain = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    assert plain[1:] == [[guarded(cell) for cell in row] for row in rows]


@pytest.mark.parametrize("text", ["", 'a\n"open', "a,b\n1\n"])
def test_a_damaged_table_is_an_error_with_words(text: str) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        rows_of_csv(text)
