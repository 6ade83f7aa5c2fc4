"""Coverage of the tempers that give a wanted value, under known truth.

A set by test inversion holds the true temper exactly when the interval of the mean at that temper
holds the wanted value, so coverage is measured there, on many responses at once; the last test
goes through the whole answer. ``pytest -m simulation -rP`` prints the rates.
"""

from __future__ import annotations

import itertools
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import quenchbook as qb
from quenchbook.fit.formula import formula_terms
from quenchbook.fit.mean_rows import mean_rows
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.precision import Precision
from quenchbook.fit.strata import strata_of
from quenchbook.fit.tempering import temper_curve, temper_set
from quenchbook.records.reading import Records

sys.path.insert(0, str(Path(__file__).parent))
from plans import noise

pytestmark = pytest.mark.simulation

RESPONSES = 10_000
LOAD_SDS = (0.0, 0.2, 0.4, 0.8)
TEMPERS = (150.0, 175.0, 200.0)


def nested_tempers(loads: int, coupons: int) -> pd.DataFrame:
    """Each load is parted into three temper batches of its own."""
    rows = [
        (f"L{load}", "hot" if load % 2 else "cool", f"L{load}T{temper:.0f}", temper, route)
        for load, temper in itertools.product(range(loads), TEMPERS)
        for route, _ in itertools.product("ab", range(coupons))
    ]
    return pd.DataFrame(rows, columns=["load", "heat", "batch", "temper", "route"])


def shared_tempers(loads: int, ovens: int) -> pd.DataFrame:
    """Temper batches hold coupons of all loads."""
    rows = [
        (f"L{load}", "hot" if load % 2 else "cool", f"T{temper:.0f}{oven}", temper, route)
        for load, temper, oven in itertools.product(range(loads), TEMPERS, range(ovens))
        for route in "ab"
    ]
    return pd.DataFrame(rows, columns=["load", "heat", "batch", "temper", "route"])


PLANS = {
    "8 loads, own temper batches": nested_tempers(8, 2),
    "12 loads, own temper batches": nested_tempers(12, 1),
    "8 loads, 9 shared temper batches": shared_tempers(8, 3),
    "8 loads, 9 shared temper batches, a tenth lost": shared_tempers(8, 3)
    .sample(frac=0.9, random_state=4)
    .reset_index(drop=True),
}


def coverage(precision: Precision, rows: np.ndarray) -> np.ndarray:
    """Share of responses whose interval of a mean of zero holds zero, for each row."""
    estimate, std_error, df = precision.of(rows)
    return np.mean(np.abs(estimate) <= stats.t.ppf(0.975, df) * std_error, axis=1)


@pytest.mark.parametrize("name", PLANS)
def test_the_set_holds_the_true_temper_at_its_nominal_rate(name: str) -> None:
    frame = PLANS[name]
    terms, _ = formula_terms(
        "heat + route * temper", frame, shapes={"temper": "quadratic"}, units=["load", "batch"]
    )
    strata = strata_of(frame, terms, ["load", "batch"])
    rows, _ = mean_rows(
        strata.terms, ["temper"], {"temper": (150.0, 160.0, 190.0), "route": ("a",)}
    )
    rng = np.random.default_rng(8)
    for load_sd in LOAD_SDS:
        y = noise(frame, {"load": load_sd, "batch": load_sd / 2}, RESPONSES, rng)
        rates = coverage(Precision(strata, y), rows)
        print(f"{name}, load sd {load_sd}: {', '.join(f'{rate:.4f}' for rate in rates)}")
        assert np.all((rates >= 0.93) & (rates <= 0.97))


def test_the_set_holds_the_true_temper_in_the_plan_of_the_demonstration(
    plane_irons_records: Records,
) -> None:
    model = qb.mixed_model(plane_irons_records, "hardness_hrc")
    curve = temper_curve(model, at={"cold_route": "dry_ice"})
    rows = curve.rows([150.0, 160.0, 170.0])
    frame = curve.model.coupons
    rng = np.random.default_rng(9)
    for load_sd in LOAD_SDS:
        sds = {"furnace_load": load_sd, "cold_batch": load_sd / 3, "temper_batch": load_sd / 3}
        y = noise(frame, sds, RESPONSES, rng)
        rates = coverage(Precision(curve.model.strata, y), rows)
        print(f"demonstration, load sd {load_sd}: {', '.join(f'{rate:.4f}' for rate in rates)}")
        assert np.all((rates >= 0.93) & (rates <= 0.97))


def simulated(frame: pd.DataFrame, rng: np.random.Generator, slope: float) -> MixedModel:
    y = noise(frame, {"load": 0.2, "batch": 0.1}, 1, rng)[:, 0]
    own = frame.assign(y=62.0 + slope * (frame["temper"] - 175.0) + y)
    return qb.mixed_model(
        own, "y", fixed="heat + route * temper", strata=["load", "batch"],
        shapes={"temper": "levels"},
    )  # fmt: skip


@pytest.mark.parametrize(("slope", "truth"), [(-0.04, 165.0), (-0.04, 199.0), (0.0, 180.0)])
def test_the_whole_answer_covers_also_at_the_edge_and_where_the_temper_does_nothing(
    slope: float, truth: float
) -> None:
    frame, studies = PLANS["8 loads, own temper batches"], 250
    rng = np.random.default_rng(11)
    held = empty = everything = 0
    for _ in range(studies):
        curve = temper_curve(simulated(frame, rng, slope), at={"route": "a"})
        found = temper_set(curve, 62.0 + slope * (truth - 175.0))
        held += any(low <= truth <= high for low, high in found.pieces)
        empty += found.is_empty
        everything += found.is_everything
    rates = [count / studies for count in (held, empty, everything)]
    print(f"slope {slope}, truth {truth}: held, empty, everything {rates}")
    # nominal .95; binomial limits at three standard errors of 250 studies about .93 and .97
    room = 3 * np.sqrt(0.95 * 0.05 / studies)
    assert 0.93 - room <= rates[0] <= min(0.97 + room, 1.0)
    assert rates[1] <= 0.07
