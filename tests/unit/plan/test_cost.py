"""Cost lines against sums by hand: 12 loads, 96 coupons, 12 batches a route, 480 indents."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from quenchbook.plan.cost import PlanCost, plan_cost, plan_counts
from quenchbook.plan.matrix import CouponMatrix

DEMO = {
    "currency": "EUR", "coupon": 3.2, "furnace_load": 6.5, "liquid_nitrogen_litre": 4.0,
    "dry_ice_kg": 3.0,
}  # fmt: skip


def cost(matrix: CouponMatrix, **costs: object) -> PlanCost:
    return plan_cost(replace(matrix, study=replace(matrix.study, costs=costs)))


def line(own: PlanCost, item: str) -> dict[str, object]:
    ((_, row),) = own.to_frame().query("item == @item").iterrows()
    return row.to_dict()


def test_counts_are_those_of_the_matrix(plane_irons_matrix: CouponMatrix) -> None:
    counts = plan_counts(plane_irons_matrix)
    assert (counts.coupons, counts.furnace_loads, counts.bars) == (96, 12, 8)
    assert counts.cold_batches == {"freezer": 12, "dry_ice": 12, "liquid_nitrogen": 12}
    assert counts.readings == {"hardness_hrc": 480, "impact_j": 48}
    assert counts.temper_batches == plane_irons_matrix.frame["temper_batch"].nunique()


@pytest.mark.parametrize(
    ("item", "amount", "total"),
    [
        ("steel", 96, 96 * 3.2),
        ("furnace loads", 12, 12 * 6.5),
        ("liquid nitrogen", 12 * 5, 12 * 5 * 4.0),
        ("dry ice", 12 * 2, 12 * 2 * 3.0),
    ],
)
def test_lines_agree_with_sums_by_hand(
    plane_irons_matrix: CouponMatrix, item: str, amount: float, total: float
) -> None:
    own = line(cost(plane_irons_matrix, **DEMO), item)
    assert own["amount"] == amount
    assert own["total"] == pytest.approx(total)


def test_the_sum_leaves_out_what_has_no_price_and_says_so(plane_irons_matrix: CouponMatrix) -> None:
    own = cost(plane_irons_matrix, **DEMO)
    assert own.total == pytest.approx(96 * 3.2 + 12 * 6.5 + 60 * 4.0 + 24 * 3.0)
    assert own.unpriced == (
        "cold batches", "temper batches", "hardness indents", "impact energy tests",
    )  # fmt: skip
    assert own.sum_words() == (
        "About 697\u00a0EUR and 44 hours of work; not in it, no price told: cold batches, temper "
        "batches, hardness indents and impact energy tests."
    )
    assert math.isnan(float(str(line(own, "hardness indents")["total"])))


def test_hours_agree_with_sums_by_hand(plane_irons_matrix: CouponMatrix) -> None:
    temper = plan_counts(plane_irons_matrix).temper_batches
    own = cost(plane_irons_matrix)
    by_hand = 96 * 0.1 + 12 * 1.0 + 36 * 0.25 + temper * 0.25 + 480 / 60 + 48 * 3 / 60
    assert own.hours == pytest.approx(by_hand)
    assert own.furnace_hours == pytest.approx(12 * 2.0 + temper * 4.5)


def test_furnace_hours_and_own_work_are_priced_where_told(plane_irons_matrix: CouponMatrix) -> None:
    plain = cost(plane_irons_matrix, furnace_load=6.5)
    own = cost(plane_irons_matrix, furnace_load=6.5, furnace_hour=2.0, own_hour=10.0)
    assert line(own, "furnace loads")["price"] == pytest.approx(6.5 + 2.0 * 2.0)
    assert line(own, "temper batches")["price"] == pytest.approx(2.0 * 4.5)
    assert line(own, "own work")["total"] == pytest.approx(10.0 * plain.hours)
    assert own.hours == pytest.approx(plain.hours)


def test_steel_by_the_bar_counts_bars(plane_irons_matrix: CouponMatrix) -> None:
    own = cost(plane_irons_matrix, bar=30.0)
    assert line(own, "steel")["total"] == pytest.approx(8 * 30.0)
    assert line(own, "steel")["unit"] == "bar"


def test_bars_that_are_not_recorded_are_not_guessed(coated_bars_matrix: CouponMatrix) -> None:
    own = cost(coated_bars_matrix, bar=30.0)
    assert math.isnan(own.total)
    assert own.unpriced[0] == "steel (how many coupons a bar gives is not told)"


def test_without_any_price_there_are_hours_and_no_money(plane_irons_matrix: CouponMatrix) -> None:
    own = cost(plane_irons_matrix)
    assert math.isnan(own.total)
    assert own.sum_words() == "About 44 hours of work; no price told."


def test_what_was_assumed_is_named_and_what_was_told_is_not(
    plane_irons_matrix: CouponMatrix,
) -> None:
    own = cost(plane_irons_matrix, **DEMO, liquid_nitrogen_litres_a_batch=7)
    assert line(own, "liquid nitrogen")["amount"] == 84
    (note,) = own.notes()
    assert note.startswith("Amounts and times assumed, common practice, no source: 2\u00a0kg")
    assert "nitrogen" not in note
    assert "oven" not in note  # without the price of a furnace hour its hours do not matter


def test_work_that_is_not_known_is_not_in_the_hours(coated_bars_matrix: CouponMatrix) -> None:
    own = cost(coated_bars_matrix)
    assert own.notes()[-1] == "Not in the hours: resistance readings."
    assert "furnace heats" in set(own.to_frame()["item"])


def test_the_table_in_a_notebook_says_no_price_told(plane_irons_matrix: CouponMatrix) -> None:
    html = cost(plane_irons_matrix, **DEMO)._repr_html_()
    assert html.count("no price told<") == 4
    assert "nan" not in html
    assert repr(cost(plane_irons_matrix, **DEMO)).startswith("<PlanCost: About 697")
