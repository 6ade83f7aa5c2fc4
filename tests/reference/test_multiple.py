"""Several comparisons: R emmeans, exact quadrature tables (provenance: PROVENANCE.toml beside them)."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from tests.conftest import REFERENCE, r_reference

import quenchbook as qb
from quenchbook.fit.multiple import (
    against,
    dunnett_probability,
    dunnett_quantile,
    pairs,
    studentized_range_quantile,
)


@pytest.mark.parametrize("factor", ["temp", "route"])
def test_all_pairs_agree_with_emmeans(factor: str) -> None:
    data, results = r_reference("c_balanced")
    model = qb.mixed_model(data, "y", fixed="temp * route", strata=["load", "coupon"])
    means = qb.marginal_means(model, factor)
    theirs = results["emmeans"][f"{factor}__kenward-roger"]["pairs"]
    tukey = pairs(means).to_frame().set_index("contrast")
    stepped = pairs(means, adjustment="holm").to_frame().set_index("contrast")
    alone = pairs(means, adjustment="none").to_frame().set_index("contrast")
    assert len(theirs) == 6
    for row in theirs:
        name = row["contrast"]
        assert tukey.loc[name, "estimate"] == pytest.approx(row["estimate"], rel=1e-6, abs=1e-9)
        assert tukey.loc[name, "std_error"] == pytest.approx(row["SE"], rel=1e-5)
        assert tukey.loc[name, "p_value"] == pytest.approx(row["p_tukey"], rel=3e-4, abs=1e-6)
        assert tukey.loc[name, "conf_low"] == pytest.approx(row["lower_tukey"], rel=1e-4)
        assert tukey.loc[name, "conf_high"] == pytest.approx(row["upper_tukey"], rel=1e-4)
        assert stepped.loc[name, "p_value"] == pytest.approx(row["p_holm"], rel=1e-4)
        assert alone.loc[name, "p_value"] == pytest.approx(row["p.value"], rel=1e-4)


def test_dunnett_values_agree_with_the_table() -> None:
    table = pd.read_csv(REFERENCE / "tables" / "dunnett_critical.csv")
    some = table[table["k_vs_control"].isin([1, 2, 3, 5, 9]) & table["df"].isin([4, 5, 10, 20, 60])]
    assert len(some) >= 20
    for row in some.itertuples():
        for share, column in ((0.95, "_3"), (0.99, "_4")):
            found = dunnett_quantile(share, int(row.k_vs_control), float(row.df))
            assert found == pytest.approx(getattr(row, column), abs=2e-5)


def test_dunnett_with_one_comparison_is_the_t_test() -> None:
    # t(10) beyond 2.0 on one side: 0.03669402 (scipy's Student t).
    assert 1 - dunnett_probability(2.0, 1, 10.0) == pytest.approx(2 * 0.03669402, abs=1e-7)


def test_studentized_range_agrees_with_the_table_also_at_few_df() -> None:
    table = pd.read_csv(REFERENCE / "tables" / "studentized_range.csv")
    some = table[table["k"].isin([3, 4, 6]) & table["df"].isin([2.0, 3.0, 4.0, 10.0, 20.0])]
    assert len(some) >= 10
    for row in some.itertuples():
        found = studentized_range_quantile(float(row.prob), int(row.k), float(row.df))
        assert found == pytest.approx(row.q_scipy, rel=1e-6)
    two = studentized_range_quantile(0.99, 2, 2.0)  # exact: sqrt 2 times t, where R is wrong
    assert two == pytest.approx(math.sqrt(2) * 9.924843, rel=1e-5)


def test_against_a_reference_lies_between_alone_and_bonferroni() -> None:
    data, _ = r_reference("c_balanced")
    model = qb.mixed_model(data, "y", fixed="temp * route", strata=["load", "coupon"])
    means = qb.marginal_means(model, "route")
    tables = [
        against(means, "none", adjustment=how).to_frame().set_index("contrast")["p_value"]
        for how in ("none", "dunnett", "bonferroni")
    ]
    assert (tables[0] < tables[1]).all()
    assert (tables[1] < tables[2] + 1e-12).all()


def test_p_values_and_intervals_of_a_family_agree() -> None:
    data, _ = r_reference("c_balanced")
    model = qb.mixed_model(data, "y", fixed="temp * route", strata=["load", "coupon"])
    for how in ("tukey", "bonferroni", "none"):
        table = pairs(qb.marginal_means(model, "route"), adjustment=how).to_frame()
        excludes = (table["conf_low"] > 0) | (table["conf_high"] < 0)
        assert np.array_equal(excludes, table["p_value"] < 0.05)
