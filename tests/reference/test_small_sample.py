"""Kenward-Roger and Satterthwaite against R (provenance: mixed_models/PROVENANCE.toml).

The hypotheses are those stored with the R results (L matrices), on R's coding, because Satterthwaite
for several rows depends on the rows.
"""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pandas as pd
import pytest
from tests.conftest import r_reference

import quenchbook as qb
from quenchbook.fit.reml import cross_products, reml
from quenchbook.fit.small_sample import SmallSample

UNITS = {
    "a_oats": ["block", "block:variety"],
    "b_corrosion": ["heat"],
    "c_balanced": ["load"],
    "d_unbalanced": ["load"],
    "d_unbalanced_trt": ["load"],
    "e_three_strata": ["load", "coldbatch", "temperbatch"],
    "f_singular": ["load"],
}


def r_columns(frame: pd.DataFrame, results: dict[str, Any]) -> np.ndarray:
    """Fixed columns in R's order and coding (contr.sum)."""
    columns = []
    for name in results["coef"]["names"]:
        column = np.ones(len(frame))
        for part in [] if name == "(Intercept)" else name.split(":"):
            match = re.match(r"^([a-z]+?)(\d+)$", part)
            if match and match[1] in results["levels"]:
                levels = results["levels"][match[1]]
                coding = np.vstack([np.eye(len(levels) - 1), -np.ones(len(levels) - 1)])
                places = [levels.index(value) for value in frame[match[1]]]
                column = column * coding[places, int(match[2]) - 1]
            else:
                column = column * frame[part].to_numpy(dtype=float)
        columns.append(column)
    return np.column_stack(columns)


def fitted(name: str) -> tuple[SmallSample, dict[str, Any]]:
    data, results = r_reference(name)
    if "coupon" not in data:
        data["coupon"] = range(len(data))
    groups = data.groupby("coupon", sort=False)
    coupons = groups.first().reset_index()
    values = groups["y"].mean().to_numpy()
    within = float(((data["y"] - groups["y"].transform("mean")) ** 2).sum())
    codes = {unit: pd.factorize(coupons[unit])[0].astype(np.int64) for unit in UNITS[name]}
    own = cross_products(
        values - values.mean(),
        r_columns(coupons, results),
        codes,
        readings=groups.size().to_numpy(),
        within=within,
    )
    return SmallSample(reml(own)), results


@pytest.mark.parametrize("name", UNITS)
def test_variance_components_agree_with_lme4(name: str) -> None:
    own, results = fitted(name)
    ours = dict(zip(own.state.data.names, own.fit.variances[0], strict=True))
    theirs = dict(results["varcomp"])
    theirs[list(ours)[-1]] = theirs.pop("Residual")
    for unit, variance in theirs.items():
        assert ours[unit] == pytest.approx(variance, rel=1e-5, abs=1e-8)


@pytest.mark.parametrize("name", UNITS)
def test_kenward_roger_tests_agree_with_pbkrtest(name: str) -> None:
    own, results = fitted(name)
    for term, theirs in results["anova_type3"].items():
        rows = np.array(theirs["L"], dtype=float).reshape(-1, own.state.data.fixed)
        found = own.kenward_roger(rows)
        assert found.statistic[0] == pytest.approx(theirs["F_kr"], rel=1e-5), term
        assert found.df_error[0] == pytest.approx(theirs["ddf_kr"], rel=1e-4)
        assert found.p_value[0] == pytest.approx(theirs["p_kr"], rel=1e-4)


@pytest.mark.parametrize("name", UNITS)
def test_satterthwaite_tests_agree_with_lmertest(name: str) -> None:
    own, results = fitted(name)
    for term, theirs in results["anova_type3"].items():
        rows = np.array(theirs["L"], dtype=float).reshape(-1, own.state.data.fixed)
        found = own.satterthwaite(rows)
        assert found.statistic[0] == pytest.approx(theirs["F_satt"], rel=1e-5), term
        assert found.df_error[0] == pytest.approx(theirs["ddf_satt"], rel=1e-4)
        assert found.p_value[0] == pytest.approx(theirs["p_satt"], rel=1e-4)


@pytest.mark.parametrize("name", UNITS)
def test_standard_errors_and_df_of_coefficients_agree(name: str) -> None:
    own, results = fitted(name)
    rows = np.eye(own.state.data.fixed)
    for method, prefix in (("kenward_roger", "kr_"), ("satterthwaite", "satt_")):
        _, std_error, df = own.of(rows, method)
        theirs = results["coef"]["kr_se" if prefix == "kr_" else "se"]
        assert std_error[:, 0] == pytest.approx(theirs, rel=1e-5)
        assert df[:, 0] == pytest.approx(results["coef"][f"{prefix}df"], rel=1e-4)


@pytest.mark.parametrize(
    ("name", "fixed", "strata"),
    [
        ("c_balanced", "temp * route", ["load", "coupon"]),
        ("d_unbalanced", "temp * route + dfr + ddi + dln", ["load", "coupon"]),
        (
            "e_three_strata",
            "temp * route + route * temper + temp:temper",
            ["load", "coldbatch", "temperbatch", "coupon"],
        ),
    ],
)
def test_the_public_method_gives_the_same_kenward_roger_tests(name, fixed, strata) -> None:
    data, results = r_reference(name)
    model = qb.mixed_model(data, "y", fixed=fixed, strata=strata, df_method="kenward_roger")
    ours = model.tests().set_index("term")
    for term, theirs in results["anova_type3"].items():
        assert ours.loc[term, "statistic"] == pytest.approx(theirs["F_kr"], rel=1e-5), term
        assert ours.loc[term, "df_error"] == pytest.approx(theirs["ddf_kr"], rel=1e-4)
        assert ours.loc[term, "p_value"] == pytest.approx(theirs["p_kr"], rel=1e-4)
        assert ours.loc[term, "method"] == "Kenward-Roger on REML"
