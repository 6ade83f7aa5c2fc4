from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from quenchbook.bench.at_hand import NOT_A_RISK_ASSESSMENT, Consumables, consumables
from quenchbook.bench.cold_amounts import cold_batches
from quenchbook.bench.coupon_size import CouponSize, coupon_size
from quenchbook.bench.making_timetable import bench_timetable
from quenchbook.bench.need import Need
from quenchbook.bench.room_check import AirFigure
from quenchbook.columns import GLOSSARY
from quenchbook.plan.cost import plan_counts
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.room import Room

SIZE = {"coupon_length": "60 mm", "coupon_width": "25 mm"}  # 4 mm thick: told in the demonstration


def told(matrix: CouponMatrix, **changes: Any) -> Consumables:
    study = matrix.study
    for key in ("steel", "equipment", "held_constant", "costs"):
        if key in changes:
            changes[key] = {**getattr(study, key), **changes[key]}
    return consumables(replace(matrix, study=replace(study, **changes)))


def line(own: Consumables, item: str) -> Need:
    return next(need for need in own.lines if need.item == item)


def items(own: Consumables) -> list[str]:
    return [need.item for need in own.lines]


def test_the_demonstration_needs_what_it_tells_of(plane_irons_matrix: CouponMatrix) -> None:
    assert items(consumables(plane_irons_matrix)) == [
        "steel", "liquid nitrogen", "dry ice", "alcohol", "foil", "tempers in the oven",
    ]  # fmt: skip


def test_a_study_with_only_a_furnace_needs_only_steel(coated_bars_matrix: CouponMatrix) -> None:
    own = consumables(coated_bars_matrix)
    assert items(own) == ["steel"]
    assert not own.is_more_than_steel
    assert own.air == ()


def test_what_is_not_told_is_asked_for_and_has_no_amount(plane_irons_matrix: CouponMatrix) -> None:
    own = consumables(plane_irons_matrix)
    frame = own.to_frame().set_index("item")
    assert frame.loc[["steel", "foil"], ["low", "high"]].isna().all().all()
    assert line(own, "steel").amount_words() == "not told"
    assert "nan" not in own.summary().lower()
    assert "nan" not in own._repr_html_().lower()
    size, room = own.asked
    assert 'write coupon_length = "60 mm" and coupon_width = "10 mm" below [steel].' in size
    assert room.startswith("Room not told: write [room]")
    # the coolants are told without the steel, and how much to add
    nitrogen = line(own, "liquid nitrogen")
    assert "steel itself not counted" in nitrogen.note
    assert "Add 2 to 3 times 0.44 to 0.53\u00a0l for each kg of steel." in nitrogen.note


def test_steel_is_the_mass_of_all_coupons(plane_irons_matrix: CouponMatrix) -> None:
    own = told(plane_irons_matrix, steel=SIZE)
    mass = 0.06 * 0.025 * 0.004 * 7800
    assert own.size.kilograms == pytest.approx(mass)
    assert line(own, "steel").low == line(own, "steel").high == pytest.approx(96 * mass)


def test_cold_batches_are_those_the_cost_counts(plane_irons_matrix: CouponMatrix) -> None:
    counts = plan_counts(plane_irons_matrix).cold_batches
    batches = cold_batches(plane_irons_matrix)
    for route, number in counts.items():
        assert sum(batch.route == route for batch in batches) == number
    assert {batch.hours for batch in batches} == {1.0}
    # three furnace days; batches that wait a day go on into a fourth
    assert sorted({batch.day for batch in batches}) == [1, 2, 3, 4]


def test_amounts_are_ranges_whose_ends_are_added_up_by_hand(
    plane_irons_matrix: CouponMatrix,
) -> None:
    batches = [b for b in cold_batches(plane_irons_matrix) if b.route == "liquid_nitrogen"]
    count, days = len(batches), len({b.day for b in batches})
    own = line(consumables(plane_irons_matrix), "liquid nitrogen")
    # vessel 0.5 to 1.5 l, cover 1 to 3 l: once a day or for each batch; 0.1 to 0.5 l an hour
    assert own.low == pytest.approx(days * (0.5 + 1.0) + 0.1 * count)
    assert own.high == pytest.approx(count * (1.5 + 3.0 + 0.5))
    dry_ice = line(consumables(plane_irons_matrix), "dry ice")
    litre = 0.789 * 208.8 / 571
    assert dry_ice.low == pytest.approx(days * 1.5 * litre + 0.03 * count)
    assert dry_ice.high == pytest.approx(count * (3 * 2 * litre + 0.15))


def test_a_batch_that_waits_a_day_goes_into_the_cold_on_the_next_one(
    plane_irons_matrix: CouponMatrix,
) -> None:
    timetable = bench_timetable(plane_irons_matrix)
    words = {"dry_ice": "dry ice", "liquid_nitrogen": "liquid nitrogen"}
    routed = plane_irons_matrix.frame.drop_duplicates("cold_batch").set_index("cold_batch")
    for route, item in words.items():
        own = set(routed.index[routed["cold_route"] == route].astype(str))
        days = {s.start // 1440 for s in timetable.steps if s.what == "cold in" and s.which in own}
        assert f" on {len(days)} days: " in line(consumables(plane_irons_matrix), item).note


def test_steel_adds_to_the_coolants(plane_irons_matrix: CouponMatrix) -> None:
    without, with_steel = consumables(plane_irons_matrix), told(plane_irons_matrix, steel=SIZE)
    for item in ("liquid nitrogen", "dry ice"):
        assert line(with_steel, item).low > line(without, item).low
        assert line(with_steel, item).high > line(without, item).high


def test_without_a_bath_dry_ice_lies_around_the_coupons(plane_irons_matrix: CouponMatrix) -> None:
    own = told(plane_irons_matrix, equipment={"dry_ice": "crushed dry ice, nothing else"})
    assert "alcohol" not in items(own)
    assert "around the coupons" in line(own, "dry ice").note


def test_time_in_the_cold_that_is_not_told_is_said_to_be_assumed(
    plane_irons_matrix: CouponMatrix,
) -> None:
    held = {k: v for k, v in plane_irons_matrix.study.held_constant.items() if k != "cold_time"}
    study = replace(plane_irons_matrix.study, held_constant=held)
    own = consumables(replace(plane_irons_matrix, study=study))
    assert "(time in the cold not told)" in line(own, "liquid nitrogen").note


def test_time_in_the_cold_of_the_plan_goes_before_what_is_held(
    plane_irons_matrix: CouponMatrix,
) -> None:
    frame = plane_irons_matrix.frame.assign(cold_hold_minutes=1440.0)
    batches = cold_batches(replace(plane_irons_matrix, frame=frame))
    assert {batch.hours for batch in batches} == {24.0}


def test_a_plan_without_cold_route_has_the_only_route_it_tells_of(
    plane_irons_matrix: CouponMatrix,
) -> None:
    study = plane_irons_matrix.study
    kept = tuple(f for f in study.factors if f.name not in ("cold_route", "delay"))
    only = {k: v for k, v in study.equipment.items() if k not in ("freezer", "dry_ice")}
    frame = plane_irons_matrix.frame.drop(columns=["cold_route", "delay_minutes"])
    one = replace(
        plane_irons_matrix, frame=frame, study=replace(study, factors=kept, equipment=only)
    )
    assert {batch.route for batch in cold_batches(one)} == {"liquid_nitrogen"}
    both = replace(one, study=replace(one.study, equipment=study.equipment))
    own = consumables(both)
    assert {batch.route for batch in cold_batches(both)} == {""}
    assert np.isnan(line(own, "liquid nitrogen").low)
    assert "does not tell which batches" in line(own, "liquid nitrogen").note


def test_oil_takes_the_heat_of_the_largest_load(plane_irons_matrix: CouponMatrix) -> None:
    own = line(
        told(plane_irons_matrix, steel=SIZE, equipment={"quench": "oil, 50 degC"}), "quench oil"
    )
    load = 8 * 0.06 * 0.025 * 0.004 * 7800
    # 550 kJ/kg into 0.9 kg/l with 2.2 kJ/(kg K) and 40 K, to 700 into 0.85, 1.9 and 20
    assert own.low == pytest.approx(load * 550 / (0.9 * 2.2 * 40))
    assert own.high == pytest.approx(load * 700 / (0.85 * 1.9 * 20))
    assert "enough to cover a coupon" in own.note


def test_a_quench_that_is_not_told_is_asked_for(plane_irons_matrix: CouponMatrix) -> None:
    own = line(told(plane_irons_matrix, steel=SIZE, equipment={"quench": ""}), "quench oil")
    assert np.isnan(own.low)
    assert "Quench not told" in own.note


@pytest.mark.parametrize(
    ("gas", "cubic_metres"),
    [("argon, 5 l/min", 5 * 60 * 24 / 1000), ("argon, 0.3 m3/h", 0.3 * 24), ("argon", None)],
)
def test_gas_is_flow_times_hours_of_the_furnace(
    plane_irons_matrix: CouponMatrix, gas: str, cubic_metres: float | None
) -> None:
    own = line(told(plane_irons_matrix, held_constant={"gas": gas}), "gas")
    if cubic_metres is None:
        assert own.amount_words() == "not told"
        assert "flow not told" in own.note.lower()
    else:
        assert own.low == pytest.approx(cubic_metres)  # 12 loads of 2 h, as the cost assumes
        assert own.high == pytest.approx(1.5 * cubic_metres)


def test_bare_coupons_are_asked_about(plane_irons_matrix: CouponMatrix) -> None:
    own = told(plane_irons_matrix, equipment={"furnace": "small chamber furnace"})
    assert "not told whether coupons are wrapped" in line(own, "foil or gas").note.lower()


def test_cycles_are_counted_as_tempers(plane_irons_matrix: CouponMatrix) -> None:
    batches = plan_counts(plane_irons_matrix).temper_batches
    own = told(plane_irons_matrix, held_constant={"temper_cycles": "2"})
    assert line(own, "tempers in the oven").low == 2 * batches


def test_a_cost_outside_the_range_is_named(plane_irons_matrix: CouponMatrix) -> None:
    own = told(plane_irons_matrix, costs={"liquid_nitrogen_litres_a_batch": 50})
    assert "more than this" in line(own, "liquid nitrogen").note
    own = told(plane_irons_matrix, costs={"liquid_nitrogen_litres_a_batch": 3})
    assert "The cost" not in line(own, "liquid nitrogen").note


def test_air_of_the_room_is_arithmetic_and_never_called_safe(
    plane_irons_matrix: CouponMatrix,
) -> None:
    own = told(plane_irons_matrix, steel=SIZE, room=Room(30.0, 0.4))
    words = own.summary()
    assert NOT_A_RISK_ASSESSMENT in words
    assert NOT_A_RISK_ASSESSMENT in own._repr_html_()
    assert "safe" not in words.lower()
    assert "An oxygen alarm does not protect." in words
    assert own.asked == ()
    assert [figure.unit for figure in own.air] == [
        "%", "%", "%", "m³/h", "ppm", "ppm", "kg", "ppm", "m³/h",
    ]  # fmt: skip
    assert all(figure.low <= figure.high for figure in own.air)
    assert own.air[6].low == pytest.approx(0.253, abs=5e-4)


def test_a_limit_over_a_quarter_of_an_hour_is_named_where_it_is_passed(
    plane_irons_matrix: CouponMatrix,
) -> None:
    own = told(plane_irons_matrix, room=Room(60.0, 2.0), steel=SIZE)
    batch = next(f for f in own.air if "all dry ice of a batch" in f.what)
    assert 15_000 < batch.high < 30_000
    assert batch.note.startswith("Above 15\u00a0000\u00a0ppm: limit over 15 minutes")


@pytest.mark.parametrize(
    ("coolant", "item"),
    [
        ("all dry ice of the plan", "dry ice"),
        ("all liquid nitrogen of the plan", "liquid nitrogen"),
    ],
)
def test_the_whole_delivery_in_the_room_is_computed_too(
    plane_irons_matrix: CouponMatrix, coolant: str, item: str
) -> None:
    own = told(plane_irons_matrix, room=Room(60.0), steel=SIZE)
    [figure] = [f for f in own.air if coolant in f.what]
    most = line(own, item).high
    if item == "dry ice":
        assert figure.high == pytest.approx(420 + 1e6 * most * 0.5437 / 60)
    else:
        assert figure.low == pytest.approx(20.95 * max(0, 1 - most * 0.692 / 60))


def test_ends_that_print_alike_are_printed_once() -> None:
    assert AirFigure("", 0.0, 0.01, "%", "").value_words() == "0.0\u00a0%"
    assert AirFigure("", 1e6, 1e6, "ppm", "").value_words() == "1\u00a0000\u00a0000\u00a0ppm"


def test_a_large_airy_room_is_still_only_compared(plane_irons_matrix: CouponMatrix) -> None:
    own = told(plane_irons_matrix, room=Room(50_000.0, 20.0))
    assert [figure.note.split(":")[0] for figure in own.air if figure.unit in ("%", "ppm")] == [
        *["Not below 19.5\u00a0%"] * 3, *["Not above 5\u00a0000\u00a0ppm"] * 3,
    ]  # fmt: skip


def test_a_room_without_air_changes_is_closed_and_they_are_asked_for(
    plane_irons_matrix: CouponMatrix,
) -> None:
    own = told(plane_irons_matrix, steel=SIZE, room=Room(30.0))
    assert [own.asked[0][:18], len(own.asked)] == ["Air changes of the", 1]
    assert not any("air changes an hour" in figure.what for figure in own.air)


def test_a_smaller_room_is_never_better(plane_irons_matrix: CouponMatrix) -> None:
    small, large = (told(plane_irons_matrix, room=Room(v, 0.4)).air for v in (15.0, 60.0))
    assert small[0].low < large[0].low
    assert small[4].unit == "ppm"
    assert small[4].high > large[4].high


def test_columns_are_in_the_glossary(plane_irons_matrix: CouponMatrix) -> None:
    own = told(plane_irons_matrix, room=Room(30.0, 0.4))
    assert set(own.to_frame()) | set(own.air_frame()) <= set(GLOSSARY)
    assert len(own.air_frame()) == len(own.air)


@pytest.mark.parametrize("length", ["60", "sixty", "-3 mm", "0 mm", 60])
def test_a_side_that_cannot_be_read_is_not_told(
    plane_irons_matrix: CouponMatrix, length: object
) -> None:
    study = plane_irons_matrix.study
    size = coupon_size(replace(study, steel={**SIZE, "thickness": "4 mm", "coupon_length": length}))
    assert size == CouponSize(None, 25.0, 4.0)
    assert size.kilograms is size.volume_to_area_mm is None


def test_sides_are_read_in_inches(plane_irons_matrix: CouponMatrix) -> None:
    steel = {"length": "2 in", "width": "1 in", "thickness": "4 mm"}
    size = coupon_size(replace(plane_irons_matrix.study, steel=steel))
    assert size.sides == pytest.approx((50.8, 25.4, 4.0))
