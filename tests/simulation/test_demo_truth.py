"""The documented truth of the demonstration lies in the reported intervals at the stated rate.

Slow lane: ``pytest -m simulation -rP``.
"""

from __future__ import annotations

import dataclasses
import importlib.util
from pathlib import Path
from types import ModuleType

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import quenchbook as qb
from quenchbook.findings.verdicts import Finding
from quenchbook.records.reading import Records

pytestmark = pytest.mark.simulation

FOLDER = Path(__file__).parents[2] / "data" / "plane_irons"
STUDIES = 200


def generator() -> ModuleType:
    spec = importlib.util.spec_from_file_location("plane_irons_simulate", FOLDER / "simulate.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def stored() -> Records:
    study = qb.read_study(FOLDER)
    return qb.read_records(FOLDER / "records", qb.read_plan(FOLDER / "plan", study))


def with_values(records: Records, hardness: pd.Series, impact: pd.Series) -> Records:
    """Records with other values; lost coupons, deviations and settings stay as they were."""
    readings = records.readings.copy()
    for response, values in (("hardness_hrc", hardness), ("impact_j", impact)):
        rows = readings["response"] == response
        keys = pd.MultiIndex.from_frame(readings.loc[rows, ["coupon", "reading"]])
        readings.loc[rows, "value"] = values.reindex(keys).to_numpy()
    return dataclasses.replace(records, readings=readings)


def new_values(records: Records, rng: np.random.Generator | None) -> Records:
    """Simulate the readings anew from the truth; without noise when `rng` is None."""
    simulate = generator()
    truth = simulate.truth()
    run = records.matrix.frame.copy()
    as_run = records.frame("hardness_hrc").drop_duplicates("furnace_load")
    actual = as_run.set_index("furnace_load")["austenitize_c"]
    run["austenitize_c"] = run["furnace_load"].map(actual)
    columns = {}
    for name, mean, readings in (
        ("hardness", simulate.true_hardness(run, truth["hardness"]), 5),
        ("impact", simulate.true_log_impact(run, truth["impact"]), 1),
    ):
        values = np.repeat(mean[:, None], readings, axis=1)
        if rng is not None:
            values = simulate.with_noise(run, mean, truth[name]["sd"], readings, rng)
        index = pd.MultiIndex.from_product([run["coupon"], range(1, readings + 1)])
        columns[name] = pd.Series(values.ravel(), index=index)
    return with_values(records, columns["hardness"], np.exp(columns["impact"]))


def test_the_truth_lies_in_the_intervals_at_the_stated_rate(stored: Records) -> None:
    truth = {
        f.key: f.estimate
        for f in qb.analyse(new_values(stored, None)).findings
        if isinstance(f, Finding)
    }
    sds = generator().truth()
    hits = dict.fromkeys(truth, 0)
    sd_hits: dict[str, list[bool]] = {}
    wrong_difference = wrong_equivalence = 0
    rng = np.random.default_rng(20260912)
    for _ in range(STUDIES):
        analysis = qb.analyse(new_values(stored, rng))
        for own in analysis.findings:
            assert isinstance(own, Finding)
            value = truth[own.key]
            hits[own.key] += own.conf_low <= value <= own.conf_high
            wrong_difference += own.verdict == "exceeds" and abs(value) <= (own.margin or 0)
            wrong_equivalence += own.verdict in ("equivalent", "slight") and abs(value) >= (
                own.margin or 0
            )
        table = analysis.models["hardness_hrc"].variance_components.set_index("stratum")
        for unit, row in table.iterrows():
            inside = row["conf_low"] <= sds["hardness"]["sd"][unit] <= row["conf_high"]
            sd_hits.setdefault(str(unit), []).append(bool(inside))
    rates = {key: count / STUDIES for key, count in hits.items()}
    sd_rates = {unit: float(np.mean(found)) for unit, found in sd_hits.items()}
    total = STUDIES * len(truth)
    print(f"coverage of nominal 95 % intervals, {STUDIES} studies: {rates}")
    print(f"all questions together: {np.mean(list(rates.values())):.4f}")
    print(f"coverage of standard deviations: {sd_rates}")
    print(
        f"false 'exceeds': {wrong_difference}, false 'equivalent' or 'slight': "
        f"{wrong_equivalence} of {total}"
    )
    low, high = stats.binom.interval(0.9999, STUDIES, 0.95)
    for key, rate in {**rates, **sd_rates}.items():
        assert low / STUDIES <= rate <= high / STUDIES, key
    assert 0.93 <= np.mean(list(rates.values())) <= 0.97
    assert wrong_difference <= 0.05 * total
    assert wrong_equivalence <= 0.05 * total
