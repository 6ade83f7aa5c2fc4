"""Answers in one line: they say no more than their verdict, and what is open is not hidden."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.conftest import ROOT

import quenchbook as qb
from quenchbook.findings.answers import Analysis
from quenchbook.report.share_picture import share_picture
from quenchbook.report.summary_words import (
    lead_finding,
    open_words,
    report_summary,
    short_answer,
    short_interval,
    short_verdicts,
)


@pytest.fixture(scope="module")
def analysis(plane_irons_analysis: Analysis) -> Analysis:
    return plane_irons_analysis


@pytest.fixture(scope="module")
def bars(coated_bars_analysis: Analysis) -> Analysis:
    return coated_bars_analysis


def _plain(text: str) -> str:
    return text.replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("key", "answer", "interval"),
    [
        ("dry_ice", "Dry ice against no cold step: hardness +1.27 HRC, more than the margin of 0.5 HRC",
         "95 % interval 1.12 to 1.43 HRC"),
        ("nitrogen", "Liquid nitrogen and dry ice: hardness alike within 0.5 HRC",
         "90 % interval −0.12 to +0.14 HRC"),
        ("tough", "Dry ice and no cold step: impact energy alike within 15 % either way (−13 % to +15 %)",
         "90 % interval −7.4 % to +10 %"),
        ("peak_dry_ice", "Peak, dry ice: 1002 °C", "95 % interval 993 to 1022 °C"),
        ("tough_equal_nitrogen",
         "Not settled: impact energy, liquid nitrogen against dry ice, at equal hardness",
         "95 % interval −17 % to +13 %"),
        ("half_loss_nitrogen", "Not settled: when half of the gain of liquid nitrogen over no cold step is lost (no upper limit)",
         "95 % interval 24 h or longer; no upper limit"),
    ],
)  # fmt: skip
def test_a_short_answer_says_its_number_and_not_more(
    analysis: Analysis, key: str, answer: str, interval: str
) -> None:
    own = analysis.finding(key)
    assert _plain(short_answer(own)) == answer
    assert _plain(short_interval(own)) == interval


def test_whole_terms_are_told_by_their_test(bars: Analysis) -> None:
    assert short_answer(bars.finding("coating")) == "Resistance differs between levels of coating"
    assert short_answer(bars.finding("temperature")).startswith("No effect of furnace temperature")
    assert "depends on the other" in short_answer(bars.finding("interaction"))
    assert _plain(short_interval(bars.finding("coating"))) == "F(3, 9) = 11.48, p = .002"


def test_an_exploratory_answer_comes_last_and_is_called_so(analysis: Analysis) -> None:
    lead = lead_finding(analysis)
    assert lead is not None
    findings = tuple(
        replace(own, change="not declared") if own is lead else own for own in analysis.findings
    )
    later = lead_finding(replace(analysis, findings=findings))
    assert later is not None
    assert later.key != lead.key
    own = next(f for f in findings if f.key == lead.key)
    assert short_answer(own).startswith("Exploratory: ")


def test_open_answers_are_among_the_three_verdicts(analysis: Analysis) -> None:
    shown = short_verdicts(analysis, lead_finding(analysis))
    assert [own.verdict for own in shown] == ["differs", "differs", "undecided"]


def test_what_is_not_told_of_steel_and_furnace_is_said(bars: Analysis) -> None:
    assert "Does furnace temperature matter?" in open_words(bars)


def test_a_study_without_answers_still_has_a_summary(bars: Analysis) -> None:
    own = replace(bars, findings=())
    (block,) = report_summary(own)
    assert block.words.headline == "No question could be answered"
    assert block.words.picture is None


def test_a_small_picture_shows_every_coupon_of_what_is_compared(analysis: Analysis) -> None:
    own = analysis.finding("dry_ice")
    picture = share_picture(analysis, own)
    assert picture is not None
    coupons = analysis.models[own.response].coupons
    expected = coupons.loc[coupons["cold_route"].isin(["dry_ice", "none"]), "coupon"]
    shown = {line.rsplit(",", 1)[1] for line in picture.data_csv.splitlines()[1:]} - {""}
    assert shown == set(expected)
    assert [peak[0] for peak in picture.peaks] == ["none", "dry_ice"]


def test_a_picture_of_a_half_loss_shows_the_delay_at_the_level_that_is_asked_for(
    analysis: Analysis,
) -> None:
    picture = share_picture(analysis, analysis.finding("half_loss_nitrogen"))
    assert picture is not None
    assert picture.x_title == "Delay, liquid nitrogen"
    assert [words for _, words, _ in picture.groups] == ["0\u00a0min", "60\u00a0min", "1\u00a0day"]
    coupons = analysis.models[analysis.finding("half_loss_nitrogen").response].coupons
    expected = coupons.loc[coupons["cold_route"] == "liquid_nitrogen", "coupon"]
    shown = {line.rsplit(",", 1)[1] for line in picture.data_csv.splitlines()[1:]} - {""}
    assert shown == set(expected)


def test_ties_are_told_only_where_a_load_has_several_coupons(analysis: Analysis) -> None:
    springs = qb.analyse(qb.read_folder(ROOT / "data" / "springs")[2])
    alone = share_picture(springs, springs.findings[0])
    tied = share_picture(analysis, analysis.finding("dry_ice"))
    assert alone is not None
    assert tied is not None
    assert "tie" not in alone.reading
    assert "thin lines tie coupons of one furnace load" in tied.reading


@pytest.mark.parametrize("name", ["plane_irons", "coated_bars", "two_lots", "steel_bars"])
def test_every_answer_of_every_example_can_be_drawn_or_is_left_out(
    name: str, request: pytest.FixtureRequest
) -> None:
    if name in ("plane_irons", "coated_bars"):
        own = request.getfixturevalue(f"{name}_analysis")
    else:
        own = qb.analyse(qb.read_folder(ROOT / "data" / name)[2])
    pictures = [share_picture(own, finding) for finding in own.findings]
    assert any(pictures)
    for picture in filter(None, pictures):
        keys = {line.split(",")[1] for line in picture.data_csv.splitlines()[1:]}
        assert keys == {group[0] for group in picture.groups}


@pytest.mark.parametrize(
    ("verdict", "margin", "words"),
    [
        ("exceeds", 0.5, ", more than the margin of 0.5 HRC"),
        ("slight", 0.5, ", a real difference, smaller than the margin of 0.5 HRC"),
        ("differs", 0.5, ", a real difference; more than the margin of 0.5 HRC is not settled"),
        ("differs", None, ", a real difference; no margin was declared"),
    ],
)
def test_a_short_answer_says_its_verdict_in_words(
    analysis: Analysis, verdict: str, margin: float | None, words: str
) -> None:
    own = replace(analysis.finding("dry_ice"), verdict=verdict, margin=margin)
    assert _plain(short_answer(own)).endswith(f"+1.27 HRC{words}")


@pytest.mark.parametrize(
    "outcome",
    ["not located", "no upper limit", "no lower limit", "upper limit not reached", "in pieces",
     "nowhere certain", "no gain shown", "changes with hardness"],
)  # fmt: skip
@pytest.mark.parametrize("key", ["half_loss_nitrogen", "peak_dry_ice", "temper_63"])
def test_what_is_not_located_is_headed_as_not_settled(
    analysis: Analysis, key: str, outcome: str
) -> None:
    own = replace(analysis.finding(key), verdict="undecided", outcome=outcome)
    words = _plain(short_answer(own))
    assert words.startswith("Not settled: ")
    assert words.endswith(f"({outcome})")
    assert own.estimate_words not in words


@pytest.mark.parametrize(
    "outcome",
    ["still rising", "falling throughout", "low point", "not reached", "no temper inside"],
)
def test_an_outcome_without_a_place_gives_none(analysis: Analysis, outcome: str) -> None:
    own = replace(analysis.finding("peak_dry_ice"), verdict="differs", outcome=outcome)
    assert short_answer(own) == f"Peak, dry ice: {outcome}"


def test_counts_are_those_of_what_was_measured(analysis: Analysis) -> None:
    (block,) = report_summary(analysis)
    assert block.counts.startswith("96 coupons planned, 95 measured, 12 furnace loads, 475 indents")


def test_whose_data_a_published_study_has_stands_on_the_card(bars: Analysis) -> None:
    (block,) = report_summary(bars)
    assert block.words.source == (
        "Study coated_bars, published data: Box, Hunter and Hunter (2005)"
    )


def test_shares_differ_by_percentage_points_on_one_spare_unit() -> None:
    own = qb.analyse(qb.read_folder(ROOT / "data" / "springs")[2])
    (block,) = report_summary(own)
    assert "+23.00 percentage points, a real difference" in _plain(block.words.headline)
    assert block.words.interval.endswith("percentage points, judged on 1 spare spring batch")
    assert "4 of 4 answers are judged on 1 spare spring batch." in block.not_told


def test_what_is_open_is_named_to_the_last(analysis: Analysis) -> None:
    words = open_words(analysis)
    assert "Also: impact energy, liquid nitrogen against dry ice, at equal hardness." in _plain(
        words
    )
    assert "Real, but not settled whether more than the margin: hardness, freezer" in _plain(words)
    assert "more." not in words


def test_questions_without_words_are_parted_by_stops(analysis: Analysis) -> None:
    mute = tuple(replace(own, question="") for own in analysis.findings)
    words = _plain(open_words(replace(analysis, findings=mute)))
    assert words.startswith(
        "Not settled: hardness, when half of the gain of liquid nitrogen over no cold step is lost. "
        "hardness, "
    )
