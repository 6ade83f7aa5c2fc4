"""Simulate the readings of the invented study of two heat lots from truth.toml.

Run in this folder: ``python simulate.py``. It made ``plan/`` and ``records/`` once and refuses to
overwrite them.
"""

from __future__ import annotations

import csv
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd

HERE = Path(__file__).parent


def main() -> None:
    """Make the plan, draw the readings, write them once."""
    import quenchbook as qb

    if (HERE / "records").exists():
        raise SystemExit("records/ is there already; nothing is overwritten.")
    model = tomllib.loads((HERE / "truth.toml").read_text(encoding="utf-8"))
    matrix, _ = qb.plan_study(HERE, seed=model["seed"])
    frame, truth = matrix.frame, model["hardness"]
    rng = np.random.default_rng(model["seed"])
    peak = frame["heat_lot"].map({name: lot["peak"] for name, lot in truth["lots"].items()})
    height = frame["heat_lot"].map({name: lot["height"] for name, lot in truth["lots"].items()})
    fitted = height + truth["curvature"] * (frame["austenitize_c"] - peak) ** 2
    value = fitted.to_numpy(dtype=float, copy=True)
    for unit in ("furnace_load", "bar", "coupon"):
        codes = pd.factorize(frame[unit])[0]
        value += rng.normal(0.0, truth["sd"][unit], codes.max() + 1)[codes]
    readings = value[:, None] + rng.normal(0.0, truth["sd"]["indent"], (len(frame), 5))
    order = frame["hardness_hrc_order"].astype(int)
    (HERE / "records").mkdir()
    with (HERE / "records" / "hardness.csv").open("w", newline="", encoding="utf-8") as file:
        file.write(f"# plan {matrix.plan_hash}\n")
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(["order", "coupon", *(f"hardness_hrc_{i}" for i in range(1, 6))])
        for row in order.sort_values().index:
            coupon = frame.at[row, "coupon"]
            rows.writerow([order[row], coupon, *(f"{own:.1f}" for own in readings[row])])


if __name__ == "__main__":
    main()
