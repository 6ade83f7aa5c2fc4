"""Laws of every best plan: what a furnace, a bath and an oven can run, and what was asked for."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import quenchbook as qb
from quenchbook.plan import best_plan
from quenchbook.plan.best_plan import best_arrangement, continued_arrangement
from quenchbook.plan.matrix import check_matrix
from quenchbook.plan.unit_numbers import numbered_units
from quenchbook.study.definition import ExtraCoupons, ForbiddenTreatment, PlanWish, Study

few = settings(
    max_examples=6, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
COLD = {"freezer", "dry_ice", "liquid_nitrogen"}


def wished(study: Study, plan: PlanWish, **layout: int) -> Study:
    """Plane irons with few combinations, so that small layouts can estimate them."""
    first, *others = study.responses
    first = dataclasses.replace(first, combinations=("austenitize:cold_route",))
    own = {"bars": 0, "coupons_per_bar": 0, "loads_per_day": 0, **layout}
    return dataclasses.replace(
        study,
        responses=(first, *(dataclasses.replace(r, coupons=0) for r in others)),
        layout=dataclasses.replace(study.layout, **own),
        plan=plan,
    )


layouts = st.fixed_dictionaries(
    {
        "furnace_loads": st.integers(6, 9),
        "coupons_per_load": st.sampled_from([6, 8, 9]),
        "loads_per_day": st.sampled_from([0, 3, 4]),
        "coupons_per_temper_batch": st.sampled_from([0, 8, 12]),
        "cold_batches_per_load": st.sampled_from([0, 3, 4]),
    }
)


def assert_runs(study: Study, frame: pd.DataFrame) -> None:
    assert (frame.groupby("furnace_load")["austenitize_c"].nunique() == 1).all()
    cold = frame.assign(delay=frame["delay_minutes"].fillna(-1)).groupby("cold_batch")
    assert (cold[["furnace_load", "cold_route", "delay"]].nunique() == 1).all().all()
    assert (frame.groupby("temper_batch")[["temper_c", "day"]].nunique() == 1).all().all()
    in_cold = frame["cold_route"].isin(COLD)
    assert (frame["delay_minutes"].notna() == in_cold).all()
    if room := study.layout.coupons_per_temper_batch:
        assert frame.groupby("temper_batch").size().max() <= room


@few
@given(layout=layouts, criterion=st.sampled_from(["D", "I"]), seed=st.integers(0, 10**6))
def test_a_best_plan_can_be_run(
    plane_irons: Study, layout: dict, criterion: str, seed: int
) -> None:
    study = wished(plane_irons, PlanWish("best", criterion), **layout)
    with pytest.MonkeyPatch.context() as patch:  # the laws hold for every start
        patch.setattr(best_plan, "STARTS", 1)
        matrix = qb.coupon_matrix(study, seed=seed)
    frame = matrix.frame
    check_matrix(matrix)
    assert_runs(study, frame)
    assert frame["coupon"].is_unique
    assert frame.groupby("furnace_load").size().eq(study.layout.coupons_per_load).all()
    assert sorted(frame["furnace_load"].unique()) == list(range(1, layout["furnace_loads"] + 1))
    assert (frame.groupby("furnace_load")["day"].nunique() == 1).all()
    assert frame.sort_values("furnace_load")["day"].is_monotonic_increasing
    if layout["loads_per_day"]:
        assert frame.groupby("day")["furnace_load"].nunique().max() <= layout["loads_per_day"]
    assert frame["austenitize_c"].nunique() == 4  # a quadratic and a level to spare
    assert not matrix.notes[0].startswith("Every furnace load")


@few
@given(
    seed=st.integers(0, 10**6),
    forbidden=st.sampled_from(
        [
            {"austenitize": 1030.0, "cold_route": "none"},
            {"cold_route": "dry_ice", "delay": 1440.0},
            {"austenitize": 940.0, "temper": 150.0},
        ]
    ),
)
def test_a_forbidden_treatment_is_never_there(
    plane_irons: Study, seed: int, forbidden: dict
) -> None:
    # ovens of one load each, so that a furnace level can shut out a temper
    study = wished(
        plane_irons, PlanWish("best", spare_level=False), furnace_loads=8, loads_per_day=2,
        coupons_per_temper_batch=8,
    )  # fmt: skip
    study = dataclasses.replace(study, forbidden=(ForbiddenTreatment(forbidden),))
    frame = best_arrangement(study, seed=seed, starts=1)
    hit = np.ones(len(frame), dtype=bool)
    for name, level in forbidden.items():
        hit &= (frame[study.factor(name).column] == level).to_numpy()
    assert not hit.any()
    assert_runs(study, frame)


@few
@given(seed=st.integers(0, 10**6), coupons=st.integers(1, 5))
def test_extra_coupons_are_there_in_loads_of_their_setting(
    plane_irons: Study, seed: int, coupons: int
) -> None:
    levels = {"austenitize": 970.0, "cold_route": "none", "temper": 175.0}
    study = wished(plane_irons, PlanWish("best"), furnace_loads=6)
    without = best_arrangement(study, seed=seed, starts=1)
    study = dataclasses.replace(
        study,
        extra_coupons=(
            ExtraCoupons("check", "check coupons", coupons, levels),
            ExtraCoupons("quenched", "as quenched", 2, {"austenitize": 970.0}),  # a reference
        ),
    )
    frame = best_arrangement(study, seed=seed, starts=1)
    assert len(frame) == len(without) + coupons
    numbered = numbered_units(frame, seed)
    assert_runs(study, numbered)
    assert set(frame.tail(coupons)["austenitize_c"]) == {970.0}
    assert set(frame.tail(coupons)["temper_c"]) == {175.0}


@few
@given(seed=st.integers(0, 10**6), loads=st.integers(1, 3), days=st.sampled_from([0, 2]))
def test_a_continued_plan_leaves_the_old_rows_and_goes_on_after_them(
    plane_irons: Study, seed: int, loads: int, days: int
) -> None:
    study = wished(plane_irons, PlanWish("best"), furnace_loads=6, loads_per_day=days)
    old = numbered_units(best_arrangement(study, seed=seed, starts=1), seed)
    before = old.copy(deep=True)
    new = continued_arrangement(study, old, loads, seed=seed + 1, starts=2)
    pd.testing.assert_frame_equal(old, before)
    assert len(new) == loads * study.layout.coupons_per_load
    assert sorted(new["furnace_load"].unique()) == list(range(7, 7 + loads))
    assert new["day"].min() == old["day"].max() + 1
    assert new["temper_batch"].min() == old["temper_batch"].max() + 1
    assert not set(new["cold_batch"]) & set(old["cold_batch"])
    assert_runs(study, pd.concat([old, new], ignore_index=True))


@few
@given(seed=st.integers(0, 10**6))
def test_a_level_to_spare_is_kept_on_a_fine_grid(plane_irons: Study, seed: int) -> None:
    fine = tuple(float(level) for level in range(940, 1040, 10))
    factors = tuple(
        dataclasses.replace(f, levels=fine) if f.name == "austenitize" else f
        for f in plane_irons.factors
    )
    study = wished(plane_irons, PlanWish("best", "D"), furnace_loads=6)
    study = dataclasses.replace(study, factors=factors)
    used = best_arrangement(study, seed=seed, starts=1)["austenitize_c"].unique()
    places = {int(np.argmin(np.abs(np.linspace(940, 1030, 4) - level))) for level in used}
    assert len(places) == 4


@few
@given(seed=st.integers(0, 10**6))
def test_a_delay_of_each_coupon_never_stands_without_cold(plane_irons: Study, seed: int) -> None:
    factors = tuple(
        dataclasses.replace(f, set_for="coupon") if f.name == "delay" else f
        for f in plane_irons.factors
    )
    study = dataclasses.replace(wished(plane_irons, PlanWish("best")), factors=factors)
    frame = best_arrangement(study, seed=seed, starts=1)
    assert (frame["delay_minutes"].notna() == frame["cold_route"].isin(COLD)).all()
    assert frame["delay_minutes"].nunique() == 3
