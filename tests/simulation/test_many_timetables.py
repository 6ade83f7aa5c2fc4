"""Laws of timetables over many studies, slow furnaces and evening hours (slow lane)."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.property.test_any_plan import plan, studies
from tests.property.test_any_timetable import check_listed, work_hours

from quenchbook.study.definition import Study
from quenchbook.study.hours import WorkHours

pytestmark = pytest.mark.simulation

many = settings(
    max_examples=60, deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)  # fmt: skip


@many
@given(studies(), st.integers(0, 2**31), work_hours(), st.integers(1, 3))
def test_any_hours_give_a_timetable_that_names_all_the_check_finds(
    study: Study, seed: int, hours: WorkHours, cycles: int
) -> None:
    check_listed(plan(replace(study, held_constant={"temper_cycles": str(cycles)}), seed), hours)


@many
@given(
    studies(), st.integers(0, 2**31), work_hours(),
    st.sampled_from([40.0, 60.0, 120.0, 300.0]),
    st.sampled_from([(480, 1200), (1200, 1440), (0, 240), (1080, 1440), (0, 1440)]),
)  # fmt: skip
def test_slow_furnaces_and_evening_hours_never_put_two_things_into_one_furnace(
    study: Study, seed: int, hours: WorkHours, heating: float, open_hours: tuple[int, int]
) -> None:
    opens, closes = open_hours
    slow = replace(hours, heating_per_hour=heating, opens=opens, closes=closes)
    check_listed(plan(study, seed), slow)
