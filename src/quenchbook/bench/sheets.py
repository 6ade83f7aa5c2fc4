"""All bench sheets of a plan as plain texts, in the order of the work."""

from __future__ import annotations

from dataclasses import dataclass

from quenchbook.bench.at_hand import Consumables, consumables
from quenchbook.bench.bar_sheets import BarSheet, bar_sheets
from quenchbook.bench.load_sheets import LoadSheet, load_sheets
from quenchbook.bench.safety import Caution, cautions
from quenchbook.bench.temper_sheets import TemperSheet, temper_sheets
from quenchbook.bench.tester_sheets import TestSheet, tester_sheets
from quenchbook.bench.travellers import LabelSheet, label_sheets
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.units import capital


@dataclass(frozen=True)
class BenchSheets:
    """All sheets: cautions, consumables, bars, labels, loads, temper batches, testers.

    `foot` stands at the left foot of every page; `load_words` and `temper_words` are what the study
    calls its furnace loads and temper batches.
    """

    title: str
    study_title: str
    cautions: tuple[Caution, ...]
    needs: Consumables | None
    foot: str
    bars: tuple[BarSheet, ...]
    loads: tuple[LoadSheet, ...]
    tempers: tuple[TemperSheet, ...]
    tests: tuple[TestSheet, ...]
    labels: tuple[LabelSheet, ...] = ()
    load_words: str = "furnace loads"
    temper_words: str = "temper batches"

    def part_titles(self) -> dict[str, str]:
        """Titles of all parts of a booklet, in the order of the work."""
        return {
            "cautions": "Cautions",
            "needs": "Have at hand",
            "timetable": "Timetable",
            "bars": "Bars",
            "labels": "Labels",
            "loads": capital(self.load_words),
            "tempers": capital(self.temper_words),
            "tests": "Tester sheets",
        }


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
    return BenchSheets(
        title=f"Bench booklet of {study.key}, plan {matrix.short_hash}",
        study_title=study.title,
        cautions=cautions(study),
        needs=needs if needs.is_more_than_steel else None,
        foot=foot,
        bars=tuple(bar_sheets(matrix, foot)),
        labels=tuple(label_sheets(matrix, foot)),
        loads=tuple(load_sheets(matrix, foot)),
        tempers=tuple(temper_sheets(matrix, foot)),
        tests=tuple(tester_sheets(matrix, foot)),
        load_words=study.unit_word("furnace_load", 2),
        temper_words=study.unit_word("temper_batch", 2),
    )
