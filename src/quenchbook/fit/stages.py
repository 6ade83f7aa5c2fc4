"""Linear maps of each stratum, from unit values to coefficients and residuals."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from quenchbook.fit.unit_codes import Codes, group_means
from quenchbook.study.terms import Array


@dataclass(frozen=True, eq=False)
class CouponStage:
    """The lowest stratum: what varies inside the finest batch, and the values it leaves above.

    Attributes
    ----------
    finest : ndarray of int, shape (coupons,)
        Code of the finest nested batch of each coupon.
    rows : ndarray, shape (inner, coupons)
        Linear map from coupon values to the coefficients of crossed batches and coupon columns.
    inverse : ndarray, shape (inner, inner)
        Inverse cross-products of those columns, centred inside the finest batch.
    columns : ndarray, shape (coupons, inner)
        Those columns, centred.
    raw_means : ndarray, shape (finest, inner)
        Their means in each finest batch before centring; zero for crossed batches.
    carried : ndarray, shape (finest, inner)
        What their coefficients take away from the mean of a finest batch to adjust it.
    crossed : mapping of unit to (ndarray, int)
        Place of each kept unit of a crossed batch among the inner coefficients, and unit count.
    inner_places : ndarray of int
        Inner coefficients that belong to fixed terms.
    places : ndarray of int
        Their places among all coefficients.
    df : int
    """

    finest: Codes
    rows: Array
    inverse: Array
    columns: Array
    raw_means: Array
    carried: Array
    crossed: Mapping[str, tuple[Codes, int]]
    inner_places: Codes
    places: Codes
    df: int

    unit = "coupon"

    @property
    def count(self) -> int:
        """Number of coupons."""
        return len(self.finest)

    def solve(self, y: Array) -> tuple[Array, Array, Array]:
        """Inner coefficients, values of the finest batches, and residual sum of squares.

        Parameters
        ----------
        y : ndarray, shape (coupons, responses)
        """
        inner = self.rows @ y
        means = group_means(y, self.finest)
        residuals = y - means[self.finest] - self.columns @ inner
        return inner, means - self.carried @ inner, np.einsum("nr,nr->r", residuals, residuals)

    def crossed_values(self, unit: str, inner: Array) -> Array:
        """Values of the units of a crossed batch; a unit that served as base is zero."""
        places, count = self.crossed[unit]
        values = np.zeros((count, inner.shape[1]))
        kept = np.flatnonzero(places >= 0)
        values[kept] = inner[places[kept]]
        return values


@dataclass(frozen=True, eq=False)
class BatchStage:
    """One stratum of loads or batches: unit values, the columns tested on them, their noise.

    Attributes
    ----------
    unit : str
        Name of the unit.
    parent_map : ndarray, shape (units, base)
        Linear map from the values of the finest batch (or of the crossed batch) to unit values.
    crossed : bool
        Whether the base are the values of the crossed batch of this name.
    rows : ndarray, shape (columns, units)
        Linear map from unit values to the coefficients of this stratum.
    error : ndarray, shape (units, units)
        Projector on the residual space of this stratum.
    shapes : mapping of unit to ndarray, shape (units, units)
        Covariance of the unit values for a unit variance of each random unit.
    places : ndarray of int
        Coefficients that belong to this stratum.
    df : int
        Error degrees of freedom.
    """

    unit: str
    parent_map: Array
    crossed: bool
    rows: Array
    error: Array
    shapes: Mapping[str, Array]
    places: Codes
    df: int

    @property
    def count(self) -> int:
        """Number of units."""
        return len(self.error)
