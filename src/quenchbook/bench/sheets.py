"""All bench sheets of a plan as plain texts, in the order of the work."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import count
from typing import TypeVar

from quenchbook.bench.at_hand import Consumables, consumables
from quenchbook.bench.bar_sheets import BarSheet, bar_sheets
from quenchbook.bench.load_sheets import LoadSheet, load_sheets
from quenchbook.bench.safety import Caution, cautions
from quenchbook.bench.temper_sheets import TemperSheet, temper_sheets
from quenchbook.bench.tester_sheets import TestSheet, tester_sheets
from quenchbook.bench.travellers import LabelSheet, label_sheets
from quenchbook.plan.matrix import CouponMatrix

Sheet = TypeVar("Sheet", BarSheet, LabelSheet, LoadSheet, TemperSheet, TestSheet)


@dataclass(frozen=True)
class BenchSheets:
    """All pages: cautions, consumables, bars, labels, loads, temper batches, testers."""

    title: str
    study_title: str
    cautions: tuple[Caution, ...]
    cautions_foot: tuple[str, str]
    needs: Consumables | None
    needs_foot: tuple[str, str]
    bars: tuple[BarSheet, ...]
    loads: tuple[LoadSheet, ...]
    tempers: tuple[TemperSheet, ...]
    tests: tuple[TestSheet, ...]
    labels: tuple[LabelSheet, ...] = ()

    @property
    def pages(self) -> int:
        """Number of pages, the cautions among them."""
        parts = (self.bars, self.labels, self.loads, self.tempers, self.tests)
        return (1 if self.needs is None else 2) + sum(map(len, parts))


def bench_sheets(matrix: CouponMatrix) -> BenchSheets:
    """Texts of every bench sheet of a plan.

    Parameters
    ----------
    matrix : CouponMatrix

    Returns
    -------
    BenchSheets
    """
    study, needs = matrix.study, consumables(matrix)
    foot = f"Study {study.key}, plan {matrix.short_hash}"
    sheets = BenchSheets(
        title=f"Bench sheets of {study.key}, plan {matrix.short_hash}",
        study_title=study.title,
        cautions=cautions(study),
        cautions_foot=(foot, ""),
        needs=needs if needs.is_more_than_steel else None,
        needs_foot=(foot, ""),
        bars=tuple(bar_sheets(matrix, foot)),
        labels=tuple(label_sheets(matrix, foot)),
        loads=tuple(load_sheets(matrix, foot)),
        tempers=tuple(temper_sheets(matrix, foot)),
        tests=tuple(tester_sheets(matrix, foot)),
    )
    numbers = count(2 if sheets.needs is None else 3)

    def numbered(pages: Iterable[Sheet]) -> tuple[Sheet, ...]:
        return tuple(
            replace(own, foot_right=f"{own.foot_right}, page {next(numbers)} of {sheets.pages}")
            for own in pages
        )

    return replace(
        sheets,
        cautions_foot=(foot, f"page 1 of {sheets.pages}"),
        needs_foot=(foot, f"page 2 of {sheets.pages}"),
        bars=numbered(sheets.bars),
        labels=numbered(sheets.labels),
        loads=numbered(sheets.loads),
        tempers=numbered(sheets.tempers),
        tests=numbered(sheets.tests),
    )
