"""A library of 500 invented studies of 100 coupons: all there, the same kept as fresh."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
from tests.many_studies import write_studies

import quenchbook as qb

pytestmark = pytest.mark.simulation

STUDIES, COUPONS = 500, 100
MOST_MEGABYTES = 700
"""Python with pandas and pyarrow takes some 170, the table some 20, a second copy as much."""

_PEAK = """
import resource, sys
import quenchbook as qb
own = qb.read_studies(sys.argv[1])
assert own.newly_read == 0
part = own.where(steel="A2", route="freezer", austenitize=("1750 degF", None))
print(len(own.table), part.table["study"].nunique(), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


def test_five_hundred_studies_are_read_kept_and_asked(tmp_path: Path) -> None:
    write_studies(tmp_path, STUDIES)
    fresh = qb.read_studies(tmp_path)
    assert fresh.unread == ()
    assert len(fresh.table) == STUDIES * COUPONS
    assert (fresh.table.groupby("study").size() == COUPONS).all()
    assert fresh.table["study"].nunique() == STUDIES
    assert (fresh.table["readings"] == 2).all()
    kept = qb.read_studies(tmp_path)
    assert kept.newly_read == 0
    pd.testing.assert_frame_equal(kept.table, fresh.table, check_exact=True)
    command = [sys.executable, "-c", _PEAK, str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    rows, asked, peak = map(int, done.stdout.split())
    assert (rows, asked) == (STUDIES * COUPONS, STUDIES // 4)
    print(f"\npeak memory of reading and asking what was kept: {peak / 1e3:.0f} MB")
    assert peak / 1e3 < MOST_MEGABYTES
