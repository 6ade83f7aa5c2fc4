"""Where a further coupon is expected: the interval of one new value, not that of a mean."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from quenchbook.fit.inversion import t_limit
from quenchbook.fit.means import MarginalMeans
from quenchbook.study.terms import Array

_LEAST_DF: Final = 1.0


def further_coupons(means: MarginalMeans, *, confidence: float | None = None) -> pd.DataFrame:
    """Interval in which one further coupon is expected at each of these means.

    The coupon comes from a new furnace load, with new batches, and is read as often as the others
    were (median). Its variance is that of the mean plus the REML variance of every unit above it
    and its own:

        v = se^2 + s_load^2 + s_cold^2 + s_temper^2 + s_coupon^2 + s_indent^2 / readings

    with ``df = 2 v^2 / var(v)`` after Satterthwaite; var(v) comes from the expected information of
    the variances and from the df of the mean. The range holds for one further coupon, not for all.

    Parameters
    ----------
    means : MarginalMeans
        Rows that are means; for a contrast a further coupon has no meaning.
    confidence : float, optional
        That of the means when left out.

    Returns
    -------
    DataFrame
        ``further_low, further_high``, in the order of the rows, on the analysed scale; not a number
        where a noise is not known.

    References
    ----------
    Satterthwaite (1946), Biometrics Bulletin 2:110 (from memory); coverage measured in
    ``tests/simulation/test_further_coupon.py``.
    """
    model = means.model
    confidence = means.confidence if confidence is None else confidence
    estimate, std_error, df = model.estimates(means.linear)
    names = list(model.variances)
    variances = np.array([model.variances[name] for name in names])
    weights = np.ones(len(names))
    if "indent" in names:
        readings = float(np.median(model.coupons["readings"].to_numpy(dtype=float)))
        weights[names.index("indent")] = 1.0 / readings
    noise = float(weights @ variances)
    spread = _variance_of(weights, model.reml.state.expected_information[0])
    total = std_error**2 + noise
    own = 2.0 * std_error**4 / np.maximum(df, _LEAST_DF)
    with np.errstate(divide="ignore", invalid="ignore"):
        effective = np.maximum(2.0 * total**2 / (own + spread), _LEAST_DF)
        half = t_limit(effective, confidence) * np.sqrt(total)
    return pd.DataFrame({"further_low": estimate - half, "further_high": estimate + half})


def _variance_of(weights: Array, information: Array) -> float:
    """Variance of a weighted sum of variances from their information."""
    return float(weights @ np.linalg.pinv(information, hermitian=True) @ weights)
