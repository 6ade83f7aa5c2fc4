"""Against R (provenance: mixed_models/PROVENANCE.toml)."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pytest
from tests.conftest import r_reference

import quenchbook as qb
from quenchbook.fit.mixed import MixedModel

MODELS = {
    "a_oats": ("variety * nitro", ["block", "block:variety"]),
    "b_corrosion": ("temp * coating", ["heat"]),
    "c_balanced": ("temp * route", ["load", "coupon"]),
    "e_three_strata": (
        "temp * route + route * temper + temp:temper",
        ["load", "coldbatch", "temperbatch", "coupon"],
    ),
    "f_singular": ("temp * route", ["load", "coupon"]),
}
BALANCED = ["a_oats", "b_corrosion", "c_balanced"]


def fitted(name: str) -> tuple[MixedModel, dict[str, Any]]:
    data, results = r_reference(name)
    fixed, strata = MODELS[name]
    return qb.mixed_model(data, "y", fixed=fixed, strata=strata), results


@pytest.mark.parametrize("name", MODELS)
def test_variance_components_agree_with_lme4(name: str) -> None:
    model, results = fitted(name)
    ours = model.variance_components.set_index("stratum")["variance"]
    theirs = dict(results["varcomp"])
    theirs["residual"] = theirs.pop("Residual")
    for unit, variance in theirs.items():
        assert ours[unit] == pytest.approx(variance, rel=1e-5, abs=1e-8)


@pytest.mark.parametrize("name", BALANCED)
def test_tests_agree_with_kenward_roger_in_balanced_plans(name: str) -> None:
    model, results = fitted(name)
    ours = model.tests().set_index("term")
    for term, theirs in results["anova_type3"].items():
        assert ours.loc[term, "df"] == theirs["num_df"]
        assert ours.loc[term, "statistic"] == pytest.approx(theirs["F_kr"], rel=1e-5)
        assert ours.loc[term, "df_error"] == pytest.approx(theirs["ddf_kr"], rel=1e-4)
        assert ours.loc[term, "p_value"] == pytest.approx(theirs["p_kr"], rel=1e-4)
        assert ours.loc[term, "method"] == "classical stratum F"


@pytest.mark.parametrize("name", BALANCED)
def test_tests_agree_with_the_classical_strata_of_aov(name: str) -> None:
    model, results = fitted(name)
    ours = model.tests().set_index("term")
    seen = 0
    for stratum in results["aov_strata"].values():
        if not isinstance(stratum.get("F value"), list):  # residuals only
            continue
        for term, f_value in zip(stratum["term"], stratum["F value"], strict=True):
            if f_value is not None:
                assert ours.loc[term.strip(), "statistic"] == pytest.approx(f_value, rel=1e-9)
                seen += 1
    assert seen == 3


@pytest.mark.parametrize("name", BALANCED)
def test_marginal_means_and_standard_errors_agree_with_emmeans(name: str) -> None:
    model, results = fitted(name)
    checked = 0
    for key, entry in results["emmeans"].items():
        if not key.endswith("kenward-roger") or "|" in entry["spec"]:
            continue
        factors = re.split(r"\s*[*:]\s*", entry["spec"].lstrip("~ "))
        ours = qb.marginal_means(model, factors).to_frame().set_index(factors)
        for row in entry["means"]:
            own = ours.loc[tuple(row[f] for f in factors) if len(factors) > 1 else row[factors[0]]]
            assert own["estimate"] == pytest.approx(row["emmean"], rel=1e-9)
            assert own["std_error"] == pytest.approx(row["SE"], rel=1e-5)
            checked += 1
    assert checked > 5


def test_pairwise_differences_agree_with_emmeans_standard_errors_and_df() -> None:
    model, results = fitted("c_balanced")
    entry = results["emmeans"]["temp__kenward-roger"]
    means = qb.marginal_means(model, "temp")
    estimate = means.contrast({"first - last": [1, 0, 0, -1]}).to_frame().iloc[0]
    pairs = next(value for key, value in entry.items() if key.startswith("pairs"))
    theirs = next(row for row in pairs if row["contrast"] == "T1025 - T1100")
    assert estimate["estimate"] == pytest.approx(theirs["estimate"], rel=1e-9)
    assert estimate["std_error"] == pytest.approx(theirs["SE"], rel=1e-5)
    assert estimate["df"] == pytest.approx(theirs["df"], rel=1e-4)


def test_a_zero_variance_is_reported_as_zero_and_said_in_words() -> None:
    model, _ = fitted("f_singular")
    budget = qb.noise_budget(model)
    row = budget.components.set_index("stratum").loc["load"]
    assert row["variance"] == 0.0
    assert row["conf_high"] > 0.1
    assert "estimated as 0" in budget.summary()


def test_digits_survive_a_large_constant() -> None:
    data, results = r_reference("b_corrosion")
    shifted = data.assign(y=data["y"] + 1e9)
    model = qb.mixed_model(shifted, "y", fixed="temp * coating", strata=["heat"])
    ours = model.tests().set_index("term")["statistic"]
    for term, theirs in results["anova_type3"].items():
        assert ours[term] == pytest.approx(theirs["F_kr"], rel=1e-5)
    assert np.isfinite(model.variance_components["variance"]).all()
