from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import pytest
from tests.delay_studies import simulated_frame, written_study

import quenchbook as qb
from quenchbook.findings.answers import AnyFinding
from quenchbook.findings.trade_answers import trade_answer
from quenchbook.plots.delay import figure_delay_findings
from quenchbook.plots.drawing import Drawing
from quenchbook.plots.style import COUPONS
from quenchbook.records.reading import Records
from quenchbook.report.trade_figures import trade_figures
from quenchbook.study.trade_questions import TradeQuestion


@pytest.fixture(scope="module")
def drawing(plane_irons_records: Records) -> Drawing:
    models = {"hardness_hrc": qb.mixed_model(plane_irons_records, "hardness_hrc")}
    question = TradeQuestion("d", "", "hardness_hrc", "per_decade", "delay")
    return figure_delay_findings([trade_answer(models, question)])


def texts(drawing: Drawing) -> list[str]:
    return [t.get_text().replace("\u00a0", " ") for a in drawing.figure.axes for t in a.texts]


def test_there_is_a_panel_for_each_route_with_its_change_in_numbers(drawing: Drawing) -> None:
    words = texts(drawing)
    for route in ("freezer", "dry ice", "liquid nitrogen"):
        assert words.count(route) == 1
    assert words.count("−0.33") == 1
    assert words.count("−0.47 to −0.19") == 1
    assert "numbers: HRC for each tenfold delay" in words


def test_delays_stand_below_each_panel_in_words(drawing: Drawing) -> None:
    words = texts(drawing)
    for delay in ("0 min", "60 min", "1 day"):
        assert words.count(delay) == 3


def test_every_coupon_with_a_delay_is_a_mark(drawing: Drawing) -> None:
    marks = [
        line for axes in drawing.figure.axes for line in axes.lines if line.get_label() == COUPONS
    ]
    assert sum(len(line.get_xdata()) for line in marks) == 71  # 72 less the cracked one
    assert (drawing.data["what"] == "coupon").sum() == 71


def test_no_cold_step_is_a_level_line_and_no_delay(drawing: Drawing) -> None:
    without = drawing.data[drawing.data["what"] == "without"]
    assert without["group"].tolist() == ["none"]
    assert without["estimate"].iloc[0] == pytest.approx(61.61, abs=0.01)
    assert "no cold step" in texts(drawing)


def test_the_caption_says_what_was_added_to_the_delays(drawing: Drawing) -> None:
    assert drawing.finding.startswith("Each tenfold delay costs 0.23")
    assert "Times until the coupons are cold; the words are the delays as set." in drawing.reading
    assert "assumed, common practice, no source" in drawing.caption()
    assert 40 <= len(drawing.alt) <= 400


def test_the_report_draws_it_once_for_several_questions(tmp_path: Path) -> None:
    frame = simulated_frame((1.5, 1.0, 0.5), (6.0, 60.0, 600.0))
    analysis = qb.analyse(written_study(tmp_path, frame))
    (block,) = trade_figures([*analysis.findings, *analysis.findings])
    assert block.key == "delay"


def test_a_ratio_is_drawn_in_the_unit_of_the_response_with_per_cent_beside_it(
    plane_irons_records: Records,
) -> None:
    own = qb.figure_delay(qb.decade_change(qb.mixed_model(plane_irons_records, "impact_j")))
    assert "numbers: change in per cent for each tenfold delay" in texts(own)
    assert own.data.loc[own.data["what"] == "coupon", "value"].between(5, 40).all()


HALF_LOSSES = [
    TradeQuestion(
        level, "", "hardness_hrc", "half_loss", "delay", factor="cold_route", level=level,
        against="none",
    )
    for level in ("freezer", "liquid_nitrogen")
]  # fmt: skip


def half_losses(records: Records) -> list[AnyFinding]:
    models = {"hardness_hrc": qb.mixed_model(records, "hardness_hrc")}
    return [trade_answer(models, question) for question in HALF_LOSSES]


def test_a_half_loss_time_is_a_strip_in_the_panel_of_its_route(
    plane_irons_records: Records,
) -> None:
    own = figure_delay_findings(half_losses(plane_irons_records))
    words = texts(own)
    assert "half lost: 17 h" in words
    assert "longer than 6.7 h" in words
    assert "half lost: beyond 24 h" in words
    assert own.finding.startswith("Half of the gain")
    assert "an arrow where the data set no limit" in own.reading


def test_a_second_half_loss_of_one_route_is_left_out_and_said(
    plane_irons_records: Records,
) -> None:
    own = half_losses(plane_irons_records)
    assert "1 more half-loss time not drawn here." in figure_delay_findings([*own, own[0]]).notes


def test_all_kinds_of_questions_about_a_delay_share_one_figure(
    plane_irons_records: Records,
) -> None:
    models = {"hardness_hrc": qb.mixed_model(plane_irons_records, "hardness_hrc")}
    decade = trade_answer(models, TradeQuestion("d", "", "hardness_hrc", "per_decade", "delay"))
    (block,) = trade_figures([*half_losses(plane_irons_records), decade])
    assert block.key == "delay"


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (-math.inf, 60.0, "less than 60 min"),
        (30.0, 120.0, "30 min to 2 h"),
        (-math.inf, math.inf, "half lost: not located"),
    ],
)
def test_open_ends_of_a_half_loss_are_words(
    plane_irons_records: Records, low: float, high: float, words: str
) -> None:
    own = dataclasses.replace(half_losses(plane_irons_records)[0], conf_low=low, conf_high=high)  # type: ignore[type-var]
    assert words in texts(figure_delay_findings([own]))
