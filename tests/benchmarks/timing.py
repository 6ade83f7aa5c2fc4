"""One way of measuring for all benchmarks."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable


def median_seconds(work: Callable[[], object], *, rounds: int = 5) -> float:
    """Median of some rounds, after one that loads libraries and fills caches."""
    work()
    times = []
    for _ in range(rounds):
        started = time.perf_counter()
        work()
        times.append(time.perf_counter() - started)
    return statistics.median(times)
