"""Speed of reading and accepting records: ``python tests/benchmarks/bench_records.py``.

100,000 readings of 10,000 coupons, read and checked; target: within 5 s, however they are written.
Then accepted (read, checked, kept and settled on the disk), and accepted again; each within 5 s.
The plan and the readings are invented.
"""

from __future__ import annotations

import itertools
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import xlsxwriter

from quenchbook.errors import RecordError
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.acceptance import accept_records
from quenchbook.records.reading import read_records

sys.path.insert(0, str(Path(__file__).parents[1] / "unit" / "records"))
from conftest import small_matrix

COUPONS, INDENTS, TARGET = 10_000, 10, 5.0
Line = tuple[str, np.ndarray]


def large_matrix(readings: int = INDENTS) -> CouponMatrix:
    """Plan of 10,000 coupons, four a load, made of the small plan of the tests."""
    small = small_matrix()
    frame = pd.concat([small.frame] * (COUPONS // len(small.frame)), ignore_index=True)
    codes = itertools.islice(itertools.product("ACDEFHKT", repeat=5), COUPONS)
    frame["coupon"] = ["".join(letters) for letters in codes]
    frame["furnace_load"] = np.arange(COUPONS) // 4 + 1
    frame["temper_batch"] = frame["furnace_load"]
    frame["cold_batch"] = [f"{load}-{n % 4 + 1}" for n, load in enumerate(frame["furnace_load"])]
    hardness, impact = small.study.responses
    study = replace(
        small.study,
        responses=(replace(hardness, readings=readings), replace(impact, readings=readings)),
    )
    return CouponMatrix(frame=frame, study=study, seed=1)


def lines(matrix: CouponMatrix) -> Iterator[Line]:
    values = np.random.default_rng(1).normal(62, 0.5, (COUPONS, INDENTS))
    yield from zip(matrix.frame["coupon"], values, strict=True)


def names(stem: str) -> list[str]:
    return [f"{stem}_{number}" for number in range(1, INDENTS + 1)]


def wide(matrix: CouponMatrix, folder: Path) -> None:
    rows = [f"{code}," + ",".join(f"{v:.1f}" for v in own) for code, own in lines(matrix)]
    head = ",".join(["coupon", *names("hardness_hrc")])
    (folder / "hardness.csv").write_text("\n".join([head, *rows]), encoding="utf-8")


def long(matrix: CouponMatrix, folder: Path) -> None:
    rows = [f"{code},{n},{v:.1f}" for code, own in lines(matrix) for n, v in enumerate(own, 1)]
    text = "\n".join(["coupon,reading,hardness_hrc", *rows])
    (folder / "hardness.csv").write_text(text, encoding="utf-8")


def units_in_cells(matrix: CouponMatrix, folder: Path) -> None:
    def cell(value: float) -> str:
        return f"{value:.1f} HRC".replace(".", ",")

    rows = [f"{code};" + ";".join(map(cell, own)) for code, own in lines(matrix)]
    head = ";".join(["coupon", *names("hardness")])
    (folder / "hardness.csv").write_text("\n".join([head, *rows]), encoding="utf-8")


def foot_pounds(matrix: CouponMatrix, folder: Path) -> None:
    rows = [f"{code}," + ",".join(f"{v:.1f}" for v in own) for code, own in lines(matrix)]
    head = ",".join(["coupon", *names("impact_ftlbf")])
    (folder / "impact.csv").write_text("\n".join([head, *rows]), encoding="utf-8")


def workbook(matrix: CouponMatrix, folder: Path) -> None:
    book = xlsxwriter.Workbook(str(folder / "hardness.xlsx"))
    sheet = book.add_worksheet("hardness")
    sheet.write_row(0, 0, ["coupon", *names("hardness_hrc")])
    for row, (code, own) in enumerate(lines(matrix), start=1):
        sheet.write_row(row, 0, [code, *own.round(1).tolist()])
    book.close()


def all_wrong(matrix: CouponMatrix, folder: Path) -> None:
    rows = [f"{code}," + ",".join(f"{v:.0f}{v:.0f}" for v in own) for code, own in lines(matrix)]
    head = ",".join(["coupon", *names("hardness_hrc")])
    (folder / "hardness.csv").write_text("\n".join([head, *rows]), encoding="utf-8")


def labels_misread(matrix: CouponMatrix, folder: Path) -> None:
    rows = [f"{code[:-1]}9," + ",".join(["62.0"] * INDENTS) for code, _ in lines(matrix)]
    head = ",".join(["coupon", *names("hardness_hrc")])
    (folder / "hardness.csv").write_text("\n".join([head, *rows[:200]]), encoding="utf-8")


WAYS: tuple[Callable[[CouponMatrix, Path], None], ...] = (
    wide, long, units_in_cells, foot_pounds, workbook, all_wrong, labels_misread,
)  # fmt: skip


def main() -> int:
    matrix, slow = large_matrix(), 0
    for write in WAYS:
        with tempfile.TemporaryDirectory() as name:
            write(matrix, Path(name))
            start = time.perf_counter()
            try:
                what = f"{len(read_records(name, matrix).readings)} readings"
            except RecordError as error:
                what = f"{len(error.problems)} mistakes"
            slow += told(write.__name__, what, time.perf_counter() - start)
            if write in (all_wrong, labels_misread):
                continue
            for what in ("accepted", "accepted again"):
                start = time.perf_counter()
                accept_records(name, matrix)
                slow += told(write.__name__, what, time.perf_counter() - start)
    return slow


def told(way: str, what: str, seconds: float) -> bool:
    print(f"{way:20} {what:20} {seconds:6.2f} s (target {TARGET:g} s)")
    return seconds > TARGET


if __name__ == "__main__":
    raise SystemExit(main())
