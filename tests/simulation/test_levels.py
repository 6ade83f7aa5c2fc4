"""False-positive rates and coverage of the default method under no effect.

Slow lane: ``pytest -m simulation -rP`` prints the measured rates. Limits .040 to .060 are those the
project promises; with 20,000 responses a cell the standard error of a rate of .05 is .0015.
"""

from __future__ import annotations

import itertools
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from quenchbook.fit.formula import formula_terms
from quenchbook.fit.multiple import dunnett_quantile, studentized_range_quantile
from quenchbook.fit.precision import Precision
from quenchbook.fit.reml import cross_products, reml
from quenchbook.fit.small_sample import SmallSample
from quenchbook.fit.strata import Strata, strata_of
from quenchbook.study.terms import study_terms

sys.path.insert(0, str(Path(__file__).parent))
from plans import noise, prepared, three_strata, two_strata, with_losses, without_load

pytestmark = pytest.mark.simulation

RESPONSES = 20_000
LOAD_SDS = (0.0, 0.2, 0.4, 0.8)
THREE = "temp * route + route * temper + temp:temper"

PLANS = {
    "balanced": (two_strata((2, 2, 2, 2)), "temp * route", ["load"]),
    "one load lost": (without_load(two_strata((2, 2, 2, 2)), "L00"), "temp * route", ["load"]),
    "one load and a tenth of the coupons lost": (
        with_losses(without_load(two_strata((2, 2, 2, 2)), "L00"), 0.1, 1),
        "temp * route",
        ["load"],
    ),
    "3, 2 and 1 loads a level, a tenth lost": (
        with_losses(two_strata((3, 2, 1)), 0.1, 2),
        "temp * route",
        ["load"],
    ),
    "crossed temper batches, 15 % lost": (
        with_losses(three_strata(), 0.15, 1),
        THREE,
        ["load", "cold", "oven"],
    ),
}


def sds(units: list[str], load_sd: float) -> dict[str, float]:
    return {unit: load_sd if unit == "load" else load_sd / 2 for unit in units}


@pytest.mark.parametrize("name", PLANS)
def test_no_effect_is_called_real_in_five_per_cent(name: str) -> None:
    frame, formula, units = PLANS[name]
    strata = prepared(frame, formula, units)
    rng = np.random.default_rng(1)
    for load_sd in LOAD_SDS:
        own = Precision(strata, noise(frame, sds(units, load_sd), RESPONSES, rng))
        for term in strata.terms.names:
            rate = float(np.mean(own.test(term).p_value < 0.05))
            print(f"{name}, load sd {load_sd}: {term} {rate:.4f}")
            assert 0.040 <= rate <= 0.060


def test_no_effect_is_called_real_in_five_per_cent_of_demo_plans(
    plane_irons, plane_irons_matrix
) -> None:
    frame = plane_irons_matrix.frame
    units = ["furnace_load", "cold_batch", "temper_batch"]
    terms = study_terms(plane_irons, plane_irons.response("hardness_hrc"), frame)
    strata = strata_of(frame, terms, units)
    rng = np.random.default_rng(2)
    for sd in LOAD_SDS:
        own = Precision(strata, noise(frame, dict.fromkeys(units, sd), RESPONSES, rng))
        for term in strata.terms.names:
            if term not in terms.blocks:
                rate = float(np.mean(own.test(term).p_value < 0.05))
                print(f"demo plan, sd of every batch {sd}: {term} {rate:.4f}")
                assert 0.040 <= rate <= 0.060


def random_plan(rng: np.random.Generator, number: int) -> tuple[pd.DataFrame, str, list[str]]:
    if number % 4 == 0:
        frame = with_losses(
            three_strata(int(rng.integers(2, 4))), float(rng.uniform(0, 0.35)), number
        )
        return frame, THREE, ["load", "cold", "oven"]
    per_level = rng.integers(1, 4, int(rng.integers(2, 5)))
    per_level[0] += 1  # at least one temperature with two loads
    routes = "abcd"[: int(rng.integers(2, 5))]
    frame = two_strata(tuple(per_level.tolist()), routes=routes, each=int(rng.integers(1, 4)))
    return with_losses(frame, float(rng.uniform(0, 0.5)), number), "temp * route", ["load"]


def test_the_level_is_never_above_six_per_cent_in_200_random_plans() -> None:
    rng = np.random.default_rng(7)
    rates = []
    for number in range(200):
        frame, formula, units = random_plan(rng, number)
        strata = strata_of(frame, formula_terms(formula, frame)[0], units)
        load_sd = float(rng.choice(LOAD_SDS))
        own = Precision(strata, noise(frame, sds(units, load_sd), 10_000, rng))
        for term in strata.terms.names:
            test = own.test(term)
            if test is not None:
                rates.append((test.unit, float(np.mean(test.p_value < 0.05))))
    table = pd.DataFrame(rates, columns=["unit", "rate"]).groupby("unit")["rate"]
    print(table.describe().round(4).to_string())
    assert len(rates) > 500
    assert table.max().max() <= 0.060
    assert table.median().min() >= 0.045


def contrasts_of(strata: Strata) -> dict[str, np.ndarray]:
    """Contrasts in one stratum and across strata, as rows over the coefficients."""
    grid = strata.terms.reference_grid()
    rows = strata.terms.matrix(grid)

    def mean(**levels: str) -> np.ndarray:
        chosen = np.all([grid[name] == level for name, level in levels.items()], axis=0)
        return rows[chosen].mean(axis=0)

    first, *_, last = sorted(grid["temp"].unique())
    found = {
        "temperature": mean(temp=first) - mean(temp=last),
        "route": mean(route="a") - mean(route="b"),
        "one route at two temperatures": mean(temp=first, route="a") - mean(temp=last, route="a"),
        "two routes at two temperatures": mean(temp=first, route="a") - mean(temp=last, route="b"),
        "one temperature, two routes": mean(temp=first, route="a") - mean(temp=first, route="b"),
        "cell mean": mean(temp=first, route="a"),
    }
    found["difference of differences"] = (
        found["one route at two temperatures"] - mean(temp=first, route="b")
    ) + mean(temp=last, route="b")
    if "temper" in grid:
        found["temper"] = mean(temper="p") - mean(temper="q")
        found["one temper at two temperatures"] = mean(temper="p", temp=first) - mean(
            temper="p", temp=last
        )
        found["two tempers of one route"] = mean(temper="p", route="a") - mean(
            temper="q", route="a"
        )
    return found


@pytest.mark.parametrize("name", PLANS)
def test_intervals_of_contrasts_within_and_across_strata_cover(name: str) -> None:
    """Coverage .940 to .960, and two binomial standard errors (.0031) of these 20,000 responses."""
    frame, formula, units = PLANS[name]
    strata = prepared(frame, formula, units)
    rng = np.random.default_rng(3)
    found = []
    for load_sd in LOAD_SDS:
        own = Precision(strata, noise(frame, sds(units, load_sd), RESPONSES, rng))
        for words, row in contrasts_of(strata).items():
            estimate, std_error, df = own.of(row[None, :])
            rate = float(np.mean(np.abs(estimate) <= stats.t.ppf(0.975, df) * std_error))
            print(f"{name}, load sd {load_sd}: {words} {rate:.4f}")
            found.append(rate)
    assert min(found) >= 0.940 - 0.0031
    assert max(found) <= 0.960 + 0.0031


def test_means_of_crossed_plans_cover_whatever_batch_makes_the_noise() -> None:
    """A mean carries what the temper batches of its loads share (it covered .89 without)."""
    frame = with_losses(three_strata(), 0.15, 1)
    strata = prepared(frame, THREE, ["load", "cold", "oven"])
    grid = strata.terms.reference_grid()
    rows = strata.terms.matrix(grid)
    means = {
        "overall": rows.mean(axis=0),
        "one temperature": rows[grid["temp"] == grid["temp"].min()].mean(axis=0),
        "one route": rows[grid["route"] == "a"].mean(axis=0),
        "one temper": rows[grid["temper"] == "p"].mean(axis=0),
    }
    rng = np.random.default_rng(6)
    for oven_sd in (0.0, 0.4, 0.8):
        y = noise(frame, {"load": 0.0, "cold": 0.0, "oven": oven_sd}, RESPONSES, rng)
        own = Precision(strata, y)
        for words, row in means.items():
            estimate, std_error, df = own.of(row[None, :])
            rate = float(np.mean(np.abs(estimate) <= stats.t.ppf(0.975, df) * std_error))
            print(f"crossed plan, temper batch sd {oven_sd}: mean of {words} {rate:.4f}")
            assert 0.935 <= rate <= 0.970


@pytest.mark.parametrize("name", PLANS)
def test_false_verdicts_stay_below_their_share(name: str) -> None:
    """False `differs` at a true zero; false `equivalent` at a difference exactly at the margin."""
    frame, formula, units = PLANS[name]
    strata = prepared(frame, formula, units)
    asked = ("temperature", "route", "temper")
    rows = {words: row for words, row in contrasts_of(strata).items() if words in asked}
    rng = np.random.default_rng(4)
    for load_sd in (0.0, 0.2, 0.4):
        own = Precision(strata, noise(frame, sds(units, load_sd), RESPONSES, rng))
        for words, row in rows.items():
            estimate, std_error, df = own.of(row[None, :])
            differs = np.abs(estimate) > stats.t.ppf(0.975, df) * std_error
            half = stats.t.ppf(0.95, df) * std_error
            margin = 2.5 * float(np.median(half))  # wide enough that `equivalent` is reachable
            shifted = estimate + margin  # a true difference exactly at the margin
            equivalent = (shifted - half > -margin) & (shifted + half < margin)
            rates = float(differs.mean()), float(equivalent.mean())
            print(
                f"{name}, load sd {load_sd}: {words} false differs {rates[0]:.4f}, false equivalent {rates[1]:.4f}"
            )
            assert max(rates) <= 0.055


def critical(family: str, means: int, df: np.ndarray) -> np.ndarray:
    """Family-wise critical values of |t|, interpolated over 1/df between exact ones."""
    # The reciprocals go up so that np.interp can be used; a single df is met exactly.
    inverse = np.linspace(1 / df.max(), 1 / df.min(), 1 if np.ptp(df) == 0 else 25)
    exact = []
    for own in 1 / inverse:
        if family == "tukey":
            exact.append(studentized_range_quantile(0.95, means, own) / np.sqrt(2))
        elif family == "dunnett":
            exact.append(dunnett_quantile(0.95, means - 1, own))
        else:  # Holm rejects any true hypothesis among all-true ones only where Bonferroni does
            exact.append(stats.t.ppf(1 - 0.05 / (means * (means - 1)), own))
    return np.interp(1 / df, inverse, exact)


@pytest.mark.parametrize("name", PLANS)
def test_families_of_comparisons_keep_their_promise(name: str) -> None:
    """At least one false `differs` in a family of comparisons, all of them truly zero."""
    frame, formula, units = PLANS[name]
    strata = prepared(frame, formula, units)
    grid = strata.terms.reference_grid()
    rows = strata.terms.matrix(grid)
    rng = np.random.default_rng(8)
    for load_sd in (0.0, 0.4, 0.8):
        own = Precision(strata, noise(frame, sds(units, load_sd), RESPONSES, rng))
        for factor in ("temp", "route"):
            levels = sorted(grid[factor].unique())
            means = [rows[grid[factor] == level].mean(axis=0) for level in levels]
            pairs = np.array([a - b for a, b in itertools.combinations(means, 2)])
            estimate, std_error, df = own.of(pairs)
            statistic = np.abs(estimate) / std_error
            for family in ("tukey", "dunnett", "holm"):
                taken = slice(0, len(means) - 1) if family == "dunnett" else slice(None)
                bound = critical(family, len(means), df[taken])
                rate = float(np.mean((statistic[taken] > bound).any(axis=0)))
                print(f"{name}, load sd {load_sd}: {factor} {family} family-wise {rate:.4f}")
                assert 0.010 <= rate <= 0.055


def test_where_batches_are_incomplete_kenward_roger_keeps_its_level_and_gains() -> None:
    """Pairs of four routes in twelve loads: what `auto` uses for the route, against inside loads."""
    pairs = list(itertools.combinations("abcd", 2)) * 2
    rows = [
        (f"L{n:02d}", route) for n, pair in enumerate(pairs) for route in pair for _ in range(2)
    ]
    frame = pd.DataFrame(rows, columns=["load", "route"])
    strata = prepared(frame, "route", ["load"])
    fixed = strata.terms.matrix(frame)
    place = strata.slices["route"]
    row = np.zeros((1, fixed.shape[1]))
    row[0, place] = [1.0, -1.0, 0.0]
    rng = np.random.default_rng(5)
    for load_sd in LOAD_SDS:
        y = noise(frame, {"load": load_sd}, 5_000, rng)
        own = SmallSample(reml(cross_products(y - y.mean(axis=0), fixed, strata.codes)))
        rate = float(np.mean(own.kenward_roger(np.eye(fixed.shape[1])[place]).p_value < 0.05))
        estimate, std_error, df = own.of(row, "kenward_roger")
        half = stats.t.ppf(0.975, df) * std_error
        covers = float(np.mean(np.abs(estimate) <= half))
        inside = Precision(strata, y)
        _, inside_error, inside_df = inside.of(row)
        width = float(np.mean(half) / np.mean(stats.t.ppf(0.975, inside_df) * inside_error))
        print(
            f"incomplete loads, load sd {load_sd}: level {rate:.4f}, coverage {covers:.4f}, width {width:.2f}"
        )
        assert 0.030 <= rate <= 0.060
        assert 0.940 <= covers <= 0.970
        assert width < 1.0
