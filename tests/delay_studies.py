"""Small studies of a delay before the cold, through the files a user would have."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pandas as pd

import quenchbook as qb
from quenchbook.plan.randomization import published_matrix
from quenchbook.records.reading import Records

NO_TIME = 'transfer = "0 min"\nbath_cooling = { cold = "0 min", freezer = "0 min" }'

QUESTIONS = """
[[questions]]
key = "decade"
words = "What does ten times as long cost?"
response = "hardness"
asks = "per_decade"
along = "delay"

[[questions]]
key = "half"
words = "When is half of the gain lost?"
response = "hardness"
asks = "half_loss"
along = "delay"
compare = { cold_route = ["cold", "none"] }
"""


def written_study(
    folder: Path,
    frame: pd.DataFrame,
    *,
    timetable: str = NO_TIME,
    questions: str = QUESTIONS,
    response: str = 'unit = "HRC"',
    levels: Sequence[str] = (),
    extra: str = "",
    set_for: str = "coupon",
    delay: str = "",
    responses: str = "",
) -> Records:
    """Write a published study with its records and read it again.

    `frame` has one row for each coupon: ``furnace_load, cold_route, delay_minutes, hardness_hrc``
    and maybe ``cold_batch``; delay is blank without a cold step.
    """
    times = sorted(frame["delay_minutes"].dropna().unique())
    words = levels or [f"{minutes:.10g} min" for minutes in times]
    routed = "cold_route" in frame
    routes = list(dict.fromkeys(frame["cold_route"])) if routed else []
    with_delay = [route for route in routes if route != "none"]
    listed = ", ".join(f'"{word}"' for word in words)
    exists = ", ".join(f'"{route}"' for route in with_delay)
    names = ", ".join(f'"{route}"' for route in routes)
    route_factor = f'[factors.cold_route]\nlevels = [{names}]\nset_for = "{set_for}"\n'
    nesting = f"exists_for = {{ cold_route = [{exists}] }}" if routed else ""
    route_factor = route_factor if routed else ""
    text = f"""
format = 1
key = "waits"
title = "Delay before the cold"
question = "Does waiting before the cold cost hardness?"
author = "tests"
date = 2026-11-25
licence = "tests"
published = true

[timetable]
{timetable}

{route_factor}
[factors.delay]
levels = [{listed}]
set_for = "{set_for}"
{nesting}
{delay}
{extra}
[responses.hardness]
{response}
{responses}
[layout]
furnace_loads = {frame["furnace_load"].nunique()}
coupons_per_load = {int(frame.groupby("furnace_load").size().max())}
{questions}
"""
    (folder / "study.toml").write_text(text, encoding="utf-8")
    study = qb.read_study(folder)
    name = study.responses[0].name
    frame = frame.reset_index(drop=True)
    frame = frame.assign(coupon=[f"K{number + 1:03d}" for number in range(len(frame))])
    columns = [column for column in frame if column != "hardness_hrc"]
    matrix = published_matrix(study, frame[columns])
    qb.write_plan(matrix, folder / "plan")
    (folder / "records").mkdir(exist_ok=True)
    table = frame[["coupon", "hardness_hrc"]].rename(columns={"hardness_hrc": name})
    table.to_csv(folder / "records" / "hardness.csv", index=False)
    return qb.read_records(folder / "records", qb.read_plan(folder / "plan", study))


def simulated_frame(
    gains: Sequence[float],
    minutes: Sequence[float],
    *,
    loads: int = 3,
    each: int = 1,
    sd: float = 0.3,
    load_sd: float = 0.3,
    seed: int = 1,
) -> pd.DataFrame:
    """Coupons with no cold step and at each delay, in every load."""
    rng = np.random.default_rng(seed)
    rows = []
    for load in range(1, loads + 1):
        base = 62.0 + rng.normal(0, load_sd)
        for _ in range(each):
            rows.append((load, "none", np.nan, base + rng.normal(0, sd)))
            rows += [
                (load, "cold", wait, base + gain + rng.normal(0, sd))
                for gain, wait in zip(gains, minutes, strict=True)
            ]
    columns = ["furnace_load", "cold_route", "delay_minutes", "hardness_hrc"]
    frame = pd.DataFrame(rows, columns=columns)
    return frame.assign(hardness_hrc=frame["hardness_hrc"].round(4))
