"""What a plan can tell of declared questions about peaks."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

import quenchbook as qb
from quenchbook.fit.fitted_curve import FittedCurve, polynomial_rows
from quenchbook.fit.peaks import place_of_curve
from quenchbook.fit.stratum_covariance import NoisyRows, noisy_rows
from quenchbook.outlook.peak import middle_and_half, peak_outlook
from quenchbook.outlook.peak_chances import peak_chances, planned_noise
from quenchbook.outlook.power import PlannedPrecision
from quenchbook.outlook.prepared import planned_precision_of, prepared
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import Noise
from quenchbook.study.trade_questions import TradeQuestion

RESPONSE = "hardness_hrc"
QUIET = Noise(
    {"furnace_load": 0.05, "cold_batch": 0.0, "temper_batch": 0.0, "coupon": 0.1, "indent": 0.1},
    "a pilot",
)


def asked(matrix: CouponMatrix, *questions: TradeQuestion) -> CouponMatrix:
    study = dataclasses.replace(matrix.study, trade_questions=questions)
    return dataclasses.replace(matrix, study=study)


PEAK = TradeQuestion("p", "Where?", RESPONSE, "peak", "austenitize", at={"cold_route": "none"})
SHIFT = TradeQuestion(
    "s", "How far?", RESPONSE, "peak_shift", "austenitize", factor="cold_route", level="dry_ice",
    against="none",
)  # fmt: skip


def test_declared_questions_get_chances_and_widths(plane_irons_matrix: CouponMatrix) -> None:
    own = qb.trade_outlook(asked(plane_irons_matrix, PEAK, SHIFT))
    table = own.to_frame().set_index("key")
    assert 0.3 < table.loc["p", "bounded"] < 0.9
    assert np.isnan(table.loc["p", "detectable_shift"])
    assert 5 < table.loc["s", "detectable_shift"] < 45
    assert "is told from none in 80" in own.summary()
    assert "not located in" in own.sentences()[0]


def test_less_noise_locates_a_peak_better(plane_irons_matrix: CouponMatrix) -> None:
    matrix = asked(plane_irons_matrix, PEAK, SHIFT)
    loud = qb.trade_outlook(matrix).to_frame()
    quiet = qb.trade_outlook(matrix, noise={RESPONSE: QUIET}).to_frame()
    assert (quiet["half_width"] < loud["half_width"]).all()
    assert quiet["bounded"][0] > 0.99
    assert quiet["detectable_shift"][1] < loud["detectable_shift"][1]


def test_a_response_without_an_expected_peak_says_what_to_write(
    plane_irons_matrix: CouponMatrix,
) -> None:
    study = plane_irons_matrix.study
    plain = tuple(dataclasses.replace(own, expected_peak=None) for own in study.responses)
    matrix = dataclasses.replace(
        plane_irons_matrix,
        study=dataclasses.replace(study, responses=plain, trade_questions=(PEAK,)),
    )
    assert "expected_peak" in qb.trade_outlook(matrix).summary()


DECADE = TradeQuestion("d", "Each decade?", RESPONSE, "per_decade", "delay")
HALF = TradeQuestion(
    "h", "How long?", RESPONSE, "half_loss", "delay", factor="cold_route",
    level="liquid_nitrogen", against="none",
)  # fmt: skip
TEMPER = TradeQuestion("t", "Which temper?", RESPONSE, "temper_for", "temper", target=62.0)
EQUAL = TradeQuestion(
    "e", "At equal hardness?", "impact_j", "equal_hardness", "temper", factor="cold_route",
    level="dry_ice", against="none",
)  # fmt: skip
TARGET = TradeQuestion("w", "Where 62?", RESPONSE, "target_window", "austenitize", target=62.0)


def told(matrix: CouponMatrix, question: TradeQuestion) -> str:
    (sentence,) = qb.trade_outlook(asked(matrix, question)).to_frame()["sentence"]
    return str(sentence).replace("\u00a0", " ")


def with_response(matrix: CouponMatrix, name: str, **changes: object) -> CouponMatrix:
    responses = tuple(
        dataclasses.replace(own, **changes) if own.name == name else own  # type: ignore[arg-type]
        for own in matrix.study.responses
    )
    return dataclasses.replace(matrix, study=dataclasses.replace(matrix.study, responses=responses))


def test_every_declared_question_of_the_demo_has_a_line(plane_irons_matrix: CouponMatrix) -> None:
    own = qb.trade_outlook(plane_irons_matrix)
    declared = plane_irons_matrix.study.trade_questions
    assert list(own.to_frame()["key"]) == [question.key for question in declared]
    assert len(own.sentences()) == len(declared)
    assert "Not told" not in own.summary()
    assert "nan" not in own.summary()


def test_a_change_for_each_decade_has_the_numbers_of_its_contrast(
    plane_irons_matrix: CouponMatrix,
) -> None:
    table = qb.trade_outlook(asked(plane_irons_matrix, DECADE)).to_frame()
    level = qb.delay_outlook(plane_irons_matrix, level="dry_ice", half_losses=[60.0])
    assert table["half_width"][0] == pytest.approx(level.half_width)
    assert table["half_width"][0] < table["detectable_difference"][0] < 2 * level.half_width
    assert 0.9 < table["equivalence_power"][0] <= 1.0
    words = told(plane_irons_matrix, DECADE)
    assert words.startswith("Each tenfold delay: expected interval ±")
    assert "judged on cold batches (16 df)." in words


def test_a_change_of_one_route_is_told_less_well_than_the_average(
    plane_irons_matrix: CouponMatrix,
) -> None:
    one = dataclasses.replace(DECADE, key="one", at={"cold_route": "dry_ice"})
    table = qb.trade_outlook(asked(plane_irons_matrix, DECADE, one)).to_frame()
    assert table["half_width"][1] >= table["half_width"][0]


def test_a_response_without_a_margin_says_that_equivalence_cannot_be_shown(
    plane_irons_matrix: CouponMatrix,
) -> None:
    plain = with_response(plane_irons_matrix, RESPONSE, equivalence_margin=None)
    assert "no margin is declared" in told(plain, DECADE)
    assert "Write equivalence_margin" in told(plain, HALF)
    assert "no margin is declared" in told(plain, TEMPER)


def test_chances_of_a_half_loss_are_those_of_the_delay_outlook_and_marked_assumed(
    plane_irons_matrix: CouponMatrix,
) -> None:
    words = told(plane_irons_matrix, HALF)
    own = qb.delay_outlook(plane_irons_matrix, level="liquid_nitrogen", gains=[1.5]).to_frame()
    even = own[own["fall"] == "steady"]["upper_limit"]
    assert words.endswith("(gain and times assumed).")
    for chance in even:
        assert f"in {chance * 100:.0f} % (even fall)" in words


def test_a_wanted_temper_tells_the_mean_and_roughly_the_place(
    plane_irons_matrix: CouponMatrix,
) -> None:
    words = told(plane_irons_matrix, TEMPER)
    assert words.startswith("The mean at one temper is told within ±")
    assert "roughly within ±" in words
    assert "(assumed)" in words


def test_equal_hardness_states_its_assumptions_and_the_small_span(
    plane_irons_matrix: CouponMatrix,
) -> None:
    words = told(plane_irons_matrix, EQUAL)
    assert "Assumed: 40" in words
    assert "The tempers span 0.62 HRC only; plan 1.5 or more." in words


def test_equal_hardness_with_one_temper_is_refused(plane_irons_matrix: CouponMatrix) -> None:
    frame = plane_irons_matrix.frame
    one = dataclasses.replace(plane_irons_matrix, frame=frame.assign(temper_c=150.0))
    words = told(one, EQUAL)
    assert words.startswith("Not told: ")
    assert "one temper only" in words


def test_equal_hardness_without_a_spare_temper_batch_is_refused(
    plane_irons_matrix: CouponMatrix,
) -> None:
    frame = plane_irons_matrix.frame
    two = frame["temper_c"].map({150.0: 1, 175.0: 2})
    lumped = dataclasses.replace(plane_irons_matrix, frame=frame.assign(temper_batch=two))
    words = told(lumped, EQUAL)
    assert words.startswith("Not told: no temper batch is spare")


def test_equal_hardness_without_a_hardness_is_not_told(plane_irons_matrix: CouponMatrix) -> None:
    kinds = with_response(plane_irons_matrix, RESPONSE, kind="impact")
    assert told(kinds, EQUAL) == "Not told: no hardness is measured to compare at."


def test_a_target_window_is_said_not_to_be_planned_for(plane_irons_matrix: CouponMatrix) -> None:
    assert "is not planned for" in told(plane_irons_matrix, TARGET)


def test_a_study_without_such_questions_has_an_empty_outlook(
    plane_irons_matrix: CouponMatrix,
) -> None:
    assert qb.trade_outlook(asked(plane_irons_matrix)).to_frame().empty


def test_chances_of_a_peak_add_up(plane_irons_matrix: CouponMatrix) -> None:
    table = peak_outlook(plane_irons_matrix, by="cold_route").to_frame()
    total = table["bounded"] + table["one_ended"] + table["not_located"]
    assert total.to_numpy() == pytest.approx(1.0)


def test_chances_are_those_of_the_analysis_study_by_study(plane_irons_matrix: CouponMatrix) -> None:
    strata = prepared(plane_irons_matrix).strata[RESPONSE]
    planned, _ = planned_precision_of(plane_irons_matrix, RESPONSE)
    assert isinstance(planned, PlannedPrecision)
    factor = plane_irons_matrix.study.factor("austenitize")
    centre, half = middle_and_half(factor)
    rows = polynomial_rows(strata.terms, "austenitize", {"cold_route": "none"}, centre, half, 2)
    ready = planned_noise(strata, planned, studies=200, seed=3)
    own = peak_chances(ready, rows, 0.3, -1.0, confidence=0.95)
    noise = noisy_rows(ready.covariance, ready.drawn, rows)
    truth = np.array([[0.0], [0.6], [-1.0]])
    noise = NoisyRows(noise.estimates + truth, noise.shapes, noise.squares, noise.df, noise.units)
    places = [
        place_of_curve(
            FittedCurve(noise.one(i), 2, centre, half, "austenitize", factor, 4, 7, "loads")
        )
        for i in range(200)
    ]
    ends = np.array([[np.isfinite(p.conf_low), np.isfinite(p.conf_high)] for p in places])
    assert own.both_ends == pytest.approx(ends.all(axis=1).mean(), abs=0.011)
    assert own.not_located == pytest.approx((~ends.any(axis=1)).mean(), abs=0.011)
    assert own.shown_inside == pytest.approx(
        np.mean([place.p_inside <= 0.05 for place in places]), abs=1e-9
    )
