"""Bar and place of each coupon: drawn at random until treatments are alike along the bars.

Steel differs between bars, along a bar and most at its ends. Random allotments are drawn, and the
first one is taken whose treatments are as alike in place and end pieces as in the best 1 % of
random allotments. None is improved by exchanges: that would leave so few possible plans that no
randomization test could be built on them.

References
----------
Morgan and Rubin (2012), Rerandomization to improve covariate balance in experiments, Annals of
Statistics 40:1263 (citation from memory): the Mahalanobis distance of group means as score.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from quenchbook.errors import PlanError
from quenchbook.plan.streams import Stream
from quenchbook.study.definition import Study
from quenchbook.study.factors import Factor
from quenchbook.units import NO_BREAK

Floats = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]

BEST_SHARE: Final = 0.01
PILOT_DRAWS: Final = 2000
MOST_DRAWS: Final = 20_000  # a share of 1 % is missed that often with a chance below 1e-87

_SAME: Final = 1 + 1e-9  # equal scores stay equal on a machine that rounds otherwise
_ROOM: Final = 2_000_000  # numbers held at once


@dataclass(frozen=True, eq=False, repr=False)
class Allotment:
    """A random allotment of coupons to places in bars.

    Attributes
    ----------
    places : array, shape (coupons, 2)
        Bar and place in the bar of each coupon.
    score : float
        How unlike treatments are in their places; see `AllotmentRule`.
    draw : int
        Number of the draw in its stream, from 1.
    """

    places: Whole
    score: float
    draw: int

    def __repr__(self) -> str:
        return f"<Allotment of {len(self.places)} coupons: score {self.score:.4g}>"


@dataclass(frozen=True, eq=False, repr=False)
class AllotmentRule:
    """Which random allotments are accepted.

    The score is the Mahalanobis distance of the group means of all covariates, summed over the
    groups; over all random allotments it is on average `dimensions`.

    Attributes
    ----------
    places : array, shape (places, 2)
        Every place: bar and place in the bar.
    covariates : array, shape (places, independent covariates)
        Distance from the middle of the bar, end piece or not: orthonormal columns. Bars are left
        to chance: with a column for each, the ends would be balanced half as well.
    groups : array, shape (coupons, independent contrasts)
        Contrasts of the levels of every factor: orthonormal columns.
    shares : tuple of (array, array)
        Coupons, and the places they may come from.
    names : tuple of str
        Factors whose levels are to be alike, in print.
    seed : int
        Seed of the plan.
    threshold : float
        Highest accepted score.
    accepted : float
        Share of the pilot draws that is accepted.
    """

    places: Whole
    covariates: Floats
    groups: Floats
    shares: tuple[tuple[Whole, Whole], ...]
    names: tuple[str, ...]
    seed: int
    threshold: float = np.inf
    accepted: float = 1.0

    @property
    def dimensions(self) -> int:
        """Independent contrasts times independent covariates."""
        return int(self.groups.shape[1] * self.covariates.shape[1])

    def note(self, allotment: Allotment) -> str:
        """How an allotment was drawn, in words."""
        return (
            f"Bars and places are drawn at random; the first draw is taken whose levels of "
            f"{', '.join(self.names)} are as alike in distance from the middle and end pieces "
            f"as in the best {BEST_SHARE:.0%} of random draws: score at most "
            f"{self.threshold:.4g} where {self.dimensions} is the average, reached by "
            f"{self.accepted:.1%} of {PILOT_DRAWS:,} pilot draws. It is draw {allotment.draw:,}, "
            f"score {allotment.score:.4g}."
        ).replace("%", f"{NO_BREAK}%")

    def __repr__(self) -> str:
        return f"<AllotmentRule: score at most {self.threshold:.4g}, {self.accepted:.1%} accepted>"


def allotment_rule(
    study: Study,
    coupons: pd.DataFrame,
    *,
    seed: int,
    allowed_bars: Sequence[AbstractSet[int]] | None = None,
) -> AllotmentRule:
    """Rule by which the allotments of a plan are accepted, from a pilot of random draws.

    Parameters
    ----------
    study : Study
        With ``bars``, ``coupons_per_bar`` and ``bar_ends`` in its layout.
    coupons : DataFrame
        A column for each factor, one row for each coupon.
    seed : int
        Seed of the plan; the pilot has its own stream.
    allowed_bars : sequence of set of int, optional
        Bars that each coupon may come from. Two coupons share all their bars or none.

    Returns
    -------
    AllotmentRule

    Raises
    ------
    PlanError
        If bars are all ends, hold too few coupons, or are shared by some coupons in part.
    """
    layout = study.layout
    if 2 * layout.bar_ends >= layout.coupons_per_bar:
        raise PlanError(
            f"bar_ends = {layout.bar_ends}: with that many end pieces at each end, a bar of "
            f"{layout.coupons_per_bar} coupons has no middle. Write a smaller number."
        )
    bar, place = np.divmod(np.arange(layout.bars * layout.coupons_per_bar), layout.coupons_per_bar)
    from_end = np.minimum(place, layout.coupons_per_bar - 1 - place)
    factors = _balanced(study)
    contrasts = [_contrasts(factor, coupons[factor.column]) for factor in factors]
    rule = AllotmentRule(
        places=np.column_stack([bar + 1, place + 1]),
        covariates=_orthonormal(np.column_stack([from_end, from_end < layout.bar_ends])),
        groups=_orthonormal(np.hstack(contrasts)),
        shares=_shares(len(coupons), bar + 1, allowed_bars),
        names=tuple(factor.title for factor in factors),
        seed=seed,
    )
    stream = Stream(seed, "bar and position, pilot")
    scores = np.concatenate([own for _, own in _draws(rule, stream, PILOT_DRAWS)])
    threshold = float(np.sort(scores)[int(BEST_SHARE * PILOT_DRAWS) - 1] * _SAME)
    return replace(rule, threshold=threshold, accepted=float(np.mean(scores <= threshold)))


def accepted_allotments(rule: AllotmentRule, *, within: int = MOST_DRAWS) -> Iterator[Allotment]:
    """Random allotments that the rule accepts, one after the other.

    The first is that of the plan. The others are what might have been drawn just as well, so a
    randomization test draws from here.

    Parameters
    ----------
    rule : AllotmentRule
    within : int
        Draws without an accepted one after which there are no more.

    Yields
    ------
    Allotment
    """
    stream, draw, last = Stream(rule.seed, "bar and position, balanced"), 0, 0
    while draw - last < within:
        for order, scores in _draws(rule, stream, min(500, within - (draw - last))):
            for hit in np.flatnonzero(scores <= rule.threshold):
                last = draw + int(hit) + 1
                yield Allotment(rule.places[order[hit]], float(scores[hit]), last)
            draw += len(scores)


def _balanced(study: Study) -> list[Factor]:
    """Factors whose levels meet in one load; those of the loads where there are no others."""
    inner = [factor for factor in study.factors if factor.set_for not in ("furnace_load", "bar")]
    return inner or [factor for factor in study.factors if factor.set_for != "bar"]


def _contrasts(factor: Factor, levels: pd.Series) -> Floats:
    """Sum-to-zero columns of a factor; 0 where it does not exist."""
    is_level = np.column_stack([levels == level for level in factor.levels]).astype(float)
    return np.asarray(is_level[:, :-1] - is_level[:, -1:])


def _orthonormal(columns: npt.NDArray[np.generic]) -> Floats:
    """Orthonormal columns that span the given ones less their means."""
    centred = columns - columns.astype(float).mean(axis=0)
    left, sizes, _ = np.linalg.svd(centred, full_matrices=False)
    return np.asarray(left[:, sizes > 1e-9 * max(1.0, sizes.max(initial=0.0))])


def _shares(
    coupons: int, bars: Whole, allowed: Sequence[AbstractSet[int]] | None
) -> tuple[tuple[Whole, Whole], ...]:
    if allowed is None:
        allowed = [frozenset(bars.tolist())] * coupons
    own = [frozenset(each) for each in allowed]
    shares, taken = [], set[int]()
    for each in dict.fromkeys(own):
        members = np.flatnonzero([other == each for other in own])
        places = np.flatnonzero(np.isin(bars, list(each)))
        words = ", ".join(map(str, sorted(each)))
        if taken & each:
            raise PlanError(
                f"Bars {words}: some of them are also for other coupons. Coupons share all their "
                "bars or none."
            )
        if len(places) < len(members):
            raise PlanError(
                f"Bars {words or 'none'}: {len(members)} coupons are to be cut from them, they "
                f"have {len(places)} places. Add bars."
            )
        taken |= each
        shares.append((members, places))
    return tuple(shares)


def _draws(rule: AllotmentRule, stream: Stream, count: int) -> Iterator[tuple[Whole, Floats]]:
    """Random allotments and their scores, in portions: rows of `places` for each coupon."""
    coupons, places = len(rule.groups), len(rule.places)
    portion = max(1, _ROOM // (coupons * max(1, rule.covariates.shape[1])))
    for start in range(0, count, portion):
        keys = stream.keys(min(portion, count - start), places)
        order = np.empty((len(keys), coupons), dtype=np.int64)
        for members, own in rule.shares:
            ranks = np.argsort(keys[:, own], axis=1, kind="stable")
            order[:, members] = own[ranks[:, : len(members)]]
        distances = rule.groups.T @ rule.covariates[order]
        yield order, (places - 1) * np.sum(distances**2, axis=(1, 2))
