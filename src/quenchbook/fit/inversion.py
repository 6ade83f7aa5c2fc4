"""Sets of places that a test accepts: runs of a grid with their ends found by bisection."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from quenchbook.study.terms import Array

_HALVINGS: Final = 40  # of a grid step: below 1e-13 of the range
_GOLDEN: Final = (5**0.5 - 1) / 2
_GOLDEN_STEPS: Final = 26  # of a step: to 4e-6 of it, so to 1e-11 in the minimum

Piece = tuple[float, float]
Mask = npt.NDArray[np.bool_]
Rule = Callable[[Array], Mask]
Excess = Callable[[Array], Array]
"""Array of places -> how far the test statistic lies above its limit; accepted up to 0."""


def accepted_runs(accepts: Rule, grid: Array, *, halvings: int = _HALVINGS) -> list[Piece]:
    """Runs of accepted places; an end at the end of the grid is that end.

    Parameters
    ----------
    accepts : callable
        Array of places -> which are accepted.
    grid : ndarray
        Rising.
    halvings : int
        Of a grid step, to find an end.

    Returns
    -------
    list of (float, float)
    """
    inside = accepts(grid)
    change = np.flatnonzero(inside[1:] != inside[:-1])
    left, right = grid[change].copy(), grid[change + 1].copy()
    left_inside = inside[change]
    for _ in range(halvings if len(change) else 0):
        middle = (left + right) / 2
        same = accepts(middle) == left_inside
        left, right = np.where(same, middle, left), np.where(same, right, middle)
    edges = ((left + right) / 2).tolist()
    if inside[0]:
        edges.insert(0, float(grid[0]))
    if inside[-1]:
        edges.append(float(grid[-1]))
    return list(zip(edges[::2], edges[1::2], strict=True))


def excess_runs(
    excess: Excess, grid: Array, *, known: Sequence[float] = (), halvings: int = _HALVINGS
) -> list[Piece]:
    """Runs of places whose excess is not above 0, those narrower than a step of the grid too.

    Parameters
    ----------
    excess : callable
    grid : ndarray
        Rising.
    known : sequence of float
        Places that belong into the grid, such as the estimate, where the excess is smallest; those
        beyond its ends widen it, and what is not finite is left out.
    halvings : int
    """
    places = finer_grid(excess, grid, known)
    return accepted_runs(lambda x: excess(x) <= 0, places, halvings=halvings)


def finer_grid(excess: Excess, grid: Array, known: Sequence[float] = ()) -> Array:
    """Grid with known places and with the minima of the excess between its places."""
    told = np.array([place for place in known if math.isfinite(place)])
    grid = np.unique(np.concatenate([grid, told]))
    values = excess(grid)
    middle = values[1:-1]
    dips = 1 + np.flatnonzero((middle > 0) & (middle <= values[:-2]) & (middle <= values[2:]))
    if not len(dips):
        return grid
    return np.unique(np.concatenate([grid, golden_minimum(excess, grid[dips - 1], grid[dips + 1])]))


def with_open_ends(pieces: list[Piece], low: float, high: float) -> list[Piece]:
    """Pieces whose ends at or beyond `low` and `high` are infinite."""
    return [
        (-np.inf if first <= low else first, np.inf if last >= high else last)
        for first, last in pieces
    ]


def hull(pieces: list[Piece]) -> Piece:
    """Lowest and highest end; nan where there is no piece."""
    if not pieces:
        return (float("nan"), float("nan"))
    return (min(first for first, _ in pieces), max(last for _, last in pieces))


def golden_minimum(function: Callable[[Array], Array], left: Array, right: Array) -> Array:
    """Places of minima between two places each, by golden section.

    Parameters
    ----------
    function : callable
        Array of places -> array of values.
    left, right : ndarray, shape (minima,)
    """
    inner, outer = right - _GOLDEN * (right - left), left + _GOLDEN * (right - left)
    at_inner, at_outer = function(inner), function(outer)
    for _ in range(_GOLDEN_STEPS):
        lower = at_inner < at_outer
        left, right = np.where(lower, left, inner), np.where(lower, outer, right)
        new = np.where(lower, right - _GOLDEN * (right - left), left + _GOLDEN * (right - left))
        value = function(new)
        inner, outer = np.where(lower, new, outer), np.where(lower, inner, new)
        at_inner, at_outer = np.where(lower, value, at_outer), np.where(lower, at_inner, value)
    return np.asarray((left + right) / 2)


def t_limit(df: Any, confidence: float) -> Array:
    """Two-sided limit of t."""
    from scipy import special

    return np.asarray(special.stdtrit(df, (1 + confidence) / 2))
