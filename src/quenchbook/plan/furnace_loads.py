"""Furnace loads: which setting each one has, and on which day it runs."""

from __future__ import annotations

from collections.abc import Sequence

from quenchbook.errors import PlanError
from quenchbook.plan.allowed_levels import AllowedLevels
from quenchbook.plan.shares import repeats_of, shares
from quenchbook.plan.spread import spread_evenly
from quenchbook.plan.streams import Stream
from quenchbook.plan.treatments import set_for
from quenchbook.study.definition import Study
from quenchbook.study.factors import Level


def furnace_loads(
    study: Study, seed: int, notes: list[str], settings: Sequence[dict[str, Level]] = ()
) -> list[dict[str, Level | int]]:
    """Levels and day of each furnace load, in furnace order.

    Parameters
    ----------
    study : Study
    seed : int
    notes : list of str
        Gets a sentence where a setting runs in a single load, and on days.
    settings : sequence of dict, optional
        Column to level, one for each combination; all allowed ones when left out.

    Raises
    ------
    PlanError
        If the loads cannot hold the combinations.
    """
    factors, layout = set_for(study, "furnace_load"), study.layout
    combos = settings or AllowedLevels(study).each_setting(factors)
    if layout.furnace_loads < len(combos):
        raise PlanError(
            f"{len(combos)} combinations of {' and '.join(f.title for f in factors)} need at least "
            f"{len(combos)} furnace loads; the layout has {layout.furnace_loads}. A furnace "
            "load has "
            "one temperature: add loads (two for each combination make a test possible) or "
            "drop levels."
        )
    if 1 < layout.furnace_loads < 2 * len(combos) and len(combos) > 1:
        notes.append(
            "At least one furnace setting runs in a single load: what that load did cannot be told "
            "from the setting itself."
        )
    order_of_ties = Stream(seed, "loads beyond even repeats").shuffled(range(len(combos)))
    weights = [repeats_of(factors, combo) for combo in combos]
    counts = shares(layout.furnace_loads, weights, order_of_ties)
    pool = [number for number, count in enumerate(counts) for _ in range(count)]
    per_day = layout.loads_per_day or layout.furnace_loads
    days = [number // per_day + 1 for number in range(layout.furnace_loads)]
    chosen = spread_evenly(pool, {"day": days}, Stream(seed, "levels of days"))
    order = Stream(seed, "furnace order")
    for start in range(0, layout.furnace_loads, per_day):
        chosen[start : start + per_day] = order.shuffled(chosen[start : start + per_day])
    if layout.loads_per_day:
        notes.append(
            f"{per_day} furnace loads a day; levels are spread evenly over days, in random order."
        )
    return [
        {
            "furnace_load": number + 1,
            "day": days[number],
            **combos[chosen[number]],
        }
        for number in range(layout.furnace_loads)
    ]
