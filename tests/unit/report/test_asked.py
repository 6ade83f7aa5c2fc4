"""Answers of some kinds, and what is said where a study does not ask."""

from __future__ import annotations

import pytest
from tests.conftest import ROOT

import quenchbook as qb
from quenchbook.errors import EstimabilityError
from quenchbook.findings.answers import Analysis
from quenchbook.report.blocks import Block, Bullets, FigureBlock, Paragraph, plain_text
from quenchbook.study.trade_questions import ASKS

PEAKS = ("peak", "peak_shift", "curve_shift", "working_window", "target_window")


def analysed(name: str) -> Analysis:
    return qb.analyse(qb.read_folder(ROOT / "data" / name)[2])


@pytest.fixture(scope="module")
def demo() -> Analysis:
    return analysed("plane_irons")


@pytest.fixture(scope="module")
def bars() -> Analysis:
    return analysed("coated_bars")


def words(blocks: list[Block]) -> str:
    return "\n".join(plain_text(own.runs) for own in blocks if isinstance(own, Paragraph))


def figures(blocks: list[Block]) -> list[FigureBlock]:
    return [own for own in blocks if isinstance(own, FigureBlock)]


def test_every_question_stands_under_exactly_one_kind(demo: Analysis) -> None:
    kinds = ("comparison", *ASKS)
    texts = [words(qb.report_asked(demo, kind)) for kind in kinds]
    for question in (*demo.study.questions, *demo.study.trade_questions):
        assert sum(question.words in text for text in texts) == 1


def test_a_question_that_was_refused_is_named_with_its_reason(demo: Analysis) -> None:
    text = words(qb.report_asked(demo, "equal_hardness"))
    assert "is dry ice tougher than no cold step? not answered" in text
    assert "never had the same hardness" in text


@pytest.mark.parametrize("kind", ["peak", "per_decade", "temper_for", "equal_hardness"])
def test_an_answer_about_a_curve_stands_with_one_figure(demo: Analysis, kind: str) -> None:
    assert len(figures(qb.report_asked(demo, kind))) == 1


def test_a_shift_alone_is_shown_with_the_curves(demo: Analysis) -> None:
    assert len(figures(qb.report_asked(demo, "peak_shift"))) == 1


def test_what_is_not_asked_is_said_with_what_to_write(bars: Analysis) -> None:
    first, how, curves = qb.report_asked(bars, *PEAKS)
    assert "does not ask it" in words([first])
    assert isinstance(how, Bullets)
    told = [plain_text(item) for item in how.items]
    assert [text.split('"')[1] for text in told] == list(PEAKS)
    assert "needs along and within." in told[3]
    assert isinstance(curves, FigureBlock)


def test_a_study_without_numbers_as_levels_cannot_ask() -> None:
    (only,) = qb.report_asked(analysed("steel_bars"), "temper_for")
    assert "no factor has numbers as levels" in words([only])


@pytest.mark.parametrize("asks", [(), ("hardness",), ("peak", "decade")])
def test_a_kind_that_is_not_known_is_refused_with_the_list(
    demo: Analysis, asks: tuple[str, ...]
) -> None:
    with pytest.raises(EstimabilityError, match="comparison, peak, peak_shift"):
        qb.report_asked(demo, *asks)


def test_the_furnace_order_is_a_figure_or_a_reason(demo: Analysis, bars: Analysis) -> None:
    assert len(figures(qb.report_furnace_order(demo))) == 1
    assert len(figures(qb.report_furnace_order(demo, "impact_j"))) == 1
    assert len(figures(qb.report_furnace_order(bars))) == 1
    (only,) = qb.report_furnace_order(analysed("springs"))
    assert "order of the work is not told" in words([only])


def test_a_single_load_has_no_differences_inside_loads() -> None:
    own = analysed("steel_bars").finding("heat_treatment")
    assert len(getattr(own, "inside")) == 0  # noqa: B009


def test_the_shift_between_two_lots_is_recovered() -> None:
    own = analysed("two_lots").finding("hotter_for_new")
    low, high = getattr(own, "conf_low"), getattr(own, "conf_high")  # noqa: B009
    assert low < 20.0 < high  # truth.toml: 985 less 965 degC
