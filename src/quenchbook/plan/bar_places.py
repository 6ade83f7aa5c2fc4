"""Bar of each coupon and its place in the bar: at random, balanced, or by the lots of the bars."""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd

from quenchbook.errors import PlanError
from quenchbook.plan.bar_lots import allowed_bars, coupons_of_bars, frame_with_lots, lots_note
from quenchbook.plan.bars import MOST_DRAWS, accepted_allotments, allotment_rule
from quenchbook.plan.streams import Stream
from quenchbook.plan.treatments import set_for
from quenchbook.study.definition import Study


def with_bars(study: Study, frame: pd.DataFrame, seed: int, notes: list[str]) -> pd.DataFrame:
    """Coupons with ``bar`` and ``bar_position``.

    Parameters
    ----------
    study : Study
        With bars in its layout.
    frame : DataFrame
        Coupons with all factor columns.
    seed : int
    notes : list of str
        How bars were allotted is added in words.

    Raises
    ------
    PlanError
        If the bars are too few, or no balanced allotment was drawn.
    """
    layout = study.layout
    if layout.bars * layout.coupons_per_bar < len(frame):
        needed = -(-len(frame) // layout.coupons_per_bar)
        raise PlanError(
            f"{layout.bars} bars of {layout.coupons_per_bar} give too few coupons: {len(frame)} "
            f"are needed, the extra ones among them. Write bars = {needed} or more."
        )
    with_lots = bool(set_for(study, "bar"))
    if with_lots and not layout.bar_ends:
        return coupons_of_bars(study, frame, seed, notes)
    if not layout.bar_ends:
        every = itertools.product(range(1, layout.bars + 1), range(1, layout.coupons_per_bar + 1))
        chosen = Stream(seed, "bar and position").shuffled(list(every))[: len(frame)]
        frame[["bar", "bar_position"]] = np.array(chosen, dtype=np.int64)
        return frame
    if with_lots:
        frame = frame_with_lots(study, frame, seed)
        notes.append(lots_note(study, frame))
    allowed = allowed_bars(study, frame) if with_lots else None
    rule = allotment_rule(study, frame, seed=seed, allowed_bars=allowed)
    allotment = next(accepted_allotments(rule), None)
    if allotment is None:
        raise PlanError(
            f"{MOST_DRAWS:,} random allotments of coupons to bars were drawn, none was balanced "
            "enough. Take another seed, or write bar_ends = 0 to allot them without balance."
        )
    notes.append(rule.note(allotment))
    frame[["bar", "bar_position"]] = allotment.places
    return frame
