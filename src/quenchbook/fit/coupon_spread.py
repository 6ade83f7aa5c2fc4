"""Scatter of coupons at each level of a factor: curves of routes are judged by one common scatter.

With twice the scatter in one route, the set of a quiet route covers .98 and that of a noisy one
.885 of nominal .95, since both use the pooled mean square.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.unit_codes import group_means
from quenchbook.study.factors import Level

UNLIKE: Final = 2.0
"""Ratio of the largest to the smallest standard deviation from which it is said."""

_LEAST_DF: Final = 4.0


def coupon_sds(model: MixedModel, factor: str) -> dict[Level, float]:
    """Standard deviation of coupons inside their batches, for each level of a factor.

    Parameters
    ----------
    model : MixedModel
    factor : str
        With named levels.

    Returns
    -------
    dict of level to float
        Only levels with at least four df; each coupon counts with one less its leverage.
    """
    stage = model.strata.coupon
    y = model.coupons["value"].to_numpy(dtype=float)[:, None]
    means = group_means(y, stage.finest)
    residuals = (y - means[stage.finest] - stage.columns @ (stage.rows @ y))[:, 0]
    sizes = np.bincount(stage.finest)[stage.finest]
    inner = np.einsum("ni,ij,nj->n", stage.columns, stage.inverse, stage.columns, optimize=True)
    free = 1.0 - 1.0 / sizes - inner
    own = model.coupons[model.terms.variable(factor).column].to_numpy()
    found: dict[Level, float] = {}
    for level in model.terms.variable(factor).levels:
        there = own == level
        df = float(free[there].sum())
        if df >= _LEAST_DF:
            found[level] = float(np.sqrt((residuals[there] ** 2).sum() / df))
    return found


def are_unlike(sds: dict[Level, float]) -> bool:
    """Whether the scatter of two levels differs by a ratio of two or more."""
    values = [sd for sd in sds.values() if sd > 0]
    return len(values) > 1 and max(values) / min(values) >= UNLIKE
