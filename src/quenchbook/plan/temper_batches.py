"""Temper batches: which coupons are tempered together."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from quenchbook.plan.spread import codes_of, spread_evenly
from quenchbook.plan.streams import Stream
from quenchbook.plan.treatments import set_for
from quenchbook.study.definition import Study


def temper_batches(study: Study, frame: pd.DataFrame, seed: int, notes: list[str]) -> list[int]:
    """Temper batch of each coupon: one setting and one day a batch, other factors spread.

    Parameters
    ----------
    study : Study
    frame : DataFrame
        Coupons that are tempered: ``furnace_load``, ``day``, ``cold_batch`` and the factor columns.
    seed : int
    notes : list of str
        Gets a sentence on the batches.
    """
    factors = [factor.column for factor in set_for(study, "temper_batch")]
    room = study.layout.coupons_per_temper_batch or len(frame)
    batches = np.zeros(len(frame), dtype=np.int64)
    number = 0
    for day, of_day in frame.groupby("day"):
        groups = [of_day.index]
        if factors:
            groups = [own.index for _, own in of_day.groupby(factors, sort=True, dropna=False)]
        sizes = [math.ceil(len(group) / room) for group in groups]
        names = Stream(seed, f"temper batch numbers of day {day}").shuffled(
            range(1, sum(sizes) + 1)
        )
        for group, count in zip(groups, sizes, strict=True):
            own, names = names[:count], names[count:]
            members = frame.loc[group]
            others = ["furnace_load", *(f.column for f in study.factors if f.column not in factors)]
            covariates = {name: codes_of(members[name].tolist()) for name in others}
            if "cold_batch" in frame:  # coupons of one cold batch meet every other batch equally
                covariates["met"] = _batches_met(frame, members, batches)
            pool = [place % count for place in range(len(members))]
            chosen = spread_evenly(pool, covariates, Stream(seed, f"temper batches {day} {own}"))
            batches[group] = [number + own[place] for place in chosen]
        number += sum(sizes)
    notes.append(
        f"{number} temper batches of at most {room} coupons, each from the loads of one day."
    )
    return [int(batch) for batch in batches]


def _batches_met(
    frame: pd.DataFrame, members: pd.DataFrame, batches: np.ndarray[tuple[int], np.dtype[np.int64]]
) -> list[int]:
    """Temper batches that the other coupons of a coupon's cold batch already have, as a code."""
    met = {}
    names = frame["cold_batch"].to_numpy(dtype=object)
    for name in members["cold_batch"].unique():
        own = batches[names == name]
        met[name] = "-".join(str(batch) for batch in sorted(set(own[own > 0].tolist())))
    return codes_of([met[name] for name in members["cold_batch"]])
