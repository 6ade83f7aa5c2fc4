from __future__ import annotations

import copy
import datetime
import math
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import quenchbook as qb
from quenchbook.errors import StudyError
from quenchbook.study import files
from quenchbook.study.mistakes import Mistakes

EVERY_KEY = Path(__file__).with_name("every_key.toml")
CONTENT = tomllib.loads(EVERY_KEY.read_text(encoding="utf-8"))
WRONG: tuple[Any, ...] = (
    0, -1, 3.7, math.nan, math.inf, 10**400, True, "", "x", "5 HRC", [], ["a", "b"], [1], [[]],
    [{}], {}, {"a": 1}, {"cold_route": "none"}, {"cold_route": [["x"], {}]}, {"": {}},
    datetime.date(2020, 1, 1), datetime.time(3), datetime.datetime(2020, 1, 1),
)  # fmt: skip


def places(content: Any, before: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Path of every key and entry of a list."""
    entries = content.items() if isinstance(content, dict) else enumerate(content)
    for key, value in entries:
        yield (*before, key)
        if isinstance(value, dict | list):
            yield from places(value, (*before, key))


def changed(place: tuple[Any, ...], value: Any) -> dict[str, Any]:
    content = copy.deepcopy(CONTENT)
    inner: Any = content
    for key in place[:-1]:
        inner = inner[key]
    inner[place[-1]] = copy.deepcopy(value)
    return content


def read(content: dict[str, Any]) -> qb.Study:
    return files._study(EVERY_KEY, content, Mistakes("study.toml", ""))


def test_the_file_of_every_key_is_a_study() -> None:
    assert read(CONTENT).key == "full"


def refused(table: str, values: tuple[Any, ...]) -> int:
    """How many wrong values of a table and of all in it are refused; others are read."""
    inside = CONTENT[table]
    own = list(places(inside)) if isinstance(inside, dict | list) else []
    count = 0
    for place in [(table,), *((table, *one) for one in own)]:
        for value in values:
            try:
                read(changed(place, value))
            except StudyError:
                count += 1
    return count


@pytest.mark.parametrize("table", list(CONTENT))
def test_a_value_of_another_type_is_read_or_refused_in_words(table: str) -> None:
    assert refused(table, (3.7, [[]], {"a": 1}))  # all of WRONG: tests/simulation


@pytest.mark.parametrize(
    ("place", "value", "words"),
    [
        (("questions", 0, "compare"), ["cold", "none"],
         "compare is ['cold', 'none'], not a factor with two of its levels."),
        (("questions", 4, "compare"), "cold", "compare is 'cold', not a factor"),
        (("questions", 1, "change"), 3, "change is 3, not a factor"),
        (("questions", 3, "along"), "", "'' is not a factor with numbers as levels"),
        (("questions", 0, "words"), ["Harder?"], "words is ['Harder?']. Write words ="),
        (("factors", "delay", "exists_for"), {"cold_route": 3}, "3 is no list of levels"),
        (("factors", "delay", "exists_for"), {"cold_route": "none"}, "'none' is no list of levels"),
        (("factors", "cold_route", "words"), ["a"], "words is not a table"),
        (("notes",), "one sentence", "notes is no list of texts"),
        (("published",), "false", "published is 'false'. Write published = true or false."),
        (("invented",), 0, "invented is 0. Write invented = true or false."),
        (("date",), 2026, "date is 2026. Write date = 2026-01-15."),
        (("title",), True, "title is true."),
        (("unit_names",), {"coupons": "piece"}, "'coupons' is not known here. Did you mean coupon?"),
        (("unit_names", "coupon"), 1, "the word for coupon is 1."),
        (("costs", "coupon"), 10**400, "coupon has a whole number too large to be kept"),
        (("publishing", "reader_questions", 0, "answer_from"), [], "answer_from is []."),
        (("publishing", "reader_questions", 0, "answer_from"), False, "answer_from is false."),
        (("confidence",), True, "confidence is True"),
    ],
)  # fmt: skip
def test_a_wrong_type_is_named_with_what_to_write(
    place: tuple[Any, ...], value: Any, words: str
) -> None:
    with pytest.raises(StudyError) as caught:
        read(changed(place, value))
    assert any(words in str(problem) for problem in caught.value.problems)


@pytest.mark.parametrize(
    "text", ["format = " + "9" * 5000, "notes = " + "[" * 5000 + "]" * 5000], ids=["digits", "deep"]
)
def test_a_file_beyond_the_reader_is_refused_in_words(tmp_path: Path, text: str) -> None:
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    with pytest.raises(StudyError, match=r"study\.toml"):
        qb.read_study(tmp_path)
