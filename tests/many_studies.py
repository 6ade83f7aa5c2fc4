"""Hundreds of invented studies, written cheaply: one plan is made, the others are it renamed.

The codes of the coupons, the levels and the readings differ from study to study; the hash of each
plan is that of its own table. All of it is invented.
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import numpy as np
import pandas as pd

import quenchbook as qb
from quenchbook.plan.matrix import canonical_text

STUDY = """
format = 1
key = "{key}"
title = "{steel} after the cold"
question = "Does the cold make {steel} harder?"
author = "invented in a test"
date = {date}

[steel]
grade = "{steel}"
heat_lot = "{lot}"

[factors.austenitize]
levels = ["{low} degC", "{high} degC"]
set_for = "furnace_load"

[factors.cold_route]
levels = ["none", "freezer"]
set_for = "cold_batch"

[responses.hardness]
unit = "HRC"
readings = 2

[layout]
furnace_loads = {loads}
coupons_per_load = {per_load}
"""
STEELS = ("A2", "O1", "52100", "440C")
LOWS = {"A2": 960, "O1": 790, "52100": 830, "440C": 1030}


def study_text(number: int, *, loads: int, per_load: int) -> str:
    steel = STEELS[number % len(STEELS)]
    low = LOWS[steel]
    return STUDY.format(
        key=f"study_{number:04d}", steel=steel, lot=f"L{number % 37}", low=low, high=low + 30,
        date=f"{2010 + number % 15}-{1 + number % 12:02d}-15", loads=loads, per_load=per_load,
    )  # fmt: skip


def write_studies(folder: Path, count: int, *, loads: int = 10, per_load: int = 10) -> None:
    """Write study folders ``study_0000``, ...; hardness with load, coupon and indent scatter."""
    plans = {}
    for number in range(min(count, len(STEELS))):  # one plan a steel: its levels are in the table
        place = folder / f"study_{number:04d}"
        place.mkdir(parents=True)
        text = study_text(number, loads=loads, per_load=per_load)
        (place / "study.toml").write_text(text, encoding="utf-8")
        matrix, _ = qb.plan_study(place, seed=number)
        about = json.loads((place / "plan" / "plan.json").read_text(encoding="utf-8"))
        table = (place / "plan" / "coupon_matrix.csv").read_text(encoding="utf-8")
        plans[number] = (matrix.frame, about, table, canonical_text(matrix.frame))
    for number in range(count):
        place = folder / f"study_{number:04d}"
        frame, about, table, canonical = plans[number % len(STEELS)]
        key = f"study_{number:04d}"
        head = f"quenchbook plan 1\nstudy {key}\nseed {about['seed']}\norigin {about['origin']}\n"
        digest = hashlib.sha256((head + canonical).encode("utf-8")).hexdigest()
        if number >= len(STEELS):
            (place / "plan").mkdir(parents=True)
            text = study_text(number, loads=loads, per_load=per_load)
            (place / "study.toml").write_text(text, encoding="utf-8")
            (place / "plan" / "coupon_matrix.csv").write_text(table, encoding="utf-8")
            own = json.dumps({**about, "study": key, "sha256": digest}, ensure_ascii=False)
            (place / "plan" / "plan.json").write_text(own, encoding="utf-8")
        (place / "records").mkdir()
        (place / "records" / "hardness.csv").write_text(
            readings(frame, number, digest), encoding="utf-8"
        )


def readings(frame: pd.DataFrame, number: int, plan: str) -> str:
    """Two readings a coupon: load sd .3, coupon sd .3, indent sd .4 HRC; freezer adds 1 HRC."""
    source = np.random.default_rng([number, 7])
    coupons = frame["coupon"].tolist()
    loads = frame["furnace_load"].to_numpy()
    cold = (frame["cold_route"] == "freezer").to_numpy()
    mean = 60 + number % 5 + cold + 0.3 * source.standard_normal(int(loads.max()) + 1)[loads]
    mean = mean + 0.3 * source.standard_normal(len(coupons))
    values = np.round(mean[:, None] + 0.4 * source.standard_normal((len(coupons), 2)), 1)
    rows = [f"{code},{a:.1f},{b:.1f}" for code, (a, b) in zip(coupons, values, strict=True)]
    return "\n".join([f"# plan {plan}", "coupon,hardness_hrc_1,hardness_hrc_2", *rows]) + "\n"
