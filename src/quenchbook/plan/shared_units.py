"""Which coupons of a layout share a furnace load, a cold batch and a temper batch.

Only the units, before anything is chosen for them. Numbers here are groups, not yet an order.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from quenchbook.plan.coordinates import Codes
from quenchbook.plan.treatments import set_for
from quenchbook.study.definition import Study
from quenchbook.study.factors import Factor


def shared_units(
    study: Study, *, furnace_loads: int = 0, coupons_per_load: int = 0
) -> pd.DataFrame:
    """Units of each coupon of a layout.

    Parameters
    ----------
    study : Study
    furnace_loads, coupons_per_load : int
        Another number than in the layout of the study; 0: as in the layout.

    Returns
    -------
    DataFrame
        One row for each coupon: ``furnace_load`` and ``day``; ``cold_batch`` where a factor is set
        for it; ``temper_batch`` where there are any. All are counted from 1 over the whole plan.
    """
    layout = study.layout
    loads = furnace_loads or layout.furnace_loads
    size = coupons_per_load or layout.coupons_per_load
    per_day = layout.loads_per_day or loads
    load = np.repeat(np.arange(loads), size)
    frame = pd.DataFrame({"furnace_load": load + 1, "day": load // per_day + 1})
    if set_for(study, "cold_batch"):
        batches = cold_batches_per_load(study, size)
        place = np.tile(np.arange(size), loads)
        frame["cold_batch"] = load * batches + place * batches // size + 1
    if layout.coupons_per_temper_batch or set_for(study, "temper_batch"):
        frame["temper_batch"] = _temper_batches(study, frame, size)
    return frame


def cold_batches_per_load(study: Study, coupons: int) -> int:
    """Groups of a furnace load that go into the cold apart.

    The layout says how many. Where it does not: one for each level of the route if that divides
    the coupons of a load, else as many as leave equal batches of two coupons or more, else each
    coupon is its own.

    Parameters
    ----------
    study : Study
    coupons : int
        Coupons in a load.
    """
    if study.layout.cold_batches_per_load:
        return min(study.layout.cold_batches_per_load, coupons)
    outer = [factor for factor in set_for(study, "cold_batch") if not factor.nested_in]
    routes = len(outer[0].levels) if outer else 1
    if coupons % routes == 0:
        return routes
    divisors = [count for count in range(2, coupons // 2 + 1) if coupons % count == 0]
    return max(divisors, default=coupons)


def _temper_batches(study: Study, frame: pd.DataFrame, size: int) -> Codes:
    """Temper batches of one day each; every load and cold batch of the day meets many of them."""
    room = study.layout.coupons_per_temper_batch or len(frame)
    settings = max((_least_settings(f) for f in set_for(study, "temper_batch")), default=1)
    batches = np.zeros(len(frame), dtype=np.int64)
    first = 1
    for _, of_day in frame.groupby("day"):
        count = min(max(math.ceil(len(of_day) / room), settings), len(of_day))
        running = np.arange(len(of_day))
        # Each load starts one batch later where loads would else all meet the batches alike.
        shift = running // size if size % count == 0 else 0
        batches[of_day.index] = first + (running + shift) % count
        first += count
    return batches


def _least_settings(factor: Factor) -> int:
    """Different settings a factor needs at least: all named levels, one more than its degree."""
    degrees = {"linear": 1, "quadratic": 2}
    return min(degrees[factor.shape] + 1 if factor.shape in degrees else 99, len(factor.levels))
