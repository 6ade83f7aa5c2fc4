"""Which answers stand at the top, and what is said of the others."""

from __future__ import annotations

import dataclasses

import pytest

from quenchbook.findings.answers import Analysis
from quenchbook.findings.headlines import headline_answers, rest_words


def keys(analysis: Analysis) -> list[str]:
    return [own.finding.key for own in headline_answers(analysis)]


@pytest.fixture(scope="module")
def irons(plane_irons_analysis: Analysis) -> Analysis:
    return plane_irons_analysis


def only(analysis: Analysis, *wanted: str) -> Analysis:
    return dataclasses.replace(
        analysis, findings=tuple(map(analysis.finding, wanted)), unanswered=()
    )


def late(analysis: Analysis, *wanted: str) -> Analysis:
    marked = tuple(
        dataclasses.replace(own, change="asked later: exploratory.") if own.key in wanted else own
        for own in analysis.findings
    )
    return dataclasses.replace(analysis, findings=marked)


def test_at_most_three_answers_settled_first_each_about_something_else(irons: Analysis) -> None:
    assert keys(irons) == ["dry_ice", "tough", "tough_temper"]


def test_a_second_response_goes_before_a_second_factor(irons: Analysis) -> None:
    assert keys(only(irons, "dry_ice", "nitrogen", "cold_needs_heat", "tough")) == [
        "dry_ice", "nitrogen", "tough",
    ]  # fmt: skip


def test_what_is_open_stands_only_where_too_little_is_settled(irons: Analysis) -> None:
    assert keys(only(irons, "tough_equal_nitrogen", "freezer", "dry_ice")) == [
        "dry_ice", "freezer", "tough_equal_nitrogen",
    ]  # fmt: skip


def test_what_came_after_the_data_never_stands_beside_a_declared_answer(irons: Analysis) -> None:
    after = late(irons, "dry_ice", "tough", "tough_temper")
    assert not {"dry_ice", "tough", "tough_temper"} & set(keys(after))
    few = late(only(irons, "tough_equal_nitrogen", "dry_ice"), "dry_ice")
    assert keys(few) == ["tough_equal_nitrogen"]
    assert rest_words(few, headline_answers(few)) == "1 more answer stands below, exploratory."


def test_what_came_after_the_data_is_marked_where_it_stands_alone(irons: Analysis) -> None:
    (own,) = headline_answers(late(only(irons, "dry_ice"), "dry_ice"))
    assert own.sentence.startswith("Exploratory: Hardness was 1.27")


def test_a_study_that_settled_nothing_says_what_it_would_take(irons: Analysis) -> None:
    (own,) = headline_answers(only(irons, "tough_equal_nitrogen"))
    assert own.sentence.startswith("The study could not tell whether impact energy differs")
    assert "and here is what it would take: to tell a difference of 15" in own.sentence


def test_the_rest_is_counted_with_what_is_open_and_what_has_no_answer(irons: Analysis) -> None:
    assert rest_words(irons, headline_answers(irons)) == (
        "17 more answers stand below, three of them open (one with no upper limit, one with no "
        "lower limit and one undecided); one question was not answered."
    )
    alone = only(irons, "dry_ice")
    assert rest_words(alone, headline_answers(alone)) == ""


def test_a_shown_difference_goes_before_a_second_equivalence(irons: Analysis) -> None:
    alike = only(irons, "nitrogen", "hour", "tough_temper")
    assert keys(alike) == ["nitrogen", "tough_temper", "hour"]


def test_what_it_would_take_is_prefaced_once(irons: Analysis) -> None:
    own = irons.finding("tough_equal_nitrogen")
    twice = dataclasses.replace(
        irons, findings=(own, dataclasses.replace(own, key="again")), unanswered=()
    )
    first, second = (one.sentence for one in headline_answers(twice))
    assert "and here is what it would take: to tell" in first
    assert "; to tell a difference of 15" in second
    assert "here is what" not in second
