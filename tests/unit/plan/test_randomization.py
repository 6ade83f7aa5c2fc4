from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest

import quenchbook as qb
from quenchbook.errors import PlanError
from quenchbook.plan.matrix import CouponMatrix, check_matrix
from quenchbook.study.definition import Study


def test_the_same_seed_gives_the_stored_plan(plane_irons, plane_irons_matrix) -> None:
    again = qb.coupon_matrix(plane_irons, seed=plane_irons_matrix.seed)
    assert again.plan_hash == plane_irons_matrix.plan_hash
    assert qb.coupon_matrix(plane_irons, seed=1).plan_hash != again.plan_hash


def test_every_load_holds_every_route_with_both_tempers(plane_irons_matrix) -> None:
    frame = plane_irons_matrix.frame
    counts = frame.groupby(["furnace_load", "cold_route", "temper_c"]).size()
    assert len(counts) == 12 * 4 * 2
    assert (counts == 1).all()


def test_delays_are_spread_evenly_over_loads_routes_and_temperatures(plane_irons_matrix) -> None:
    cold = plane_irons_matrix.frame.query("cold_route != 'none'")
    assert (cold.groupby("furnace_load")["delay_minutes"].nunique() == 3).all()
    cells = cold.groupby(["austenitize_c", "cold_route", "delay_minutes"]).size()
    assert len(cells) == 4 * 3 * 3
    assert (cells == 2).all()


def test_days_hold_each_temperature_once(plane_irons_matrix) -> None:
    loads = plane_irons_matrix.frame.drop_duplicates("furnace_load")
    assert (loads.groupby(["day", "austenitize_c"]).size() == 1).all()


def test_temper_batches_fit_the_oven_and_hold_one_temperature(plane_irons_matrix) -> None:
    batches = plane_irons_matrix.frame.groupby("temper_batch")
    assert (batches.size() <= 8).all()
    assert (batches["temper_c"].nunique() == 1).all()
    assert (batches["day"].nunique() == 1).all()


def test_impact_coupons_are_chosen_evenly(plane_irons_matrix) -> None:
    tested = plane_irons_matrix.frame.dropna(subset="impact_j_order")
    assert len(tested) == 48
    assert (tested.groupby(["furnace_load", "cold_route"]).size() == 1).all()
    assert sorted(tested["impact_j_order"]) == list(range(1, 49))


def test_a_changed_plan_is_refused_with_a_message(
    tmp_path, plane_irons, plane_irons_matrix
) -> None:
    qb.write_plan(plane_irons_matrix, tmp_path)
    path = tmp_path / "coupon_matrix.csv"
    lines = path.read_text().splitlines()
    cells = lines[1].split(",")
    cells[3] = "8"  # another place in the load
    path.write_text("\n".join([lines[0], ",".join(cells), *lines[2:]]) + "\n")
    with pytest.raises(PlanError, match=r"was changed after the plan was made"):
        qb.read_plan(tmp_path, plane_irons)


def test_another_plan_is_not_written_over_the_first(
    tmp_path, plane_irons, plane_irons_matrix
) -> None:
    qb.write_plan(plane_irons_matrix, tmp_path)
    with pytest.raises(PlanError, match=r"not overwritten"):
        qb.write_plan(qb.coupon_matrix(plane_irons, seed=5), tmp_path)


def broken(matrix: CouponMatrix, row: int, column: str, value: object) -> CouponMatrix:
    frame = matrix.frame.copy()
    frame.loc[row, column] = value
    return dataclasses.replace(matrix, frame=frame)


def test_a_load_with_two_temperatures_is_named(plane_irons_matrix) -> None:
    other = 970.0 if plane_irons_matrix.frame.loc[0, "austenitize_c"] != 970.0 else 940.0
    with pytest.raises(
        PlanError, match=r"furnace load 1: has .* and .*, but austenitize is set once"
    ):
        check_matrix(broken(plane_irons_matrix, 0, "austenitize_c", other))


def test_a_delay_without_a_cold_step_is_named(plane_irons_matrix) -> None:
    frame = plane_irons_matrix.frame
    row = int(frame.index[frame["cold_route"] == "none"][0])
    with pytest.raises(PlanError, match=r"delay 60.min has no meaning with no cold step"):
        check_matrix(broken(plane_irons_matrix, row, "delay_minutes", 60.0))


def test_a_coupon_that_stands_twice_is_named(plane_irons_matrix) -> None:
    code = plane_irons_matrix.frame.loc[1, "coupon"]
    with pytest.raises(PlanError, match=rf"coupon {code}: stands 2 times in the plan"):
        check_matrix(broken(plane_irons_matrix, 0, "coupon", code))


def test_an_unknown_level_is_named(plane_irons_matrix) -> None:
    with pytest.raises(
        PlanError, match=r"cold route is 'ice water'. Declared levels: no cold step"
    ):
        check_matrix(broken(plane_irons_matrix, 0, "cold_route", "ice_water"))


def test_too_few_loads_say_how_many_are_needed(plane_irons: Study) -> None:
    layout = dataclasses.replace(plane_irons.layout, furnace_loads=3)
    with pytest.raises(PlanError, match=r"need at least 4 furnace loads; the layout has 3"):
        qb.coupon_matrix(dataclasses.replace(plane_irons, layout=layout), seed=1)


def test_a_published_order_is_taken_over_as_it_is(coated_bars, coated_bars_matrix) -> None:
    frame = coated_bars_matrix.frame
    assert coated_bars_matrix.seed is None
    assert list(frame.drop_duplicates("furnace_load")["furnace_temp_c"]) == [
        360, 370, 380, 380, 370, 360,
    ]  # fmt: skip
    with pytest.raises(PlanError, match=r"published"):
        qb.coupon_matrix(coated_bars, seed=1)


def test_the_stored_csv_comes_back_equal(tmp_path, plane_irons, plane_irons_matrix) -> None:
    qb.write_plan(plane_irons_matrix, tmp_path)
    again = qb.read_plan(tmp_path, plane_irons)
    pd.testing.assert_frame_equal(again.frame, plane_irons_matrix.frame)


def test_loads_that_cannot_hold_every_route_get_routes_spread_evenly(plane_irons: Study) -> None:
    layout = dataclasses.replace(plane_irons.layout, coupons_per_load=6, bars=0)
    matrix = qb.coupon_matrix(dataclasses.replace(plane_irons, layout=layout), seed=3)
    per_load = matrix.frame.groupby("furnace_load")["cold_route"].value_counts()
    assert per_load.max() <= 2
    assert matrix.frame["cold_route"].value_counts().nunique() == 1
    assert np.isnan(matrix.frame.query("cold_route == 'none'")["delay_minutes"]).all()
