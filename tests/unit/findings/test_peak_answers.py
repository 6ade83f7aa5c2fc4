"""Sentences about peaks, shifts and windows say what the data say, and no more."""

from __future__ import annotations

import dataclasses
import math
import tomllib
from collections.abc import Mapping

import numpy as np
import pandas as pd
import pytest
from tests.conftest import ROOT

import quenchbook as qb
from quenchbook.errors import EstimabilityError
from quenchbook.findings.peak_answers import peak_finding
from quenchbook.findings.peak_words import free_shift_words, shift_sentence
from quenchbook.findings.trade_answers import trade_answer
from quenchbook.findings.trade_findings import TradeFinding
from quenchbook.fit.fitted_curve import FittedCurve
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.peaks import place_of_curve
from quenchbook.fit.stratum_covariance import NoisyRows
from quenchbook.fit.target_window import TargetWindow
from quenchbook.fit.working_window import WorkingWindow
from quenchbook.records.reading import Records
from quenchbook.study.factors import Level
from quenchbook.study.trade_questions import TradeQuestion

RESPONSE = "hardness_hrc"


@pytest.fixture(scope="module")
def models(plane_irons_records: Records) -> Mapping[str, MixedModel]:
    return {RESPONSE: qb.mixed_model(plane_irons_records, RESPONSE)}


def asked(asks: str, **more: object) -> TradeQuestion:
    return TradeQuestion("q", "Where?", RESPONSE, asks, "austenitize", **more)  # type: ignore[arg-type]


def drawn(
    models: Mapping[str, MixedModel],
    level: float,
    steep: float,
    bent: float,
    sd: float = 0.05,
    settings: int = 4,
    confidence: float = 0.95,
) -> TradeFinding:
    """Finding of a made-up curve with its noise, x from -1 to 1 over 940 to 1030 degC."""
    model = models[RESPONSE]
    assert model.study is not None
    noise = NoisyRows(
        np.array([[level], [steep], [bent]]), np.eye(3)[None, :, :], np.array([[sd**2]]),
        np.array([[20.0]]), ("furnace_load",),
    )  # fmt: skip
    factor = model.study.factor("austenitize")
    curve = FittedCurve(
        noise, 2, 985.0, 45.0, "austenitize", factor, settings, 7, "furnace loads",
        confidence=confidence, at={"cold_route": "dry_ice"}, model=model,
    )  # fmt: skip
    question = asked("peak", at={"cold_route": "dry_ice"})
    return peak_finding(model, model.study, question, place_of_curve(curve))


def text(own: TradeFinding) -> str:
    return own.sentence.replace("\u00a0", " ")


def test_a_peak_inside_the_range_has_both_ends(models: Mapping[str, MixedModel]) -> None:
    own = drawn(models, 63.0, 0.2, -1.0)
    assert text(own).startswith(
        "Dry ice: peak at 990 °C, 95 % interval 987 to 992 °C (judged on 7 spare furnace loads)."
    )
    assert own.outcome == "inside the range"
    assert own.verdict == "differs"
    assert own.remedy == ""
    assert "Highest hardness inside the range: 63.01 HRC" in text(own)


def test_an_open_upper_end_is_said_in_words(models: Mapping[str, MixedModel]) -> None:
    own = drawn(models, 63.0, 1.0, -0.6, sd=0.15)
    assert "°C or higher (95 % interval); the data set no upper limit inside the tested" in text(
        own
    )
    assert math.isinf(own.conf_high)
    assert own.is_open
    assert own.outcome == "no upper limit"
    assert own.verdict == "undecided"
    assert "farther out, such as at 1060\u00a0°C" in own.remedy


def test_an_open_lower_end_is_said_in_words(models: Mapping[str, MixedModel]) -> None:
    own = drawn(models, 63.0, -1.0, -0.6, sd=0.15)
    assert "°C or lower (95 % interval); the data set no lower limit inside the tested" in text(own)
    assert own.conf_low == -math.inf
    assert "910\u00a0°C" in own.remedy


def test_a_curve_that_still_rises_has_no_peak_inside(models: Mapping[str, MixedModel]) -> None:
    own = drawn(models, 63.0, 1.0, -0.2)
    assert "no peak inside 940 °C to 1030 °C: hardness still rises at 1030 °C" in text(own)
    assert own.outcome == "still rising"
    assert math.isnan(own.estimate)
    assert own.estimate_words == "above 1030\u00a0°C"
    assert (own.conf_low, own.conf_high) == (1030.0, math.inf)


def test_a_rising_curve_whose_interval_reaches_inside_is_not_said_to_have_no_peak_there(
    models: Mapping[str, MixedModel],
) -> None:
    # one-sided tests at 5 % show the rise; the two-sided 95 % set reaches below 1030 degC
    own = drawn(models, 63.0, 1.0, -0.35, sd=0.072)
    assert own.outcome == "still rising"
    assert own.conf_low < 1030
    assert "no peak inside" not in text(own)
    assert text(own).startswith("Dry ice: hardness still rises at 1030 °C (p")
    assert f"; peak at {own.conf_low:.0f} °C or higher (95 % interval) (judged on" in text(own)
    assert own.estimate_words == "estimate above 1030\u00a0°C"


def test_a_rise_is_claimed_at_the_level_of_the_question_not_always_at_five_per_cent(
    models: Mapping[str, MixedModel],
) -> None:
    rise = (63.0, 1.0, -0.35, 0.072)
    shown, shared = drawn(models, *rise), drawn(models, *rise, confidence=0.9976)
    assert shown.outcome == "still rising"
    assert shared.outcome != "still rising"
    assert "still rises" not in shared.sentence


def test_a_peak_is_called_inside_at_the_level_of_the_question(
    models: Mapping[str, MixedModel],
) -> None:
    bow = (63.0, 1.0, -0.72, 0.1)
    shown, shared = drawn(models, *bow), drawn(models, *bow, confidence=0.9976)
    assert "lies below a peak inside it" in shown.sentence
    assert "lies below a peak inside it" not in shared.sentence


def test_a_falling_curve_whose_interval_reaches_inside_says_the_limit(
    models: Mapping[str, MixedModel],
) -> None:
    own = drawn(models, 63.0, -1.0, -0.35, sd=0.072)
    assert own.outcome == "falling throughout"
    assert f"; peak at {own.conf_high:.0f} °C or lower (95 % interval) (judged on" in text(own)


def test_a_falling_curve_is_told_as_falling(models: Mapping[str, MixedModel]) -> None:
    own = drawn(models, 63.0, -1.0, -0.2)
    assert "hardness falls from 940 °C on" in text(own)
    assert own.outcome == "falling throughout"
    assert (own.conf_low, own.conf_high) == (-math.inf, 940.0)


def test_a_trough_is_no_peak(models: Mapping[str, MixedModel]) -> None:
    own = drawn(models, 63.0, 0.1, 1.0)
    assert "the fitted curve has a low point, not a peak" in text(own)
    assert math.isnan(own.estimate)
    assert own.limits_words == "no peak"


def test_a_flat_curve_is_not_located_and_that_is_not_no_peak(
    models: Mapping[str, MixedModel],
) -> None:
    own = drawn(models, 63.0, 0.05, -0.05, sd=0.2)
    assert "peak not located: a flat curve cannot be excluded with these furnace loads" in text(own)
    assert "This does not mean that there is no peak." in text(own)
    assert "wider limits, since no bend is established" in text(own)
    assert own.verdict == "undecided"


def test_an_open_interval_beside_a_peak_shown_inside_says_both(
    models: Mapping[str, MixedModel],
) -> None:
    own = drawn(models, 63.0, 1.0, -0.72, sd=0.1)
    assert own.outcome == "inside the range"
    assert math.isinf(own.conf_high)
    assert "though each end of the range lies below a peak inside it" in text(own)


def test_three_settings_cannot_check_the_quadratic(models: Mapping[str, MixedModel]) -> None:
    own = drawn(models, 63.0, 0.2, -1.0, settings=3)
    assert any("cannot be checked" in note for note in own.notes)
    assert not any("cannot be checked" in note for note in drawn(models, 63.0, 0.2, -1.0).notes)


def test_the_demo_locates_the_peak_of_dry_ice(models: Mapping[str, MixedModel]) -> None:
    own = trade_answer(models, asked("peak", at={"cold_route": "dry_ice"}))
    assert isinstance(own, TradeFinding)
    assert text(own).startswith("Dry ice: peak at 1002 °C, 95 % interval 993 to 1022 °C")
    assert own.strata == ("furnace load", "cold batch", "temper batch", "coupon")
    assert any(note.startswith("Scatter of one coupon") for note in own.notes)


def test_a_shift_tells_both_ends_and_the_answer_without_its_assumption(
    models: Mapping[str, MixedModel],
) -> None:
    question = asked(
        "peak_shift", factor="cold_route", level="dry_ice", against="none", margin=10.0
    )
    own = trade_answer(models, question)
    assert isinstance(own, TradeFinding)
    assert text(own) == (
        "Peak of dry ice against no cold step: +27 °C (95 % interval +18 to +47 °C; margin 10 °C), "
        "a real shift, more than the margin. This takes one curvature for all, any difference in "
        "height; with own curvatures (timid where curves are flat): +30 °C, +19 to +59 °C."
    )
    assert own.verdict == "exceeds"
    assert "is not below that of no cold step" in own.notes[0]


def test_a_shift_that_was_not_shown_is_not_claimed(models: Mapping[str, MixedModel]) -> None:
    question = asked("curve_shift", factor="cold_route", level="liquid_nitrogen", against="dry_ice")
    own = trade_answer(models, question)
    assert isinstance(own, TradeFinding)
    assert "no shift was shown" in own.sentence
    assert own.verdict == "undecided"
    assert "would narrow it" in own.remedy


def test_a_precise_shift_is_told_although_its_set_is_narrow(
    models: Mapping[str, MixedModel],
) -> None:
    from tests.unit.fit.test_peak_sets import shifted

    shift = qb.peak_shift(shifted(0.005, 1), "temp", "route", "b", "a")
    told = shift_sentence(shift, "b", "a", curves=False, margin=None, verdict="differs")
    assert "a real shift" in told
    assert "cannot be told" not in told
    assert "no shift fits" not in free_shift_words(shift)


def test_levels_swapped_turn_the_shift_round(models: Mapping[str, MixedModel]) -> None:
    pair = [
        trade_answer(models, asked("peak_shift", factor="cold_route", level=one, against=two))
        for one, two in (("dry_ice", "none"), ("none", "dry_ice"))
    ]
    first, second = pair
    assert isinstance(first, TradeFinding)
    assert isinstance(second, TradeFinding)
    assert first.conf_low == pytest.approx(-second.conf_high, abs=1e-6)
    assert "moves" in second.sentence or "real shift" in second.sentence


def test_a_shift_needs_both_factors_in_one_combination(plane_irons_records: Records) -> None:
    study = plane_irons_records.study
    response = dataclasses.replace(study.response(RESPONSE), combinations=())
    others = [own for own in study.responses if own.name != RESPONSE]
    plain = dataclasses.replace(study, responses=(response, *others))
    model = qb.mixed_model(plane_irons_records, RESPONSE, plain)
    question = asked("peak_shift", factor="cold_route", level="dry_ice", against="none")
    with pytest.raises(EstimabilityError, match="parallel by assumption"):
        trade_answer({RESPONSE: model}, question)


def test_a_working_window_tells_what_is_certain_and_what_is_possible(
    models: Mapping[str, MixedModel],
) -> None:
    own = trade_answer(models, asked("working_window", at={"cold_route": "none"}, within=0.3))
    assert isinstance(own, TradeFinding)
    assert text(own).startswith(
        "No cold step: within 0.3 HRC of the peak hardness certainly from 958 to 985 °C, possibly "
        "from 940 to 1007 °C and perhaps below (95 % confidence for both ends, judged on"
    )
    assert own.conf_low == -math.inf


def test_both_ends_of_a_window_share_the_confidence_of_the_question(
    models: Mapping[str, MixedModel],
) -> None:
    at: dict[str, Level] = {"cold_route": "none"}
    own = trade_answer(models, asked("working_window", at=at, within=0.3))
    assert isinstance(own, TradeFinding)
    assert own.confidence == 0.95
    one = qb.working_window(models[RESPONSE], "austenitize", 0.3, at=at, confidence=0.975)
    assert isinstance(own.result, WorkingWindow)
    assert own.result.certain == one.certain
    assert own.result.lower_set == one.lower_set


def test_both_limits_of_both_ends_of_a_target_window_share_the_confidence(
    models: Mapping[str, MixedModel],
) -> None:
    at: dict[str, Level] = {"cold_route": "dry_ice"}
    own = trade_answer(models, asked("target_window", at=at, target=62.0))
    assert isinstance(own, TradeFinding)
    one = qb.target_window(models[RESPONSE], "austenitize", 62.0, at=at, confidence=0.9875)
    assert isinstance(own.result, TargetWindow)
    assert own.result.certain == one.certain
    assert own.result.possible == one.possible


def test_a_narrow_window_is_nowhere_certain(models: Mapping[str, MixedModel]) -> None:
    own = trade_answer(models, asked("working_window", at={"cold_route": "none"}, within=0.02))
    assert isinstance(own, TradeFinding)
    assert "no setting is certainly within 0.02 HRC of the peak hardness; possible is" in text(own)
    assert own.outcome == "nowhere certain"


def test_a_target_window_says_its_confidence_and_the_noise_of_a_new_coupon(
    models: Mapping[str, MixedModel],
) -> None:
    own = trade_answer(models, asked("target_window", at={"cold_route": "dry_ice"}, target=62.0))
    assert isinstance(own, TradeFinding)
    assert "90 % of new coupons reach a hardness of 62 HRC certainly from 967 to 1030 °C" in text(
        own
    )
    assert "95 % confidence for all of it" in text(own)
    assert own.notes[0].startswith("A tolerance limit")


def test_a_target_beyond_the_curve_is_reached_nowhere(models: Mapping[str, MixedModel]) -> None:
    own = trade_answer(models, asked("target_window", at={"cold_route": "none"}, target=66.0))
    assert isinstance(own, TradeFinding)
    assert own.outcome == "not reached"
    assert "at no setting inside" in own.sentence


def test_a_response_on_the_log_scale_has_no_window_of_a_difference(
    plane_irons_records: Records,
) -> None:
    model = qb.mixed_model(plane_irons_records, "impact_j")
    question = dataclasses.replace(asked("working_window", within=1.0), response="impact_j")
    with pytest.raises(EstimabilityError, match="logarithms"):
        trade_answer({"impact_j": model}, question)


def test_a_delay_is_named_only_with_the_routes_that_have_one(
    models: Mapping[str, MixedModel],
) -> None:
    alone = trade_answer(models, asked("peak", at={"cold_route": "none"}))
    assert alone.sentence.endswith("Over an even mix of temper.")
    cold = trade_answer(models, asked("peak", at={"cold_route": "dry_ice"}))
    assert cold.sentence.endswith("Over an even mix of temper, delay.")
    both = trade_answer(
        models, asked("peak_shift", factor="cold_route", level="dry_ice", against="none")
    )
    assert "Over an even mix of temper, delay with dry ice." in (both.sentence, *both.notes)


def test_unlike_scatter_of_routes_is_warned_of(plane_irons_records: Records) -> None:
    model = qb.mixed_model(plane_irons_records, RESPONSE)
    rng = np.random.default_rng(2)
    noisy = model.coupons["cold_route"].eq("freezer").to_numpy()
    value = model.coupons["value"] + np.where(noisy, rng.normal(0, 1.5, len(noisy)), 0.0)
    data = dataclasses.replace(model.data, coupons=model.coupons.assign(value=value))
    from quenchbook.fit.fitting import fitted_model

    own = trade_answer({RESPONSE: fitted_model(data)}, asked("peak", at={"cold_route": "freezer"}))
    assert isinstance(own, TradeFinding)
    assert any("too narrow for the noisiest" in note for note in own.notes)


def test_lots_in_different_loads_get_the_advice_to_share_loads() -> None:
    rng = np.random.default_rng(4)
    rows = [
        (f"L{temp}{number}", float(temp), "pq"[number % 2])
        for temp in (940, 980, 1020, 1060) for number in range(4) for _ in range(4)
    ]  # fmt: skip
    frame = pd.DataFrame(rows, columns=["load", "temp", "lot"])
    x = (frame["temp"] - np.where(frame["lot"] == "p", 990, 1010)) / 60
    frame["y"] = 63 - x**2 + rng.normal(0, 0.1, len(frame))
    shapes = {"temp": "quadratic"}
    model = qb.mixed_model(frame, "y", fixed="temp * lot", strata=["load"], shapes=shapes)  # type: ignore[arg-type]
    from quenchbook.findings.peak_words import shift_notes

    own = qb.peak_shift(model, "temp", "lot", "q", "p")
    assert not own.inside_loads
    assert own.conf_low < 20 < own.conf_high
    assert "Put both into every one" in shift_notes(own, "q", "p")[-1]


@pytest.mark.parametrize("route", ["none", "freezer", "dry_ice", "liquid_nitrogen"])
def test_the_truth_of_the_demo_lies_in_its_intervals(
    models: Mapping[str, MixedModel], route: str
) -> None:
    """Truth of data/plane_irons/truth.toml, from which the invented readings were simulated."""
    truth = tomllib.loads((ROOT / "data/plane_irons/truth.toml").read_text(encoding="utf-8"))
    hardness = truth["hardness"]
    peak = hardness["routes"][route]["peak"]
    own = trade_answer(models, asked("peak", at={"cold_route": route}))
    assert isinstance(own, TradeFinding)
    assert own.conf_low <= peak <= own.conf_high
    window = trade_answer(models, asked("working_window", at={"cold_route": route}, within=0.3))
    away = (0.3 / -hardness["curvature"]) ** 0.5
    result = window.result
    assert isinstance(result, WorkingWindow)
    assert all(peak - away <= end <= peak + away for stretch in result.certain for end in stretch)
    low, high = result.not_excluded
    assert low <= max(peak - away, 940.0)
    assert min(peak + away, 1030.0) <= high


@pytest.mark.parametrize(
    ("compare", "why"),
    [
        (("cold_route", "none", "none"), "compares a level of cold_route with itself"),
        (("austenitize", 940.0, 970.0), "compares levels of austenitize along austenitize"),
    ],
)
@pytest.mark.parametrize("asks", ["peak_shift", "curve_shift"])
def test_a_shift_of_a_level_against_itself_is_refused(
    models: Mapping[str, MixedModel],
    asks: str,
    compare: tuple[str, float | str, float | str],
    why: str,
) -> None:
    factor, level, against = compare
    with pytest.raises(EstimabilityError, match=why):
        trade_answer(models, asked(asks, factor=factor, level=level, against=against))
