from __future__ import annotations

import dataclasses
import math

import pytest

import quenchbook as qb
from quenchbook.errors import EstimabilityError
from quenchbook.findings.trade_answers import trade_answer
from quenchbook.findings.trade_findings import TradeFinding
from quenchbook.fit.mixed import MixedModel
from quenchbook.plots.tempering import figure_temper
from quenchbook.records.reading import Records
from quenchbook.report.trade_figures import trade_figures
from quenchbook.study.trade_questions import TradeQuestion


@pytest.fixture(scope="module")
def model(plane_irons_records: Records) -> MixedModel:
    return qb.mixed_model(plane_irons_records, "hardness_hrc")


def asked(model: MixedModel, target: float, route: str = "dry_ice") -> TradeFinding:
    question = TradeQuestion(
        "temper_for", "Which temper gives it?", "hardness_hrc", "temper_for", "temper",
        at={"cold_route": route} if route else {}, target=target,
    )  # fmt: skip
    found = trade_answer({"hardness_hrc": model}, question)
    assert isinstance(found, TradeFinding)
    return found


def test_a_value_below_all_tempers_is_refused_with_what_was_found(model: MixedModel) -> None:
    found = asked(model, 60.5)
    assert found.outcome == "no temper inside"
    assert found.verdict == "differs"
    assert found.sentence.startswith(
        "No temper inside 150 to 175\u00a0°C gives 60.5\u00a0HRC with dry ice: the mean is above it "
        "throughout, nearest at 175\u00a0°C with 62.67\u00a0HRC"
    )
    assert found.remedy == "What lies outside 150 to 175\u00a0°C was not tried."
    assert math.isnan(found.estimate)
    assert math.isnan(found.conf_low)


def test_a_value_above_all_tempers_is_refused(model: MixedModel) -> None:
    assert "the mean is below it throughout, nearest at 150" in asked(model, 64.0).sentence


def test_an_open_end_is_told_in_words_and_never_as_a_number(model: MixedModel) -> None:
    found = asked(model, 62.8)
    assert found.outcome == "no upper limit"
    assert found.verdict == "undecided"
    assert math.isinf(found.conf_high)
    assert found.is_open
    assert found.limits_words == "155\u00a0°C or hotter"
    assert "the data set no upper limit inside the tried 150 to 175\u00a0°C" in found.sentence
    assert "hotter than 175\u00a0°C" in found.remedy


def test_the_truth_of_the_demonstration_lies_in_the_set(model: MixedModel) -> None:
    # truth.toml over an even mix: dry ice 63.8 - 0.0004 mean (T - 1000)^2, delay -0.18, temper
    # 150 °C; half way to 175 °C it is 0.2 HRC lower
    height = 63.8 - 0.0004 * (60**2 + 30**2 + 0 + 30**2) / 4 - (0.08 + 0.45) / 3
    found = asked(model, round(height - 0.2, 3))
    assert found.conf_low <= 162.5 <= found.conf_high
    low, high = asked(model, round(height - 0.2, 3)).result.pieces[0]  # type: ignore[attr-defined]
    assert low < 162.5 < high


def test_noise_of_temper_batches_and_loads_is_carried(model: MixedModel) -> None:
    assert {"temper batch", "furnace load"} <= set(asked(model, 62.8).strata)


def test_assumptions_travel_with_the_answer(model: MixedModel) -> None:
    own = asked(model, 62.8)
    notes = " ".join(own.notes)
    assert own.sentence.endswith("Over an even mix of austenitize, delay.")
    assert "Two temper levels: only a straight line between them can be told." in notes
    assert "4\u00a0h have it at 161\u00a0°C" in notes
    assert "below 200 °C, where a temper can raise hardness" in notes


def test_an_unknown_hold_gives_no_parameter(plane_irons_records: Records) -> None:
    study = dataclasses.replace(plane_irons_records.study, held_constant={"temper_time": "long"})
    matrix = dataclasses.replace(plane_irons_records.matrix, study=study)
    records = dataclasses.replace(plane_irons_records, study=study, matrix=matrix)
    notes = " ".join(asked(qb.mixed_model(records, "hardness_hrc"), 62.8).notes)
    assert "parameter" not in notes


def test_the_figure_holds_every_coupon_of_its_panel(model: MixedModel) -> None:
    findings = [asked(model, 60.5), asked(model, 62.8, "")]
    drawing = figure_temper(findings)
    frame = drawing.to_frame()
    counts = frame[frame["what"] == "coupon"].groupby("panel")["coupon"].nunique()
    assert sorted(counts) == [24, len(model.coupons)]
    assert 40 <= len(drawing.alt) <= 400
    marks = [
        len(line.get_xdata())
        for axes in drawing.figure.axes
        for line in axes.lines
        if line.get_label() == "coupons"
    ]
    assert sorted(marks) == [24, len(model.coupons)]


def test_the_report_draws_answers_about_tempers(model: MixedModel) -> None:
    assert len(trade_figures([asked(model, 62.8)])) == 1


def test_nothing_to_draw_is_refused() -> None:
    with pytest.raises(EstimabilityError, match="no answer about a temper"):
        figure_temper([])
