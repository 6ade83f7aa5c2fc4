"""Laws of a timetable that hold for any study and any working hours."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import replace

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.property.test_any_plan import plan, studies

from quenchbook.bench.constraint_search import searched_loads
from quenchbook.bench.earliest_start import placed_loads
from quenchbook.bench.earliest_temper import placed_tempers
from quenchbook.bench.making_timetable import bench_timetable, better_timetable
from quenchbook.bench.timetable import DAY, Breach, Timetable
from quenchbook.bench.timetable_check import timetable_breaches
from quenchbook.bench.timetable_steps import finished_timetable
from quenchbook.bench.work_list import work_list
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import Study
from quenchbook.study.hours import WorkHours
from quenchbook.study.rest_days import WEEKDAYS

FIRST, LAST = datetime.date(2026, 10, 5), datetime.date(2026, 10, 20)


@st.composite
def work_hours(draw: st.DrawFn) -> WorkHours:
    opens = draw(st.integers(0, 900))
    weekdays = draw(st.sets(st.sampled_from(WEEKDAYS), max_size=6))
    return WorkHours(
        first_day=draw(st.sampled_from([None, datetime.date(2026, 10, 5)])),
        rest_weekdays=tuple(sorted(weekdays)),
        rest_dates=tuple(draw(st.sets(st.dates(FIRST, LAST), max_size=3))),
        opens=opens,
        closes=min(1440, opens + draw(st.integers(60, 900))),
        heating_per_hour=draw(st.sampled_from([300.0, 600.0, 3000.0])),
        between_loads=draw(st.sampled_from([None, 0.0, 45.0])),
        quench_coupon=draw(st.sampled_from([0.5, 2.0])),
        transfer=float(draw(st.integers(0, 6))),
        take_out=float(draw(st.integers(1, 4))),
        cold_time=float(draw(st.sampled_from([10, 60, 720, 2000]))),
        cold_at_most=draw(st.sampled_from([1.0, 1.3])),
        temper_time=float(draw(st.sampled_from([60, 120, 900]))),
        delay_tolerance=float(draw(st.integers(0, 20))),
        bath_capacity={"freezer": draw(st.integers(1, 12)), "dry_ice": draw(st.integers(1, 12))},
        temper_in=draw(st.sampled_from(["oven", "furnace"])),
    )


def worst(breaches: Iterable[Breach]) -> dict[tuple[str, ...], int]:
    """Most minutes of each kind of breach of a step; the cycles of a temper count together."""
    most: dict[tuple[str, ...], int] = {}
    for own in breaches:
        key = (own.kind, own.unit, own.which, own.what)
        most[key] = max(own.minutes, most.get(key, 0))
    return most


any_timetable = settings(
    max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much]
)  # fmt: skip


@any_timetable
@given(studies(), st.integers(0, 2**31), work_hours(), st.integers(1, 3))
def test_the_checker_finds_only_breaches_that_the_timetable_names(
    study: Study, seed: int, hours: WorkHours, cycles: int
) -> None:
    check_listed(plan(replace(study, held_constant={"temper_cycles": str(cycles)}), seed), hours)


def check_listed(matrix: CouponMatrix, hours: WorkHours) -> None:
    """The timetable itself names all that the check finds, before the two are merged."""
    work = work_list(matrix, hours)
    placed = placed_tempers(work, placed_loads(work, hours), hours)
    own = finished_timetable(matrix, work, placed, hours)
    assert worst(own.breaches) == worst(timetable_breaches(matrix, own))
    assert bench_timetable(matrix, hours=hours, search=False).breaches == own.breaches
    assert all(b.minutes > 0 and b.words and b.remedy for b in own.breaches)
    starts = [int(step.which) for step in own.steps if step.what == "load"]
    into = [step for step in own.steps if step.what == "cold in"]
    assert not any(
        hours.rests(minute // DAY + 1)
        for s in into
        for minute in (s.start, max(s.start, s.end - 1))
    )
    assert starts == sorted(set(matrix.in_loads["furnace_load"]))


@settings(any_timetable, max_examples=6)
@given(studies(), st.integers(0, 2**31), work_hours())
def test_a_searched_timetable_can_be_worked_and_is_taken_only_where_it_is_better(
    study: Study, seed: int, hours: WorkHours
) -> None:
    matrix = plan(study, seed)
    work = work_list(matrix, hours)
    listed = bench_timetable(matrix, hours=hours)
    placed = searched_loads(work, hours, placed_loads(work, hours), effort=0.2)
    if placed is None:
        return
    assert list(placed.loads) == sorted(placed.loads, key=lambda load: placed.loads[load])
    searched = finished_timetable(matrix, work, placed_tempers(work, placed, hours), hours)
    found = worst(timetable_breaches(matrix, searched))
    assert found == worst(searched.breaches)
    assert {key[0] for key in found} <= {"delay", "hours", "cold", "day", "bath"}
    taken = better_timetable(matrix, listed, searched)
    assert missed(taken) <= missed(listed)
    assert sum(b.kind == "bath" for b in taken.breaches) <= sum(
        b.kind == "bath" for b in listed.breaches
    )


def missed(own: Timetable) -> int:
    """Minutes of everything that a timetable names, baths apart."""
    return sum(minutes for key, minutes in worst(own.breaches).items() if key[0] != "bath")
