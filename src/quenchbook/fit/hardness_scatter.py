"""Covariance analysis on the scatter of coupons: shown beside the temper line, never in its place.

It takes the slope from coupons that happen to be harder. That slope is diluted by the error of the
indents and need not be that of the temper; with loads and batches taken out there is nothing else
left in it. In simulations its 95 % intervals held the truth in as few as 47 of 100 studies.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from quenchbook.fit.hardness_pairs import HardnessPairs
from quenchbook.fit.unit_codes import Codes
from quenchbook.study.terms import Array

WARNING: Final = (
    "Covariance analysis and error in variables take the slope from the scatter of coupons: in "
    "simulations their 95 % intervals held the truth in as few as 47 of 100 studies. They show "
    "how much the answer depends on the slope, and are no answer."
)
"""What stands beside the sensitivity lines."""

_COVERED: Final = 1e-8
_SMALL: Final = 1e-10  # of the largest singular value: a column that depends on others


def scatter_lines(
    pairs: HardnessPairs,
    along: str,
    row: Array,
    temper_unit: str,
    indent_variance: float | None,
) -> pd.DataFrame:
    """Contrast adjusted for hardness by the scatter of coupons.

    Parameters
    ----------
    pairs : HardnessPairs
    along : str
        Factor of the temper: it is left out, so that it moves the hardness.
    row : ndarray, shape (coefficients,)
        Contrast in the coefficients of the pairs.
    temper_unit : str
        Unit the temper was set for.
    indent_variance : float or None
        Variance of the hardness of a coupon from its own indents.

    Returns
    -------
    DataFrame
        ``line, slope, estimate, std_error, df``. A line that cannot be estimated is missing; error
        in variables has no standard error.
    """
    energy, hardness = pairs.values
    model = pairs.response
    gone = [name for name in model.terms.names if along in name.split(":")]
    places = [0]
    for name, place in pairs.strata.slices.items():
        if name not in gone and name not in model.terms.blocks:
            places += range(place.start, place.stop)
    fixed, contrast = model.fixed_matrix()[:, places], row[places]
    codes = pairs.strata.codes
    load = next((unit for unit in codes if unit != temper_unit), None)
    loads = _dummies(codes[load]) if load is not None else np.zeros((len(energy), 0))
    batches = _dummies(codes[temper_unit]) if temper_unit in codes else np.zeros((len(energy), 0))
    found = [
        _line("covariance analysis", fixed, contrast, energy, hardness),
        _line(
            "covariance analysis with loads",
            np.column_stack([fixed, loads]),
            contrast,
            energy,
            hardness,
        )
        if loads.shape[1]
        else None,
        _line(
            "covariance analysis with loads and temper batches",
            np.column_stack([fixed, loads, batches]),
            contrast,
            energy,
            hardness,
        )
        if batches.shape[1]
        else None,
    ]
    if indent_variance is not None:
        columns = np.column_stack([fixed, loads])
        found.append(
            _line(
                "error in variables, with loads",
                columns,
                contrast,
                energy,
                hardness,
                indent_variance,
            )
        )
    lines = [own for own in found if own is not None]
    return pd.DataFrame(lines, columns=["line", "slope", "estimate", "std_error", "df"])


def _dummies(codes: Codes) -> Array:
    return np.asarray(np.eye(int(codes.max()) + 1)[codes])


def _line(
    name: str,
    columns: Array,
    contrast: Array,
    energy: Array,
    hardness: Array,
    indent_variance: float | None = None,
) -> tuple[str, float, float, float, float] | None:
    """Least squares on the columns and the hardness; None where the contrast is not in them."""
    weights = np.zeros(columns.shape[1])
    weights[: len(contrast)] = contrast
    left, sizes, right = np.linalg.svd(columns, full_matrices=False)
    rank = int((sizes > sizes[0] * _SMALL).sum())
    left, right = left[:, :rank], right[:rank]
    if np.abs(weights - weights @ right.T @ right).max() > _COVERED:
        return None
    combined = left @ (right @ weights / sizes[:rank])  # weights of the coupons
    spare = len(columns) - rank
    rest_y, rest_h = (values - left @ (left.T @ values) for values in (energy, hardness))
    square = float(rest_h @ rest_h) - (
        spare * indent_variance if indent_variance is not None else 0.0
    )
    if spare < 2 or square <= 0:
        return None
    slope = float(rest_h @ rest_y) / square
    difference = float(combined @ hardness)
    estimate = float(combined @ energy) - slope * difference
    if indent_variance is not None:
        return name, slope, estimate, np.nan, np.nan
    rest = rest_y - slope * rest_h
    variance = (
        float(rest @ rest) / (spare - 1) * (float(combined @ combined) + difference**2 / square)
    )
    return name, slope, estimate, float(np.sqrt(variance)), float(spare - 1)
