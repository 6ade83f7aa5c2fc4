"""Loads into random time order, batches numbered at random: the units of an arrangement."""

from __future__ import annotations

import pandas as pd

from quenchbook.plan.streams import Stream


def numbered_units(
    arrangement: pd.DataFrame, seed: int, *, after: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Draw the order of days and loads and the numbers of batches.

    Days of the same length change places, loads inside a day, cold batches inside a load, temper
    batches inside a day.

    Parameters
    ----------
    arrangement : DataFrame
        ``furnace_load``, ``day`` and, where used, ``cold_batch`` and ``temper_batch`` as groups.
    seed : int
    after : DataFrame, optional
        Coupon matrix whose days, loads and temper batches are counted on.

    Returns
    -------
    DataFrame
        The same rows, in furnace order.
    """
    frame = arrangement.copy()
    day, load, temper = (
        0 if after is None or name not in after else int(after[name].max())
        for name in ("day", "furnace_load", "temper_batch")
    )
    lengths = arrangement.groupby("day")["furnace_load"].nunique()
    order: dict[int, int] = {}
    stream = Stream(seed, "order of days")
    for length in lengths.unique():
        same = [int(name) for name in lengths.index[lengths == length]]
        order |= dict(zip(same, stream.shuffled(same), strict=True))
    frame["day"] = arrangement["day"].map(order).rank(method="dense").astype("int64") + day
    stream = Stream(seed, "furnace order")
    loads: dict[int, int] = {}
    for _, of_day in frame.groupby("day"):
        for own in stream.shuffled(sorted(of_day["furnace_load"].unique().tolist())):
            loads[own] = load + len(loads) + 1
    frame["furnace_load"] = frame["furnace_load"].map(loads).astype("int64")
    if "cold_batch" in frame:
        stream = Stream(seed, "cold batch numbers")
        names: dict[int, str] = {}
        for number, of_load in frame.groupby("furnace_load"):
            own = stream.shuffled(sorted(of_load["cold_batch"].unique().tolist()))
            names |= {batch: f"{number}-{place}" for place, batch in enumerate(own, start=1)}
        frame["cold_batch"] = frame["cold_batch"].map(names)
    if "temper_batch" in frame:
        stream = Stream(seed, "temper batch numbers")
        batches: dict[int, int] = {}
        for _, of_day in frame.groupby("day"):
            for batch in stream.shuffled(sorted(of_day["temper_batch"].unique().tolist())):
                batches[batch] = temper + len(batches) + 1
        frame["temper_batch"] = frame["temper_batch"].map(batches).astype("int64")
    return frame.sort_values("furnace_load", kind="stable", ignore_index=True)
