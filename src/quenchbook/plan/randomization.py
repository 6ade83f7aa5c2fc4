"""Draw a coupon matrix unit by unit: loads, coupons, batches, bars, places, test orders."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from quenchbook.errors import PlanError
from quenchbook.plan.added_coupons import is_tempered, with_extra_coupons, with_references
from quenchbook.plan.bar_places import with_bars
from quenchbook.plan.best_plan import best_arrangement
from quenchbook.plan.declaration import declaration
from quenchbook.plan.fraction_loads import fraction_coupons, load_settings, study_fraction
from quenchbook.plan.fractions import asked_terms
from quenchbook.plan.furnace_loads import furnace_loads
from quenchbook.plan.inside_loads import coupons_in_loads, with_cold_batches
from quenchbook.plan.labels import random_codes
from quenchbook.plan.matrix import CouponMatrix, check_matrix
from quenchbook.plan.spread import codes_of, spread_evenly
from quenchbook.plan.streams import BIT_GENERATOR, Stream
from quenchbook.plan.temper_batches import temper_batches
from quenchbook.plan.treatments import set_for
from quenchbook.plan.unit_numbers import numbered_units
from quenchbook.study.definition import Study
from quenchbook.study.factors import Level


def coupon_matrix(study: Study, *, seed: int) -> CouponMatrix:
    """Make a randomized coupon matrix.

    Every furnace load has one level of each furnace factor, every cold batch one of each bath
    factor, every temper batch one of each temper factor. Where all combinations fit into a load
    they are all there; the factors that do not fit are spread evenly. Forbidden treatments do not
    occur, levels with repeats are used more often, extra coupons are added to the loads with their
    furnace setting. Order is random in each unit.

    Parameters
    ----------
    study : Study
    seed : int
        Any whole number; the same study and seed give the same plan.

    Returns
    -------
    CouponMatrix

    Raises
    ------
    PlanError
        If the loads or coupons cannot hold the levels; the message says what would.
    """
    if study.published:
        raise PlanError(
            f"{study.title}: the order of this study was published; it is read, not randomized."
        )
    notes: list[str] = []
    frame = _arrangement(study, seed, notes)
    order = Stream(seed, "place in load").shuffled(range(len(frame)))
    frame = frame.iloc[order].sort_values("furnace_load", kind="stable", ignore_index=True)
    frame["load_place"] = frame.groupby("furnace_load").cumcount() + 1
    frame["coupon"] = random_codes(len(frame), Stream(seed, "coupon codes"))
    if study.layout.bars:
        frame = with_bars(study, frame, seed, notes)
    if study.layout.furnace_places:
        frame["furnace_place"] = furnace_places(study, frame, seed)
    for response in study.responses:
        frame[f"{response.name}_order"] = test_order(study, frame, response.name, seed)
    return CouponMatrix(
        frame=frame[_column_order(study, frame)],
        study=study,
        seed=seed,
        notes=tuple(notes),
        versions=program_versions(),
        declaration=declaration(study),
    )


def published_matrix(study: Study, frame: pd.DataFrame) -> CouponMatrix:
    """Take over the order of a published experiment.

    Parameters
    ----------
    study : Study
        With ``published = true``.
    frame : DataFrame
        ``coupon``, ``furnace_load`` and the factor columns, one row for each coupon in the order
        of the publication.
    """
    frame = frame.copy()
    frame["day"] = frame.get("day", 1)
    frame["load_place"] = frame.groupby("furnace_load").cumcount() + 1
    for response in study.responses:
        frame[f"{response.name}_order"] = np.arange(1.0, len(frame) + 1)
    matrix = CouponMatrix(
        frame=frame[_column_order(study, frame)],
        study=study,
        seed=None,
        origin="published",
        notes=(
            "The order of loads and coupons is that of the publication."
            if study.order_told
            else "The publication does not tell the order of the work; this is that of its table.",
        ),
        versions=program_versions(),
        declaration=declaration(study),
    )
    check_matrix(matrix)
    return matrix


def _arrangement(study: Study, seed: int, notes: list[str]) -> pd.DataFrame:
    """Units and levels of each coupon; loads in random order, batches numbered at random."""
    if study.plan.kind == "best":
        chosen = best_arrangement(study, seed=seed, notes=notes)
        return with_references(study, numbered_units(chosen, seed), seed, notes)
    if study.plan.kind == "fraction":
        columns = _fraction_in_loads(study, seed, notes)
    else:
        loads = furnace_loads(study, seed, notes)
        columns = coupons_in_loads(study, loads, seed, notes)
    frame = pd.DataFrame(columns)
    if study.layout.coupons_per_temper_batch or set_for(study, "temper_batch"):
        tempered = is_tempered(study, frame)
        frame["temper_batch"] = 0
        frame.loc[tempered, "temper_batch"] = temper_batches(
            study, frame[tempered].reset_index(drop=True), seed, notes
        )
    return frame


def _fraction_in_loads(study: Study, seed: int, notes: list[str]) -> dict[str, list[Level | int]]:
    """Levels of a fraction's coupons, as columns; cold batches numbered in each load."""
    chosen = study_fraction(study, seed=seed)
    notes += chosen.notes(asked_terms(study))
    loads = furnace_loads(study, seed, notes, load_settings(study, chosen))
    columns, own = fraction_coupons(study, chosen, loads)
    notes += own
    return with_cold_batches(study, with_extra_coupons(study, columns, seed, notes), seed)


def furnace_places(study: Study, frame: pd.DataFrame, seed: int) -> list[int]:
    """Marked place in the furnace of each coupon, at most one coupon a place in a load."""
    room, stream = study.layout.furnace_places, Stream(seed, "furnace places")
    places: list[int] = []
    for load, size in frame["furnace_load"].value_counts(sort=False).items():
        if not load:  # a reference that goes through no furnace load
            places += [0] * size
            continue
        if size > room:
            raise PlanError(
                f"{study.unit_word('furnace_load')} {load} has {size} "
                f"{study.unit_word('coupon', 2)}, the furnace has {room} marked places: write "
                f"furnace_places = {size} or more, or put fewer into a load."
            )
        places += stream.shuffled(range(1, room + 1))[:size]
    return places


def test_order(study: Study, frame: pd.DataFrame, response: str, seed: int) -> list[float]:
    """Place of each coupon in the blinded test order; blank where it is not tested."""
    places = np.flatnonzero(is_tested(study, frame, response, seed)).tolist()
    order = [math.nan] * len(frame)
    stream = Stream(seed, f"test order of {response}")
    for number, place in enumerate(stream.shuffled(places), start=1):
        order[place] = float(number)
    return order


def is_tested(
    study: Study, frame: pd.DataFrame, response: str, seed: int
) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Which coupons are tested, shape (coupons,): spread evenly over loads and levels.

    References are always tested.
    """
    is_reference = np.array(frame.get("reference", pd.Series("", index=frame.index)) != "")
    own = frame[~is_reference]
    wanted = study.response(response).coupons or len(own)
    if wanted > len(own):
        raise PlanError(f"{response}: {wanted} coupons to be tested, but the plan has {len(own)}.")
    tested = np.ones(len(frame), dtype=bool)
    if wanted < len(own):
        columns = ["furnace_load", *(factor.column for factor in study.factors)]
        covariates = {name: codes_of(own[name].tolist()) for name in columns}
        pool = [1] * wanted + [0] * (len(own) - wanted)
        chosen = spread_evenly(pool, covariates, Stream(seed, f"coupons for {response}"))
        tested[~is_reference] = np.array(chosen, dtype=bool)
    return tested


def _column_order(study: Study, frame: pd.DataFrame) -> list[str]:
    wanted = [
        "coupon", "reference", "furnace_load", "day", "load_place",
        *(factor.column for factor in study.factors),
        "furnace_place", "cold_batch", "temper_batch", "bar", "bar_position",
        *(f"{response.name}_order" for response in study.responses),
    ]  # fmt: skip
    return [name for name in wanted if name in frame]


def program_versions() -> dict[str, str]:
    """Programs that a plan depends on, as they are now."""
    from quenchbook import __version__

    return {"quenchbook": __version__, "numpy": np.__version__, "bit_generator": BIT_GENERATOR}
