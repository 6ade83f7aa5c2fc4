"""Open data: ``python tests/benchmarks/bench_open_data.py``; sizes, median times of 5 rounds.

The examples as they lie in ``data``: archive written, archive recomputed; and the tables of 10,000
rows alone. Never a timed test.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import zipfile
from pathlib import Path

import pandas as pd

import quenchbook as qb
from quenchbook.report.data_tables import DataTable

sys.path.insert(0, str(Path(__file__).parents[2]))
from tests.benchmarks.timing import median_seconds

ROOT = Path(__file__).parents[2]


def print_example(name: str, place: Path) -> None:
    """Size of an archive, and how long it takes to write and to recompute."""
    folder = place / name
    shutil.copytree(ROOT / "data" / name, folder)
    write = median_seconds(lambda: qb.write_archive(folder))
    path = folder / "reports" / f"{name}_data.zip"
    verify = median_seconds(lambda: qb.verify_archive(path))
    with zipfile.ZipFile(path) as archive:
        sizes = [entry.file_size for entry in archive.infolist()]
    numbers = qb.verify_archive(path).numbers
    print(
        f"{name:13}{len(sizes):3} files {sum(sizes) / 1000:6.0f} kB, zip "
        f"{path.stat().st_size / 1000:4.0f} kB; written {write:5.2f} s, {numbers:5} numbers "
        f"recomputed {verify:5.2f} s"
    )


def table_seconds(rows: int) -> float:
    """Make CSV and twin of a long table of readings with notes."""
    frame = pd.DataFrame({"coupon": "K7TX", "value": 61.23, "note": "=1+1; cracked"}, range(rows))
    study = qb.read_study(ROOT / "data" / "coated_bars")

    def work() -> tuple[str, str]:
        table = DataTable("readings", frame, study)
        return table.csv(), table.json_lines()

    return median_seconds(work)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        for name in sorted(path.name for path in (ROOT / "data").iterdir()):
            print_example(name, Path(folder))
    print(f"10,000 rows as CSV and JSON Lines: {table_seconds(10_000):.2f} s")
