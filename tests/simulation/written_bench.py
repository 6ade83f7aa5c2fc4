"""A planned study as it was carried out: its readings as files, and as records."""

from __future__ import annotations

import csv
import dataclasses
import math
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd
from tests.simulation.written_layouts import Layout
from tests.simulation.written_truths import Truth, true_means

import quenchbook as qb
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.reading import Records
from quenchbook.study.definition import Study

SEED: Final = 20261126
UNITS: Final = ("furnace_load", "cold_batch", "temper_batch")


@dataclass(frozen=True, eq=False)
class Bench:
    """A plan as it was carried out: which coupons came back, how hot the loads really were.

    Attributes
    ----------
    layout : Layout
    study : Study
        Whose questions share one level.
    matrix : CouponMatrix
    run : DataFrame
        Coupons with the settings as run.
    blank : mapping of response to ndarray of bool
        Coupons without readings.
    """

    layout: Layout
    study: Study
    matrix: CouponMatrix
    run: pd.DataFrame
    blank: Mapping[str, np.ndarray]

    def write(self, folder: Path, values: Mapping[str, np.ndarray]) -> None:
        """Write the records of one study as CSV files."""
        folder.mkdir(parents=True)
        plan = f"# plan {self.matrix.plan_hash}\n"
        for response in self.study.responses:
            own = values[response.name]
            head = ["order", "coupon", *(f"{response.name}_{i + 1}" for i in range(own.shape[1]))]
            if own.shape[1] == 1:
                head[-1] = response.name
            order = self.matrix.frame[f"{response.name}_order"]
            rows = [
                [int(order[row]), self.run.at[row, "coupon"],
                 *("" if math.isnan(x) else f"{x:.1f}" for x in own[row])]
                for row in order.dropna().sort_values().index
            ]  # fmt: skip
            _write_csv(folder / f"{response.name}.csv", plan, head, rows)
        if self.layout.off_degrees:
            loads = self.run.groupby("furnace_load")["austenitize_c"].first()
            head = ["furnace_load", "austenitize_actual_degC"]
            rows = [[load, f"{value:.1f}"] for load, value in loads.items()]
            _write_csv(folder / "furnace_log.csv", plan, head, rows)
        lost = self.run.loc[np.logical_and.reduce(list(self.blank.values())), "coupon"]
        if len(lost):
            head = ["what", "which", "item", "actual", "note"]
            rows = [["coupon", code, "lost", "mixed up", ""] for code in lost]
            _write_csv(folder / "deviations.csv", plan, head, rows)

    def simulated(self, truth: Truth, rng: np.random.Generator) -> dict[str, np.ndarray]:
        """Readings of each response as a tester shows them, shape (coupons, readings)."""
        values = {}
        for response in self.study.responses:
            sd = truth.noise[response.name]
            y = true_means(self.study, truth, response.name, self.run)
            for unit in UNITS:
                if unit in self.run:
                    codes = pd.factorize(self.run[unit])[0]
                    y = y + rng.normal(0.0, sd[unit], codes.max() + 1)[codes]
            y = y + rng.normal(0.0, sd["coupon"], len(y))
            own = y[:, None] + rng.normal(0.0, sd["indent"], (len(y), response.readings))
            own = np.round(np.exp(own) if response.scale == "log" else own, 1)
            own[self.blank[response.name]] = math.nan
            values[response.name] = own
        return values


def _write_csv(path: Path, plan: str, head: list[str], rows: list[list[Any]]) -> None:
    with path.open("x", encoding="utf-8", newline="") as file:
        file.write(plan)
        csv.writer(file, lineterminator="\n").writerows([head, *rows])


def study_of(layout: Layout) -> Study:
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "study.toml").write_text(layout.text, encoding="utf-8")
        return qb.read_study(folder)


def bench_of(layout: Layout, number: int) -> Bench:
    """Plan of a layout, and what the bench made of it."""
    study = study_of(layout)
    matrix = qb.coupon_matrix(study, seed=SEED + number)
    rng = np.random.default_rng([SEED, number, 1])
    run = matrix.frame.copy()
    loads = run["furnace_load"].unique()
    if layout.off_degrees:
        off = np.round(rng.uniform(-layout.off_degrees, layout.off_degrees, len(loads)), 1)
        run["austenitize_c"] += run["furnace_load"].map(dict(zip(loads, off, strict=True)))
    gone = run["furnace_load"].isin(rng.permutation(loads)[: layout.lost_loads]).to_numpy()
    gone = gone | (rng.uniform(size=len(run)) < layout.missing)
    blank = {
        response.name: gone | matrix.frame[f"{response.name}_order"].isna().to_numpy()
        for response in study.responses
    }
    return Bench(layout, study, matrix, run, blank)


@dataclass(frozen=True, eq=False)
class Template:
    """Records that were read once; other values of the same coupons are put into them."""

    records: Records
    places: Mapping[str, tuple[np.ndarray, np.ndarray, np.ndarray]]

    def filled(self, values: Mapping[str, np.ndarray]) -> Records:
        """Records of another study of the same plan with the same losses."""
        readings = self.records.readings.copy()
        own = readings["value"].to_numpy(dtype=float).copy()
        for response, (rows, coupons, numbers) in self.places.items():
            own[rows] = values[response][coupons, numbers]
        readings["value"] = own
        return dataclasses.replace(self.records, readings=readings)


def template_of(bench: Bench, values: Mapping[str, np.ndarray]) -> Template:
    """Read the files of one study."""
    records = records_from_files(bench, values)
    order = {code: place for place, code in enumerate(bench.run["coupon"])}
    places = {}
    for response in values:
        rows = np.flatnonzero(records.readings["response"] == response)
        own = records.readings.iloc[rows]
        places[response] = (
            rows,
            own["coupon"].map(order).to_numpy(dtype=int),
            own["reading"].to_numpy(dtype=int) - 1,
        )
    return Template(records, places)


def records_from_files(bench: Bench, values: Mapping[str, np.ndarray]) -> Records:
    """Records through CSV files, as a study has them."""
    with tempfile.TemporaryDirectory() as folder:
        bench.write(Path(folder) / "records", values)
        return qb.read_records(Path(folder) / "records", bench.matrix)
