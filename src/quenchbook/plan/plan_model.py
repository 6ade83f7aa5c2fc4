"""The model a plan is chosen and judged for: terms, region of prediction, weight of the coupons."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd

from quenchbook.plan.coordinates import Array, Mask, coupon_precision
from quenchbook.plan.linear_dependence import dependent_terms
from quenchbook.study.definition import Study
from quenchbook.study.terms import MIX_WEIGHT, Terms, study_terms

USUAL_RATIOS: Final[Mapping[str, float]] = {
    "furnace_load": 1.0, "cold_batch": 0.5, "temper_batch": 0.5,
}  # fmt: skip
"""Variance of a unit over that of a coupon, where a study does not tell.

A convenience, no fact of the trade. A wrong guess costs little: a plan made for 1 and 0.5 kept
99.95 % of the determinant and 99.8 % of the average precision where the truth was from 0.1 and 0.1
to 10 and 5, while leaving the units out cost 5 to 13 % (measured, 8 loads of 4 cold batches of 3).
"""


def noise_ratios(study: Study, response: str = "") -> dict[str, float]:
    """Variance of each unit over that of a coupon value.

    As ``[plan]`` says; else from the noise that is told for the response; else the usual ratios.

    Parameters
    ----------
    study : Study
    response : str
        Empty: the response wished in ``[plan]``, or else the first.
    """
    own = study.response(response or study.plan.response or study.responses[0].name)
    told: dict[str, float] = {}
    if own.noise is not None and own.noise.sds.get("coupon"):
        sds = own.noise.sds
        coupon = sds["coupon"] ** 2 + sds.get("indent", 0.0) ** 2 / own.readings
        told = {unit: sds[unit] ** 2 / coupon for unit in USUAL_RATIOS if unit in sds}
    return {**USUAL_RATIOS, **told, **study.plan.noise_ratios}


def plan_terms(study: Study, response: str = "") -> Terms:
    """Terms that a plan is to estimate, without days.

    Parameters
    ----------
    study : Study
    response : str
        Empty: the response wished in ``[plan]``, or else the first.
    """
    name = response or study.plan.response or study.responses[0].name
    one_day = pd.DataFrame({"day": [1]})
    return study_terms(study, study.response(name), one_day)


def column_terms(terms: Terms, frame: pd.DataFrame) -> tuple[str, ...]:
    """Term of each column of the model matrix, the mean first."""
    names = ["mean"]
    for term, place in terms.slices(frame).items():
        names += [term] * (place.stop - place.start)
    return tuple(names)


def prediction_region(terms: Terms) -> Array:
    """Mean of f f' over an even mix of the declared levels, shape (p, p)."""
    grid = terms.reference_grid()
    rows = terms.matrix(grid)
    weights = grid[MIX_WEIGHT].to_numpy(dtype=float)
    region: Array = rows.T @ (weights[:, None] * rows)
    return region


def day_columns(frame: pd.DataFrame) -> Array:
    """Sum-to-zero columns of the days, shape (rows, days - 1)."""
    days = np.unique(frame["day"].to_numpy())
    own = (frame["day"].to_numpy()[:, None] == days).astype(float)
    columns: Array = own[:, :-1] - own[:, -1:]
    return columns


def planned_precision(frame: pd.DataFrame, ratios: Mapping[str, float]) -> Array:
    """Weight of coupons that share units and days, shape (rows, rows).

    Parameters
    ----------
    frame : DataFrame
        ``day`` and the columns of the units.
    ratios : mapping of unit to float
        From `noise_ratios`.
    """
    units = {
        unit: np.asarray(pd.factorize(frame[unit])[0], dtype=np.int64)
        for unit in USUAL_RATIOS
        if unit in frame
    }
    return coupon_precision(units, ratios, len(frame), blocks=day_columns(frame))


def information(frame: pd.DataFrame, terms: Terms, ratios: Mapping[str, float]) -> Array:
    """Information on the coefficients for a unit variance of a coupon, shape (p, p)."""
    X = terms.matrix(frame)
    M: Array = X.T @ planned_precision(frame, ratios) @ X
    return M


def not_estimable(study: Study, frame: pd.DataFrame, terms: Terms) -> tuple[str, ...]:
    """Terms that what stands before them, or days, already tell."""
    M = information(frame, terms, noise_ratios(study))
    values, vectors = np.linalg.eigh(M)
    root = np.sqrt(np.where(values > 1e-9 * values[-1], values, 0.0))[:, None] * vectors.T
    return tuple(n for n in dependent_terms(root, column_terms(terms, frame)) if n != "mean")


def full_treatments(study: Study, frame: pd.DataFrame) -> Mask:
    """Rows with a level of every factor that exists for them, shape (rows,).

    Reference coupons, where a factor is left out, are shown but not analysed.
    """
    full = np.ones(len(frame), dtype=bool)
    for factor in study.factors:
        values = frame[factor.column]
        there = values.notna().to_numpy() & (values != "").to_numpy()
        if factor.nested_in:
            parent = frame[study.factor(factor.nested_in).column]
            there |= ~parent.isin(factor.exists_for).to_numpy()
        full &= there
    return full
