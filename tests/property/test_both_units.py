"""A report in both unit systems names no temperature and no energy in one of them alone."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.both_units import (
    IN_JOULES,
    SLOW,
    STUDIES,
    answer_words,
    both_units_analysis,
    report_blocks,
    texts_of,
    words_of_authors,
)

from quenchbook.both_units import Printed
from quenchbook.findings.plain_answers import plain_answer
from quenchbook.findings.verdicts import VERDICTS, Finding, Verdict
from quenchbook.report.blocks import FigureBlock, TableBlock
from quenchbook.report.share_picture import share_picture
from quenchbook.report.summary_words import short_answer, short_interval
from quenchbook.units import NO_BREAK

# a number with its unit and nothing in brackets behind it
ALONE = re.compile(
    r"\d °C(?! \([^()]*°F\))|\d J\b(?! \([^()]*ft lbf\))"
    r"|\d ?deg ?[CF]\b|\) (?:°C|J)\b"  # as in a study file; a unit once more
)
PAIR = re.compile(
    r"(more than |at most |up to )?(?<![\d.])(?<!to )(?<!to \+)(?<!to −)(?<!± )([+−]?\d+(?:\.\d+)?) (°C|J) \(([+−]?\d+(?:\.\d+)?) "
)

EACH = [
    pytest.param(name, marks=pytest.mark.simulation if name in SLOW else ()) for name in STUDIES
]


def _said(name: str) -> Iterator[str]:
    """Every text of the report and every answer, without the words of authors."""
    authors = words_of_authors(both_units_analysis(name))
    for text in (*texts_of(report_blocks(name)), *answer_words(name)):
        for own in authors:
            text = text.replace(own, "")
        yield text.replace(NO_BREAK, " ")


def _pairs_differ(text: str) -> list[str]:
    """Numbers in brackets that are not the printed one converted.

    Places by 1.8 C + 32, energies by the foot-pound of NIST SP 811; differences have a sign.
    """
    wrong = []
    for before, first, unit, second in PAIR.findall(text):
        value, other = (float(own.replace("−", "-")) for own in (first, second))
        ways = [value / 1.3558179483]
        if unit == "°C":  # a cold bath is a place below zero, a margin a bare difference
            ways = [1.8 * value] if first[0] == "+" else [1.8 * value + 32, 1.8 * value]
        last = 10.0 ** -len(second.partition(".")[2])  # step of its last digit
        # what is ruled out is rounded up, all else to the nearest
        up = 1.0001 if before else 0.5001
        if not any(-0.5001 * last <= other - own <= up * last for own in ways):
            wrong.append(text)
    return wrong


@pytest.mark.parametrize("name", EACH)
def test_no_sentence_names_one_unit_alone(name: str) -> None:
    assert [text for text in _said(name) if ALONE.search(text)] == []


@pytest.mark.parametrize("name", EACH)
def test_the_number_in_brackets_is_the_printed_one_converted(name: str) -> None:
    assert [text for text in _said(name) if _pairs_differ(text)] == []


@pytest.mark.parametrize("name", EACH)
def test_every_column_in_one_unit_has_its_other_beside_it(name: str) -> None:
    others = {"°C": "°F", "J": "ft lbf"}
    for block in report_blocks(name):
        if isinstance(block, TableBlock):
            units = [column.unit for column in block.columns]
            for number, unit in enumerate(units):
                if unit in others:
                    assert units[number + 1] == others[unit]


@pytest.mark.parametrize("name", EACH)
def test_a_figure_names_both_units_equally_often(name: str) -> None:
    for block in report_blocks(name):
        if isinstance(block, FigureBlock):
            words = re.findall(r"<text[^>]*>([^<]*)</text>", block.svg)
            text = " ".join(words).replace(NO_BREAK, " ").replace("&#160;", " ")
            assert text.count("°C") == text.count("°F"), block.key
            joules = re.findall(r"(?<=[\d,:]) J\b", text)
            assert len(joules) == text.count("ft lbf"), block.key


@pytest.mark.parametrize("name", EACH)
def test_a_small_picture_has_both_units_at_its_axes(name: str) -> None:
    analysis = both_units_analysis(name)
    for own in analysis.findings:
        picture = share_picture(analysis, own)
        if picture is None:
            continue
        below = "°C" in picture.x_title
        assert ("(below in °F)" in picture.x_title) is below
        assert len(picture.ticks_below) == below * len(picture.ticks)
        assert ALONE.search(" ".join(words for _, words in picture.ticks)) is None
        assert ("(below in ft lbf)" in picture.y_title) is (picture.y_unit == "J")
        assert (", J" in picture.y_title) is (picture.y_unit == "J")


@pytest.mark.parametrize("verdict", VERDICTS)
@given(st.floats(-30.0, 30.0), st.floats(0.05, 8.0), st.sampled_from([None, 2.0, 0.5]))
def test_an_energy_is_said_in_both_units_whatever_the_verdict(
    verdict: Verdict, estimate: float, std_error: float, margin: float | None
) -> None:
    # 2.1 and 1.7 standard errors: about the limits of 95 and 90 % with 20 df
    outer, inner = 2.1 * std_error, 1.7 * std_error
    own = Finding(
        key="k", label="dry ice", against="no cold step", response="impact_j",
        quantity="impact energy", unit="J", scale="linear", verdict=verdict, estimate=estimate,
        std_error=std_error, df=20.0, conf_low=estimate - outer, conf_high=estimate + outer,
        inner_low=estimate - inner, inner_high=estimate + inner, margin=margin, p_value=0.01,
        strata=("coupon",), units="both",
    )  # fmt: skip
    for text in (plain_answer(own), short_answer(own), short_interval(own)):
        text = text.replace(NO_BREAK, " ")
        assert ALONE.search(text) is None
        assert _pairs_differ(text) == []


@pytest.mark.simulation
def test_the_study_with_energies_asks_of_all_kinds() -> None:
    asked = {own.asks for own in both_units_analysis(IN_JOULES).study.trade_questions}
    assert asked >= {
        "peak", "peak_shift", "curve_shift", "working_window", "target_window", "per_decade",
        "half_loss", "temper_for", "equal_hardness",
    }  # fmt: skip


@given(st.floats(-273, 2000), st.floats(0, 500))
def test_ends_of_a_range_differ_as_the_difference_does(low: float, width: float) -> None:
    printed = Printed("degC", "both")
    ends = re.findall(r"[−\d]+", printed.place_range(low, low + width).partition("(")[2])
    apart = float(ends[1].replace("−", "-")) - float(ends[0].replace("−", "-"))
    # each end was rounded twice, to a degree of either scale
    assert abs(apart - 1.8 * width) <= 1.8 + 1.0 + 1e-9


@given(st.floats(-1e4, 1e4), st.integers(0, 3), st.sampled_from(["degC", "J", "HRC", ""]))
def test_metric_is_the_first_number_of_both(value: float, decimals: int, unit: str) -> None:
    for way in ("place", "difference"):
        alone = getattr(Printed(unit), way)(value, decimals)
        assert getattr(Printed(unit, "both"), way)(value, decimals).partition(" (")[0] == alone
