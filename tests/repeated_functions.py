"""Functions for tests of repeated work: in a module, so that other processes can load them."""

from __future__ import annotations

import time
from typing import Any

import numpy as np


def drawn(item: Any, seed: np.random.SeedSequence) -> dict[str, Any]:
    """Draw numbers from the item's own seed and do some linear algebra."""
    rng = np.random.default_rng(seed)
    table = rng.normal(size=(40, 40))
    return {"item": item, "solved": np.linalg.solve(table, table.sum(1))[0], "drawn": rng.random()}


def failing(item: int, seed: np.random.SeedSequence) -> float:
    if item in (2, 5):
        raise ValueError(f"nothing for {item}")
    return float(np.random.default_rng(seed).random())


def slow(item: int, seed: np.random.SeedSequence) -> int:
    time.sleep(0.005)
    return item


def scaled(item: float, seed: np.random.SeedSequence, *, factor: float) -> float:
    return item * factor
