"""Continue a plan: new coupons get codes, bars, places and test orders that go on after the old."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import cast

import pandas as pd

from quenchbook.errors import PlanError
from quenchbook.plan.labels import random_codes
from quenchbook.plan.matrix import Continuation, CouponMatrix, check_matrix
from quenchbook.plan.randomization import furnace_places, program_versions, test_order
from quenchbook.plan.streams import Stream
from quenchbook.plan.treatments import set_for
from quenchbook.study.definition import Study
from quenchbook.units import listed


def continued_matrix(
    matrix: CouponMatrix,
    rows: pd.DataFrame,
    *,
    seed: int,
    aim: str,
    notes: Sequence[str] = (),
) -> CouponMatrix:
    """Coupon matrix with new rows after the old ones, which stay as they are.

    Parameters
    ----------
    matrix : CouponMatrix
    rows : DataFrame
        Units and levels of the new coupons, from `quenchbook.plan.best_plan.continued_arrangement`.
    seed : int
        None of the seeds that the plan was made with.
    aim : str
        What the new coupons were chosen for, in words.
    notes : sequence of str
        How they were chosen.

    Returns
    -------
    CouponMatrix

    Raises
    ------
    PlanError
        If the seed was used, or the new rows cannot be run.
    """
    used_seeds = {matrix.seed, *(own.seed for own in matrix.continuations)}
    if seed in used_seeds:
        raise PlanError(
            f"Seed {seed} made an earlier part of this plan; the new coupons would follow its "
            "order. Take another one."
        )
    old, study = matrix.frame, matrix.study
    order = Stream(seed, "place in load").shuffled(range(len(rows)))
    new = rows.iloc[order].sort_values("furnace_load", kind="stable", ignore_index=True)
    new["load_place"] = new.groupby("furnace_load").cumcount() + 1
    codes = Stream(seed, "coupon codes")
    new["coupon"] = random_codes(len(new), codes, used=old["coupon"].tolist())
    if "reference" in old:
        new["reference"] = ""
    if "bar" in old:
        new[["bar", "bar_position"]] = _free_places(study, old, new, seed)
    if "furnace_place" in old:
        new["furnace_place"] = furnace_places(study, new, seed)
    for response in study.responses:
        name = f"{response.name}_order"
        asked = _tested_alike(study, response.name, matrix, len(new))
        new[name] = test_order(asked, new, response.name, seed)
        new[name] += max(0.0, float(old[name].max()))
    if "bar" in old and (more := sorted(set(new["bar"]) - set(old["bar"]))):
        notes = (*notes, f"{_bars_text(study, new, more)}; end pieces are left to chance.")
    own = Continuation(len(old), seed, aim, tuple(notes), program_versions())
    frame = pd.concat([old, new[list(old.columns)]], ignore_index=True)
    frame = frame.astype({name: old[name].dtype for name in old})
    grown = dataclasses.replace(matrix, frame=frame, continuations=(*matrix.continuations, own))
    check_matrix(grown)
    return grown


def _bars_text(study: Study, new: pd.DataFrame, more: Sequence[int]) -> str:
    """New bars that are needed, and of which lot."""
    lots = set_for(study, "bar")
    words = []
    for bar in more:
        first = new[new["bar"] == bar].iloc[0]
        of = ", ".join(factor.word(first[factor.column]) for factor in lots)
        words.append(f"{bar} ({of})" if of else str(bar))
    return f"New bars beyond those of the first plan: {listed(words)}"


def _tested_alike(study: Study, response: str, matrix: CouponMatrix, count: int) -> Study:
    """Study that tests the same share of the new coupons as of the old ones."""
    own = study.response(response)
    if not own.coupons:
        return study
    first = matrix.part(0).analysed
    share = float(first[f"{response}_order"].notna().mean())
    tested = min(count, max(1, round(share * count)))
    responses = tuple(
        dataclasses.replace(r, coupons=tested) if r.name == own.name else r for r in study.responses
    )
    return dataclasses.replace(study, responses=responses)


def _free_places(
    study: Study, old: pd.DataFrame, new: pd.DataFrame, seed: int
) -> list[tuple[int, int]]:
    """Bar and place of each new coupon: what is left of the bars of its lot, then new bars."""
    lots = [factor.column for factor in set_for(study, "bar")]
    taken = set(zip(old["bar"].tolist(), old["bar_position"].tolist(), strict=True))
    last = max(study.layout.bars, int(old["bar"].max()))
    pieces = range(1, study.layout.coupons_per_bar + 1)
    stream = Stream(seed, "bar and position")
    places: dict[int, tuple[int, int]] = {}
    groups = [(None, new)] if not lots else list(new.groupby(lots, sort=True))
    for lot, members in groups:
        bars = list(range(1, last + 1))
        if lots:
            same = (old[lots] == list(cast("tuple[object, ...]", lot))).all(axis=1)
            bars = sorted(old.loc[same, "bar"].unique().tolist())
        free = [(bar, piece) for bar in bars for piece in pieces if (bar, piece) not in taken]
        while len(free) < len(members):
            last += 1
            free += [(last, piece) for piece in pieces]
        chosen = stream.shuffled(free)[: len(members)]
        for row, place in zip(members.index, chosen, strict=True):
            places[int(cast(int, row))] = place
    return [places[row] for row in range(len(new))]
