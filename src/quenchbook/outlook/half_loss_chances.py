"""Chances that a plan limits a half-loss time, for guessed gains and times."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, Literal

import numpy as np
import pandas as pd

from quenchbook.errors import EstimabilityError
from quenchbook.fit.half_loss import gain_stratum, rows_on_units
from quenchbook.fit.half_loss_profile import (
    allowed_times,
    best_squares,
    broken_lines,
    line_weights,
)
from quenchbook.fit.stages import CouponStage
from quenchbook.outlook.power import PlannedPrecision
from quenchbook.study.terms import Array

Fall = Literal["steady", "sudden"]

FALLS: Final[dict[Fall, str]] = {
    "steady": "falling evenly with each decade from the shortest delay on",
    "sudden": "level until half a decade before, gone half a decade after",
}
"""Ways a gain may be lost, and what they mean; the truth is not known, so both are shown."""

DRAWS: Final = 1000
"""Simulated studies behind a chance: its standard error is at most .016."""

_AT_ONCE: Final = 50  # studies at once: they stay in the cache
_SEED: Final = 20260918
COLUMNS: Final = [
    "gain", "half_loss_minutes", "fall", "upper_limit", "lower_limit", "upper_any_shape",
]  # fmt: skip


def gain_left(decades: Array, half: float, fall: Fall) -> Array:
    """Share of a gain that is left at each delay.

    Parameters
    ----------
    decades : ndarray, shape (delays,)
        Decades after the shortest delay.
    half : float
        Decades after which half is lost.
    fall : {"steady", "sudden"}

    >>> gain_left(np.array([0.0, 1.0, 2.0]), 1.0, "steady").tolist()
    [1.0, 0.5, 0.0]
    """
    if fall == "steady":
        left = 1.0 - decades / (2 * half)
    else:
        width = min(0.5, half)
        left = 0.5 - (decades - half) / (2 * width)
    return np.asarray(np.clip(left, 0.0, 1.0))


def half_loss_chances(
    precision: PlannedPrecision,
    rows: Array,
    times: Array,
    gains: Sequence[float],
    half_losses: Sequence[float],
    confidence: float,
) -> pd.DataFrame:
    """Chances of limits, counted over simulated studies; without a shape integrated.

    Parameters
    ----------
    precision : PlannedPrecision
    rows : ndarray, shape (delays, coefficients)
        Weights of the coefficients in the gain at each delay.
    times : ndarray, shape (delays,)
        Time until cold at each delay [min].
    gains, half_losses : sequence of float
        Guesses; times from the quench until cold [min].
    confidence : float

    Returns
    -------
    DataFrame
        The columns `COLUMNS`, one row for each guess and each way to fall.

    Raises
    ------
    EstimabilityError
        If the plan cannot tell a half-loss time at all.
    """
    order = np.argsort(times, kind="stable")
    times = times[order]
    if len(set(times.tolist())) < 3:
        raise EstimabilityError("When half is lost needs three delays or more.")
    stage, rows, covariance = gain_stratum(precision.strata, rows[order])
    if not stage.df:
        raise EstimabilityError(
            "When half is lost cannot be judged: no unit is spare. Run the delays in at least two "
            "furnace loads."
        )
    weights = rows_on_units(stage, rows)
    square = float(precision.mean_squares[stage.unit][0])
    factor = float(precision.stratum_factor(stage, weights)[0])
    if isinstance(stage, CouponStage):
        true = square * covariance
    else:
        parts = [
            float(precision.components[unit][0]) * (weights @ shape @ weights.T)
            for unit, shape in stage.shapes.items()
            if unit in precision.components
        ]
        true = np.sum(parts, axis=0)
    df = float(precision.df_error[stage.unit][0])
    decades = np.round(np.log10(times / times[0]), 12)
    lines = broken_lines(tuple(decades.tolist()))
    rng = np.random.default_rng(_SEED)
    noise = np.linalg.cholesky(true) @ rng.normal(size=(len(times), DRAWS))
    squares = factor * square * rng.chisquare(df, DRAWS) / df
    last = precision.contrast(rows[-1] - rows[0] / 2)
    guesses = [(g, t, fall) for g in gains for t in half_losses for fall in FALLS]
    starts = np.log10(np.array(half_losses) / times[0])
    halves = dict(zip(half_losses, starts.tolist(), strict=True))
    truths = np.array([gain * gain_left(decades, halves[t], fall) for gain, t, fall in guesses])
    products = line_weights(lines, covariance)
    inside = lines.grid <= decades[-1] + 1e-9
    counts = np.zeros((len(guesses), 2))
    for start in range(0, DRAWS, _AT_ONCE):
        part = slice(start, start + _AT_ONCE)
        along = products @ noise[:, part]
        for number, truth in enumerate(truths):
            best = best_squares(lines, along + (products @ truth)[:, None])
            allowed = allowed_times(best, squares[part], np.array(df), confidence)
            counts[number] += (~allowed[~inside].any(axis=0)).sum(), (~allowed[0]).sum()
    found = [
        (
            *guess, *(counts[number] / DRAWS).tolist(),
            last.chance_above(guess[0] / 2 - truths[number, -1], confidence=confidence)
            if last else 0.0,
        )
        for number, guess in enumerate(guesses)
    ]  # fmt: skip
    return pd.DataFrame(found, columns=COLUMNS)
