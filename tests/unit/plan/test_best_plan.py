"""From a study to its best plan, in words and numbers."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest

import quenchbook as qb
from quenchbook.errors import PlanError
from quenchbook.plan.best_plan import best_arrangement, continued_arrangement
from quenchbook.plan.choice_space import choice_space, spare_codes
from quenchbook.plan.plan_model import noise_ratios, plan_terms, planned_precision
from quenchbook.plan.quality import plan_quality
from quenchbook.plan.shared_units import cold_batches_per_load, shared_units
from quenchbook.plan.unit_numbers import numbered_units
from quenchbook.study.definition import ForbiddenTreatment, PlanWish, Study


def best(study: Study, *, combinations: tuple[str, ...] = (), **layout: int) -> Study:
    first, *others = study.responses
    first = dataclasses.replace(first, combinations=combinations)
    return dataclasses.replace(
        study,
        responses=(first, *others),
        layout=dataclasses.replace(study.layout, **layout),
        plan=PlanWish("best"),
    )


def test_the_notes_say_how_the_plan_was_chosen(plane_irons: Study) -> None:
    matrix = qb.coupon_matrix(best(plane_irons), seed=1)
    words = " ".join(matrix.notes)
    assert "for hardness, criterion I (average variance of a prediction" in words
    assert "best of 20 random starts" in words
    assert "furnace load 1, cold batch 0.5, temper batch 0.5" in words
    assert "12 furnace loads, 48 cold batches, 12 temper batches, 96 coupons" in words
    assert "Levels of austenitize in use" in words


def test_the_same_seed_gives_the_same_best_plan(plane_irons: Study) -> None:
    study = best(plane_irons, furnace_loads=6)
    first, again, other = (qb.coupon_matrix(study, seed=seed) for seed in (1, 1, 2))
    assert first.plan_hash == again.plan_hash != other.plan_hash


def test_a_best_plan_is_written_and_read_like_any_other(
    plane_irons: Study, tmp_path_factory: pytest.TempPathFactory
) -> None:
    matrix = qb.coupon_matrix(best(plane_irons, furnace_loads=6), seed=1)
    folder = tmp_path_factory.mktemp("best")
    qb.write_plan(matrix, folder)
    assert qb.read_plan(folder, matrix.study).plan_hash == matrix.plan_hash


@pytest.mark.parametrize(
    ("layout", "words"),
    [
        ({"furnace_loads": 2, "loads_per_day": 0}, "austenitize cannot be estimated with 2 furnace loads.*at least 3"),
        ({"furnace_loads": 3, "loads_per_day": 0}, "needs 4 different levels, so at least 4 furnace loads; the layout has 3.*spare_level = false"),
        ({"furnace_loads": 4, "loads_per_day": 2}, None),
    ],
)  # fmt: skip
def test_a_budget_that_is_too_small_is_told_with_what_would_do(
    plane_irons: Study, layout: dict[str, int], words: str | None
) -> None:
    study = best(plane_irons, **layout)
    if words is None:
        assert len(best_arrangement(study, seed=1, starts=2)) == 32
        return
    with pytest.raises(PlanError, match=words):
        best_arrangement(study, seed=1)


def test_combinations_beyond_the_cold_batches_are_told(plane_irons: Study) -> None:
    study = dataclasses.replace(
        best(plane_irons, furnace_loads=4, loads_per_day=0, cold_batches_per_load=4),
        responses=plane_irons.responses,
    )
    with pytest.raises(
        PlanError,
        match=r"cold route by delay cannot be estimated with 16 cold batches.*at least 22",
    ):
        best_arrangement(study, seed=1)


def test_treatments_that_a_term_needs_must_be_allowed(plane_irons: Study) -> None:
    study = dataclasses.replace(
        best(plane_irons, combinations=("cold_route:delay",)),
        forbidden=(ForbiddenTreatment({"cold_route": "freezer", "delay": 1440.0}),),
    )
    with pytest.raises(PlanError, match="cold route by delay cannot be estimated from the levels"):
        best_arrangement(study, seed=1)


def test_a_forbidden_pair_across_crossed_batches_is_told_with_what_may_help(
    plane_irons: Study,
) -> None:
    study = dataclasses.replace(
        best(plane_irons, loads_per_day=0, coupons_per_temper_batch=24),
        forbidden=(ForbiddenTreatment({"austenitize": 940.0, "temper": 150.0}),),
    )
    with pytest.raises(PlanError, match="smaller temper batches, or fewer loads a day, may help"):
        best_arrangement(study, seed=1, starts=1)


def test_too_many_combinations_name_the_factor_to_coarsen(plane_irons: Study) -> None:
    factors = tuple(
        dataclasses.replace(f, levels=tuple(np.arange(940, 1030, 0.005)))
        if f.name == "austenitize"
        else f
        for f in plane_irons.factors
    )
    with pytest.raises(PlanError, match="austenitize has 18000 levels: declare fewer"):
        choice_space(dataclasses.replace(plane_irons, factors=factors))


def test_route_and_delay_are_chosen_together_and_never_a_delay_without_cold(
    plane_irons: Study,
) -> None:
    space = choice_space(plane_irons)
    assert [part.unit for part in space.parts] == ["furnace_load", "cold_batch", "temper_batch"]
    assert len(space.parts[1].choices) == 1 + 3 * 3
    assert len(space.frame) == 4 * 10 * 2
    none = space.frame["cold_route"] == "none"
    assert (space.frame["delay_minutes"].isna() == none).all()


@pytest.mark.parametrize(
    ("wish", "coupons", "batches"), [(0, 8, 4), (0, 6, 3), (0, 9, 3), (0, 7, 7), (2, 8, 2)]
)
def test_cold_batches_follow_the_routes_or_the_coupons(
    plane_irons: Study, wish: int, coupons: int, batches: int
) -> None:
    assert cold_batches_per_load(best(plane_irons, cold_batches_per_load=wish), coupons) == batches


def test_temper_batches_are_of_one_day_and_cross_the_loads(plane_irons: Study) -> None:
    units = shared_units(plane_irons)
    assert (units.groupby("temper_batch")["day"].nunique() == 1).all()
    assert (units.groupby("temper_batch").size() == 8).all()
    assert (units.groupby("furnace_load")["temper_batch"].nunique() == 4).all()
    assert (units.groupby("cold_batch")["temper_batch"].nunique() == 2).all()


def test_neighbours_on_a_fine_grid_are_no_level_to_spare(plane_irons: Study) -> None:
    factor = dataclasses.replace(
        plane_irons.factor("austenitize"), levels=tuple(float(x) for x in range(940, 1040, 10))
    )
    codes = spare_codes(factor, [940.0, 950.0, 970.0, 1020.0, 1030.0, ""], 4)
    assert codes.tolist() == [0, -1, 1, -1, 3, -1]
    few = plane_irons.factor("austenitize")
    assert spare_codes(few, [940.0, 1030.0], 4).tolist() == [0, 3]


def test_new_loads_for_a_target_tell_more_of_it_than_those_for_the_average(
    plane_irons: Study,
) -> None:
    study = best(plane_irons, furnace_loads=6, loads_per_day=0)
    old = numbered_units(best_arrangement(study, seed=1, starts=2), 1)
    terms = plan_terms(study)
    low, high = (old.head(1).assign(austenitize_c=level) for level in (980.0, 990.0))
    slope = terms.matrix(high) - terms.matrix(low)
    variance = {}
    for name, targets in (("slope", (slope, np.ones(1))), ("average", None)):
        new = continued_arrangement(study, old, 2, seed=3, targets=targets, starts=4)
        frame = pd.concat([old, new], ignore_index=True)
        X, W = terms.matrix(frame), planned_precision(frame, noise_ratios(study))
        variance[name] = (slope @ np.linalg.solve(X.T @ W @ X, slope.T)).item()
    assert variance["slope"] <= variance["average"] * (1 + 1e-9)


def test_reference_coupons_of_the_old_plan_count_only_in_the_numbers(plane_irons: Study) -> None:
    study = best(plane_irons, furnace_loads=6, loads_per_day=0)
    old = numbered_units(best_arrangement(study, seed=1, starts=1), 1)
    reference = old.head(1).assign(temper_c=np.nan, temper_batch=99)
    new = continued_arrangement(study, old, 2, seed=3, starts=1)
    more = pd.concat([old, reference], ignore_index=True)
    again = continued_arrangement(study, more, 2, seed=3, starts=1)
    assert again["temper_batch"].min() == 100
    same = [name for name in new if name != "temper_batch"]
    pd.testing.assert_frame_equal(again[same], new[same])


def test_the_quality_of_a_crossed_plan_is_told_against_better_ones(coated_bars: Study) -> None:
    study = dataclasses.replace(coated_bars, published=False)
    quality = plan_quality(qb.coupon_matrix(study, seed=1))
    table = quality.efficiencies
    assert table["comparison"].tolist() == ["best for D", "best for I"]
    # every load holds every coating: nothing is better
    np.testing.assert_allclose(table[["d_efficiency", "i_efficiency"]], 1.0, atol=1e-9)
    assert quality.aliasing.empty
    assert quality.average_variance == pytest.approx(1.0)  # 12 means, each variance (1 + 1)/2
    words = "and one made for predictions (I): all effects together are told with 100"
    assert words in quality.summary()


def test_what_is_not_in_the_model_and_mixes_with_it_is_told(coated_bars: Study) -> None:
    first = dataclasses.replace(coated_bars.responses[0], combinations=())
    study = dataclasses.replace(coated_bars, published=False, responses=(first,))
    matrix = qb.coupon_matrix(study, seed=1)
    crossed = plan_quality(matrix).aliasing
    assert crossed["alias_share"].max() == pytest.approx(0.0, abs=1e-9)
    half = dataclasses.replace(matrix, frame=matrix.frame.iloc[: len(matrix.frame) - 5])
    lost = plan_quality(half).aliasing
    assert set(lost["combination"]) == {"furnace_temp:coating"}
    assert lost["alias_share"].iloc[0] > 0.01


def test_terms_that_a_plan_cannot_estimate_are_left_out_and_named(coated_bars: Study) -> None:
    matrix = qb.coupon_matrix(dataclasses.replace(coated_bars, published=False), seed=1)
    frame = matrix.frame
    gone = (frame["furnace_temp_c"] == 360) & (frame["coating"] == "C2")
    quality = plan_quality(dataclasses.replace(matrix, frame=frame[~gone].reset_index(drop=True)))
    assert quality.not_estimable == ("furnace_temp:coating",)
    assert quality.terms.names == ("furnace_temp", "coating")
    assert "Cannot be estimated, and left out here: " in quality.summary()


def test_a_response_of_fewer_coupons_is_judged_on_those(plane_irons: Study) -> None:
    study = best(plane_irons)
    quality = plan_quality(qb.coupon_matrix(study, seed=1), "impact_j")
    assert len(quality.frame) == 48
    assert quality.terms.names == ("austenitize", "cold_route", "temper", "delay")
    table = quality.efficiencies.set_index("comparison")["d_efficiency"]
    assert table.between(0.9, 1.1).all()


def test_a_wrong_guess_of_the_noise_costs_little(plane_irons: Study) -> None:
    study = best(plane_irons, furnace_loads=6)
    quality = plan_quality(qb.coupon_matrix(study, seed=1))
    table = quality.sensitivity
    assert table[["load_ratio", "batch_ratio"]].to_numpy().tolist() == [[0.1, 0.1], [1, 0.5], [5, 0.5], [10, 5]]  # fmt: skip
    assert table["efficiency"].between(0.97, 1.03).all()
