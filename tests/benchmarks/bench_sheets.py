"""Speed of the work before the furnace: ``python tests/benchmarks/bench_sheets.py``.

Targets: timetable of 12 loads by the list within 1 s, a cut list of 96 pieces within 1 s.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import quenchbook as qb
from quenchbook.study.stock import StockBar

sys.path.insert(0, str(Path(__file__).parents[2]))
from tests.benchmarks.timing import median_seconds

DEMO = Path(__file__).parents[2] / "data" / "plane_irons"


def main() -> None:
    """Print one line for each step on the demonstration (12 loads, 96 coupons)."""
    study = qb.read_study(DEMO)
    matrix = qb.read_plan(DEMO / "plan", study)
    assert study.stock is not None
    bars = replace(study.stock, bars=(StockBar(300.0), StockBar(500.0), StockBar(1000.0)))
    mixed = replace(matrix, study=replace(study, stock=bars))
    print(f"timetable by the list      {median_seconds(lambda: qb.bench_timetable(matrix)):6.2f} s")
    print(
        f"timetable, searched        {median_seconds(lambda: qb.bench_timetable(matrix, search=True)):6.2f} s"
    )
    print(f"cut list, bars as told     {median_seconds(lambda: qb.cut_list(matrix)):6.2f} s")
    print(f"cut list, three bars       {median_seconds(lambda: qb.cut_list(mixed)):6.2f} s")
    with tempfile.TemporaryDirectory() as folder:
        writing = median_seconds(lambda: qb.write_bench_documents(matrix, folder))
    print(f"booklet, PDF and HTML      {writing:6.2f} s")


if __name__ == "__main__":
    main()
