"""A sweep of 2,000 simulated studies of each plan gives the same bits whatever works on it.

Serial, in processes, on a real dask scheduler with two workers on this machine, in other chunks,
with one of the workers killed (SIGKILL) midway, and with the program itself killed midway.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from tests.conftest import ROOT

import quenchbook as qb
from quenchbook.outlook.sweep_table import PlanningSweep

pytestmark = pytest.mark.simulation

LOADS, NOISE, STUDIES = [8, 24], [0.5, 1.0, 1.5, 2.0], 2000
ITEMS = len(LOADS) * len(NOISE) * STUDIES // 100
PATIENCE = 60.0


def swept(**more: Any) -> PlanningSweep:
    return qb.planning_sweep(
        qb.read_study(ROOT / "data" / "plane_irons"), "dry_ice", loads=LOADS, noise=NOISE,
        studies=STUDIES, **more,
    )  # fmt: skip


def assert_same_bits(one: PlanningSweep, other: PlanningSweep) -> None:
    pd.testing.assert_frame_equal(one.frame, other.frame, check_exact=True)
    assert one.frame.to_csv() == other.frame.to_csv()


@pytest.fixture(scope="module")
def serial() -> PlanningSweep:
    return swept(backend="serial")


def environment() -> dict[str, str]:
    """Workers load the same quenchbook as this process."""
    paths = [str(ROOT / "src"), os.environ.get("PYTHONPATH", "")]
    return {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, paths))}


@contextlib.contextmanager
def cluster(folder: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """Address of a scheduler on this machine, and its two worker processes."""
    place = folder / "scheduler.json"
    dask = [sys.executable, "-m"]
    quiet = {"env": environment(), "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    where = ["--scheduler-file", str(place), "--no-dashboard"]
    started = [
        subprocess.Popen(
            [*dask, "distributed.cli.dask_scheduler", *where, "--host", "127.0.0.1", "--port", "0"],
            **quiet,
        )  # type: ignore[call-overload]
    ]  # fmt: skip
    try:
        worker = ["distributed.cli.dask_worker", *where, "--nthreads", "1", "--no-nanny"]
        own = ["--local-directory", str(folder)]
        started += [
            subprocess.Popen([*dask, *worker, *own, "--host", "127.0.0.1"], **quiet)  # type: ignore[call-overload]
            for _ in range(2)
        ]
        until = time.monotonic() + PATIENCE
        while not place.exists():
            assert time.monotonic() < until, "the scheduler did not start"
            time.sleep(0.05)
        yield json.loads(place.read_text())["address"], started[1:]
    finally:
        for process in reversed(started):
            process.kill()
            process.wait()


def kill_when(keep: Path, lines: int, process: subprocess.Popen[bytes]) -> None:
    """Kill a process as soon as so many items are kept."""
    until = time.monotonic() + PATIENCE
    while time.monotonic() < until and process.poll() is None:
        if keep.exists() and keep.read_bytes().count(b"\n") >= lines:
            process.send_signal(signal.SIGKILL)
            return
        time.sleep(0.002)


def test_processes_and_other_chunks_give_the_same_bits(serial: PlanningSweep) -> None:
    assert_same_bits(swept(backend="loky", workers=2), serial)
    assert_same_bits(swept(backend="loky", workers=3, chunk=7), serial)
    assert_same_bits(swept(backend="threading", workers=2, chunk=11), serial)
    assert_same_bits(swept(backend="serial", chunk=1), serial)


def test_a_cluster_gives_the_same_bits_also_when_a_worker_is_killed(
    serial: PlanningSweep, tmp_path: Path
) -> None:
    with cluster(tmp_path) as (address, workers):
        assert_same_bits(swept(scheduler=address), serial)
        assert_same_bits(swept(scheduler=address, chunk=9), serial)
        keep = tmp_path / "kept.jsonl"
        killer = threading.Thread(target=kill_when, args=(keep, 1 + ITEMS // 4, workers[0]))
        killer.start()
        found = swept(scheduler=address, chunk=1, keep=keep)
        killer.join()
        assert workers[0].wait() == -signal.SIGKILL
        assert workers[1].poll() is None
    assert_same_bits(found, serial)
    assert keep.read_bytes().count(b"\n") == 1 + ITEMS


PROGRAM = """
import sys
import quenchbook as qb

if __name__ == "__main__":
    study = qb.read_study(sys.argv[1])
    qb.planning_sweep(study, "dry_ice", loads={loads}, noise={noise}, studies={studies},
                      backend="serial", chunk=2, keep=sys.argv[2])
"""


def test_a_program_that_is_killed_goes_on_where_it_stopped(
    serial: PlanningSweep, tmp_path: Path
) -> None:
    keep = tmp_path / "kept.jsonl"
    program = PROGRAM.format(loads=LOADS, noise=NOISE, studies=STUDIES)
    for lines in (1 + ITEMS // 4, 1 + ITEMS // 2):
        process = subprocess.Popen(
            [sys.executable, "-c", program, str(ROOT / "data" / "plane_irons"), str(keep)],
            env=environment(), stderr=subprocess.DEVNULL,
        )  # fmt: skip
        kill_when(keep, lines, process)
        assert process.wait() == -signal.SIGKILL
        assert lines <= keep.read_bytes().count(b"\n") < 1 + ITEMS
    found = swept(backend="loky", workers=2, keep=keep)
    assert f"{keep.read_bytes().count(chr(10).encode()) - 1} of {ITEMS} items done" in found.work
    assert "of them earlier" in found.work
    assert_same_bits(found, serial)
