"""Noise that cannot be told apart is added up, wherever a plan is judged."""

from __future__ import annotations

import dataclasses
import math

import pytest

import quenchbook as qb
from quenchbook.errors import EstimabilityError
from quenchbook.outlook.certainty import certainty_costs
from quenchbook.outlook.layouts import drawn_layout, resized
from quenchbook.outlook.needed import units_needed
from quenchbook.outlook.noise import measured_noise
from quenchbook.outlook.peak import peak_outlook
from quenchbook.outlook.questions import question_outlooks
from quenchbook.plan.plan_model import noise_ratios
from quenchbook.study.definition import ExtraCoupons, Layout, Noise, Question, Study
from quenchbook.study.factors import Factor

LOUD = Noise({"furnace_load": 0.2, "coupon": 0.3, "indent": 0.0, "bar": 0.8}, "a pilot")


@pytest.fixture(scope="module")
def lots(small_study: Study) -> Study:
    lot = Factor("lot", "lot", ("a", "b"), set_for="bar")
    question = Question("lots", "Do the lots differ?", "hardness_hrc", "lot", "a", "b")
    return dataclasses.replace(
        small_study,
        factors=(small_study.factors[0], lot),
        questions=(question,),
        layout=Layout(furnace_loads=6, coupons_per_load=8, bars=8, coupons_per_bar=6),
    )


def test_lots_are_judged_on_bars_in_every_size_of_the_study(lots: Study) -> None:
    own = question_outlooks(qb.coupon_matrix(lots, seed=1), noise={"hardness_hrc": LOUD})
    found = own.answer("lots").detectable_difference()
    costs = certainty_costs(lots, "lots", loads=[6], coupons=[8], indents=[3], noise=LOUD)
    assert costs.own["detectable_difference"] == pytest.approx(found, rel=0.15)
    assert "bar 0.80" in costs.notes[0]
    drawn = drawn_layout(lots, lots.questions[0], 12, 8, seed=1)
    assert drawn.matrix.frame["bar"].nunique() == 16
    assert "bar" in drawn.units


def test_noise_of_bars_that_no_factor_is_set_for_is_in_the_coupons(small_study: Study) -> None:
    matrix = qb.coupon_matrix(small_study, seed=4)
    told = question_outlooks(matrix, noise={"hardness_hrc": LOUD}).answer("freezer")
    assert told.planned.std_error == pytest.approx(math.sqrt((0.09 + 0.64) * 2 / 12))
    assumed = question_outlooks(matrix).answer("freezer")
    assert assumed.planned.std_error == pytest.approx(math.sqrt((0.45**2 + 0.36 / 3) * 2 / 12))


def test_a_load_of_one_coupon_keeps_its_noise_for_the_peak_too(small_study: Study) -> None:
    layout = Layout(furnace_loads=12, coupons_per_load=1)
    study = dataclasses.replace(small_study, factors=small_study.factors[:1], layout=layout)
    study = dataclasses.replace(study, questions=(study.questions[1],))
    matrix = qb.coupon_matrix(study, seed=1)
    quiet, loud = (
        peak_outlook(matrix, noise=Noise({"furnace_load": sd, "coupon": 0.3, "indent": 0.0}, "x"))
        for sd in (0.0, 2.0)
    )
    ratio = loud.table["half_width"][0] / quiet.table["half_width"][0]
    assert ratio == pytest.approx(math.sqrt(4.09 / 0.09))


def test_questions_that_are_judged_together_stay_so_in_every_size(small_study: Study) -> None:
    together = dataclasses.replace(
        small_study, multiplicity="together", questions=small_study.questions[:2]
    )
    matrix = qb.coupon_matrix(together, seed=1)
    own = question_outlooks(matrix).answer("hot").detectable_difference()
    costs = certainty_costs(together, "hot", loads=[6], coupons=[4], indents=[3])
    assert costs.own["detectable_difference"] == pytest.approx(own, rel=1e-4)


def test_extra_coupons_count_where_a_part_is_tested(small_study: Study) -> None:
    extra = ExtraCoupons("more", "more", 4, {"austenitize": 970.0, "cold_route": "none"})
    response = dataclasses.replace(small_study.responses[0], coupons=26)
    study = dataclasses.replace(small_study, extra_coupons=(extra,), responses=(response,))
    assert resized(study, 6, 4).responses[0].coupons == 26
    assert resized(study, 12, 4).responses[0].coupons == round(26 * 52 / 28)


def test_measured_noise_is_not_assumed_a_second_time(plane_irons_records) -> None:
    """Impact coupons share no cold batch, so its noise is in that of the coupons already."""
    model = qb.mixed_model(plane_irons_records, "impact_j")
    noise = measured_noise(model)
    assert noise.sds["cold_batch"] == 0.0
    matrix = plane_irons_records.matrix
    outlook = question_outlooks(matrix, noise={"impact_j": noise})
    assert "common practice" not in next(n for n in outlook.notes if "impact" in n)


def test_told_noise_is_what_a_best_plan_is_chosen_for(small_study: Study) -> None:
    noise = Noise({"furnace_load": 3.0, "coupon": 0.3, "indent": 0.6}, "a pilot")
    response = dataclasses.replace(small_study.responses[0], noise=noise)
    study = dataclasses.replace(small_study, responses=(response,))
    assert noise_ratios(study)["furnace_load"] == pytest.approx(9 / (0.09 + 0.12))
    assert noise_ratios(small_study)["furnace_load"] == 1.0


def test_a_response_that_is_none_is_refused(small_study: Study) -> None:
    matrix = qb.coupon_matrix(small_study, seed=1)
    with pytest.raises(ValueError, match="'hardness' is not a response"):
        question_outlooks(matrix, noise={"hardness": LOUD})


@pytest.mark.parametrize("wrong", [{"goal": "x"}, {"power": 1.0}])
def test_a_goal_or_power_that_is_none_is_refused(small_study: Study, wrong: dict) -> None:
    with pytest.raises(EstimabilityError, match=r"x|power is 1"):
        units_needed(small_study, "freezer", **wrong)


def test_a_published_study_is_told_that_nothing_can_be_planned(coated_bars: Study) -> None:
    response = dataclasses.replace(coated_bars.responses[0], equivalence_margin=5.0)
    question = Question("c", "Better?", "resistance", "coating", "C1", "C2")
    study = dataclasses.replace(coated_bars, responses=(response,), questions=(question,))
    assert "No plan can be made" in units_needed(study, "c").summary()


def test_a_question_about_what_does_not_exist_is_a_reason(plane_irons: Study) -> None:
    question = Question(
        "odd", "Delay without cold?", "hardness_hrc", "delay", 60.0, 0.0, {"cold_route": "none"}
    )
    study = dataclasses.replace(plane_irons, questions=(*plane_irons.questions, question))
    outlook = question_outlooks(qb.coupon_matrix(study, seed=1))
    assert "do not exist together" in outlook.answer("odd").reason
    assert outlook.answer("freezer").planned is not None


def test_an_uneven_plan_is_called_rough(plane_irons_matrix, small_study: Study) -> None:
    assert not any(
        "roughly" in n for n in question_outlooks(qb.coupon_matrix(small_study, seed=1)).notes
    )
    few = dataclasses.replace(plane_irons_matrix.study.layout, furnace_loads=6)
    matrix = qb.coupon_matrix(dataclasses.replace(plane_irons_matrix.study, layout=few), seed=1)
    assert any("count in simulated studies" in note for note in question_outlooks(matrix).notes)
