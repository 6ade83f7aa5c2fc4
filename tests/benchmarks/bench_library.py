"""Speed of a library of studies: ``python tests/benchmarks/bench_library.py [STUDIES]``.

500 invented studies of 100 coupons with two readings each. Read cold, read from what was kept and
filtered (target: 2 s, at most 10 s), then the noise of all of them, fitted and kept.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
import quenchbook as qb
from many_studies import write_studies

TARGET = 2.0


def main(count: int = 500) -> int:
    with tempfile.TemporaryDirectory() as name:
        started = time.perf_counter()
        write_studies(Path(name), count)
        told("written", started)
        started = time.perf_counter()
        fresh = qb.read_studies(name)
        told(f"read cold ({len(fresh.table)} rows)", started)
        started = time.perf_counter()
        kept = qb.read_studies(name)
        seconds = told("read from what was kept", started)
        started = time.perf_counter()
        part = kept.where(steel="A2", route="freezer", austenitize=("1750 degF", None))
        means = part.table.groupby("study")["value"].mean()
        seconds += told(f"filtered and averaged ({len(means)} studies)", started)
        started = time.perf_counter()
        kept.noise()
        told("noise, fitted", started)
        started = time.perf_counter()
        qb.read_studies(name).noise()
        told("read and noise, both kept", started)
        size = sum(path.stat().st_size for path in (Path(name) / ".quenchbook").iterdir())
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
    print(f"kept: {size / 1e6:.1f} MB; peak memory of this process: {peak:.0f} MB")
    print(f"kept and query: {seconds:.2f} s (target {TARGET:g} s)")
    return int(seconds > TARGET)


def told(what: str, started: float) -> float:
    seconds = time.perf_counter() - started
    print(f"{what:40} {seconds:7.2f} s", flush=True)
    return seconds


if __name__ == "__main__":
    raise SystemExit(main(*map(int, sys.argv[1:])))
