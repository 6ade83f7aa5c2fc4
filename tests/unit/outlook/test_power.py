from __future__ import annotations

import itertools
import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from tests.conftest import REFERENCE

from quenchbook.errors import EstimabilityError
from quenchbook.fit.formula import formula_terms
from quenchbook.fit.precision import Precision
from quenchbook.fit.strata import Strata, strata_of
from quenchbook.outlook.power import PlannedPrecision


def plan(levels: int, loads: int, routes: int, each: int) -> tuple[pd.DataFrame, Strata]:
    rows = [
        (f"L{a}{n}", f"T{a}", f"R{b}")
        for a, n, b, _ in itertools.product(range(levels), range(loads), range(routes), range(each))
    ]
    frame = pd.DataFrame(rows, columns=["load", "temp", "route"])
    return frame, strata_of(frame, formula_terms("temp * route", frame)[0], ["load"])


def extremes(levels: int, half: float) -> np.ndarray:
    """Sum-to-zero coefficients of levels -h, 0 ..., 0, +h."""
    effects = np.zeros(levels)
    effects[0], effects[-1] = -half, half
    return effects[:-1]


def test_power_agrees_with_the_split_plot_table() -> None:
    table = pd.read_csv(REFERENCE / "tables" / "splitplot_power_reference.csv")
    assert len(table) == 4
    for row in table.itertuples():
        _, strata = plan(row.a, row.loads_per_level, row.b, row.coupons_per_cell)
        own = PlannedPrecision(strata, {"load": row.sd_load**2, "coupon": row.sd_coupon**2})
        whole = own.term_power("temp", extremes(row.a, row.half_range_whole))
        sub = own.term_power("route", extremes(row.b, row.half_range_sub))
        assert whole == pytest.approx(row.power_whole, abs=5.1e-6)
        assert sub == pytest.approx(row.power_sub, abs=5.1e-6)


def test_power_of_a_contrast_of_one_df_is_that_of_its_term() -> None:
    _, strata = plan(2, 3, 2, 2)
    own = PlannedPrecision(strata, {"load": 0.09, "coupon": 0.25})
    for term, effect in (("temp", 0.4), ("route", 0.3)):
        row = np.zeros(strata.coefficient_count)
        row[strata.slices[term]] = 2.0  # first level less second
        by_term = own.term_power(term, np.array([effect]))
        assert own.outlook(row, 2 * effect).power == pytest.approx(by_term, rel=1e-6)


def test_no_effect_has_exactly_the_level() -> None:
    _, strata = plan(3, 2, 3, 2)
    own = PlannedPrecision(strata, {"load": 0.16, "coupon": 0.25})
    assert own.term_power("temp", np.zeros(2)) == pytest.approx(0.05, abs=1e-12)
    row = np.zeros(strata.coefficient_count)
    row[strata.slices["temp"]] = [1.0, -1.0]
    assert own.outlook(row, 0.0).power == pytest.approx(0.05, abs=1e-9)


@pytest.mark.parametrize("difference", [0.0, 0.3, 0.8])
def test_power_and_equivalence_agree_with_simulated_studies(difference: float) -> None:
    frame, strata = plan(3, 2, 4, 2)
    frame = frame.drop(index=[3, 17, 30]).reset_index(drop=True)
    strata = strata_of(frame, formula_terms("temp * route", frame)[0], ["load"])
    variances, margin = {"load": 0.04, "coupon": 0.16}, 0.6
    row = np.zeros(strata.coefficient_count)
    row[strata.slices["route"]] = [1.0, -1.0, 0.0]
    expected = PlannedPrecision(strata, variances).outlook(row, difference, margin=margin)
    rng = np.random.default_rng(9)
    codes = pd.factorize(frame["load"])[0]
    y = rng.normal(0, 0.2, (codes.max() + 1, 20_000))[codes] + rng.normal(
        0, 0.4, (len(frame), 20_000)
    )
    estimate, std_error, df = Precision(strata, y).of(row[None, :])
    estimate = estimate + difference
    found = np.mean(np.abs(estimate) > stats.t.ppf(0.975, df) * std_error)
    half = stats.t.ppf(0.95, df) * std_error
    equivalent = np.mean((estimate - half > -margin) & (estimate + half < margin))
    assert found == pytest.approx(expected.power, abs=0.012)
    assert equivalent == pytest.approx(expected.equivalence_power, abs=0.012)


def test_noise_that_is_not_told_is_not_guessed() -> None:
    _, strata = plan(2, 2, 2, 2)
    with pytest.raises(EstimabilityError, match="The noise of load is not told"):
        PlannedPrecision(strata, {"coupon": 0.2})


def test_a_stratum_without_spare_units_has_no_power() -> None:
    _, strata = plan(3, 1, 3, 2)
    own = PlannedPrecision(strata, {"load": 0.1, "coupon": 0.2})
    assert math.isnan(own.term_power("temp", np.ones(2)))
    row = np.zeros(strata.coefficient_count)
    row[strata.slices["temp"]] = [1.0, -1.0]
    assert math.isnan(own.outlook(row, 1.0).power)
