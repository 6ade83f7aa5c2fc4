"""Faults planted into the timetable of the demonstration: the check names each of them."""

from __future__ import annotations

import datetime
import itertools
from collections.abc import Callable
from dataclasses import replace

import pytest

from quenchbook.bench import making_timetable
from quenchbook.bench.making_timetable import bench_timetable
from quenchbook.bench.pace import Pace
from quenchbook.bench.timetable import DAY, Breach, Step, Timetable
from quenchbook.bench.timetable_check import timetable_breaches
from quenchbook.bench.timetable_steps import Use, heat_start
from quenchbook.errors import StudyError
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.hours import WorkHours
from quenchbook.study.reading_hours import hours_of

Change = Callable[[Step], Step]


@pytest.fixture(scope="module")
def demo(plane_irons_matrix: CouponMatrix) -> Timetable:
    return bench_timetable(plane_irons_matrix)


@pytest.fixture(scope="module")
def planted(
    demo: Timetable, plane_irons_matrix: CouponMatrix
) -> Callable[[Change], dict[tuple[str, str, str], Breach]]:
    """What the check finds after a change of each step."""

    def found(change: Change) -> dict[tuple[str, str, str], Breach]:
        own = replace(demo, steps=tuple(map(change, demo.steps)))
        assert own.steps != demo.steps
        breaches = timetable_breaches(plane_irons_matrix, own)
        return {(b.kind, b.which, b.what): b for b in breaches}

    return found


Planted = Callable[[Change], dict[tuple[str, str, str], Breach]]


def test_coupons_left_in_the_cold_after_their_time_are_named(planted: Planted) -> None:
    def change(s: Step) -> Step:
        late = s.which == "1-1" and s.what == "cold out"
        return replace(s, start=s.start + 300, end=s.end + 300) if late else s

    found = planted(change)
    # the hold of the demonstration may be 1.3 times as long as planned
    assert found["cold", "1-1", "cold"].minutes >= 200
    assert "longer than it may" in found["cold", "1-1", "cold"].words


def test_a_cold_step_of_another_route_is_named_and_its_own_bath_counted(
    planted: Planted, demo: Timetable, plane_irons_matrix: CouponMatrix
) -> None:
    other = {"freezer": "dry_ice", "dry_ice": "liquid_nitrogen", "liquid_nitrogen": "freezer"}

    def change(s: Step) -> Step:
        return replace(s, level=other[s.level]) if s.which == "1-1" and s.what == "cold" else s

    found = planted(change)
    assert "says 'dry_ice', the plan says freezer" in found["plan", "1-1", "cold"].words
    renamed = replace(demo, steps=tuple(map(change, demo.steps)))
    none = replace(demo.hours, bath_capacity={"freezer": 1})
    full = timetable_breaches(plane_irons_matrix, renamed, hours=none)
    assert ("bath", "1-1") in {(b.kind, b.which) for b in full}


def test_a_temper_taken_out_before_its_end_is_named(planted: Planted) -> None:
    def change(s: Step) -> Step:
        early = s.which == "1" and s.what == "temper out"
        return replace(s, start=s.start - 60, end=s.end - 60) if early else s

    assert planted(change)["temper", "1", "temper out"].minutes == 60


def test_a_temper_that_begins_before_it_is_put_in_is_named(planted: Planted) -> None:
    def change(s: Step) -> Step:
        early = s.which == "1" and s.what == "temper"
        return replace(s, start=s.start - 60, end=s.end - 60) if early else s

    assert planted(change)["temper", "1", "temper"].minutes == 60


def test_a_temper_that_is_far_too_long_is_named(planted: Planted) -> None:
    def change(s: Step) -> Step:
        if s.unit != "temper_batch" or s.which != "1":
            return s
        shift = {"temper in": 0, "temper": 0, "temper out": 1000}[s.what]
        return replace(s, start=s.start + shift, end=s.end + (0 if s.what == "temper in" else 1000))

    assert planted(change)["temper", "1", "temper"].minutes == 1000


@pytest.mark.parametrize(
    ("unit", "which", "words"),
    [("furnace_load", "3", "700\u00a0°C"), ("temper_batch", "2", "300\u00a0°C")],
)
def test_a_step_that_prints_another_temperature_is_named(
    planted: Planted, unit: str, which: str, words: str
) -> None:
    def change(s: Step) -> Step:
        return replace(s, level=words) if (s.unit, s.which) == (unit, which) else s

    what = "soak" if unit == "furnace_load" else "temper"
    assert f"says '{words}', the plan says" in planted(change)["plan", which, what].words


@pytest.mark.parametrize("unit", ["furnace_load", "temper_batch"])
def test_a_step_without_a_temperature_is_named(planted: Planted, unit: str) -> None:
    def change(s: Step) -> Step:
        return replace(s, level="hot") if (s.unit, s.which) == (unit, "1") else s

    found = planted(change)
    assert any(kind == "plan" and which == "1" for kind, which, _ in found)


def test_two_temper_batches_that_changed_their_numbers_are_named(planted: Planted) -> None:
    other = {"1": "2", "2": "1"}

    def change(s: Step) -> Step:
        return replace(s, which=other.get(s.which, s.which)) if s.unit == "temper_batch" else s

    found = planted(change)
    assert {("plan", "1", "temper in"), ("plan", "2", "temper in")} <= set(found)


def test_a_load_in_the_oven_is_named(planted: Planted) -> None:
    def change(s: Step) -> Step:
        return replace(s, lane="oven") if s.unit == "furnace_load" and s.which == "2" else s

    words = planted(change)["plan", "2", "load"].words
    assert "happens in the oven, expected the furnace" in words


@pytest.mark.parametrize("code", ["ZZZZ", "of load 5"])
def test_a_foreign_coupon_in_a_quench_is_named(
    planted: Planted, demo: Timetable, code: str
) -> None:
    other = next(s for s in demo.steps if s.what == "quench" and s.which == "5").codes[0]
    foreign = code if code == "ZZZZ" else other

    def change(s: Step) -> Step:
        own = s.what == "quench" and s.which == "2"
        return replace(s, codes=(*s.codes, foreign)) if own else s

    words = planted(change)["plan", "2", "quench"].words
    assert f"coupon {foreign} is not of this batch or load" in words


def test_a_cold_furnace_that_nobody_switches_on_is_named(
    demo: Timetable, plane_irons_matrix: CouponMatrix
) -> None:
    gone = replace(demo, steps=tuple(s for s in demo.steps if s.what != "switch on"))
    found = timetable_breaches(plane_irons_matrix, gone)
    assert {(b.kind, b.which) for b in found} >= {("missing", "1"), ("missing", "5")}
    assert "nobody switches the furnace on" in found[0].words


def test_hands_at_work_through_a_night_are_named(planted: Planted) -> None:
    # 19:59 to 08:01: both ends lie inside working hours, 02:00 lies 6 h from either
    def change(s: Step) -> Step:
        own = s.what == "quench" and s.which == "4"
        return replace(s, start=1199, end=DAY + 481) if own else s

    assert planted(change)["hours", "4", "quench"].minutes == 360


def test_the_pace_measures_a_step_through_a_night_and_through_a_weekend() -> None:
    assert Pace(WorkHours()).outside(1199, DAY + 481) == 360
    friday = datetime.date(2026, 10, 9)
    pace = Pace(WorkHours(first_day=friday, rest_weekdays=("Sat", "Sun")))
    # Friday 20:00 to Monday 08:00 are 60 h; their midst is 30 h from either
    assert pace.outside(1199, 3 * DAY + 481) == 30 * 60
    assert pace.outside(600, 1300) == 100


def test_a_step_that_ends_before_it_begins_is_named(planted: Planted) -> None:
    def change(s: Step) -> Step:
        own = s.what == "come to heat" and s.which == "3"
        return replace(s, end=s.start - 5) if own else s

    assert planted(change)["plan", "3", "come to heat"].minutes == 5


# --- hours that broke the check ------------------------------------------------------------------


def test_long_holidays_on_the_one_weekday_with_work_are_measured(
    plane_irons_matrix: CouponMatrix,
) -> None:
    sundays = tuple(datetime.date(2026, 10, 11) + datetime.timedelta(7 * n) for n in range(5))
    rest = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat")
    hours = replace(
        hours_of(plane_irons_matrix.study), first_day=datetime.date(2026, 10, 4),
        rest_weekdays=rest, rest_dates=sundays,
    )  # fmt: skip
    own = bench_timetable(plane_irons_matrix, hours=hours)
    moved = tuple(
        replace(s, start=s.start + 21 * DAY, end=s.end + 21 * DAY)
        if s.what == "quench" and s.which == "1"
        else s
        for s in own.steps
    )
    found = timetable_breaches(plane_irons_matrix, replace(own, steps=moved))
    late = next(b for b in found if (b.kind, b.which, b.what) == ("hours", "1", "quench"))
    assert 20 * DAY < late.minutes < 22 * DAY  # Sundays with work are 21 days off on either side


def test_a_first_day_at_the_end_of_the_calendar_is_refused_in_words(
    plane_irons_matrix: CouponMatrix,
) -> None:
    last = replace(
        hours_of(plane_irons_matrix.study),
        first_day=datetime.date(9999, 12, 30),
        rest_weekdays=("Sat", "Sun"),
    )
    with pytest.raises(StudyError, match="has no date in the calendar"):
        bench_timetable(plane_irons_matrix, hours=last)


def test_a_number_that_is_none_is_named(planted: Planted) -> None:
    def change(s: Step) -> Step:
        return replace(s, which="three") if s.unit == "furnace_load" and s.which == "3" else s

    found = planted(change)
    assert ("missing", "3", "") in found
    assert ("plan", "three", "load") in found


# --- one furnace, across midnight ----------------------------------------------------------------


def test_a_furnace_that_cannot_cool_and_heat_anew_before_the_next_load_stays_on() -> None:
    pace = Pace(WorkHours(heating_per_hour=60))
    first, next_day = Use(1400, 1425, 940), 1 * DAY + 11
    # 940 degC take 920 min from cold; the gap across midnight is 26 min
    assert heat_start(first, Use(next_day, next_day + 25, 940), pace) == (1425, False)
    later = 2 * DAY
    assert heat_start(first, Use(later, later + 25, 940), pace) == (later - 920, True)


@pytest.mark.parametrize("temper_in", ["oven", "furnace"])
def test_a_furnace_never_heats_for_two_loads_at_once(
    plane_irons_matrix: CouponMatrix, temper_in: str
) -> None:
    study = plane_irons_matrix.study  # loads without blocks follow each other across midnight
    loads = replace(study, layout=replace(study.layout, loads_per_day=0))
    evening = WorkHours(heating_per_hour=300, opens=1200, closes=1440, temper_in=temper_in)
    matrix = replace(plane_irons_matrix, study=loads)
    own = bench_timetable(matrix, hours=evening)
    assert not {b.kind for b in own.breaches} & {"furnace", "missing", "plan", "hands"}
    furnace = sorted(
        (s.start, s.end) for s in own.steps if s.lane == "furnace" and s.what != "switch on"
    )
    assert all(before[1] <= after[0] for before, after in itertools.pairwise(furnace))


def test_what_only_the_check_finds_is_printed_in_the_timetable(
    plane_irons_matrix: CouponMatrix, monkeypatch: pytest.MonkeyPatch
) -> None:
    fault = Breach("furnace", "furnace_load", "2", "load", 7, "Furnace load 2 is not alone.")
    monkeypatch.setattr(
        making_timetable, "timetable_breaches", lambda _, own: (*own.breaches, fault)
    )
    hours = replace(hours_of(plane_irons_matrix.study), transfer=9.0)
    own = bench_timetable(plane_irons_matrix, hours=hours, search=False)
    keys = [(b.kind, b.unit, b.which, b.what) for b in own.breaches]
    assert "Not met: Furnace load 2 is not alone. This cannot be worked" in own.summary()
    assert len(keys) == len(set(keys)) > 1
