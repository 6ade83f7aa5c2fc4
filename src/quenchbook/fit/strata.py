"""Sort terms into strata and prepare their tests, once for a plan, for any number of responses.

Every fixed column belongs to the coarsest unit inside which it is constant (furnace load, cold
batch, temper batch, coupon). Values of each unit are adjusted for everything that varies inside
it, and the terms of that unit are tested on these unit values with equal weights (`precision`).

The coupon stratum is solved by centring inside the finest batch, so nothing grows with coupons
times batches; everything above it is small and dense.

References
----------
Yates (1934), JASA 29:51, unweighted means (from memory). Satterthwaite (1946), Biometrics Bulletin
2:110 and Box (1954), Annals of Mathematical Statistics 25:290, error df (from memory). Levels and
coverage were measured in the project's simulation lane.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from quenchbook.fit.stages import BatchStage, CouponStage
from quenchbook.fit.unit_codes import Codes, nested_chain, same_partition
from quenchbook.fit.unit_layout import UnitLayout
from quenchbook.study.factors import UNIT_WORDS, plural
from quenchbook.study.terms import Array, Terms

_ONE_LEVEL: Final = "one of its factors exists at a single level of the other"


@dataclass(frozen=True, eq=False)
class Strata:
    """All strata of a plan; independent of the response, so one serves many responses.

    Attributes
    ----------
    terms : Terms
        Terms that can be estimated.
    term_stage : mapping of term to unit
        Stratum of each term.
    slices : mapping of term to slice
        Place of each term among the coefficients.
    coupon : CouponStage
    batches : tuple of BatchStage
        Crossed batches, then from the finest nested batch up to the furnace load.
    dropped : mapping of term to str
        Terms that cannot be estimated, with the reason.
    coefficient_count : int
    codes : mapping of unit to ndarray of int, shape (coupons,)
        Random units that can be told from the coupon and from each other.
    merged : mapping of unit to unit
        Units that hold the same coupons as another one, which stands for both.
    """

    terms: Terms
    term_stage: Mapping[str, str]
    slices: Mapping[str, slice]
    coupon: CouponStage
    batches: tuple[BatchStage, ...]
    dropped: Mapping[str, str]
    coefficient_count: int
    codes: Mapping[str, Codes]
    merged: Mapping[str, str]

    @property
    def stages(self) -> tuple[CouponStage | BatchStage, ...]:
        """All strata from the coupon up."""
        return (self.coupon, *self.batches)

    def stage(self, unit: str) -> CouponStage | BatchStage:
        """Return the stage of a unit."""
        return next(stage for stage in self.stages if stage.unit == unit)

    def coupon_weights(self, row: Array) -> Array:
        """Weights of the coupon values in one linear function of the coefficients.

        Parameters
        ----------
        row : ndarray, shape (coefficients,)

        Returns
        -------
        ndarray, shape (coupons,)
        """
        coupon = self.coupon
        inner = np.zeros(len(coupon.inverse))
        inner[coupon.inner_places] = row[coupon.places]
        base = np.zeros(len(coupon.carried))
        if not self.batches:
            base[0] = row[0]
        for stage in self.batches:
            weights = row[stage.places] @ stage.rows @ stage.parent_map
            if stage.crossed:
                places, _ = coupon.crossed[stage.unit]
                kept = places >= 0
                inner[places[kept]] += weights[kept]
            else:
                base += weights
        inner = inner - base @ coupon.carried
        return np.asarray((base / np.bincount(coupon.finest))[coupon.finest] + inner @ coupon.rows)


def strata_of(
    frame: pd.DataFrame,
    terms: Terms,
    units: Sequence[str],
    *,
    planned: pd.DataFrame | None = None,
) -> Strata:
    """Sort terms into strata and prepare their tests.

    Parameters
    ----------
    frame : DataFrame
        One row for each coupon: unit columns and factor columns as run.
    terms : Terms
    units : sequence of str
        Columns that name the random units above the coupon.
    planned : DataFrame, optional
        Factor columns as planned: they decide the stratum of a term, so that a deviation of one
        coupon does not move a whole factor to another stratum.

    Returns
    -------
    Strata
    """
    codes = {unit: pd.factorize(frame[unit])[0].astype(np.int64) for unit in units}
    codes = {unit: own for unit, own in codes.items() if 1 < own.max() + 1 < len(frame)}
    merged = same_partition(codes)
    codes = {unit: own for unit, own in codes.items() if unit not in merged}
    layout = UnitLayout(frame, codes, *nested_chain(codes))
    decisive = frame if planned is None else planned
    stage_of = {name: layout.stratum(terms.columns(decisive, name)) for name in terms.names}
    dropped = {
        name: _ONE_LEVEL for name, own in terms.slices(frame).items() if own.start == own.stop
    }
    kept = terms.without(dropped)
    while (aliased := layout.aliased_term(kept, stage_of)) is not None:
        dropped[aliased] = _why_not(aliased, stage_of[aliased], terms)
        kept = terms.without(dropped)
    for name in terms.names:
        if name not in kept.names and name not in dropped:
            dropped[name] = "it contains a factor that cannot be estimated"
    slices = kept.slices(frame)
    coupon = layout.coupon_stage(kept, stage_of, slices)
    return Strata(
        terms=kept,
        term_stage=stage_of,
        slices=slices,
        coupon=coupon,
        batches=tuple(layout.batch_stages(coupon, kept, stage_of, slices)),
        dropped=dropped,
        coefficient_count=max((place.stop for place in slices.values()), default=1),
        codes=codes,
        merged=merged,
    )


def _why_not(term: str, unit: str, terms: Terms) -> str:
    words = plural(UNIT_WORDS.get(unit) or unit.replace("_", " "))
    if term in terms.blocks:
        return "a day held a single load or batch, so it cannot be taken out as a block"
    if ":" in term:
        parts = term.replace(":", " and ").replace("_", " ")
        return (
            f"not every combination of {parts} was run in enough {words}; if the factors do act "
            "together, that part now counts as noise"
        )
    return f"its levels cannot be told apart from other terms or from single {words}"
