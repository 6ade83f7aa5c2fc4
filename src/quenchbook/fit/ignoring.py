"""What the same numbers would seem to say with the units ignored: a warning, not a result."""

from __future__ import annotations

import numpy as np
import pandas as pd

from quenchbook.fit.mixed import MixedModel


def unit_blind_tests(model: MixedModel) -> pd.DataFrame:
    """F tests that take every coupon for its own furnace load (ordinary least squares).

    Parameters
    ----------
    model : MixedModel

    Returns
    -------
    DataFrame
        ``term, df, df_error, statistic, p_value`` for the terms of the model. For comparison only.
    """
    from statsmodels.regression.linear_model import OLS

    fit = OLS(model.coupons["value"].to_numpy(dtype=float), model.fixed_matrix()).fit()
    rows = []
    for term, place in model.strata.slices.items():
        weights = np.zeros((place.stop - place.start, model.strata.coefficient_count))
        weights[:, place] = np.eye(place.stop - place.start)
        test = fit.f_test(weights)
        rows.append(
            (term, int(test.df_num), float(test.df_denom), float(test.fvalue), float(test.pvalue))
        )
    return pd.DataFrame(rows, columns=["term", "df", "df_error", "statistic", "p_value"])
