"""A report in both unit systems names no temperature and no energy in one of them alone."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.both_units import (
    SLOW,
    STUDIES,
    both_units_analysis,
    report_blocks,
    texts_of,
    words_of_authors,
)

from quenchbook.both_units import Printed
from quenchbook.report.blocks import FigureBlock, TableBlock
from quenchbook.units import NO_BREAK

# a number with its unit and nothing in brackets behind it
ALONE = re.compile(
    r"\d °C(?! \([^()]*°F\))|\d J\b(?! \([^()]*ft lbf\))"
    r"|\d ?deg ?[CF]\b|\) (?:°C|J)\b"  # as in a study file; a unit once more
)
PAIR = re.compile(
    r"(?<![\d.])(?<!to )(?<!to \+)(?<!to −)(?<!± )([+−]?\d+(?:\.\d+)?) (°C|J) \(([+−]?\d+(?:\.\d+)?) "
)

EACH = [
    pytest.param(name, marks=pytest.mark.simulation if name in SLOW else ()) for name in STUDIES
]


@pytest.mark.parametrize("name", EACH)
def test_no_sentence_names_one_unit_alone(name: str) -> None:
    analysis = both_units_analysis(name)
    lone = []
    for block in report_blocks(name):
        for text in texts_of(block):
            for own in words_of_authors(analysis):
                text = text.replace(own, "")
            lone += [text for _ in ALONE.finditer(text.replace(NO_BREAK, " "))]
    assert lone == []


@pytest.mark.parametrize("name", EACH)
def test_the_number_in_brackets_is_the_printed_one_converted(name: str) -> None:
    """Places by 1.8 C + 32, energies by the foot-pound of NIST SP 811; differences have a sign."""
    for block in report_blocks(name):
        for text in texts_of(block):
            for first, unit, second in PAIR.findall(text.replace(NO_BREAK, " ")):
                value, other = (float(own.replace("−", "-")) for own in (first, second))
                ways = [value / 1.3558179483]
                if unit == "°C":  # a cold bath is a place below zero, a margin a bare difference
                    ways = [1.8 * value] if first[0] == "+" else [1.8 * value + 32, 1.8 * value]
                last = 10.0 ** -len(second.partition(".")[2])  # step of its last digit
                assert min(abs(other - own) for own in ways) <= 0.5001 * last, text


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


def test_the_study_with_energies_asks_of_all_kinds() -> None:
    asked = {own.asks for own in both_units_analysis(STUDIES[-1]).study.trade_questions}
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
