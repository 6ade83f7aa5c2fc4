"""Programs that are killed, or run out of disk, while they keep records: nothing finished is lost.

A program of its own adds entries as fast as it can and says a number after each one; it is killed
(SIGKILL) after a random time. The entries that were said must be there, and those that are there
must be the first ones, whole.
"""

from __future__ import annotations

import os
import resource
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from quenchbook.records.kept_entries import Entry, append_entries, kept_entries

PROGRAM = """
import hashlib, sys
from quenchbook.records.kept_entries import Entry, append_entries, kept_entries
folder = sys.argv[1]
kept = kept_entries(folder)
for number in range(kept.files, 100_000):
    raw = f"coupon,hardness_hrc\\nK7TX,{number}\\n".encode() * 200
    sha = hashlib.sha256(raw).hexdigest()
    file = Entry("t", "file", "", "", "", "", "h.csv", "", "", "h.csv", "", sha)
    rows = [
        Entry("t", "reading", "coupon", f"{number}", "hardness_hrc", f"{n}", "62.5", "HRC", "",
              "h.csv", "2", sha)
        for n in range(200)
    ]
    append_entries(folder, kept, [file, *rows], [raw])
    kept = kept_entries(folder)
    print(number, flush=True)
"""
KILLS = 200


def killed(folder: Path, seconds: float) -> int:
    """Run the program, kill it `seconds` after its first entry; the number it said last."""
    program = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, str(folder)],
        stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
    )  # fmt: skip
    assert program.stdout is not None
    first = program.stdout.readline()
    time.sleep(seconds)
    program.send_signal(signal.SIGKILL)
    said = (first + program.stdout.read()).splitlines()
    program.wait()
    program.stdout.close()
    assert program.returncode == -signal.SIGKILL
    return int(said[-1])


def check(folder: Path, said: int) -> int:
    """Entries are there up to the one that was said, at most one more, all whole."""
    kept = kept_entries(folder)
    assert kept.files in (said + 1, said + 2)
    assert len(kept.current) == 200 * kept.files
    wanted = [str(number) for number in range(kept.files)]
    assert list(dict.fromkeys(own.which for own in kept.entries if own.which)) == wanted
    return kept.files - said - 1


@pytest.mark.parametrize(
    "kills", [8, pytest.param(KILLS, marks=pytest.mark.simulation)], ids=["few", "many"]
)
def test_a_killed_program_loses_no_finished_entry(tmp_path: Path, kills: int) -> None:
    draw = np.random.default_rng(20261125)
    torn = 0
    for number in range(kills):
        folder = tmp_path / str(number // 10)  # ten killed writers after one another in a folder
        folder.mkdir(exist_ok=True)
        check(folder, killed(folder, float(draw.uniform(0, 0.05))))
        torn += bool(list((folder / "kept").rglob("*.part")))
    if kills == KILLS:
        assert torn > 5  # some were killed in the middle of a write


def test_a_disk_that_is_full_in_the_middle_of_a_write_loses_nothing(tmp_path: Path) -> None:
    def entry(number: int) -> Entry:
        own = ("reading", "coupon", f"{number}", "hardness_hrc", "1", "62.5", "HRC")
        return Entry("t", *own, "", "h.csv", "2", "")

    append_entries(tmp_path, kept_entries(tmp_path), [entry(1)])
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, before[1]))  # a write stops after 4096 bytes
    try:
        with pytest.raises(OSError, match="File too large"):
            append_entries(tmp_path, kept_entries(tmp_path), [entry(n) for n in range(2, 999)])
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, handler)
    assert [own.which for own in kept_entries(tmp_path).entries] == ["1"]
    append_entries(tmp_path, kept_entries(tmp_path), [entry(2)])
    assert [own.which for own in kept_entries(tmp_path).entries] == ["1", "2"]
    assert not list(tmp_path.rglob("*.part"))
