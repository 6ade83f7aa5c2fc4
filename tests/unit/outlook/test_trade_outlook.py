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
