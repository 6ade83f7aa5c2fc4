"""Speed of the answers about curves: ``python tests/benchmarks/bench_peaks.py``.

Seconds for one answer on 500 coupons; median of 5 rounds. Never a timed test: machines differ.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

import quenchbook as qb

sys.path.insert(0, str(Path(__file__).parents[2]))
from tests.benchmarks.timing import median_seconds

ROUNDS = 5


def peaks_of_500_coupons() -> None:
    rng = np.random.default_rng(1)
    rows = [
        (f"L{temp:.0f}{number}", temp, route)
        for temp in np.linspace(940.0, 1060.0, 5)
        for number in range(5)
        for route in "abcd" * 5
    ]
    frame = pd.DataFrame(rows, columns=["load", "temp", "route"])
    frame["y"] = 63 - ((frame["temp"] - 1000) / 60) ** 2 + rng.normal(0, 0.4, len(frame))
    shapes: Any = {"temp": "quadratic"}

    def model() -> Any:
        return qb.mixed_model(frame, "y", fixed="temp * route", strata=["load"], shapes=shapes)

    fitted, at = model(), {"route": "a"}
    work: dict[str, Callable[[], object]] = {
        "model": model,
        "peak": lambda: qb.peak_place(fitted, "temp", at=at),
        "height": lambda: qb.peak_height(fitted, "temp", at=at),
        "shift": lambda: qb.peak_shift(fitted, "temp", "route", "a", "b"),
        "working window": lambda: qb.working_window(fitted, "temp", 0.3, at=at),
        "target window": lambda: qb.target_window(fitted, "temp", 62.0, at=at),
    }
    for name, own in work.items():
        print(f"{name}, {len(frame)} coupons: {median_seconds(own):.3f} s")


if __name__ == "__main__":
    peaks_of_500_coupons()
