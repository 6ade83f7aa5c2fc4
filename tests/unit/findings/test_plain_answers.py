"""One plain sentence for an answer: its number, its interval, no more than its verdict."""

from __future__ import annotations

import dataclasses
import math
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quenchbook.findings.answers import Analysis
from quenchbook.findings.headlines import study_names
from quenchbook.findings.plain_answers import (
    first_sentence,
    openness,
    plain_answer,
    ruled_out_text,
)
from quenchbook.findings.statements import estimate_text, limits_text
from quenchbook.findings.trade_findings import TradeFinding
from quenchbook.findings.verdicts import Finding, TermFinding, verdict_of


def finding(**more: object) -> Finding:
    own = Finding(
        key="k", label="freezer", against="no cold step", response="hardness_hrc",
        quantity="hardness", unit="HRC", scale="linear", verdict="equivalent", estimate=0.02,
        std_error=0.08, df=20.0, conf_low=-0.16, conf_high=0.18, inner_low=-0.13,
        inner_high=0.1432, margin=0.5, p_value=0.8, strata=("cold batch",),
    )  # fmt: skip
    return dataclasses.replace(own, **more)  # type: ignore[arg-type]


def said(own: Finding | TermFinding | TradeFinding, names: tuple[str, ...] = ()) -> str:
    return plain_answer(own, names).replace("\u00a0", " ")


@pytest.fixture(scope="module")
def irons(plane_irons_analysis: Analysis) -> Analysis:
    return plane_irons_analysis


def test_what_is_equivalent_is_said_as_what_is_ruled_out_rounded_up() -> None:
    assert said(finding()) == (
        "We can rule out that hardness differs by more than 0.15 HRC between freezer and no cold "
        "step (rounded up from the 90 % interval −0.13 to +0.14; margin 0.5 HRC)."
    )


def test_of_a_ratio_the_loss_and_the_gain_are_ruled_out() -> None:
    own = finding(
        scale="log", unit="J", quantity="impact energy", margin=math.log1p(0.15),
        inner_low=math.log(0.926), inner_high=math.log(1.1001),
    )  # fmt: skip
    assert "is more than 7.4 % lower or more than 11 % higher than with no cold step" in said(own)
    assert "margin 15 % either way" in said(own)


@given(st.floats(-2, 2), st.floats(0.02, 1), st.floats(0.01, 1))
def test_what_is_ruled_out_lies_outside_both_limits(
    middle: float, half: float, std_error: float
) -> None:
    own = finding(inner_low=middle - half, inner_high=middle + half, std_error=std_error)
    size = float(ruled_out_text(own).partition("\u00a0")[0])
    assert size >= max(abs(own.inner_low), abs(own.inner_high)) - 1e-8


def test_a_difference_that_is_shown_has_its_way_and_its_limits() -> None:
    own = finding(verdict="exceeds", estimate=-1.27, conf_low=-1.43, conf_high=-1.11)
    assert said(own) == (
        "Hardness was 1.27 HRC lower with freezer than with no cold step (95 % interval −1.43 to "
        "−1.11), more than the margin of 0.5 HRC."
    )


def test_an_undecided_answer_says_what_it_would_take() -> None:
    own = finding(verdict="undecided", remedy="To tell it takes 3 times as many cold batches.")
    assert said(own).startswith("The study could not tell whether hardness differs between")
    assert said(own).endswith(
        ", and here is what it would take: to tell it takes 3 times as many cold batches."
    )


def test_an_undecided_answer_without_a_margin_says_what_the_outer_interval_rules_out() -> None:
    own = finding(verdict="undecided", margin=None)
    assert "it rules out that hardness differs by more than 0.18 HRC" in said(own)


def test_no_test_is_no_answer() -> None:
    own = finding(verdict="undecided", std_error=math.nan)
    assert "no test is possible, because there is no spare cold batch" in said(own)
    assert "nan" not in said(own)


@given(st.floats(-2, 2), st.floats(0.01, 2), st.floats(0.6, 0.99), st.floats(0.05, 2))
def test_a_sentence_says_no_more_than_its_verdict(
    estimate: float, half: float, share: float, margin: float
) -> None:
    inner = share * half
    limits = (estimate - half, estimate + half, estimate - inner, estimate + inner)
    verdict = verdict_of(*limits, margin)
    own = finding(
        estimate=estimate, conf_low=limits[0], conf_high=limits[1], inner_low=limits[2],
        inner_high=limits[3], margin=margin, verdict=verdict, std_error=half / 2,
    )  # fmt: skip
    words = said(own)
    assert ("more than the margin" in words.replace("whether it is more than", "")) == (
        verdict == "exceeds"
    )
    assert ("a real difference" in words) == (verdict in ("differs", "slight"))
    assert ("rule out" in words) == (verdict == "equivalent")
    assert ("could not tell" in words) == (verdict == "undecided")


def test_each_answer_of_the_demonstration_is_one_sentence_with_its_number(irons: Analysis) -> None:
    names = study_names(irons.study)
    for own in irons.findings:
        words = plain_answer(own, names)
        assert words.endswith(".")
        assert first_sentence(words, names) == words, own.key
        assert re.search(r"\d", words)
        if isinstance(own, Finding) and own.verdict in ("exceeds", "differs"):
            assert limits_text(own) in words
            assert estimate_text(own).lstrip("+−") in words


def test_a_gain_is_larger_or_smaller_and_names_both_settings(irons: Analysis) -> None:
    words = said(irons.finding("cold_needs_heat"))  # type: ignore[arg-type]
    assert words.startswith(
        "The gain from dry ice, in hardness, was 2.48 HRC larger with 1030 °C than with 940 °C"
    )


def test_an_open_end_is_told_with_what_would_close_it(irons: Analysis) -> None:
    own = irons.finding("half_loss_nitrogen")
    assert said(own).endswith("; only longer delays can tell more.")  # type: ignore[arg-type]
    assert "could not tell" not in said(own)  # type: ignore[arg-type]
    assert openness(own) == 1
    assert openness(irons.finding("tough_equal_nitrogen")) == 2
    assert openness(irons.finding("freezer")) == 1
    assert openness(irons.finding("dry_ice")) == 0


def test_terms_are_told_in_words_of_their_factors(coated_bars_analysis: Analysis) -> None:
    bars = coated_bars_analysis
    assert said(bars.finding("interaction")) == (  # type: ignore[arg-type]
        "The effect of furnace temperature on resistance depends on coating (F(6, 9) = 4.38, p = .024)."
    )
    assert said(bars.finding("temperature")) == (  # type: ignore[arg-type]
        "The study could not tell whether resistance differs between levels of furnace temperature "
        "(F(2, 3) = 2.75, p = .21); only more furnace heats can settle it, not more pieces in each."
    )


@pytest.mark.parametrize(
    ("text", "names", "first"),
    [
        ("One. Two.", (), "One."),
        ("St. 37 lasts 2.5 h. Two.", (), "St. 37 lasts 2.5 h."),
        ("No. A against no. B: real. Two.", ("no. A", "no. B"), "No. A against no. B: real."),
        ("In brackets (a. B) too. Two.", (), "In brackets (a. B) too."),
        ("Only one", (), "Only one"),
    ],
)
def test_names_numbers_and_brackets_end_no_sentence(
    text: str, names: tuple[str, ...], first: str
) -> None:
    assert first_sentence(text, names) == first


@pytest.mark.parametrize(
    ("inner_high", "words"),
    [(0.14, "than 0.14 HRC between freezer and no cold step (90 % interval"),
     (0.1432, "than 0.15 HRC between freezer and no cold step (rounded up from the 90 %")],
)  # fmt: skip
def test_a_size_that_reads_larger_than_its_limit_is_said_to_be_rounded_up(
    inner_high: float, words: str
) -> None:
    assert words in said(finding(inner_high=inner_high))


# J in a foot pound-force: NIST SP 811 (2008), appendix B.8
@settings(deadline=None)  # the first conversion loads the library of units
@given(st.floats(-2, 2), st.floats(0.02, 1), st.floats(0.01, 1))
def test_in_neither_unit_more_is_ruled_out_than_the_limits_allow(
    middle: float, half: float, std_error: float
) -> None:
    own = finding(
        unit="J", units="both", inner_low=middle - half, inner_high=middle + half,
        std_error=std_error,
    )  # fmt: skip
    joules, other = (float(size) for size in re.findall(r"[\d.]+", ruled_out_text(own)))
    limit = max(abs(own.inner_low), abs(own.inner_high))
    assert joules >= limit - 1e-8
    assert other >= limit / 1.3558179483 - 1e-8


@pytest.mark.parametrize(
    ("inner_high", "words"),
    [(1.3, "more than 1.3 J (1.0 ft lbf) between freezer and no cold step (90 % interval"),
     # 1.4 J are 1.03 ft lbf
     (1.4, "more than 1.4 J (1.1 ft lbf) between freezer and no cold step (rounded up from the")],
)  # fmt: skip
def test_a_size_that_is_rounded_up_in_the_other_unit_alone_says_so(
    inner_high: float, words: str
) -> None:
    own = finding(unit="J", units="both", std_error=0.3, margin=3.0, inner_high=inner_high)
    assert words in said(own)


def test_the_margin_of_a_ratio_is_told_with_both_its_limits() -> None:
    own = finding(
        scale="log", unit="J", quantity="impact energy", margin=math.log1p(0.15),
        verdict="exceeds", estimate=math.log(0.86), conf_low=math.log(0.85),
        conf_high=math.log(0.868),
    )  # fmt: skip
    assert said(own).endswith("more than the margin of 15 % either way (−13 % to +15 %).")


@pytest.mark.parametrize(
    ("scale", "low", "high", "ruled_out"),
    [
        ("linear", -math.inf, 0.18, "is more than 0.18 HRC higher than with no cold step"),
        ("linear", -0.16, math.inf, "is more than 0.16 HRC lower than with no cold step"),
        ("log", -math.inf, math.log(1.08), "is more than 8.0 % higher than with no cold step"),
        ("linear", -math.inf, math.inf, ""),
        ("linear", math.nan, math.nan, ""),
        ("log", math.nan, math.nan, ""),
    ],
)
def test_only_the_side_that_has_a_limit_is_ruled_out(
    scale: str, low: float, high: float, ruled_out: str
) -> None:
    words = said(
        finding(verdict="undecided", margin=None, scale=scale, conf_low=low, conf_high=high)
    )
    assert ("it rules out" in words) == bool(ruled_out)
    assert ruled_out in words
    assert "100 %" not in words
    assert "nan" not in words
    assert ("limits not known" in words) == math.isnan(low)


def test_few_spare_units_are_told_with_the_answer() -> None:
    assert "; judged on 1 spare cold batch)" in said(finding(verdict="exceeds", df=1.0))
    assert "; judged on about 1.4 spare cold batches)" in said(finding(df=1.4))
    assert "judged on" not in said(finding(df=3.0))


def test_shares_in_per_cent_differ_by_percentage_points() -> None:
    own = finding(verdict="differs", margin=None, unit="per cent", estimate=23.0, conf_low=17.0,
                  conf_high=29.0, std_error=0.5)  # fmt: skip
    assert "was 23.00 percentage points higher" in said(own)
    assert "percentage points" in estimate_text(own)


def test_a_preface_stands_only_before_an_amount() -> None:
    own = finding(
        verdict="undecided", remedy="More cold batches for each level make a test possible."
    )
    assert said(own).endswith("; more cold batches for each level make a test possible.")


def test_own_words_of_a_study_keep_their_capitals_and_stops() -> None:
    own = finding(
        verdict="undecided", remedy="A2 plates farther out would help. Dr. Low ovens too."
    )
    assert said(own, ("A2 plate", "Dr. Low oven")).endswith(
        "; A2 plates farther out would help; Dr. Low ovens too."
    )
    lower = finding(verdict="undecided", remedy="Furnace loads farther out would help.")
    assert said(lower, ("furnace load",)).endswith("; furnace loads farther out would help.")
