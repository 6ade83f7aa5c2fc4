from __future__ import annotations

import itertools

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from tests.conftest import REFERENCE

from quenchbook.errors import EstimabilityError
from quenchbook.fit.formula import formula_terms
from quenchbook.fit.precision import Precision
from quenchbook.fit.strata import Strata, strata_of
from quenchbook.outlook.power import PlannedContrast, PlannedPrecision, PlannedTerm


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
        whole = own.term("temp").power(extremes(row.a, row.half_range_whole))
        sub = own.term("route").power(extremes(row.b, row.half_range_sub))
        assert whole == pytest.approx(row.power_whole, abs=5.1e-6)
        assert sub == pytest.approx(row.power_sub, abs=5.1e-6)


def test_power_of_a_contrast_of_one_df_is_that_of_its_term() -> None:
    _, strata = plan(2, 3, 2, 2)
    own = PlannedPrecision(strata, {"load": 0.09, "coupon": 0.25})
    for term, effect in (("temp", 0.4), ("route", 0.3)):
        row = np.zeros(strata.coefficient_count)
        row[strata.slices[term]] = 2.0  # first level less second
        by_term = own.term(term).power(np.array([effect]))
        assert own.contrast(row).power(2 * effect) == pytest.approx(by_term, rel=1e-9)


def test_no_effect_has_exactly_the_level() -> None:
    _, strata = plan(3, 2, 3, 2)
    own = PlannedPrecision(strata, {"load": 0.16, "coupon": 0.25})
    assert own.term("temp").power(np.zeros(2)) == pytest.approx(0.05, abs=1e-12)
    row = np.zeros(strata.coefficient_count)
    row[strata.slices["temp"]] = [1.0, -1.0]
    assert own.contrast(row).power(0.0) == pytest.approx(0.05, abs=1e-9)


@pytest.mark.parametrize("difference", [0.0, 0.3, 0.8])
def test_power_and_equivalence_agree_with_simulated_studies(difference: float) -> None:
    frame, strata = plan(3, 2, 4, 2)
    frame = frame.drop(index=[3, 17, 30]).reset_index(drop=True)
    strata = strata_of(frame, formula_terms("temp * route", frame)[0], ["load"])
    variances, margin = {"load": 0.04, "coupon": 0.16}, 0.6
    row = np.zeros(strata.coefficient_count)
    row[strata.slices["route"]] = [1.0, -1.0, 0.0]
    expected = PlannedPrecision(strata, variances).contrast(row)
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
    assert found == pytest.approx(expected.power(difference), abs=0.012)
    by_formula = expected.equivalence_power(margin, difference=difference)
    assert equivalent == pytest.approx(by_formula, abs=0.012)


def test_noise_that_is_not_told_is_not_guessed() -> None:
    _, strata = plan(2, 2, 2, 2)
    with pytest.raises(EstimabilityError, match="The noise of load is not told"):
        PlannedPrecision(strata, {"coupon": 0.2})


def test_a_stratum_without_spare_units_has_no_power() -> None:
    _, strata = plan(3, 1, 3, 2)
    own = PlannedPrecision(strata, {"load": 0.1, "coupon": 0.2})
    assert own.term("temp") is None
    row = np.zeros(strata.coefficient_count)
    row[strata.slices["temp"]] = [1.0, -1.0]
    assert own.contrast(row) is None


def test_a_detectable_difference_is_found_with_the_power_it_was_asked_for() -> None:
    _, strata = plan(3, 2, 3, 2)
    own = PlannedPrecision(strata, {"load": 0.16, "coupon": 0.25})
    row = np.zeros(strata.coefficient_count)
    row[strata.slices["temp"]] = [1.0, -1.0]
    planned = own.contrast(row)
    found = planned.detectable_difference(0.8)
    assert planned.power(found) == pytest.approx(0.8, abs=1e-5)
    term = own.term("temp")
    size = term.detectable_difference(np.array([0.5, 0.0]), 0.9)
    assert term.power(size * np.array([0.5, 0.0])) == pytest.approx(0.9, abs=1e-4)


def test_a_power_that_no_test_can_have_is_refused() -> None:
    with pytest.raises(EstimabilityError, match=r"power is 0.01"):
        PlannedContrast(0.1, 5.0, 0.1).detectable_difference(0.01)


@pytest.mark.parametrize("df", [1.0, 2.3, 9.0, 60.0, 4000.0])
@pytest.mark.parametrize("shift", [0.0, 1e-9, 0.5, 5.0, 38.0, 1000.0])
def test_power_is_never_missing_and_grows_with_the_difference(df: float, shift: float) -> None:
    """Places where scipy's noncentral distributions are nan or wrong (see power.py)."""
    planned = PlannedContrast(1.0, df, 1.0)
    power = planned.power(shift)
    assert 0.05 - 1e-9 <= power <= 1.0 + 1e-12
    assert planned.power(shift + 0.5) >= power - 1e-12


CENTRAL = pd.read_csv(REFERENCE / "tables" / "power_noncentral.csv")


@pytest.mark.parametrize(
    "row", CENTRAL[CENTRAL["id"].str.startswith("ncf")].to_dict("records"), ids=lambda r: r["id"]
)
def test_power_of_an_f_test_agrees_with_r(row: dict) -> None:
    df, df_error, shift = (float(x.split("=")[-1]) for x in row["what"].split()[1:])
    own = PlannedTerm(int(df), df_error, np.eye(int(df)), 1.0, 1.0, "coupon")
    effect = np.zeros(int(df))
    effect[0] = np.sqrt(shift)
    assert own.power(effect) == pytest.approx(row["R_value"], abs=2e-9)


def balanced(groups: int, each: int) -> PlannedPrecision:
    frame = pd.DataFrame({"group": np.repeat([f"G{i}" for i in range(groups)], each)})
    strata = strata_of(frame, formula_terms("group", frame)[0], [])
    return PlannedPrecision(strata, {"coupon": 1.0})


def test_power_of_two_samples_agrees_with_cohen() -> None:
    """Cohen 1988, example 2.1, page 40 (file power_noncentral.csv, row t3)."""
    own = balanced(2, 30)
    assert own.contrast(np.array([0.0, 2.0])).power(2 / 2.8) == pytest.approx(
        0.776488876644172, abs=1e-8
    )


def test_power_of_four_groups_agrees_with_cohen() -> None:
    """Cohen 1988, example 8.1, page 357: f .28, four groups of 20 (row a1)."""
    own = balanced(4, 20)
    means = np.array([1.0, -1.0, 1.0, -1.0]) * 0.28  # standard deviation of the means is f
    assert own.term("group").power(means[:3]) == pytest.approx(0.514979292196859, abs=1e-8)


@pytest.mark.parametrize(("size", "wanted"), [(0.2, 393.4057), (0.5, 63.7656), (0.8, 25.5246)])
def test_sample_sizes_for_two_groups_lie_between_whole_numbers(size: float, wanted: float) -> None:
    """Cohen 1988/1992 conventional effect sizes: each group for power .80 (rows t6)."""
    below, above = (
        balanced(2, n).contrast(np.array([0.0, 2.0])).power(size)
        for n in (int(wanted), int(wanted) + 1)
    )
    assert below < 0.8 < above


def test_df_that_depend_much_on_the_noise_make_the_formula_rough() -> None:
    steady = PlannedContrast(0.35, 17.0, 0.35, ("cold_batch",), df_share=0.96)
    moving = PlannedContrast(0.35, 4.0, 0.35, ("cold_batch",), df_share=0.22)
    assert not steady.is_rough
    assert moving.is_rough
