"""Timetable of the demonstration, breaches it names, and faults that its checker names."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import replace

import pytest

from quenchbook.bench.making_timetable import bench_timetable
from quenchbook.bench.pace import Pace
from quenchbook.bench.timetable import DAY, HANDS, Step, Timetable
from quenchbook.bench.timetable_check import timetable_breaches
from quenchbook.bench.timetable_list import ListLine, timetable_list
from quenchbook.columns import meaning
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.hours import WorkHours
from quenchbook.study.reading_hours import hours_of


@pytest.fixture(scope="module")
def demo(plane_irons_matrix: CouponMatrix) -> Timetable:
    return bench_timetable(plane_irons_matrix)


def test_the_demonstration_is_planned_without_a_breach(
    demo: Timetable, plane_irons_matrix: CouponMatrix
) -> None:
    assert demo.breaches == ()
    assert timetable_breaches(plane_irons_matrix, demo) == ()


def test_loads_run_in_the_order_and_on_the_days_of_the_plan(
    demo: Timetable, plane_irons_matrix: CouponMatrix
) -> None:
    loads = [step for step in demo.steps if step.what == "load"]
    assert [int(step.which) for step in loads] == list(range(1, 13))
    days = plane_irons_matrix.frame.groupby("furnace_load")["day"].first()
    assert [step.start // DAY + 1 for step in loads] == days.tolist()


def test_the_furnace_takes_as_long_as_its_speed_says() -> None:
    pace = Pace(WorkHours(heating_per_hour=600, cooling_per_hour=300, recovery=10))
    assert pace.ramp(None, 1020) == 100  # 1000 degC from a room of 20 degC
    assert pace.ramp(1030, 940) == 18
    assert pace.ramp(940, 1030) == 10  # 9 min of heating, but the door was open
    assert Pace(WorkHours(between_loads=45)).ramp(1030, 940) == 45


# --- wishes that cannot be met -----------------------------------------------------------------


def with_hours(matrix: CouponMatrix, **told: object) -> Timetable:
    return bench_timetable(matrix, hours=replace(hours_of(matrix.study), **told))  # type: ignore[arg-type]


def test_a_bath_that_is_too_small_for_a_group_is_named(plane_irons_matrix: CouponMatrix) -> None:
    own = with_hours(plane_irons_matrix, bath_capacity={"dry_ice": 1})
    small = [b for b in own.breaches if b.kind == "bath"]
    assert {b.which for b in small} >= {"1-2", "2-4"}
    assert "has 2 coupons, dry ice holds 1" in small[0].words


def test_groups_without_delay_that_one_person_cannot_move_in_time_are_named(
    plane_irons_matrix: CouponMatrix,
) -> None:
    own = with_hours(plane_irons_matrix, transfer=9.0)  # each zero delay may be missed by 5 min
    late = {b.which: b.minutes for b in own.breaches if b.kind == "delay"}
    assert late["1-1"] == 4
    assert "goes into the cold 9\u00a0min too late, 4\u00a0min more than" in own.summary()


def test_short_working_hours_are_named_in_minutes(plane_irons_matrix: CouponMatrix) -> None:
    own = with_hours(plane_irons_matrix, closes=660)  # 08:00 to 11:00
    assert any(b.kind == "hours" and b.minutes > 0 for b in own.breaches)
    assert "outside working hours" in own.summary()


def test_tempers_in_the_same_furnace_wait_for_it(plane_irons_matrix: CouponMatrix) -> None:
    own = with_hours(plane_irons_matrix, temper_in="furnace")
    assert timetable_breaches(plane_irons_matrix, own) == ()
    assert {step.lane for step in own.steps if step.what == "temper"} == {"furnace"}


# --- faults planted for the checker --------------------------------------------------------------


def moved(own: Timetable, chosen: Callable[[Step], bool], minutes: int) -> Timetable:
    steps = [
        replace(s, start=s.start + minutes, end=s.end + minutes) if chosen(s) else s
        for s in own.steps
    ]
    return replace(own, steps=tuple(steps))


def is_load(number: str, *what: str) -> Callable[[Step], bool]:
    return lambda s: s.unit == "furnace_load" and s.which == number and (not what or s.what in what)


def is_cold(batch: str) -> Callable[[Step], bool]:
    return lambda s: s.which == batch and s.what in ("cold in", "cold", "cold out")


def named(matrix: CouponMatrix, own: Timetable) -> dict[tuple[str, str, str], int]:
    return {(b.kind, b.which, b.what): b.minutes for b in timetable_breaches(matrix, own)}


def test_a_late_group_without_delay_is_named(
    demo: Timetable, plane_irons_matrix: CouponMatrix
) -> None:
    # 1-1 goes in 2 min after the quench; 10 min later is 12 min, 7 more than the 5 allowed
    found = named(plane_irons_matrix, moved(demo, is_cold("1-1"), 10))
    assert found["delay", "1-1", "cold in"] == 7


def test_overlapping_loads_are_named(demo: Timetable, plane_irons_matrix: CouponMatrix) -> None:
    first, second = (
        next(s for s in demo.steps if s.what == what and s.which == which)
        for what, which in (("quench", "1"), ("load", "2"))
    )
    back = second.start - first.end + 10
    found = named(plane_irons_matrix, moved(demo, is_load("2"), -back))
    assert found["furnace", "2", "load"] == 10


def test_too_little_time_between_two_settings_is_named(
    demo: Timetable, plane_irons_matrix: CouponMatrix
) -> None:
    found = named(plane_irons_matrix, moved(demo, is_load("2"), -3))
    assert found["furnace", "2", "load"] == 3  # the list starts each load as early as can be


def test_a_bath_over_capacity_is_named(demo: Timetable, plane_irons_matrix: CouponMatrix) -> None:
    small = replace(demo.hours, bath_capacity={"liquid_nitrogen": 2})
    found = timetable_breaches(plane_irons_matrix, demo, hours=small)
    one, two = (
        next(s for s in demo.steps if s.what == "cold" and s.which == b) for b in ("1-4", "2-2")
    )
    out = next(s for s in demo.steps if s.what == "cold out" and s.which == "1-4")
    together = out.end - two.start
    assert one.start < two.start < out.end
    assert ("bath", "2-2", together) in {(b.kind, b.which, b.minutes) for b in found}


def test_a_quench_after_hours_is_named(demo: Timetable, plane_irons_matrix: CouponMatrix) -> None:
    quench = next(s for s in demo.steps if s.what == "quench" and s.which == "4")
    late = 1200 - quench.start  # begins at 20:00, ends 4 min later
    found = named(plane_irons_matrix, moved(demo, is_load("4"), late))
    assert found["hours", "4", "quench"] == quench.minutes


def test_hands_in_two_places_are_named(demo: Timetable, plane_irons_matrix: CouponMatrix) -> None:
    found = named(plane_irons_matrix, moved(demo, is_cold("1-1"), -3))
    assert found["hands", "1-1", "cold in"] == 2
    assert found["delay", "1-1", "cold in"] == 3  # and it is not quenched yet


def test_a_temper_before_its_coupons_are_ready_is_named(
    demo: Timetable, plane_irons_matrix: CouponMatrix
) -> None:
    first = next(s for s in demo.steps if s.what == "temper in" and s.which == "1")
    own = moved(demo, lambda s: s.unit == "temper_batch" and s.which == "1", -300)
    assert named(plane_irons_matrix, own)["temper", "1", "temper in"] >= 300 - first.minutes * 10


def test_a_soak_that_is_too_short_is_named(
    demo: Timetable, plane_irons_matrix: CouponMatrix
) -> None:
    steps = tuple(
        replace(s, start=s.start + 6) if is_load("5", "soak")(s) else s for s in demo.steps
    )
    assert named(plane_irons_matrix, replace(demo, steps=steps))["soak", "5", "soak"] == 6


def test_loads_in_another_order_are_named(
    demo: Timetable, plane_irons_matrix: CouponMatrix
) -> None:
    found = named(plane_irons_matrix, moved(demo, is_load("5"), 2 * DAY))
    assert ("order", "6", "load") in found
    assert found["day", "6", "load"] == 2 * DAY


def test_a_step_that_is_left_out_is_named(
    demo: Timetable, plane_irons_matrix: CouponMatrix
) -> None:
    for gone in (is_load("3", "quench"), is_cold("3-1"), lambda s: s.unit == "temper_batch"):
        own = replace(demo, steps=tuple(s for s in demo.steps if not gone(s)))
        assert any(b.kind == "missing" for b in timetable_breaches(plane_irons_matrix, own))


# --- tables and words ----------------------------------------------------------------------------


def test_every_column_has_a_meaning(demo: Timetable) -> None:
    names = [*demo.to_frame().columns, *demo.breach_frame().columns]
    assert [name for name in names if not meaning(name)[0]] == []


def test_the_list_names_every_coupon_at_every_step(demo: Timetable) -> None:
    dated = replace(demo, hours=replace(demo.hours, first_day=datetime.date(2026, 10, 5)))
    days = list(timetable_list(dated))
    assert days[0].title == "Day 1, Mon 2026-10-05"
    line = ListLine("10:12", "10:14", "Put cold batch 1-1 into the cold: freezer", "R9HH YFXJ")
    assert line in days[0].lines
    hands = [step for step in demo.steps if step.what in HANDS]
    assert sum(len(day.lines) for day in days) == len(hands)
    assert dated.when(DAY + 600) == "Tue 2026-10-06, 10:00"


def test_the_result_says_itself_in_a_line_and_as_a_page(demo: Timetable) -> None:
    assert repr(demo).endswith("0 not met>")
    assert "Every delay, bath and working hour is kept." in demo.summary()
    assert "<table" in demo._repr_html_()
