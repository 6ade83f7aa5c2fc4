"""Speed of the answers about curves: ``python tests/benchmarks/bench_delay.py``.

Median of at least 5 rounds on a study of about 500 coupons. Never a timed test.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))
from tests.benchmarks.timing import median_seconds

import quenchbook as qb

ROUNDS = 5


def delay() -> dict[str, float]:
    """Change for each decade and half-loss of 504 coupons: 12 loads x 7 kinds x 6 coupons."""
    from tests.delay_studies import simulated_frame, written_study

    minutes = np.geomspace(6.0, 10080.0, 6).round(3)
    frame = simulated_frame((1.5, 1.4, 1.2, 0.9, 0.5, 0.1), minutes, loads=12, each=6)
    kinds = frame["delay_minutes"].fillna(-1).groupby(frame["furnace_load"])
    numbers = kinds.rank("dense").astype(int).astype(str)
    frame["cold_batch"] = frame["furnace_load"].astype(str) + "-" + numbers
    with tempfile.TemporaryDirectory() as folder:
        records = written_study(Path(folder), frame, set_for="cold_batch")
    model = qb.mixed_model(records, "hardness_hrc")
    return {
        "model of 504 coupons": median_seconds(lambda: qb.mixed_model(records, "hardness_hrc")),
        "change for each decade": median_seconds(lambda: qb.decade_change(model).to_frame()),
        "half-loss": median_seconds(lambda: qb.half_loss_time(model, level="cold")),
        "lines of the figure": median_seconds(lambda: qb.decade_change(model).lines),
        "outlook, 12 guesses": median_seconds(
            lambda: qb.delay_outlook(records.matrix, level="cold", gains=[0.75, 1.5, 3.0])
        ),
    }


if __name__ == "__main__":
    for name, seconds in delay().items():
        print(f"{name:30s} {seconds:7.3f} s")
