"""When half of a gain is lost: the set of times a broken line allows, and bounds without a shape.

A gain stays level up to some delay and then falls along a straight line in the logarithm of time:
the straight line from the start and the sudden fall are both among its cases, so no shape is
chosen. For every half-loss time the best such line is compared with the best of all; times that
do no worse than the pure error allows are kept, and so is "never".

Measured (notes of this project, 5,000 and more studies a cell): the set covers .928 to .961 of
nominal .95 for straight, level-then-falling, exponential and logistic truths with 2 to 6 loads
and 4 to 8 delays. A ratio on the straight line (Fieller) covers .009 to .961, the best of three
shapes by an information criterion .849 to .965; neither is offered.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from quenchbook.fit.inversion import t_limit
from quenchbook.study.terms import Array

STEP: Final = 0.05
"""Step of the grid of half-loss times and of breaks [decades]."""

LONGEST: Final = 8.0
"""Longest half-loss time of the grid [decades after the shortest delay]; then only never."""


@dataclass(frozen=True, eq=False)
class BrokenLines:
    """All broken lines of one set of delays.

    Attributes
    ----------
    grid : ndarray, shape (times,)
        Half-loss times in decades after the shortest delay; the last is infinite (never).
    shapes : ndarray, shape (lines, delays)
        Gain at each delay over the gain at the shortest.
    first : ndarray of int, shape (times,)
        First line of each half-loss time; the lines of one time stand together.
    """

    grid: Array
    shapes: Array
    first: np.ndarray


@functools.lru_cache(maxsize=64)
def broken_lines(decades: tuple[float, ...]) -> BrokenLines:
    """Broken lines through the gain at the shortest delay.

    Parameters
    ----------
    decades : tuple of float
        Delays in decades after the shortest one, which is 0.

    Returns
    -------
    BrokenLines
    """
    x = np.array(decades)
    last = float(x.max())
    grid = np.round(np.arange(STEP, LONGEST + STEP / 2, STEP), 9)
    shapes, first, count = [], [], 0
    for half in grid:
        breaks = np.round(np.arange(0.0, min(half, last) + STEP / 2, STEP), 9)
        breaks = breaks[(breaks < half) & (breaks <= last)]
        fallen = np.maximum(0.0, x - breaks[:, None]) / (2 * (half - breaks[:, None]))
        shapes.append(1.0 - fallen)
        first.append(count)
        count += len(breaks)
    shapes.append(np.ones((1, len(x))))
    return BrokenLines(
        np.append(grid, math.inf), np.vstack(shapes), np.array([*first, count], dtype=np.int64)
    )


def explained_squares(lines: BrokenLines, gains: Array, covariance: Array) -> Array:
    """Sum of squares that the best line of each half-loss time explains; falling gains only.

    Parameters
    ----------
    lines : BrokenLines
    gains : ndarray, shape (delays,) or (delays, responses)
        Gain at each delay.
    covariance : ndarray, shape (delays, delays)
        Of the gains, for a unit variance of a unit.

    Returns
    -------
    ndarray, shape (times,) or (times, responses)
    """
    return best_squares(lines, line_weights(lines, covariance) @ gains)


def line_weights(lines: BrokenLines, covariance: Array) -> Array:
    """Weights of the gains in the normed product with each line, shape (lines, delays)."""
    weights = np.linalg.solve(covariance, lines.shapes.T).T
    lengths = np.sqrt(np.einsum("ld,ld->l", weights, lines.shapes))
    return np.asarray(weights / lengths[:, None])


def best_squares(lines: BrokenLines, along: Array) -> Array:
    """Square of the largest product among the lines of each time; none below zero.

    Parameters
    ----------
    lines : BrokenLines
    along : ndarray, shape (lines,) or (lines, responses)
        Normed products of the gains with the lines.

    Returns
    -------
    ndarray, shape (times,) or (times, responses)
    """
    return np.asarray(np.maximum(np.maximum.reduceat(along, lines.first, axis=0), 0.0) ** 2)


def allowed_times(squares: Array, mean_square: Array, df: Array, confidence: float) -> np.ndarray:
    """Which half-loss times the data allow.

    Parameters
    ----------
    squares : ndarray, shape (times,) or (times, responses)
        From `explained_squares`.
    mean_square, df : ndarray, shape () or (responses,)
        Pure error.
    confidence : float

    Returns
    -------
    ndarray of bool, shape as `squares`
    """
    limit = t_limit(df, confidence) ** 2
    return np.asarray(squares.max(axis=0) - squares <= limit * mean_square)


def stepwise_bounds(
    gains: Array, covariance: Array, mean_square: float, df: float, confidence: float
) -> tuple[int | None, int | None]:
    """Delays between which half of the gain is lost, whatever the shape, if it never rises.

    Parameters
    ----------
    gains : ndarray, shape (delays,)
        In order of the delays.
    covariance : ndarray, shape (delays, delays)
    mean_square, df : float
    confidence : float

    Returns
    -------
    lower, upper : int or None
        Number of the longest delay at which more than half is left, going up from the shortest,
        and of the shortest at which less is left, going down from the longest.
    """
    count = len(gains)
    rows = np.eye(count)
    rows[:, 0] -= 0.5
    above = rows @ gains
    error = np.sqrt(mean_square * np.einsum("ij,jk,ik->i", rows, covariance, rows))
    half = float(t_limit(df, confidence)) * error
    lower = upper = None
    for number in range(count):
        if not above[number] > half[number]:
            break
        lower = number
    for number in reversed(range(count)):
        if not above[number] < -half[number]:
            break
        upper = number
    return lower, upper
