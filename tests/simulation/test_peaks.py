"""Coverage of peaks, shifts, heights and windows at known truths.

Slow lane: ``pytest -m simulation -rP`` prints the measured rates. Nominal .95; the project promises
.93 to .97 in realistic plans (8 to 12 loads). A rate is judged with its binomial error (2.5
standard errors): with 10,000 studies, where the test is taken at the truth, .924 to .974; with
1,500, .914 to .981. Exceptions stand beside their cells: what a working window calls certain or
possible, up to 1; heights up to .99 (the wider set of flat curves); shifts with unequal curvature
from .925; unlike scatter; a cubic truth.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from quenchbook.fit.fitted_curve import FittedCurve, one_curvature, polynomial_rows
from quenchbook.fit.inversion import hull, t_limit
from quenchbook.fit.peak_height import height_of
from quenchbook.fit.peak_shift import shift_set
from quenchbook.fit.peaks import PeakPlace, place_of_curve
from quenchbook.fit.precision import Precision
from quenchbook.fit.strata import Strata, strata_of
from quenchbook.fit.stratum_covariance import NoisyRows, noisy_rows, stratum_covariance
from quenchbook.fit.target_window import content_limit
from quenchbook.fit.working_window import end_accepted
from quenchbook.study.terms import Terms, Variable

pytestmark = pytest.mark.simulation

STUDIES = 1500
MANY = 10_000  # where only the test at the truth is needed
FEW = 100  # where a set is compared with the test, study by study
WIDE = 2.5  # binomial standard errors
COUPON_SD = 0.5
LOW, HIGH = 940.0, 1060.0
CENTRE, HALF = 1000.0, 60.0
PEAKS = {"a": 975.0, "b": 990.0, "c": 1010.0, "d": 1090.0}  # d lies outside the range
BEND = -1.3  # coefficient of x^2 [HRC]


def is_between(rate: float, low: float, high: float, studies: int = STUDIES) -> bool:
    below, above = (WIDE * math.sqrt(p * (1 - p) / studies) for p in (low, high))
    return low - below <= rate <= high + above


def plan(
    temperatures: int, loads: int, *, group: str = "route", by_load: bool = False
) -> pd.DataFrame:
    """Loads at each temperature; routes inside each load, or one lot for each load."""
    rows = []
    levels = "ab" if group == "lot" else "abcd"
    for temp, number in itertools.product(np.linspace(LOW, HIGH, temperatures), range(loads)):
        load = f"{temp:.0f}-{number}"
        each = 8 // len(levels)
        own = (
            [levels[number % 2]] * 8
            if by_load
            else [level for level in levels for _ in range(each)]
        )
        rows += [(load, float(temp), level) for level in own]
    return pd.DataFrame(rows, columns=["load", "temp", group])


def crossed_plan() -> pd.DataFrame:
    """Twelve loads of eight, cold batches of two, crossed temper batches, on three days."""
    rows = []
    for number in range(12):
        temp = (LOW, 980.0, 1020.0, HIGH)[(number + number // 4) % 4]
        for route, temper in itertools.product("abcd", "pq"):
            oven = f"{temper}{(number // 2)}"
            rows.append((f"L{number}", temp, route, f"L{number}{route}", oven, temper, number // 4))
    columns = ["load", "temp", "route", "cold", "oven", "temper", "day"]
    return pd.DataFrame(rows, columns=columns)


def terms_of(frame: pd.DataFrame, group: str) -> Terms:
    temps = tuple(sorted(float(t) for t in frame["temp"].unique()))
    variables = [Variable("temp", "temp", temps, 2)]
    variables.append(Variable(group, group, tuple(sorted(frame[group].unique()))))
    names = ["temp", group, f"temp:{group}"]
    if "temper" in frame:
        variables.append(Variable("temper", "temper", ("p", "q")))
        variables.append(Variable("day", "day", tuple(sorted(frame["day"].unique()))))
        names += ["temper", "day"]
    return Terms(tuple(variables), tuple(names), blocks=("day",) if "temper" in frame else ())


def units_of(frame: pd.DataFrame) -> list[str]:
    return [unit for unit in ("load", "cold", "oven") if unit in frame]


def studies_of(
    frame: pd.DataFrame,
    group: str,
    load_sd: float,
    bends: dict[str, float],
    seed: int,
    studies: int = STUDIES,
) -> np.ndarray:
    rng = np.random.default_rng(seed)
    x = (frame["temp"].to_numpy() - CENTRE) / HALF
    peak = np.array([(PEAKS[level] - CENTRE) / HALF for level in frame[group]])
    bend = np.array([bends.get(level, BEND) for level in frame[group]])
    offset = np.array([ord(level) - ord("a") for level in frame[group]]) * 0.4
    truth = 62.0 + offset + bend * (x - peak) ** 2
    y = truth[:, None] + rng.normal(0, COUPON_SD, (len(frame), studies))
    for unit in units_of(frame):
        codes = pd.factorize(frame[unit])[0]
        sd = load_sd if unit == "load" else 0.4 * load_sd
        y += rng.normal(0, sd, (codes.max() + 1, studies))[codes]
    return y


def curve(noise: NoisyRows, strata: Strata) -> FittedCurve:
    spare = strata.stage("load").df
    return FittedCurve(noise, 2, CENTRE, HALF, "temp", None, 4, spare, "loads")


def with_losses(frame: pd.DataFrame, seed: int = 3) -> pd.DataFrame:
    return frame.sample(frac=0.88, random_state=seed).sort_index().reset_index(drop=True)


PLANS = {
    "8 loads": plan(4, 2),
    "10 loads": plan(5, 2),
    "10 loads, 12 % lost": with_losses(plan(5, 2)),
    "12 loads, crossed tempers, cold batches, days": crossed_plan(),
}
HEIGHTS = ("8 loads", "12 loads, crossed tempers, cold batches, days")


def curves_of(
    frame: pd.DataFrame, group: str, level: str, y: np.ndarray
) -> tuple[Strata, NoisyRows]:
    terms = terms_of(frame, group)
    strata = strata_of(frame, terms, units_of(frame))
    assert not strata.dropped
    rows = polynomial_rows(terms, "temp", {group: level}, CENTRE, HALF, 2)
    return strata, noisy_rows(stratum_covariance(strata), Precision(strata, y), rows)


def covers(place: PeakPlace, truth: float) -> bool:
    """Whether the set holds the truth; beyond the range the set before it is cut to the range."""
    if LOW < truth < HIGH:
        return bool(place.conf_low <= truth <= place.conf_high)
    assert any(first <= truth <= last for first, last in place.pieces) <= (place.conf_high >= truth)
    return any(first <= truth <= last for first, last in place.pieces)


@pytest.mark.parametrize("load_sd", [0.0, 0.4])
@pytest.mark.parametrize("name", list(PLANS))
def test_sets_of_a_peak_and_of_its_height_keep_their_coverage(name: str, load_sd: float) -> None:
    """Also for route d, whose peak lies outside the range: there the set before the cut is judged,
    since an open end always covers it. Heights are slow, and stand in two cells."""
    frame = PLANS[name]
    y = studies_of(frame, "route", load_sd, {}, 11)
    for level in ("b", "d"):
        strata, noise = curves_of(frame, "route", level, y)
        places = [place_of_curve(curve(noise.one(i), strata)) for i in range(STUDIES)]
        rate = float(np.mean([covers(place, PEAKS[level]) for place in places]))
        outcomes = pd.Series([place.outcome for place in places]).value_counts(normalize=True)
        print(f"{name}, load sd {load_sd}, peak {PEAKS[level]:.0f}: covered {rate:.3f}, "
              f"{outcomes.round(2).to_dict()}")  # fmt: skip
        assert is_between(rate, 0.93, 0.97)
        if load_sd == 0.0 or level == "d" or name not in HEIGHTS:
            continue
        best = min(max(PEAKS[level], LOW), HIGH)
        height = 62.0 + 0.4 * (ord(level) - ord("a")) + BEND * ((best - PEAKS[level]) / HALF) ** 2
        heights = [height_of(place) for place in places]
        tall = float(np.mean([own.conf_low <= height <= own.conf_high for own in heights]))
        print(f"{name}, load sd {load_sd}, peak {PEAKS[level]:.0f}: height {tall:.3f}")
        assert is_between(tall, 0.93, 0.99)  # the wider set for flat curves: up to .99


@pytest.mark.parametrize("load_sd", [0.0, 0.2, 0.4, 0.8])
@pytest.mark.parametrize("name", list(PLANS))
def test_slope_at_the_true_peak_is_rejected_one_time_in_twenty(name: str, load_sd: float) -> None:
    """The inversion itself, at peaks inside and outside the range, in many more studies."""
    frame = PLANS[name]
    y = studies_of(frame, "route", load_sd, {}, 15, MANY)
    for level, peak in PEAKS.items():
        _, noise = curves_of(frame, "route", level, y)
        place = (peak - CENTRE) / HALF
        rate = accepted_at(noise, [0.0, 1.0, 2 * place])
        print(f"{name}, load sd {load_sd}, peak {peak:.0f}: accepted {rate:.4f}")
        assert is_between(rate, 0.93, 0.97, MANY)


@pytest.mark.parametrize("load_sd", [0.0, 0.4])
@pytest.mark.parametrize("name", list(PLANS))
def test_ends_of_the_working_window_keep_their_coverage(name: str, load_sd: float) -> None:
    frame = PLANS[name]
    y = studies_of(frame, "route", load_sd, {}, 12)
    strata, noise = curves_of(frame, "route", "b", y)
    away = math.sqrt(0.3 / -BEND)
    middle = (PEAKS["b"] - CENTRE) / HALF
    grid = np.linspace(-1, 1, 61)
    inside = np.abs(grid - middle) <= away
    hits = {"lower": 0, "upper": 0, "certain": 0, "possible": 0}
    for i in range(STUDIES):
        own = curve(noise.one(i), strata)
        hits["lower"] += bool(end_accepted(own, np.array([middle - away]), 0.3, 1)[0])
        hits["upper"] += bool(end_accepted(own, np.array([middle + away]), 0.3, -1)[0])
        free = ~end_accepted(own, grid, 0.3, 1) & ~end_accepted(own, grid, 0.3, -1)
        _, steep, bent = own.noise.estimates[:, 0]
        turn, root = steep + 2 * bent * grid, 2 * math.sqrt(0.3 * max(-bent, 0.0))
        sure = free & (turn - root < 0) & (turn + root > 0)
        never = free & ~sure
        hits["certain"] += not (sure & ~inside).any()
        hits["possible"] += not (never & inside).any()
    rates = {key: count / STUDIES for key, count in hits.items()}
    print(f"{name}, load sd {load_sd}: {rates}")
    assert is_between(rates["lower"], 0.93, 0.97)
    assert is_between(rates["upper"], 0.93, 0.97)
    assert is_between(rates["certain"], 0.96, 1.0)
    assert is_between(
        rates["possible"], 0.93, 1.0
    )  # the recipe: .91 to .92 for flat curves, none here


def shift_noise(
    frame: pd.DataFrame,
    group: str,
    pair: tuple[str, str],
    y: np.ndarray,
) -> tuple[Strata, NoisyRows]:
    """Slope difference and common coefficient of x^2."""
    mix = terms_of(frame, group)
    coded = one_curvature(mix, "temp", group)
    strata = strata_of(frame, coded, units_of(frame))
    assert not strata.dropped
    first, second = (
        polynomial_rows(mix, "temp", {group: level}, CENTRE, HALF, 2, coded) for level in pair
    )
    rows = np.array([first[1] - second[1], (first[2] + second[2]) / 2])
    return strata, noisy_rows(stratum_covariance(strata), Precision(strata, y), rows)


def shift_rates(
    frame: pd.DataFrame, group: str, load_sd: float, bends: dict[str, float], pair: tuple[str, str]
) -> tuple[float, float]:
    """Shares of studies that accept the true shift, and that exclude none."""
    _, noise = shift_noise(frame, group, pair, studies_of(frame, group, load_sd, bends, 13, MANY))
    truth = (PEAKS[pair[0]] - PEAKS[pair[1]]) / HALF
    return accepted_at(noise, [1.0, 2 * truth]), 1 - accepted_at(noise, [1.0, 0.0])


@pytest.mark.parametrize("name", list(PLANS))
def test_a_set_of_shifts_holds_the_truth_where_its_test_accepts_it(name: str) -> None:
    """So that the rates of the test at the truth are the coverage of the set; it may lose a little
    by the rule that a peak bends down, and gain a little where its hull closes a gap."""
    frame, differ = PLANS[name], []
    for load_sd, pair in itertools.product((0.0, 0.4), (("b", "a"), ("d", "a"))):
        y = studies_of(frame, "route", load_sd, {}, 13, FEW)
        strata, noise = shift_noise(frame, "route", pair, y)
        truth = PEAKS[pair[0]] - PEAKS[pair[1]]
        estimate, error, df = (part[0] for part in noise.of(np.array([[1.0, 2 * truth / HALF]])))
        accepted = np.abs(estimate) <= t_limit(df, 0.95) * error
        for i in range(FEW):
            low, high = hull(shift_set(curve(noise.one(i), strata), 0.95))
            differ.append(bool(low <= truth <= high) != bool(accepted[i]))
    print(f"{name}: set and test differ in {np.mean(differ):.4f} of {len(differ)} studies")
    assert np.mean(differ) <= 0.01


def test_unequal_curvature_costs_a_shift_little() -> None:
    """Curvatures of -1.5 against -0.9 covered .928 to .949 when the recipe was made."""
    rate, _ = shift_rates(PLANS["10 loads"], "route", 0.2, {"a": -1.5, "c": -0.9}, ("c", "a"))
    print(f"unequal curvature: covered {rate:.4f}")
    assert is_between(rate, 0.925, 0.97, MANY)


@pytest.mark.parametrize("load_sd", [0.0, 0.4])
def test_shifts_of_lots_keep_their_coverage_and_cost_power_across_loads(load_sd: float) -> None:
    """Load noise enters where lots are in different loads."""
    together, found = shift_rates(plan(5, 2, group="lot"), "lot", load_sd, {}, ("b", "a"))
    apart, seldom = shift_rates(
        plan(5, 2, group="lot", by_load=True), "lot", load_sd, {}, ("b", "a")
    )
    print(f"lots, load sd {load_sd}: same loads {together:.4f} (found {found:.2f}), different "
          f"loads {apart:.4f} (found {seldom:.2f})")  # fmt: skip
    assert is_between(together, 0.93, 0.97, MANY)
    assert is_between(apart, 0.93, 0.97, MANY)
    assert found > seldom + 0.2 or load_sd == 0.0


@pytest.mark.parametrize("load_sd", [0.0, 0.4])
@pytest.mark.parametrize("name", list(PLANS))
def test_tolerance_limits_of_a_target_window_keep_their_level(name: str, load_sd: float) -> None:
    """The lower limit lies below what 90 % of new coupons reach with about 95 % confidence."""
    from scipy import special

    frame = PLANS[name]
    y = studies_of(frame, "route", load_sd, {}, 14)
    strata, noise = curves_of(frame, "route", "b", y)
    covariance = stratum_covariance(strata)
    parts = covariance.total[:, None] * noise.squares
    totals, dfs = parts.sum(axis=0), parts.sum(axis=0) ** 2 / (parts**2 / noise.df).sum(axis=0)
    batches = len(units_of(frame)) - 1
    true_sd = math.sqrt(COUPON_SD**2 + load_sd**2 * (1 + 0.16 * batches))
    x = np.array([-0.5])
    truth = 62.4 + BEND * (x[0] - (PEAKS["b"] - CENTRE) / HALF) ** 2
    truth -= special.ndtri(0.9) * true_sd
    low = high = 0
    for i in range(STUDIES):
        own = curve(noise.one(i), strata)
        below, above = (
            content_limit(own, x, float(totals[i]), float(dfs[i]), 0.9, level)[0]
            for level in (0.95, 0.05)
        )
        low += below <= truth
        high += above >= truth
    print(f"{name}, load sd {load_sd}: lower limit {low / STUDIES:.3f}, upper {high / STUDIES:.3f}")
    assert is_between(low / STUDIES, 0.93, 0.97)
    assert is_between(high / STUDIES, 0.93, 0.97)


@pytest.mark.parametrize("load_sd", [0.0, 0.2, 0.4, 0.8])
@pytest.mark.parametrize("name", list(PLANS))
def test_the_true_shift_is_rejected_one_time_in_twenty(name: str, load_sd: float) -> None:
    """The inversion itself, with df that follow the shift, in many more studies."""
    frame = PLANS[name]
    y = studies_of(frame, "route", load_sd, {}, 16, MANY)
    for pair in (("b", "a"), ("d", "a")):
        shift = (PEAKS[pair[0]] - PEAKS[pair[1]]) / HALF
        rate = accepted_at(shift_noise(frame, "route", pair, y)[1], [1.0, 2 * shift])
        print(f"{name}, load sd {load_sd}, shift {60 * shift:.0f}: accepted {rate:.4f}")
        assert is_between(rate, 0.93, 0.97, MANY)


def accepted_at(noise: NoisyRows, row: list[float]) -> float:
    estimate, error, df = (part[0] for part in noise.of(np.array([row])))
    return float((np.abs(estimate) <= t_limit(df, 0.95) * error).mean())


def test_unlike_scatter_of_routes_is_a_known_exception() -> None:
    """Half and one and a half times the scatter: quiet route .98, noisy one .885 when the recipe
    was made. The answer prints the scatter of each route and warns from a ratio of two."""
    frame = PLANS["10 loads"]
    share = frame["route"].map({"a": 0.5, "b": 1.5, "c": 1.0, "d": 1.0}).to_numpy()
    rng = np.random.default_rng(17)
    loads = pd.factorize(frame["load"])[0]
    x = (frame["temp"].to_numpy() - CENTRE) / HALF
    peak = (frame["route"].map(PEAKS).to_numpy() - CENTRE) / HALF
    y = (62.0 + BEND * (x - peak) ** 2)[:, None] + rng.normal(0, 0.2, (10, MANY))[loads]
    y += share[:, None] * rng.normal(0, COUPON_SD, (len(frame), MANY))
    rates = {}
    for level in ("a", "b"):
        _, noise = curves_of(frame, "route", level, y)
        rates[level] = accepted_at(noise, [0.0, 1.0, 2 * (PEAKS[level] - CENTRE) / HALF])
    print(f"unlike scatter: quiet {rates['a']:.3f}, noisy {rates['b']:.3f}")
    assert rates["a"] > 0.96
    assert 0.85 < rates["b"] < 0.92


@pytest.mark.parametrize("size", [0.3, 0.6])
def test_a_cubic_truth_is_a_known_exception_that_the_second_curve_mends(size: float) -> None:
    """The quadratic alone covered .80 to .94 when the recipe was made, .86 (cubic of 0.3 HRC) and
    .70 (0.6 HRC) in this plan; with the common cubic it is .93 to .95 there and here."""
    frame = PLANS["10 loads"]
    y = studies_of(frame, "route", 0.2, {}, 19, MANY)
    x = (frame["temp"].to_numpy() - CENTRE) / HALF
    y += size * (x**3 - 0.6 * x)[:, None]
    middle = (PEAKS["b"] - CENTRE) / HALF
    roots = np.roots([3 * size, 2 * BEND, -2 * BEND * middle - 0.6 * size])
    place = float(min(roots.real, key=lambda root: abs(root - middle)))
    _, noise = curves_of(frame, "route", "b", y)
    square = accepted_at(noise, [0.0, 1.0, 2 * place])
    terms = terms_of(frame, "route")
    temps = terms.variable("temp").levels
    cube = Variable("cube", "temp", temps, 3, first_power=3)
    coded = replace(terms, variables=(*terms.variables, cube), names=(*terms.names, "cube"))
    strata = strata_of(frame, coded, units_of(frame))
    rows = polynomial_rows(terms, "temp", {"route": "b"}, CENTRE, HALF, 3, coded)
    noise = noisy_rows(stratum_covariance(strata), Precision(strata, y), rows)
    mended = accepted_at(noise, [0.0, 1.0, 2 * place, 3 * place**2])
    print(f"cubic of {size} HRC: quadratic {square:.3f}, with a common cubic {mended:.3f}")
    assert 0.65 < square < 0.93  # the exception: if it were kept, the second curve were useless
    assert is_between(mended, 0.93, 0.97, MANY)
