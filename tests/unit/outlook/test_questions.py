from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from scipy import stats

import quenchbook as qb
from quenchbook.errors import EstimabilityError
from quenchbook.fit.noise import stratum_equations
from quenchbook.outlook.noise import (
    ASSUMED,
    assumed_noise,
    coupon_value_variance,
    measured_noise,
)
from quenchbook.outlook.questions import question_outlooks
from quenchbook.outlook.simulation import simulated_outlook
from quenchbook.outlook.wording import chance_text, times_in
from quenchbook.study.definition import Noise

NOISE = {"hardness_hrc": Noise({"furnace_load": 0.4, "coupon": 0.3, "indent": 0.6}, "a pilot")}


@pytest.fixture(scope="module")
def small_matrix(small_study):
    return qb.coupon_matrix(small_study, seed=4)


def test_a_comparison_inside_loads_has_the_textbook_standard_error(small_matrix) -> None:
    own = question_outlooks(small_matrix, noise=NOISE).answer("freezer")
    variance = 0.3**2 + 0.6**2 / 3
    assert own.planned.std_error == pytest.approx(math.sqrt(variance * 2 / 12))
    assert own.df_error == pytest.approx(24 - 6 - 1 - 2)
    half = stats.t.ppf(0.975, own.df_error) * own.planned.std_error
    assert own.half_width() == pytest.approx(half)
    assert own.strata == ("coupon",)


def test_a_comparison_between_loads_is_judged_on_loads(small_matrix) -> None:
    own = question_outlooks(small_matrix, noise=NOISE).answer("hot")
    between = 0.4**2 + (0.3**2 + 0.6**2 / 3) / 4  # variance of a load mean
    assert own.strata == ("furnace_load",)
    assert own.df_error == pytest.approx(3)
    # ends of a quadratic through three levels with two loads each: the ends' own means
    assert own.planned.std_error == pytest.approx(math.sqrt(between * (1 / 2 + 1 / 2)))


def test_the_power_of_a_difference_of_nothing_is_the_level(small_matrix) -> None:
    for own in question_outlooks(small_matrix, noise=NOISE).answers:
        assert own.power(0.0) == pytest.approx(0.05, abs=1e-9)


def test_more_loads_help_the_furnace_question_more_than_more_coupons(small_study) -> None:
    """The measured lesson of the project: doubling coupons in the same loads buys little."""

    def half_width(loads: int, coupons: int) -> float:
        layout = dataclasses.replace(
            small_study.layout, furnace_loads=loads, coupons_per_load=coupons
        )
        matrix = qb.coupon_matrix(dataclasses.replace(small_study, layout=layout), seed=1)
        return question_outlooks(matrix, noise=NOISE).answer("hot").half_width()

    now, coupons, loads = half_width(6, 4), half_width(6, 8), half_width(12, 4)
    assert coupons > 0.93 * now
    assert loads < 0.6 * now


def test_a_question_without_spare_loads_gets_a_reason_and_no_number(one_load_a_level) -> None:
    matrix = qb.coupon_matrix(one_load_a_level, seed=1)
    outlook = question_outlooks(matrix, noise=NOISE)
    own = outlook.answer("hot")
    assert own.planned is None
    assert "every furnace load is needed" in own.reason
    row = outlook.to_frame().set_index("key").loc["hot"]
    assert row["half_width"] is None or np.isnan(row["half_width"])
    assert "nan" not in outlook.summary()
    assert "nan" not in outlook._repr_html_()


def test_a_question_about_a_combination_that_is_not_analysed_says_so(small_study) -> None:
    response = dataclasses.replace(small_study.responses[0], combinations=())
    matrix = qb.coupon_matrix(dataclasses.replace(small_study, responses=(response,)), seed=1)
    own = question_outlooks(matrix, noise=NOISE).answer("both")
    assert own.planned is None
    assert "not in the model" in own.reason


def test_assumed_noise_says_that_it_is_assumed(small_study, small_matrix) -> None:
    assert assumed_noise(small_study, "hardness_hrc").source == ASSUMED
    assert ASSUMED in question_outlooks(small_matrix).summary()


def test_told_noise_comes_before_assumed_noise(small_study) -> None:
    told = Noise({"furnace_load": 0.9}, "pilot of June")
    response = dataclasses.replace(small_study.responses[0], noise=told)
    own = assumed_noise(dataclasses.replace(small_study, responses=(response,)), "hardness_hrc")
    assert own.sds["furnace_load"] == 0.9
    assert own.sds["coupon"] == 0.45
    assert own.source.startswith("pilot of June; ")
    assert "coupon" in own.source
    assert own.source.endswith(ASSUMED)


def test_noise_that_nobody_knows_is_a_reason(coated_bars_matrix) -> None:
    outlook = question_outlooks(coated_bars_matrix)
    assert all(own.planned is None for own in outlook.answers)
    assert all("does not tell the noise of" in own.reason for own in outlook.answers)


def test_noise_of_a_study_comes_from_its_variance_components(plane_irons_records) -> None:
    model = qb.mixed_model(plane_irons_records, "hardness_hrc")
    own = measured_noise(model)
    table = model.variance_components.set_index("stratum")["sd"]
    for unit, sd in own.sds.items():
        assert sd == pytest.approx(table[unit])
    assert "plane_irons" in own.source
    assert "furnace load" in own.source


def test_noise_of_several_studies_comes_from_their_mean_squares(plane_irons_records) -> None:
    model = qb.mixed_model(plane_irons_records, "hardness_hrc")
    names, weights, squares, _ = stratum_equations(model)
    variances = dict(zip(names, np.maximum(weights @ squares, 0.0), strict=True))
    twice = measured_noise([model, model])
    assert set(names) <= set(twice.sds)
    for unit in names:
        assert twice.sds[unit] ** 2 == pytest.approx(variances[unit])
    assert variances["cold_batch"] == 0  # a difference of mean squares below zero is cut


def test_nearby_indents_do_not_average_out() -> None:
    noise = Noise({"coupon": 0.45, "indent": 0.6}, "")
    apart = coupon_value_variance(noise, 5)
    near = coupon_value_variance(noise, 5, indent_correlation=0.3)
    assert apart == pytest.approx(0.45**2 + 0.36 / 5)
    assert near == pytest.approx(0.45**2 + 0.36 * (0.3 + 0.7 / 5))


def test_planned_df_are_those_of_the_analysis(plane_irons_matrix, plane_irons_records) -> None:
    """The lossless plan and the messy records have the same strata; df differ by the losses."""
    analysis = qb.analyse(plane_irons_records)
    outlook = question_outlooks(plane_irons_matrix)
    inside_one = [own for own in outlook.answers if len(own.strata) == 1]
    assert len(inside_one) >= 7
    for own in (o for o in inside_one if o.response.name == "hardness_hrc"):
        found = analysis.finding(own.question.key)
        assert own.df_error == pytest.approx(found.df, rel=0.25, abs=2)


def test_simulation_agrees_with_the_formula_and_needs_no_luck(small_matrix) -> None:
    own = simulated_outlook(small_matrix, noise=NOISE, studies=6_000, seed=3)
    table = own.to_frame()
    assert len(table) == 4
    error = (table["simulated_power"] - table["power"]).abs() / table["simulation_error"]
    assert (error < 3.5).all()
    again = simulated_outlook(small_matrix, noise=NOISE, studies=6_000, seed=3)
    assert again.to_frame().equals(table)


def test_simulation_with_the_wrong_noise_does_not_agree(small_matrix) -> None:
    """Negative control: a formula for other noise must be told from the simulation."""
    other = {"hardness_hrc": Noise({"furnace_load": 0.8, "coupon": 0.3, "indent": 0.6}, "x")}
    right = question_outlooks(small_matrix, noise=NOISE).answer("hot")
    size = right.detectable_difference()
    wrong = simulated_outlook(
        small_matrix, noise=other, differences={"hot": size}, studies=4_000, seed=3
    )
    row = wrong.to_frame().set_index("key").loc["hot"]
    assert abs(row["simulated_power"] - right.power(size)) > 10 * row["simulation_error"]


def test_a_plan_that_answers_nothing_is_not_simulated(coated_bars_matrix) -> None:
    with pytest.raises(EstimabilityError, match="can answer no question"):
        simulated_outlook(coated_bars_matrix)


@pytest.mark.parametrize(
    ("share", "words"),
    [(0.8, "8 times in 10"), (0.1, "1 time in 10"), 
     (0.999, "nearly always"), (0.001, "hardly ever"), (0.87, "in 87\u00a0% of such studies")],
)  # fmt: skip
def test_chances_are_said_in_words(share: float, words: str) -> None:
    assert times_in(share) == words


def test_chances_are_never_certain() -> None:
    assert chance_text(1.0).startswith(">")
    assert chance_text(0.0).startswith("<")
