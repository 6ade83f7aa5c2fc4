"""What certainty costs: plans against independent sums, unbeaten ones against brute force."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import optimize, stats

from quenchbook.columns import meaning
from quenchbook.errors import EstimabilityError, PlanError, QuenchbookError
from quenchbook.outlook.certainty import certainty_costs, unbeaten_plans, unit_costs
from quenchbook.outlook.certainty_table import CertaintyCosts
from quenchbook.outlook.layouts import coupon_counts, layout_sizes, load_counts
from quenchbook.plan.cost import plan_cost
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import Layout, Noise, Question, Response, Study
from quenchbook.study.factors import Factor
from quenchbook.study.prices import Prices

SDS = {"furnace_load": 0.3, "coupon": 0.45, "indent": 0.6}
COSTS = {"currency": "EUR", "furnace_load": 60.0, "coupon": 4.0, "indent": 0.5}


def study(
    *, costs: Mapping[str, object] = COSTS, margin: float | None = 0.5, **parts: Any
) -> Study:
    """Two temperatures by load, two coatings inside loads, hardness with five indents."""
    texts = dict.fromkeys(("question", "author", "date", "licence"), "")
    made: dict[str, Any] = {
        "key": "small",
        "title": "Small",
        "factors": (
            Factor("heat", "heat_c", (940.0, 970.0), "temperature", "furnace_load"),
            Factor("coating", "coating", ("a", "b")),
        ),
        "responses": (
            Response(
                "hardness_hrc", "hardness", "HRC", "hardness", 5, equivalence_margin=margin,
                combinations=(),
            ),
        ),
        "questions": (
            Question("coat", "Does the coating matter?", "hardness_hrc", "coating", "a", "b"),
            Question("heat", "Does the heat matter?", "hardness_hrc", "heat", 970.0, 940.0),
        ),
        "layout": Layout(8, 4),
        "costs": costs,
    }  # fmt: skip
    return Study(**{**texts, **made, **parts})


def found_by_hand(std_error: float, df: float, power: float = 0.8) -> float:
    """Smallest difference found, by the noncentral t of scipy where it is sound."""
    bound = stats.t.ppf(0.975, df)

    def short(shift: float) -> float:
        upper = stats.nct.sf(bound, df, shift) + stats.nct.cdf(-bound, df, shift)
        return float(upper - power)

    return float(optimize.brentq(short, 0.1, 8.0)) * std_error


def row_of(costs: CertaintyCosts, loads: int, coupons: int, indents: int) -> dict[str, Any]:
    frame = costs.to_frame()
    own = frame[
        (frame["furnace_loads"] == loads)
        & (frame["coupons_per_load"] == coupons)
        & (frame["indents"] == indents)
    ]
    assert len(own) == 1
    return {str(k): v for k, v in own.iloc[0].to_dict().items()}


@pytest.mark.parametrize("rho", [0.0, 0.3])
@pytest.mark.parametrize(("loads", "coupons", "indents"), [(6, 4, 3), (8, 4, 5), (12, 2, 1)])
def test_a_question_inside_loads_is_found_as_by_hand(
    loads: int, coupons: int, indents: int, rho: float
) -> None:
    costs = certainty_costs(
        study(), "coat", loads=[6, 8, 12], coupons=[2, 4], indents=[1, 3, 5], noise=SDS,
        indent_correlation=rho,
    )  # fmt: skip
    own = row_of(costs, loads, coupons, indents)
    value = 0.45**2 + 0.6**2 * (rho + (1 - rho) / indents)
    df = loads * coupons - loads - 1
    assert own["df_error"] == pytest.approx(df)
    std_error = math.sqrt(4 * value / (loads * coupons))
    assert own["half_width"] == pytest.approx(stats.t.ppf(0.975, df) * std_error)
    assert own["detectable_difference"] == pytest.approx(found_by_hand(std_error, df), rel=1e-4)


@pytest.mark.parametrize(("loads", "coupons", "indents"), [(6, 4, 3), (8, 4, 5), (12, 2, 1)])
def test_a_question_between_loads_is_found_as_by_hand(
    loads: int, coupons: int, indents: int
) -> None:
    costs = certainty_costs(
        study(), "heat", loads=[6, 8, 12], coupons=[2, 4], indents=[1, 3, 5], noise=SDS
    )
    own = row_of(costs, loads, coupons, indents)
    value = 0.3**2 + (0.45**2 + 0.6**2 / indents) / coupons
    assert own["df_error"] == pytest.approx(loads - 2)
    by_hand = found_by_hand(math.sqrt(4 * value / loads), loads - 2)
    assert own["detectable_difference"] == pytest.approx(by_hand, rel=1e-4)


def test_cost_and_hours_agree_with_sums_by_hand() -> None:
    costs = certainty_costs(study(), "coat", loads=[6], coupons=[4], indents=[3], noise=SDS)
    own = row_of(costs, 6, 4, 3)
    assert own["coupons"] == 24
    assert own["cost"] == pytest.approx(6 * 60 + 24 * (4 + 3 * 0.5))
    assert own["hours"] == pytest.approx(6 * 1.0 + 24 * (0.1 + 3 / 60))


def test_noise_of_a_batch_of_one_coupon_is_added_to_the_coupon() -> None:
    factors = (Factor("cold_route", "cold_route", ("none", "freezer"), set_for="cold_batch"),)
    question = Question("cold", "Harder?", "hardness_hrc", "cold_route", "freezer", "none")
    own = study(factors=factors, questions=(question,), layout=Layout(8, 2))
    costs = certainty_costs(
        own, loads=[8], coupons=[2], indents=[5], noise={**SDS, "cold_batch": 0.5}
    )
    value = 0.5**2 + 0.45**2 + 0.6**2 / 5
    by_hand = found_by_hand(math.sqrt(4 * value / 16), 7)
    found = row_of(costs, 8, 2, 5)["detectable_difference"]
    assert found == pytest.approx(by_hand, rel=1e-4)


# --- which plans, and which of them nothing beats ----------------------------------------------


@pytest.mark.parametrize("seed", range(5))
def test_unbeaten_plans_agree_with_brute_force(seed: int) -> None:
    rng = np.random.default_rng(seed)
    effort = rng.integers(1, 12, 60).astype(float)  # many ties
    found = rng.integers(1, 12, 60).astype(float)
    beaten = [
        any(
            a <= effort[i] and d <= found[i] and (a < effort[i] or d < found[i])
            for a, d in zip(effort, found, strict=True)
        )
        for i in range(60)
    ]
    assert unbeaten_plans(effort, found).tolist() == [not own for own in beaten]


def test_the_plan_of_the_study_is_always_among_them() -> None:
    costs = certainty_costs(study(), loads=[6], coupons=[2], indents=[3], noise=SDS)
    own = costs.own
    assert own is not None
    assert (own["furnace_loads"], own["coupons_per_load"], own["indents"]) == (8, 4, 5)
    assert len(costs.frame) == 3  # the size of the study also with the indents that were asked for


def test_sizes_are_whole_repeats_of_settings_and_sets() -> None:
    own = study(layout=Layout(8, 4))
    assert load_counts(own) == [2, 4, 6, 8, 12, 16]
    assert coupon_counts(own) == [2, 4, 6, 8]
    assert max(loads * coupons for loads, coupons in layout_sizes(own, None, None)) == 64
    assert layout_sizes(own, [40], [9]) == [(8, 4), (40, 9)]


def test_more_of_everything_never_finds_less() -> None:
    costs = certainty_costs(
        study(), "heat", loads=[4, 8, 16], coupons=[2, 4, 8], indents=[1, 4, 10], noise=SDS
    )
    table = costs.frame.set_index(["furnace_loads", "coupons_per_load", "indents"])
    for names in (("coupons_per_load", "indents"), ("furnace_loads", "indents"),
                  ("furnace_loads", "coupons_per_load")):  # fmt: skip
        for _, part in table.groupby(level=list(names)):
            ordered = part.sort_index()["detectable_difference"].to_numpy()
            assert (np.diff(ordered) <= 1e-9).all()


def test_the_cost_of_the_own_plan_is_that_of_its_matrix(
    plane_irons: Study, plane_irons_matrix: CouponMatrix
) -> None:
    costs = certainty_costs(plane_irons, "dry_ice", loads=[12], coupons=[8], indents=[5])
    own, by_matrix = costs.own, plan_cost(plane_irons_matrix)
    assert own is not None
    assert own["cost"] == pytest.approx(by_matrix.total)
    assert own["hours"] == pytest.approx(by_matrix.hours)


# --- words -------------------------------------------------------------------------------------


def table_of(rows: list[tuple[int, int, int, float, float]], **parts: Any) -> CertaintyCosts:
    """Result with given plans: loads, coupons, indents, cost, difference; the second is planned."""
    names = ["furnace_loads", "coupons_per_load", "indents", "cost", "detectable_difference"]
    frame = pd.DataFrame(rows, columns=names)
    effort, found = frame["cost"].to_numpy(float), frame["detectable_difference"].to_numpy(float)
    frame = frame.assign(
        coupons=frame["furnace_loads"] * frame["coupons_per_load"], hours=frame["cost"] / 10,
        df_error=9.0, half_width=found * 0.7, equivalence_power=np.clip(1 - found, 0, 1),
        unbeaten=unbeaten_plans(effort, found), own_plan=frame.index == 1,
    )  # fmt: skip
    made: dict[str, Any] = {
        "study": study(), "question": study().questions[0], "frame": frame, "basis": "money",
        "prices": Prices(currency="EUR", coupon=1.0), "noise": Noise(SDS), "power": 0.8,
        "margin": 0.5,
    }  # fmt: skip
    return CertaintyCosts(**{**made, **parts})


PLANS = [(4, 4, 3, 200.0, 0.8), (6, 4, 5, 400.0, 0.55), (8, 4, 5, 480.0, 0.42)]


def test_sentences_say_what_more_money_buys() -> None:
    nb = "\u00a0"
    assert table_of(PLANS).sentences() == (
        f"The plan, 6 furnace loads of 4 coupons, 5 indents each, takes about 400{nb}EUR and finds "
        f"a difference of 0.55{nb}HRC 8 times in 10.",
        f"80{nb}more{nb}EUR buys: a difference of 0.42 instead of 0.55{nb}HRC found 8 times in 10 "
        "(8 furnace loads of 4 coupons, 5 indents each, 8 hours of work more).",
        f"200{nb}EUR less leaves: a difference of 0.80 instead of 0.55{nb}HRC found 8 times in 10 "
        "(4 furnace loads of 4 coupons, 3 indents each).",
        f"The cheapest plan here that finds a difference of the margin, 0.50{nb}HRC, 8 times in "
        f"10: 8 furnace loads of 4 coupons, 5 indents each, about 480{nb}EUR.",
        "No unbeaten plan shows a difference to be inside the margin 8 times in 10, even if there "
        "is none.",
    )


def test_a_beaten_plan_is_told_what_beats_it() -> None:
    costs = table_of([(4, 4, 3, 200.0, 0.5), (6, 4, 5, 400.0, 0.55), (8, 4, 5, 480.0, 0.42)])
    assert (
        "For no more, 4 furnace loads of 4 coupons, 3 indents each: a difference of 0.50"
        in (costs.sentences()[1])
    )


def test_hours_stand_where_there_is_no_money() -> None:
    costs = table_of(PLANS, basis="hours")
    assert "takes about 40\u00a0hours of work" in costs.sentences()[0]
    assert costs.sentences()[1].startswith("8\u00a0more\u00a0hours of work buy:")


def test_a_ratio_is_told_in_per_cent() -> None:
    response = replace(study().responses[0], scale="log", unit="J", equivalence_margin=0.15)
    costs = table_of(PLANS, study=study(responses=(response,)))
    assert costs.size_text(math.log1p(0.15)) == "15\u00a0%"
    assert costs.size_text(math.log1p(0.042)) == "4.2\u00a0%"


@pytest.mark.parametrize("told", [{}, {"coupon": 0.0}, {"dry_ice_kg": 3.0}])
def test_without_a_price_that_counts_plans_are_compared_by_hours(told: dict[str, object]) -> None:
    costs = certainty_costs(study(costs=told), loads=[4, 8], coupons=[4], noise=SDS)
    assert costs.basis == "hours"
    assert not (costs.frame["cost"] > 0).any()
    assert costs.effort.is_monotonic_increasing
    assert any(note.startswith("No price that these plans need is told") for note in costs.notes)


def test_indents_without_a_price_are_not_varied_and_the_notes_say_so() -> None:
    costs = certainty_costs(study(costs={"coupon": 4.0}), loads=[4, 8], coupons=[4], noise=SDS)
    assert set(costs.frame["indents"]) == {5}
    assert any("The number of indents stays at 5" in note for note in costs.notes)
    assert costs.unpriced == ("furnace loads", "hardness indents")


def test_indents_with_a_price_run_from_one_to_ten() -> None:
    costs = certainty_costs(study(), loads=[8], coupons=[4], noise=SDS)
    assert sorted(costs.frame["indents"]) == list(range(1, 11))


def test_notes_carry_the_noise_with_its_source_and_the_closed_form() -> None:
    told = certainty_costs(study(), "heat", loads=[8], coupons=[4], noise=SDS)
    assert "furnace load 0.30\u00a0HRC" in told.notes[0]
    assert "as given" in told.notes[0]
    # check numbers of the project, shared/notes/adjusted_delay_evidence.md D: 3.77 and 5.81
    assert any("about 3.8 indents a coupon and 5.8 coupons a furnace load" in n for n in told.notes)
    assumed = certainty_costs(study(), "heat", loads=[8], coupons=[4])
    assert "assumed, common practice, no source" in assumed.notes[0]


def test_unit_costs_need_every_price_unless_own_work_has_one() -> None:
    assert unit_costs(Prices(coupon=4.0, furnace_load=60.0), "money") is None
    whole = unit_costs(Prices(coupon=4.0, furnace_load=60.0, indent=0.5), "money")
    assert whole is not None
    assert (whole.load, whole.coupon, whole.indent) == (60.0, 4.0, 0.5)
    worked = unit_costs(Prices(own_hour=30.0), "money")
    assert worked is not None
    assert (worked.load, worked.coupon, worked.indent) == pytest.approx((30.0, 3.0, 0.5))


def test_summary_table_and_repr_name_no_unknown_number() -> None:
    costs = certainty_costs(study(), loads=[4, 8], coupons=[4], indents=[5], noise=SDS)
    for text in (costs.summary(), costs._repr_html_(), repr(costs)):
        assert "nan" not in text
    assert repr(costs) == "<CertaintyCosts of small, coat: 2 plans, 2 unbeaten>"


def test_every_column_has_a_meaning() -> None:
    costs = certainty_costs(study(), loads=[8], coupons=[4], indents=[5], noise=SDS)
    assert [name for name in costs.to_frame() if not meaning(str(name))[0]] == []


# --- wrong use ---------------------------------------------------------------------------------


def test_noise_of_a_unit_that_is_not_given_is_assumed_and_said() -> None:
    costs = certainty_costs(study(), loads=[8], coupons=[4], noise={"coupon": 0.3})
    assert "furnace load" in costs.notes[0]
    assert "assumed" in costs.notes[0]


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"question": "nothing"}, "There is no question 'nothing'. There are coat, heat."),
        ({"noise": {"furnace_load": 0.3}}, "The noise of a coupon is not told"),
        ({"loads": [0]}, r"loads is \[0\]. Write whole numbers from 1"),
        ({"indents": []}, r"indents is \[\]"),
        ({"indent_correlation": 2.0}, "indent_correlation is 2"),
        ({"power": 1.2}, "power is 1.2"),
    ],
)
def test_wrong_use_gets_a_message(wrong: dict[str, Any], message: str) -> None:
    options = {"loads": [8], "coupons": [4], "noise": SDS, **wrong}
    with pytest.raises(QuenchbookError, match=message):
        certainty_costs(study(), **options)


def test_a_study_without_questions_says_what_is_missing() -> None:
    with pytest.raises(EstimabilityError, match=r"Add \[\[questions\]\] to study.toml"):
        certainty_costs(study(questions=()), noise=SDS)


def test_a_question_that_no_plan_answers_says_why() -> None:
    with pytest.raises(EstimabilityError, match="cannot be answered by any of these plans"):
        certainty_costs(study(layout=Layout(2, 4)), "heat", loads=[2], coupons=[4], noise=SDS)


def test_plans_that_cannot_run_or_judge_are_named() -> None:
    costs = certainty_costs(study(), "heat", loads=[1, 2, 8], coupons=[4], indents=[5], noise=SDS)
    assert set(costs.frame["furnace_loads"]) == {8}
    left_out = [note for note in costs.notes if note.startswith("Left out, loads × coupons")]
    assert [note.split(":")[0][-5:] for note in left_out] == ["1 × 4", "2 × 4"]


def test_a_published_study_is_not_planned(coated_bars: Study) -> None:
    with pytest.raises(PlanError, match="was published"):
        certainty_costs(coated_bars, noise={"furnace_load": 1.0, "coupon": 1.0})
