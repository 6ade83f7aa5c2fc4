"""Speed of questions about curves: ``python tests/benchmarks/bench_tempers.py``.

Raw readings of 500 coupons in, answer out; median of 5 rounds. Never a timed test.
"""

from __future__ import annotations

import itertools
import sys
from pathlib import Path

import numpy as np
import pandas as pd

import quenchbook as qb

sys.path.insert(0, str(Path(__file__).parents[2]))
from tests.benchmarks.timing import median_seconds

ROUNDS = 5


def temper_seconds() -> float:
    """Model, temper curve and the tempers for one value: 504 coupons in 42 temper batches."""
    rng = np.random.default_rng(1)
    rows = [
        (f"L{load}", load % 2, f"L{load}T{temper}", float(temper), route, rng.normal(62, 0.4))
        for load, temper, route, _ in itertools.product(
            range(14), (150, 175, 200), "abcd", range(3)
        )
    ]
    frame = pd.DataFrame(rows, columns=["load", "heat", "batch", "temper", "route", "hrc"])

    def work() -> object:
        model = qb.mixed_model(
            frame, "hrc", fixed="heat + route * temper", strata=["load", "batch"],
            shapes={"heat": "levels", "temper": "levels"},
        )  # fmt: skip
        return qb.temper_set(qb.temper_curve(model, at={"route": "a"}), 62.0)

    return median_seconds(work)


if __name__ == "__main__":
    print(f"temper for a value, 504 coupons: {temper_seconds():.2f} s")
