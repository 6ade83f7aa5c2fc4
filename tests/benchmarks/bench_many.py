"""Speed of repeated work on each backend: ``python tests/benchmarks/bench_many.py``.

Two kinds of work, in seconds, cold and warm: a sweep of 16,000 simulated studies (items of some
5 ms) and 200 fits of a mixed model (items of some 30 ms, and workers that first load statsmodels).
Then what an empty item costs. Results are compared bit by bit with those of the plain loop.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

import quenchbook as qb
from quenchbook.outlook.sweep_blocks import simulated_block
from quenchbook.outlook.sweep_grid import sweep_grid
from quenchbook.repeated_work import RepeatedWork, run_many

DATA = Path(__file__).parents[2] / "data"
FITS, EMPTY = 200, 500


def fitted(item: int, seed: np.random.SeedSequence) -> dict[str, float]:
    """Mixed model of 64 coupons in 8 loads, by REML."""
    import warnings

    import pandas as pd
    import statsmodels.formula.api as smf

    rng = np.random.default_rng(seed)
    load = np.repeat(np.arange(8), 8)
    frame = pd.DataFrame({"load": load, "route": np.tile([0, 1], 32)})
    frame["y"] = rng.normal(0, 0.3, 8)[load] + rng.normal(0, 0.5, 64)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a variance of zero is on the border
        found = smf.mixedlm("y ~ route", frame, groups="load").fit()
    return {"estimate": float(found.params["route"]), "error": float(found.bse["route"])}


def nothing(item: int, seed: np.random.SeedSequence) -> int:
    """Return the item: what remains is the cost of sending it."""
    return item


def seconds(work: Callable[[], RepeatedWork]) -> tuple[float, list[Any]]:
    started = time.perf_counter()
    values = work().values()
    return time.perf_counter() - started, values


def measured(function: Any, items: Any, chunk: int | None = None) -> None:
    """Print a line for each backend: cold and warm seconds, and whether the bits are the same."""
    plain = None
    for backend in ("serial", "threading", "loky", "dask"):
        times = []
        for _ in range(2):
            took, values = seconds(
                lambda backend=backend: run_many(  # type: ignore[misc]
                    function, items, 1, backend=backend, chunk=chunk, workers=2, progress=None
                )
            )
            plain = values if plain is None else plain
            assert values == plain, f"{backend} gives other bits"
            times.append(took)
        print(f"| {backend} | {times[0]:.1f} | {times[1]:.1f} | same |", flush=True)


def main() -> None:
    study = qb.read_study(DATA / "plane_irons")
    blocks = sweep_grid(
        study, "dry_ice", loads=[8, 24], noise=[0.5, 1.0, 1.5, 2.0], studies=2000
    ).blocks
    head = "| backend | cold, s | warm, s | bits |\n| --- | --- | --- | --- |"
    print(f"Sweep of 16,000 simulated studies, {len(blocks)} items\n{head}")
    measured(simulated_block, blocks)
    print(f"\n{FITS} fits of a mixed model\n{head}")
    measured(fitted, FITS)
    print(f"\n{EMPTY} empty items, one at a time\n{head}")
    measured(nothing, EMPTY, chunk=1)


if __name__ == "__main__":
    sys.exit(main())
