"""What may be chosen for a plan: coordinates of coupons, the unit each belongs to, what is allowed.

A coupon has a few coordinates: the austenitize of its load, the route and delay of its cold batch,
the temper of its temper batch. Units may be nested or crossed; nothing here knows which.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]
Criterion = Literal["D", "I"]

FREE = -1
"""Stands for a unit whose choice is not held."""


@dataclass(frozen=True, eq=False)
class LeastLevels:
    """How many different levels of one factor must stay in use.

    Attributes
    ----------
    levels : ndarray of int, shape (choices,)
        Level that each choice of the coordinate counts for; -1: for none.
    least : int
        Different levels that must be used.
    present : frozenset of int
        Levels that the fixed rows already have.
    """

    levels: Codes
    least: int
    present: frozenset[int] = frozenset()

    def counts(self, choices: Codes) -> Codes:
        """Units at each level, shape (levels,); a level of a fixed row counts as one more."""
        counted = np.zeros(self.size, dtype=np.int64)
        own = self.levels[choices]
        np.add.at(counted, own[own >= 0], 1)
        for level in self.present:
            counted[level] += 1
        return counted

    @property
    def size(self) -> int:
        """Number of levels that count."""
        return max(int(self.levels.max(initial=-1)), *self.present, 0) + 1

    def allowed(self, counts: Codes, old: int) -> Mask:
        """Which choices leave enough levels when a unit moves away from `old`, shape (choices,)."""
        left = counts.copy()
        if self.levels[old] >= 0:
            left[self.levels[old]] -= 1
        used = int(np.count_nonzero(left))
        gained = (self.levels >= 0) & (left[self.levels] == 0)
        enough: Mask = used + gained >= self.least
        return enough


@dataclass(frozen=True, eq=False)
class Coordinate:
    """One thing that is chosen for each unit of a kind.

    Attributes
    ----------
    name : str
    units : ndarray of int, shape (coupons,)
        Unit of each coupon, counted from 0.
    choices : int
        Number of choices.
    held : ndarray of int, shape (units,), optional
        Choice of units that must keep it; `FREE` elsewhere.
    least : tuple of LeastLevels
    """

    name: str
    units: Codes
    choices: int
    held: Codes | None = None
    least: tuple[LeastLevels, ...] = ()

    @property
    def unit_count(self) -> int:
        """Number of units."""
        return int(self.units.max()) + 1

    @property
    def held_choices(self) -> Codes:
        """Held choice of each unit, `FREE` where there is none, shape (units,)."""
        if self.held is not None:
            return self.held
        return np.full(self.unit_count, FREE, dtype=np.int64)


@dataclass(frozen=True, eq=False)
class ChoiceProblem:
    """A model, a budget of units, and what each unit may get.

    Attributes
    ----------
    coordinates : tuple of Coordinate
    table : ndarray, shape (combinations, p)
        Model row of every combination of choices; the last coordinate runs fastest.
    precision : ndarray, shape (n + fixed, n + fixed)
        Weight of the coupons, `coupon_precision`; the fixed rows come last.
    allowed : ndarray of bool, shape (combinations,), optional
        Combinations that may occur.
    fixed : ndarray, shape (fixed, p), optional
        Model rows of coupons that are there whatever is chosen.
    region : ndarray, shape (p, p), optional
        Weighted mean of f f' over what is to be predicted; needed for the criterion I.
    names : tuple of str
        Term of each column, for messages.
    """

    coordinates: tuple[Coordinate, ...]
    table: Array
    precision: Array
    allowed: Mask | None = None
    fixed: Array | None = None
    region: Array | None = None
    names: tuple[str, ...] = field(default=())

    @property
    def shape(self) -> tuple[int, ...]:
        """Number of choices of each coordinate."""
        return tuple(coordinate.choices for coordinate in self.coordinates)

    @property
    def strides(self) -> tuple[int, ...]:
        """Step in the table for one step of each coordinate."""
        return tuple(math.prod(self.shape[place + 1 :]) for place in range(len(self.coordinates)))

    @property
    def allowed_combinations(self) -> Mask:
        """Combinations that may occur, shape (combinations,)."""
        return np.ones(len(self.table), dtype=bool) if self.allowed is None else self.allowed

    def combinations(self, choices: Sequence[Codes]) -> Codes:
        """Row of the table for each coupon, shape (coupons,)."""
        steps = zip(self.coordinates, choices, self.strides, strict=True)
        total: Codes = np.sum([own[c.units] * stride for c, own, stride in steps], axis=0)
        return total

    def rows(self, choices: Sequence[Codes]) -> Array:
        """Model rows of all coupons, the fixed ones last, shape (n + fixed, p)."""
        own = self.table[self.combinations(choices)]
        return own if self.fixed is None else np.vstack([own, self.fixed])


def coupon_precision(
    units: Mapping[str, Sequence[int] | Codes],
    ratios: Mapping[str, float],
    count: int,
    *,
    blocks: Array | None = None,
) -> Array:
    """Inverse of the covariance of the coupons, in units of the coupon variance.

    V = I + sum of ratio * Z Z' over the units, nested or crossed alike. Columns of blocks (days)
    are taken out of the inverse, so that they need no place in the model.

    Parameters
    ----------
    units : mapping of unit to int, shape (count,)
        Unit of each coupon.
    ratios : mapping of unit to float
        Variance of the unit over that of a coupon.
    count : int
        Number of coupons.
    blocks : ndarray, shape (count, columns), optional
        Columns that are only taken out.

    Returns
    -------
    ndarray, shape (count, count)
        Symmetric; singular only along the blocks.
    """
    covariance = np.eye(count)
    for name, codes in units.items():
        own = np.asarray(codes)
        covariance += ratios[name] * (own[:, None] == own[None, :])
    inverse = np.linalg.inv(covariance)
    if blocks is not None and blocks.shape[1]:
        weighted = inverse @ blocks
        inverse = inverse - weighted @ np.linalg.solve(blocks.T @ weighted, weighted.T)
    symmetric: Array = (inverse + inverse.T) / 2
    return symmetric
