"""Bars that have a level of a factor: a heat lot or a supplier lot is a property of bars."""

from __future__ import annotations

import math

import pandas as pd

from quenchbook.errors import PlanError
from quenchbook.plan.shares import repeats_of, shares
from quenchbook.plan.spread import spread_evenly
from quenchbook.plan.streams import Stream
from quenchbook.plan.treatments import is_forbidden, set_for
from quenchbook.study.definition import Study
from quenchbook.study.factors import Level

Lot = tuple[Level, ...]


def bars_of_lots(study: Study, frame: pd.DataFrame) -> dict[Lot, list[int]]:
    """Numbers of the bars that must be of each lot.

    Every lot gets the bars that its coupons need, the bars beyond that go to the lots evenly (by
    the repeats of their levels); bars are numbered lot by lot.

    Parameters
    ----------
    study : Study
        With factors that are set for bars.
    frame : DataFrame
        Coupons with the columns of those factors.

    Raises
    ------
    PlanError
        If the bars are too few.
    """
    factors, layout = set_for(study, "bar"), study.layout
    columns = [factor.column for factor in factors]
    told = frame[_has_lot(study, frame)]
    counts = told.groupby(columns, sort=False).size()
    needs = {
        _lot(name): math.ceil(count / layout.coupons_per_bar) for name, count in counts.items()
    }
    lots = sorted(
        needs, key=lambda lot: [f.levels.index(own) for f, own in zip(factors, lot, strict=True)]
    )
    least = [needs[lot] for lot in lots]
    if sum(least) > layout.bars:
        words = ", ".join(f"{_words(study, lot)}: {needs[lot]}" for lot in lots)
        raise PlanError(
            f"The lots need {sum(least)} bars of {layout.coupons_per_bar} ({words}); the layout "
            f"has {layout.bars}. Add bars, or cut more coupons from each."
        )
    weights = [repeats_of(factors, dict(zip(columns, lot, strict=True))) for lot in lots]
    each = shares(layout.bars, weights, range(len(lots)), least=least)
    bars, first = {}, 1
    for lot, count in zip(lots, each, strict=True):
        bars[lot] = list(range(first, first + count))
        first += count
    return bars


def coupons_of_bars(study: Study, frame: pd.DataFrame, seed: int, notes: list[str]) -> pd.DataFrame:
    """Bar and place in the bar of each coupon, from the bars of its lot.

    All bars of a lot are used alike, and each holds the loads and the treatments as evenly as they
    go; places in a bar are random. A reference without a lot comes from any bar and has its lot.

    Parameters
    ----------
    study : Study
    frame : DataFrame
        Coupons with ``furnace_load`` and all factor columns.
    seed : int
    notes : list of str
        Gets a sentence on the lots.

    Returns
    -------
    DataFrame
        The frame with ``bar`` and ``bar_position``.
    """
    frame = frame_with_lots(study, frame, seed)
    frame["bar"] = 0
    bars_of = pd.Series(allowed_bars(study, frame), index=frame.index)
    others = ["furnace_load", *(f.column for f in study.factors if f.set_for != "bar")]
    for own, members in frame.groupby(bars_of, sort=False):
        bars = sorted(own)
        pool = [bars[place % len(bars)] for place in range(len(members))]
        covariates = {
            column: pd.factorize(members[column].astype(str))[0].tolist() for column in others
        }
        stream = Stream(seed, f"bars {bars[0]} to {bars[-1]}")
        frame.loc[members.index, "bar"] = spread_evenly(pool, covariates, stream)
    places = Stream(seed, "bar and position")
    frame["bar_position"] = 0
    for _, own in frame.groupby("bar", sort=True):
        order = places.shuffled(range(1, study.layout.coupons_per_bar + 1))
        frame.loc[own.index, "bar_position"] = order[: len(own)]
    notes.append(lots_note(study, frame))
    return frame


def allowed_bars(study: Study, frame: pd.DataFrame) -> list[frozenset[int]]:
    """Bars that each coupon may come from: those of its lot. Coupons share all of them or none.

    Parameters
    ----------
    study : Study
    frame : DataFrame
        From `frame_with_lots`.
    """
    bars = {lot: frozenset(own) for lot, own in bars_of_lots(study, frame).items()}
    columns = [factor.column for factor in set_for(study, "bar")]
    return [bars[tuple(row)] for row in frame[columns].itertuples(index=False, name=None)]


def frame_with_lots(study: Study, frame: pd.DataFrame, seed: int) -> pd.DataFrame:
    """Frame in which references without a lot have that of a bar with room, drawn at random."""
    frame, lots = frame.copy(), bars_of_lots(study, frame)
    columns = [factor.column for factor in set_for(study, "bar")]
    has_lot = _has_lot(study, frame)
    counts = frame[has_lot].groupby(columns, sort=False).size()
    taken = {_lot(name): int(count) for name, count in counts.items()}
    free = [
        lot
        for lot, bars in lots.items()
        for _ in range(len(bars) * study.layout.coupons_per_bar - taken[lot])
    ]
    left = Stream(seed, "lots of coupons without one").shuffled(free)
    for row in frame.index[~has_lot]:
        for place, lot in enumerate(left):
            for column, level in zip(columns, lot, strict=True):
                frame.loc[row, column] = level
            if not is_forbidden(study, frame.loc[[row]])[0]:
                del left[place]
                break
        else:
            raise PlanError(
                "No bar is left whose lot is allowed for each of the extra coupons. Add bars, or "
                "give these coupons a lot."
            )
    return frame


def lots_note(study: Study, frame: pd.DataFrame) -> str:
    """Which bars are of which lot, in words."""
    lots = bars_of_lots(study, frame)
    parts = [
        f"{_words(study, lot)} bar{'s' if len(bars) > 1 else ''} "
        f"{bars[0]}{f' to {bars[-1]}' if len(bars) > 1 else ''}"
        for lot, bars in lots.items()
    ]
    text = f"Bars of each lot: {'; '.join(parts)}."
    if any(len(bars) == 1 for bars in lots.values()):
        text += " With one bar a lot cannot be told from its bar."
    return text


def _has_lot(study: Study, frame: pd.DataFrame) -> pd.Series[bool]:
    there = pd.Series(True, index=frame.index)
    for factor in set_for(study, "bar"):
        there &= frame[factor.column].isin(factor.levels)
    return there


def _lot(name: object) -> Lot:
    return tuple(name) if isinstance(name, tuple) else (name,)  # type: ignore[return-value]


def _words(study: Study, lot: Lot) -> str:
    factors = set_for(study, "bar")
    return ", ".join(
        f"{factor.title} {factor.word(level)}" for factor, level in zip(factors, lot, strict=True)
    )
