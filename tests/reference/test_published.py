"""Published data through the public entry (provenance: published/PROVENANCE.toml).

Skipped, saying so, where that folder is absent. Expected values: tables/PROVENANCE.toml.
"""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest
from tests.conftest import REFERENCE, ROOT

import quenchbook as qb


def table(name: str) -> pd.DataFrame:
    return pd.read_csv(REFERENCE / "tables" / name)


def data(path: str) -> pd.DataFrame:
    return pd.read_csv(REFERENCE / "published" / path)


def split_plot(name: str) -> tuple[pd.DataFrame, str, str, list[str]]:
    """Data, response, fixed part and strata of a published split plot."""
    own = data(f"splitplot/{name}.csv")
    if name == "bhh_corrosion":
        return own, "resistance", "furnace_temp * coating", ["whole_plot"]
    if name == "yates_oats":
        own["whole"] = own["block"] + own["variety"]
        return own, "yield", "variety * nitro", ["block", "whole"]
    if name == "montgomery_paper":
        own["whole"] = own["day"].astype(str) + own["preparation"].astype(str)
        return own, "strength", "preparation * temperature", ["day", "whole"]
    if name == "deanvoss_fishing_line":
        return own, "Y", "BRAND * WEIGHT", ["REEL"]
    own["whole"] = own["recipe"] + own["replicate"].astype(str)
    return own, "angle", "recipe * temperature", ["whole"]


NAMES = ["bhh_corrosion", "yates_oats", "montgomery_paper", "deanvoss_fishing_line", "lme4_cake"]


@pytest.mark.parametrize("name", NAMES)
def test_a_published_split_plot_gives_the_classical_strata(name: str) -> None:
    frame, response, fixed, strata = split_plot(name)
    ours = qb.mixed_model(frame, response, fixed=fixed, strata=strata).tests().set_index("term")
    expected = table("splitplot_expected.csv")
    own = expected[(expected["dataset"] == name) & expected["method"].str.startswith("classical")]
    checked = 0
    for row in own.dropna(subset=["F"]).itertuples():
        term = str(row.term)
        term = term if term in ours.index else ":".join(reversed(term.split(":")))
        assert ours.loc[term, "statistic"] == pytest.approx(row.F, rel=1e-9), term
        assert ours.loc[term, "p_value"] == pytest.approx(row.p, rel=1e-8)
        assert ours.loc[term, "df"] == row.df
        spare = own[(own["stratum"] == row.stratum) & (own["term"] == "Residuals")]["df"].iloc[0]
        assert ours.loc[term, "df_error"] == pytest.approx(spare)
        checked += 1
    assert checked == 3


@pytest.mark.parametrize(
    ("name", "response", "strata", "names"),
    [
        ("lme4_Dyestuff", "Yield", ["Batch"], {"Batch": "Batch", "Residual": "residual"}),
        ("lme4_Dyestuff2", "Yield", ["Batch"], {"Batch": "Batch", "Residual": "residual"}),
        ("nlme_Rail", "travel", ["Rail"], {"Rail": "Rail", "Residual": "residual"}),
        (
            "lme4_Pastes",
            "strength",
            ["batch", "sample"],
            {"batch": "batch", "cask:batch": "sample", "Residual": "residual"},
        ),
    ],
)
def test_published_nested_variances_agree_with_lme4(name, response, strata, names) -> None:
    model = qb.mixed_model(data(f"nested/{name}.csv"), response, fixed="1", strata=strata)
    ours = model.variance_components.set_index("stratum")["variance"]
    expected = table("nested_expected.csv")
    own = expected[(expected["dataset"] == name) & expected["item"].str.startswith("var:")]
    for row in own.itertuples():
        unit = names[str(row.item).removeprefix("var:")]
        assert ours[unit] == pytest.approx(row.value, rel=1e-4, abs=1e-4)


def test_the_supplier_is_judged_on_batches() -> None:
    # Montgomery, Design and Analysis of Experiments, 10th ed., Table 14.3: F 0.969 on (2, 9).
    own = data("nested/montgomery_supplier_purity.csv")
    own["lot"] = own["Supplier"].astype(str) + "-" + own["Batches"].astype(str)
    model = qb.mixed_model(own, "Purity", fixed="Supplier", strata=["lot"])
    row = model.tests().iloc[0]
    assert row["statistic"] == pytest.approx(0.96901, abs=5e-6)
    assert (row["df"], row["df_error"]) == (2, pytest.approx(9))
    assert row["stratum"] == "lot"
    assert "Supplier is judged on lots" in model.units_ladder()


@pytest.mark.parametrize(
    ("name", "tolerance"),
    [("SiRstv", 1e-9), ("SmLs01", 1e-9), ("SmLs02", 1e-9), ("AtmWtAg", 1e-7), ("SmLs04", 1e-7), ("SmLs07", 1e-3)],
)  # fmt: skip
def test_nist_certified_anova(name: str, tolerance: float) -> None:
    # NIST StRD; tolerances of the shared notes, checks.md section 1 (constant leading digits).
    lines = (REFERENCE / "published" / "nist_anova" / f"{name}.dat").read_text().splitlines()
    start = (
        next(
            n for n, line in enumerate(lines) if re.match(r"^Data:\s+[A-Z]\w+\s+[A-Z]\w+\s*$", line)
        )
        + 1
    )
    rows = [line.split() for line in lines[start:] if re.match(r"^\s*\d+\s+[-\d.]+\s*$", line)]
    frame = pd.DataFrame({"group": [r[0] for r in rows], "y": [float(r[1]) for r in rows]})
    certified = table("nist_anova_certified.csv").set_index("set").loc[name]
    row = qb.mixed_model(frame, "y", fixed="group").tests().iloc[0]
    assert row["df"] == certified["df_b"]
    assert row["df_error"] == certified["df_w"]
    assert row["statistic"] == pytest.approx(certified["F"], rel=tolerance)


def test_two_one_sided_tests_agree_with_the_published_intervals() -> None:
    own = data("oneway/tost_clinic_statsmodels.csv")
    expected = table("tost_expected.csv")
    pooled = expected[(expected["variance"] == "pooled") & (expected["groups"] == "1 vs 2")]
    assert len(pooled) >= 2
    for row in pooled.itertuples():
        group = next(column for column in own if column.lower().startswith("group"))
        two = own[own[group].isin([1, 2])]
        two = two.assign(g=two[group].astype(str))
        model = qb.mixed_model(two, str(row.variable), fixed="g")
        contrast = qb.marginal_means(model, "g").contrast({"1 - 2": [1, -1]})
        finding = qb.finding(contrast, margin=float(row.eps))
        assert finding.inner_low == pytest.approx(row.ci90_low, rel=1e-8)
        assert finding.inner_high == pytest.approx(row.ci90_high, rel=1e-8)
        inside = -row.eps < row.ci90_low and row.ci90_high < row.eps
        assert (finding.verdict in ("equivalent", "slight")) == inside == (row.p < 0.05)


def test_between_and_within_days_of_the_gum() -> None:
    # JCGM 100:2008 (GUM), H.5: between-day F on (9, 40); published 2.25 from rounded figures.
    own = data("nested/gum_h5_zener.csv")
    means = own["mean_V"].to_numpy()
    within = np.mean(own["s_uV"].to_numpy() ** 2) * 1e-12
    assert 5 * np.var(means, ddof=1) / within == pytest.approx(2.262, abs=5e-3)


def nist_regression(name: str) -> tuple[pd.DataFrame, pd.DataFrame, float]:
    """Data, certified coefficients and certified residual standard deviation."""
    lines = (REFERENCE / "published" / "nist_linear" / f"{name}.dat").read_text().splitlines()
    start = max(n for n, line in enumerate(lines) if line.startswith("Data:"))
    columns = lines[start].split()[1:]
    rows = [[float(cell) for cell in line.split()] for line in lines[start + 1 :] if line.strip()]
    certified = table("nist_linear_certified_coefs.csv").set_index("set").loc[name]
    spread = table("nist_linear_certified_fit.csv").set_index("set").loc[name, "resid_sd"]
    return pd.DataFrame(rows, columns=columns), certified.set_index("param"), float(spread)


@pytest.mark.parametrize("name", ["Norris", "Longley"])
def test_nist_certified_regression(name: str) -> None:
    # NIST StRD, linear; double precision keeps 10.9 digits of Longley (shared notes, checks.md 1).
    frame, certified, spread = nist_regression(name)
    slopes = [column for column in frame if column != "y"]
    shapes = dict.fromkeys(slopes, "linear")
    model = qb.mixed_model(frame, "y", fixed=" + ".join(slopes), shapes=shapes)
    assert model.variance_components["sd"].iloc[0] == pytest.approx(spread, rel=1e-9)
    for place, column in enumerate(slopes, start=1):
        ours = qb.slopes(model, column, at=[float(frame[column].mean())]).to_frame().iloc[0]
        assert ours["estimate"] == pytest.approx(certified.loc[f"B{place}", "estimate"], rel=1e-8)
        assert ours["std_error"] == pytest.approx(certified.loc[f"B{place}", "std_dev"], rel=1e-8)


def test_a_published_three_factor_experiment_on_steel_bars() -> None:
    # Dean and Voss, Design and Analysis of Experiments (1999), heat treatment x machine x time.
    frame = data("factorial/deanvoss_steel_bar.csv").rename(columns={"heat_treatment": "heat"})
    model = qb.mixed_model(frame, "y", fixed="heat * machine * time")
    ours = model.tests().set_index("term")
    expected = table("factorial_expected.csv").set_index(["dataset", "item"])["value"]
    own = expected.loc["deanvoss_steel_bar"]
    error = own["SS error df72"] / 72
    assert model.variance_components["variance"].iloc[0] == pytest.approx(error, rel=1e-9)
    names = {
        "SS A heat treatment": "heat",
        "SS B machine": "machine",
        "SS C time": "time",
        "SS AB": "heat:machine",
        "SS AC": "heat:time",
        "SS BC": "machine:time",
        "SS ABC": "heat:machine:time",
    }
    for item, term in names.items():
        square = ours.loc[term, "statistic"] * ours.loc[term, "df"] * error
        assert square == pytest.approx(own[item], rel=1e-7), term
        assert ours.loc[term, "df_error"] == 72
    assert ours.loc["machine", "statistic"] == pytest.approx(own["F,p B"], abs=5e-6)
    assert ours.loc["heat", "p_value"] == pytest.approx(0.00014562, abs=5e-9)  # printed beside F


def analysed(name: str) -> qb.Analysis:
    return qb.analyse(qb.read_folder(ROOT / "data" / name)[2])


def published_values(dataset: str) -> pd.Series:
    own = table("factorial_expected.csv")
    return own[own["dataset"] == dataset].set_index("item")["value"]


def test_the_steel_bars_as_a_study_give_the_published_analysis() -> None:
    # The numbers are those of published/factorial/deanvoss_steel_bar.csv, through the whole path.
    model = analysed("steel_bars").models["length"]
    expected = published_values("deanvoss_steel_bar")
    tests = model.tests().set_index("term")
    assert tests.loc["heat_treatment", "statistic"] == pytest.approx(expected["F,p A"], abs=5e-6)
    assert tests.loc["machine", "statistic"] == pytest.approx(expected["F,p B"], abs=5e-6)
    assert tests.loc["machine:time", "statistic"] == pytest.approx(expected["F,p BC"], abs=5e-6)
    assert (tests["df_error"] == 72).all()
    frame = data("factorial/deanvoss_steel_bar.csv")
    assert sorted(model.coupons["value"]) == sorted(frame["y"])


def test_the_springs_as_a_study_give_the_published_effects() -> None:
    # Box and Bisgaard (1987); the same list stands in the NIST/SEMATECH e-Handbook, 5.5.9.
    analysis = analysed("springs")
    model, expected = (
        analysis.models["crack_free_percent"],
        published_values("box_bisgaard_springs"),
    )
    effects = {"steel_temp": "T", "carbon": "C", "oil_temp": "O"}
    for key, item in effects.items():
        assert analysis.finding(key).estimate == pytest.approx(expected[item], abs=1e-9)
    tests = model.tests().set_index("term")
    left_over = expected["TxCxO"] ** 2
    for term, item in {"steel_temp:oil_temp": "TxO", "steel_temp:carbon": "TxC"}.items():
        assert tests.loc[term, "statistic"] == pytest.approx(expected[item] ** 2 / left_over)
    assert (tests["df_error"] == 1).all()


def test_the_leaf_springs_as_a_study_give_the_published_effects() -> None:
    # Pignatiello and Ramberg (1985) as in Wu and Hamada, chapter 5: effects on the mean height.
    analysis = analysed("leaf_springs")
    expected = published_values("leafspring_wuhamada_signs")
    names = {"furnace_temp": "B", "heating_time": "C", "transfer_time": "D", "hold_down_time": "E"}
    for key, item in {**names, "oil_temp": "Q"}.items():
        found = analysis.finding(key).estimate
        assert found == pytest.approx(expected[f"location effect {item}"], abs=5e-8), key


def test_the_leaf_springs_are_judged_on_runs_and_not_on_springs() -> None:
    # By hand: 16 run means, nine effects in the model, so six are left; each effect has the square
    # 4 effect^2 on run means, and the mean square is the mean of the six squares left.
    model = analysed("leaf_springs").models["height_in"]
    frame = model.coupons.groupby("furnace_load").agg(
        {"value": "mean", **dict.fromkeys(FIVE, "first")}
    )
    signs = {name: np.where(frame[name] == "high", 1.0, -1.0) for name in FIVE}
    words = [*((n,) for n in FIVE), *((n, "oil_temp") for n in FIVE[:4])]
    columns = np.column_stack([np.ones(16), *(np.prod([signs[n] for n in w], 0) for w in words)])
    residual = frame["value"] - columns @ (columns.T @ frame["value"] / 16)
    square = float((residual**2).sum() / 6)
    effect = float(columns[:, 5] @ frame["value"] / 8)
    row = model.tests().set_index("term").loc["oil_temp"]
    assert row["statistic"] == pytest.approx(4 * effect**2 / square)
    assert row["df_error"] == pytest.approx(6)
    assert row["stratum"] == "furnace_load"


FIVE = ["furnace_temp", "heating_time", "transfer_time", "hold_down_time", "oil_temp"]
