"""Whether a timetable can be worked: checked from the plan, coupon by coupon.

Shares no code with what makes timetables; only the classes of steps and breaches are the same.
"""

from __future__ import annotations

import itertools

from quenchbook.bench.check_cold import ColdDesk
from quenchbook.bench.check_furnace import FurnaceDesk
from quenchbook.bench.check_hands import HandsDesk
from quenchbook.bench.check_plan import PlanDesk
from quenchbook.bench.check_temper import TemperDesk
from quenchbook.bench.timetable import Breach, Timetable
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.hours import WorkHours


def timetable_breaches(
    matrix: CouponMatrix, timetable: Timetable, *, hours: WorkHours | None = None
) -> tuple[Breach, ...]:
    """Everything in a timetable that a furnace, a bath, an oven or a person cannot do.

    Parameters
    ----------
    matrix : CouponMatrix
        The plan the timetable is for.
    timetable : Timetable
        Only its steps are looked at.
    hours : WorkHours, optional
        Those of the timetable when left out.

    Returns
    -------
    tuple of Breach
        One for each step and kind, with the most minutes found.
    """
    hours = timetable.hours if hours is None else hours
    told = (matrix, hours, timetable.steps)
    furnace, cold = FurnaceDesk(*told), ColdDesk(*told)
    found: dict[tuple[str, str, str, str], Breach] = {}
    for own in itertools.chain(
        furnace.loads(), furnace.furnace(), cold.colds(), cold.baths(),
        TemperDesk(*told).tempers(), HandsDesk(*told).hands(), furnace.days(),
        PlanDesk(*told).steps_of_the_plan(),
    ):  # fmt: skip
        key = (own.kind, own.unit, own.which, own.what)
        if key not in found or found[key].minutes < own.minutes:
            found[key] = own
    return tuple(found.values())
