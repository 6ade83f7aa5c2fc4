"""Speed of questions about curves: ``python tests/benchmarks/bench_equal_hardness.py``.

Raw readings of 500 coupons in, answer out; median of 5 rounds. Never a timed test.
"""

from __future__ import annotations

import sys
from pathlib import Path

import quenchbook as qb

sys.path.insert(0, str(Path(__file__).parents[2]))
from tests.benchmarks.timing import median_seconds
from tests.toughness import FIXED, UNITS, toughness_frame

ROUNDS = 5


def equal_hardness_seconds() -> float:
    """Both models and the comparison at equal hardness, 504 coupons in 42 batches."""
    frame = toughness_frame(1, loads=14, coupons=6)

    def work() -> object:
        energy = qb.mixed_model(frame, "impact", fixed=FIXED, strata=UNITS, scale="log")
        hardness = qb.mixed_model(frame, "hrc", fixed=FIXED, strata=UNITS)
        return qb.equal_hardness_contrast(energy, hardness, compare={"route": ["b", "a"]})

    return median_seconds(work)


if __name__ == "__main__":
    print(f"equal hardness, 504 coupons: {equal_hardness_seconds():.2f} s")
