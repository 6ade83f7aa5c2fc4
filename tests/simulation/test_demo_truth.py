"""The documented truth of the demonstration lies in the reported intervals at the stated rate.

Slow lane: ``pytest -m simulation -rP``.
"""

from __future__ import annotations

import dataclasses
import importlib.util
import itertools
from pathlib import Path
from types import ModuleType

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import quenchbook as qb
from quenchbook.findings.verdicts import Finding
from quenchbook.records.reading import Records
from quenchbook.study.definition import Question, Study

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
    """Records of the demonstration with its comparisons; questions about curves have lanes."""
    study = dataclasses.replace(qb.read_study(FOLDER), trade_questions=())
    return qb.read_records(FOLDER / "records", qb.read_plan(FOLDER / "plan", study))


def with_values(records: Records, hardness: pd.Series, impact: pd.Series) -> Records:
    """Records with other values; lost coupons, deviations and settings stay as they were."""
    readings = records.readings.copy()
    for response, values in (("hardness_hrc", hardness), ("impact_j", impact)):
        rows = readings["response"] == response
        keys = pd.MultiIndex.from_frame(readings.loc[rows, ["coupon", "reading"]])
        readings.loc[rows, "value"] = values.reindex(keys).to_numpy()
    return dataclasses.replace(records, readings=readings)


def new_values(records: Records, rng: np.random.Generator) -> Records:
    """Simulate the readings anew from the truth, at the settings that were really run."""
    simulate = generator()
    truth = simulate.truth()
    run = records.matrix.frame.copy()
    as_run = records.frame("hardness_hrc").drop_duplicates("furnace_load")
    run["austenitize_c"] = run["furnace_load"].map(
        as_run.set_index("furnace_load")["austenitize_c"]
    )
    columns = {}
    for name, mean, readings in (
        ("hardness", simulate.true_hardness(run, truth["hardness"]), 5),
        ("impact", simulate.true_log_impact(run, truth["impact"]), 1),
    ):
        values = simulate.with_noise(run, mean, truth[name]["sd"], readings, rng)
        index = pd.MultiIndex.from_product([run["coupon"], range(1, readings + 1)])
        columns[name] = pd.Series(values.ravel(), index=index)
    return with_values(records, columns["hardness"], np.exp(columns["impact"]))


def true_answers(study: Study) -> dict[str, float]:
    """Answer of each question straight from truth.toml, over an even mix of declared levels."""
    simulate = generator()
    truth = simulate.truth()
    austenitize, temper = (study.factor(name).levels for name in ("austenitize", "temper"))
    rows = []
    for route, t, q in itertools.product(study.factor("cold_route").levels, austenitize, temper):
        delays = [float("nan")] if route == "none" else study.factor("delay").levels
        rows += [(route, t, q, delay, 1 / len(delays)) for delay in delays]
    grid = pd.DataFrame(
        rows, columns=["cold_route", "austenitize_c", "temper_c", "delay_minutes", "w"]
    )
    values = {
        "hardness_hrc": simulate.true_hardness(grid, truth["hardness"]),
        "impact_j": simulate.true_log_impact(grid, truth["impact"]),
    }

    def mean(question: Question, level: object, at: dict[str, object]) -> float:
        rows = pd.Series(True, index=grid.index)
        for name, wanted in {**at, question.factor: level}.items():
            rows &= grid[study.factor(name).column] == wanted
        return float(np.average(values[question.response][rows], weights=grid["w"][rows]))

    def difference(question: Question, at: dict[str, object]) -> float:
        return mean(question, question.level, at) - mean(question, question.against, at)

    answers = {}
    for question in study.questions:
        at = dict(question.at)
        if question.change:
            (name, (first, second)), *_ = question.change.items()
            answers[question.key] = difference(question, {**at, name: first}) - difference(
                question, {**at, name: second}
            )
        else:
            answers[question.key] = difference(question, at)
    return answers


def test_the_truth_lies_in_the_intervals_at_the_stated_rate(stored: Records) -> None:
    truth = true_answers(stored.study)
    assert truth["temper"] == pytest.approx(-0.40)  # as it stands in truth.toml
    assert truth["day"] == pytest.approx(-0.45)
    sds = generator().truth()
    hits = dict.fromkeys(truth, 0)
    false = dict.fromkeys(truth, 0)
    sd_hits: dict[str, list[bool]] = {}
    rng = np.random.default_rng(20260912)
    for _ in range(STUDIES):
        analysis = qb.analyse(new_values(stored, rng))
        for own in analysis.findings:
            assert isinstance(own, Finding)
            value, margin = truth[own.key], own.margin or 0.0
            hits[own.key] += own.conf_low <= value <= own.conf_high
            false[own.key] += own.verdict == "exceeds" and abs(value) <= margin
            false[own.key] += own.verdict in ("equivalent", "slight") and abs(value) >= margin
        table = analysis.models["hardness_hrc"].variance_components.set_index("stratum")
        for unit, row in table.iterrows():
            inside = row["conf_low"] <= sds["hardness"]["sd"][unit] <= row["conf_high"]
            sd_hits.setdefault(str(unit), []).append(bool(inside))
    rates = {key: count / STUDIES for key, count in hits.items()}
    sd_rates = {unit: float(np.mean(found)) for unit, found in sd_hits.items()}
    together = float(np.mean(list(rates.values())))
    print(f"coverage of nominal 95 % intervals, {STUDIES} studies: {rates}")
    print(f"all questions together: {together:.4f}")
    print(f"coverage of standard deviations: {sd_rates}")
    print(f"false verdicts of {STUDIES} a question: {false}")
    # 15 rates are looked at: binomial limits at .999 each let a right program fail once in 70 runs.
    low, _ = stats.binom.interval(0.999, STUDIES, 0.95)
    for key, rate in {**rates, **sd_rates}.items():
        assert rate >= low / STUDIES, key
    assert 0.93 <= together <= 0.97
    most = stats.binom.ppf(0.9995, STUDIES, 0.05)
    assert max(false.values()) <= most
