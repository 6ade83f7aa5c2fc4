from __future__ import annotations

from pathlib import Path

import pytest

import quenchbook as qb
from quenchbook.errors import StudyError
from quenchbook.study.publishing import ReaderQuestion

DEMO = Path(__file__).parents[3] / "data" / "plane_irons" / "study.toml"


def study_with(tmp_path: Path, words: str) -> qb.Study:
    bare = DEMO.read_text(encoding="utf-8").partition("[publishing]")[0]
    (tmp_path / "study.toml").write_text(bare + words, encoding="utf-8")
    return qb.read_study(tmp_path)


def test_a_study_without_the_table_is_published_as_usual() -> None:
    publishing = qb.read_study(DEMO.parents[1] / "coated_bars").publishing
    assert publishing.units == "metric"
    assert publishing.photos == ()


def test_what_readers_ask_is_bound_to_a_question_or_to_none(tmp_path: Path) -> None:
    own = """
[publishing]
units = "both"
support = "Readers paid  for the steel."
[[publishing.reader_questions]]
words = "Is a freezer enough?"
answer_from = "freezer"
[[publishing.reader_questions]]
words = "Does it rust less?"
"""
    study = study_with(tmp_path, own)
    assert study.publishing.units == "both"
    assert study.publishing.support == "Readers paid for the steel."
    assert study.publishing.reader_questions == (
        ReaderQuestion("Is a freezer enough?", "freezer"),
        ReaderQuestion("Does it rust less?", ""),
    )


def test_what_yes_means_is_read_with_the_question(tmp_path: Path) -> None:
    own = """
[[publishing.reader_questions]]
words = "Does an hour matter?"
answer_from = "hour"
yes_if = "different"
"""
    (asked,) = study_with(tmp_path, own).publishing.reader_questions
    assert asked.yes_if == "different"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ('units = "inches"', "'inches' is not a choice of units"),
        ('reader_questions = [{ words = "Is it?", answer_from = "freezer", yes_if = "maybe" }]',
         "yes_if of 'Is it?' is 'maybe'"),
        ("support = 3", "support is 3"),
        ('photos = [{ file = "../a.jpg", caption = "c", alt = "twenty characters long." }]',
         "no JPEG or PNG file below the study folder"),
        ('photos = [{ file = "a.jpg", caption = "c", alt = "load" }]', "alt of 'a.jpg' is 'load'"),
        ('photos = [{ file = "a.jpg", alt = "twenty characters long." }]', "has no caption"),
        ('reader_questions = [{ words = "A?", answer_from = "freezr" }]', "Did you mean freezer?"),
        ('reader_questions = [{ words = "A?", answer_from = [] }]', "answer_from is []. Write"),
        ('reader_questions = [{ words = "A?", answer_from = false }]', "answer_from is false. Write"),
        ("reader_questions = [{ words = 3 }]", "has no words"),
        ('reader_questions = "A?"', "not a list of tables"),
        ("colour = 1", "'colour' is not known here"),
    ],
)  # fmt: skip
def test_a_mistake_is_named_with_its_line(tmp_path: Path, words: str, told: str) -> None:
    with pytest.raises(StudyError) as caught:
        study_with(tmp_path, f"\n[publishing]\n{words}\n")
    assert told in str(caught.value)
    assert "study.toml line" in str(caught.value)


@pytest.mark.parametrize(
    ("words", "line"),
    [
        ('[[publishing.reader_questions]]\nwords = "A?"\n[[publishing.reader_questions]]\n'
         'words = "B?"\nanswer_from = "none"\n', 5),
        ('[publishing]\nreader_questions = [\n  { words = "A { [?" },\n'
         '  { words = "B?", answer_from = "none" },\n]\n', 4),
        ('[publishing]\nunits = "both"\nreader_questions = [{ words = 1 }]\n', 3),
        ('[publishing]\nphotos = [ # two\n {file = "a.jpg", caption = "A", alt = "A load lies on a bench."},'
         '\n {file = "b.tif", caption = "B", alt = "A load lies on a bench."}]', 4),
    ],
)  # fmt: skip
def test_a_mistake_of_an_entry_has_the_line_of_that_entry(
    tmp_path: Path, words: str, line: int
) -> None:
    before = DEMO.read_text(encoding="utf-8").partition("[publishing]")[0].count("\n")
    with pytest.raises(StudyError) as caught:
        study_with(tmp_path, words)
    assert [own.where for own in caught.value.problems] == [f"study.toml line {before + line}"]
