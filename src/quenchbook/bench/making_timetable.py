"""Timetable of a plan for one person and one furnace."""

from __future__ import annotations

from quenchbook.bench.earliest_start import placed_loads
from quenchbook.bench.earliest_temper import placed_tempers
from quenchbook.bench.timetable import Timetable
from quenchbook.bench.timetable_steps import finished_timetable
from quenchbook.bench.work_list import work_list
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.hours import WorkHours, hours_of


def bench_timetable(matrix: CouponMatrix, *, hours: WorkHours | None = None) -> Timetable:
    """Timetable of a plan for one person and one furnace.

    Loads stay in their randomized order; each starts as early as all its delays can be kept. Where
    they cannot, the start that misses least is taken, and every miss is named.

    Parameters
    ----------
    matrix : CouponMatrix
    hours : WorkHours, optional
        Working hours and times; those of the study file when left out.

    Returns
    -------
    Timetable
    """
    hours = hours_of(matrix.study) if hours is None else hours
    work = work_list(matrix, hours)
    placed = placed_tempers(work, placed_loads(work, hours), hours)
    return finished_timetable(matrix, work, placed, hours)
