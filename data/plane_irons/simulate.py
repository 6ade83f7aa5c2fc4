"""Simulate the readings of the invented plane-iron study from truth.toml, and write them as life
does.

Run in this folder: ``python simulate.py``. The files in ``records/`` were made once by this script
and are kept; it refuses to overwrite them. ``python simulate.py tester`` wrote the readings on the
hardness block and on the certified impact coupons, later and from a seed of their own.
"""

from __future__ import annotations

import csv
import math
import sys
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

HERE = Path(__file__).parent
UNITS = ("furnace_load", "cold_batch", "temper_batch")


def truth() -> dict[str, Any]:
    """Read the documented truth."""
    return tomllib.loads((HERE / "truth.toml").read_text(encoding="utf-8"))


def as_run(frame: pd.DataFrame, mess: Mapping[str, Any], rng: np.random.Generator) -> pd.DataFrame:
    """Austenitize temperatures and delays as they really were."""
    frame = frame.copy()
    for load in frame["furnace_load"].unique():
        rows = frame["furnace_load"] == load
        off = round(rng.uniform(-mess["other_loads_degC"], mess["other_loads_degC"]), 1)
        if load == mess["hot_load"]["furnace_load"]:
            off = mess["hot_load"]["degC"]
        frame.loc[rows, "austenitize_c"] += off
    return frame


def true_hardness(frame: pd.DataFrame, model: Mapping[str, Any]) -> np.ndarray:
    """Hardness of each coupon without any noise [HRC]."""
    peak = frame["cold_route"].map({r: v["peak"] for r, v in model["routes"].items()})
    height = frame["cold_route"].map({r: v["height"] for r, v in model["routes"].items()})
    curve = height + model["curvature"] * (frame["austenitize_c"] - peak) ** 2
    delay = frame["delay_minutes"].map({float(k): v for k, v in model["delay"].items()}).fillna(0.0)
    temper = frame["temper_c"].map({float(k): v for k, v in model["temper"].items()})
    return (curve + delay + temper).to_numpy(dtype=float)


def true_log_impact(frame: pd.DataFrame, model: Mapping[str, Any]) -> np.ndarray:
    """Natural logarithm of the impact energy of each coupon without any noise."""
    route = frame["cold_route"].map(model["routes"])
    temper = frame["temper_c"].map({float(k): v for k, v in model["temper"].items()})
    slope = model["austenitize_slope"] * (frame["austenitize_c"] - 985.0)
    return (model["mean"] + slope + route + temper).to_numpy(dtype=float)


def with_noise(
    frame: pd.DataFrame,
    mean: np.ndarray,
    sd: Mapping[str, float],
    readings: int,
    rng: np.random.Generator,
) -> np.ndarray:
    """Readings of each coupon, shape (coupons, readings), with the noise of every unit."""
    value = mean.copy()
    for unit in UNITS:
        codes = pd.factorize(frame[unit])[0]
        value += rng.normal(0.0, sd[unit], codes.max() + 1)[codes]
    value += rng.normal(0.0, sd["coupon"], len(frame))
    return value[:, None] + rng.normal(0.0, sd["indent"], (len(frame), readings))


def simulated(
    frame: pd.DataFrame, rng: np.random.Generator
) -> tuple[pd.DataFrame, np.ndarray, np.ndarray]:
    """One run of the whole study: coupons as run, hardness (coupons, 5), impact energy "
    "(coupons,)."""
    model = truth()
    run = as_run(frame, model["mess"], rng)
    hardness = with_noise(
        run, true_hardness(run, model["hardness"]), model["hardness"]["sd"], 5, rng
    )
    impact = with_noise(run, true_log_impact(run, model["impact"]), model["impact"]["sd"], 1, rng)
    return run, np.round(hardness, 1), np.round(np.exp(impact[:, 0]), 1)


def write_records(folder: Path) -> None:
    """Simulate once and write the messy files a workshop would have."""
    from quenchbook import read_plan, read_study

    study = read_study(HERE)
    matrix = read_plan(HERE / "plan", study)
    model = truth()
    rng = np.random.default_rng(model["seed"])
    run, hardness, impact = simulated(matrix.frame, rng)
    folder.mkdir()
    plan = f"# plan {matrix.plan_hash}"

    slipped = run[(run["delay_minutes"] == model["mess"]["slipped_delay"]["planned"])].iloc[0][
        "cold_batch"
    ]
    cracked = run[(run["cold_route"] == "liquid_nitrogen") & (run["delay_minutes"] == 1440)].iloc[
        2
    ]["coupon"]
    first = run["coupon"].tolist().index(cracked)
    hardness[first] = np.nan
    impact[first] = np.nan

    order = run.assign(place=run["hardness_hrc_order"].astype(int)).sort_values("place")
    head = ["order", "coupon", *(f"hardness_hrc_{i}" for i in range(1, 6))]
    misread = ""
    for session, rows in enumerate(np.array_split(order.index.to_numpy(), 3), start=1):
        comma = session == 2
        lines = []
        for row in rows:
            code = run.at[row, "coupon"]
            if session == 3 and not misread and code != cracked and "9" in code:
                misread = code.replace("9", "4", 1)
                code, line_of_misread = misread, len(lines) + 3
            cells = ["" if math.isnan(v) else f"{v:.1f}" for v in hardness[row]]
            cells = [c.replace(".", ",") if comma else c for c in cells]
            lines.append([int(order.at[row, "place"]), code, *cells])
        name = f"hardness_session_{session}.csv"
        _write(
            folder / name,
            plan,
            head,
            lines,
            ";" if comma else ",",
            "utf-8-sig" if comma else "utf-8",
        )
    true_code = next(c for c in run["coupon"] if _one_off(c, misread))

    tested = run[run["impact_j_order"].notna()].sort_values("impact_j_order")
    lines = [
        [int(r.impact_j_order), r.coupon, "" if math.isnan(impact[i]) else f"{impact[i]:.1f}"]
        for i, r in tested.iterrows()
    ]
    _write(folder / "impact.csv", plan, ["order", "coupon", "impact_j"], lines)

    loads = run.groupby("furnace_load")["austenitize_c"].first()
    lines = [[load, f"{value * 9 / 5 + 32:.1f}"] for load, value in loads.items()]
    _write(folder / "furnace_log.csv", plan, ["furnace_load", "austenitize_actual_degF"], lines)

    hot = model["mess"]["hot_load"]["furnace_load"]
    lines = [
        [
            "cold_batch",
            slipped,
            "delay",
            f"{model['mess']['slipped_delay']['actual']} min",
            "the bath was not ready",
        ],
        [
            "furnace_load",
            hot,
            "note",
            "",
            "controller overshot; the thermocouple read 12 degC too hot for the whole soak",
        ],
        [
            "coupon",
            cracked,
            "lost",
            "cracked",
            "crack from a corner after the nitrogen, seen before hardness",
        ],
    ]
    _write(folder / "deviations.csv", plan, ["what", "which", "item", "actual", "note"], lines)
    lines = [
        [
            "hardness_session_3.csv",
            line_of_misread,
            "coupon",
            misread,
            true_code,
            "scale on the mark: 9 read as 4",
        ]
    ]
    _write(
        folder / "corrections.csv",
        plan,
        ["file", "row", "column", "found", "corrected", "reason"],
        lines,
    )


def write_tester_checks(folder: Path) -> None:
    """Simulate once the readings on a hardness block and on certified impact coupons."""
    from quenchbook import read_plan, read_study
    from quenchbook.plan.entry_tables import BLOCK_COLUMNS, IMPACT_CHECK_COLUMNS

    plan = f"# plan {read_plan(HERE / 'plan', read_study(HERE)).plan_hash}"
    model = truth()["tester"]
    rng = np.random.default_rng(model["seed"])
    block, certified = model["block"], model["certified"]
    lines = []
    for session in (1, 2, 3):
        for when, drift in (("before", 0.0), ("after", model["drift_in_a_session"])):
            mean = block["value"] + model["error"] + drift
            cells = [f"{v:.1f}" for v in rng.normal(mean, model["sd"], 5)]
            lines.append([session, when, block["value"], block["uncertainty"], *cells, ""])
    _write(folder / "block_checks.csv", plan, list(BLOCK_COLUMNS), lines)
    mean = certified["value"] + certified["error"]
    cells = [f"{v:.1f}" for v in rng.normal(mean, certified["sd"], 5)]
    lines = [[1, certified["value"], *cells, ""]]
    _write(folder / "impact_checks.csv", plan, list(IMPACT_CHECK_COLUMNS), lines)


def _one_off(code: str, other: str) -> bool:
    return sum(a != b for a, b in zip(code, other, strict=True)) == 1


def _write(
    path: Path,
    plan: str,
    head: list[str],
    lines: list[list[Any]],
    delimiter: str = ",",
    encoding: str = "utf-8",
) -> None:
    with path.open("x", encoding=encoding, newline="") as file:
        file.write(plan + "\n")
        writer = csv.writer(file, delimiter=delimiter, lineterminator="\n")
        writer.writerow(head)
        writer.writerows(lines)


if __name__ == "__main__":
    if sys.argv[1:] == ["tester"]:
        write_tester_checks(HERE / "records")
    else:
        write_records(HERE / "records")
