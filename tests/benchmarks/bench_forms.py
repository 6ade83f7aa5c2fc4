"""Speed of the forms: ``OMP_NUM_THREADS=1 python tests/benchmarks/bench_forms.py``.

What follows from one change in the form for the plan of the demonstration (96 coupons, 21
questions): edit, reading, matrix, power, cost and HTML. Target: under 0.5 s on an idle machine; the
processor time is shown beside it, for other work on the machine does not lengthen that. Never a
timed test.
"""

# ruff: noqa: E402 - threads are set before numpy is loaded

from __future__ import annotations

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))
from tests.benchmarks.timing import median_seconds

import quenchbook as qb
from quenchbook.forms.plan_preview import preview_of_edits

DEMO = Path(__file__).parents[2] / "data" / "plane_irons"
CHANGES = {
    "furnace loads": {"layout.furnace_loads": "8"},
    "an austenitize temperature": {
        "factors.austenitize.levels": "940 degC, 970 degC, 1000 degC, 1040 degC"
    },
    "words of a question": {"questions.freezer.words": "Is a freezer cold enough?"},
    "a margin": {"responses.hardness.equivalence_margin": "0.4 HRC"},
    "noise": {"responses.hardness.noise.coupon": "0.4 HRC"},
    "a price": {"costs.indent": "0.2"},
}


def processor_seconds(work: object) -> float:
    """Median processor time of five rounds."""
    times = []
    for _ in range(5):
        started = time.process_time()
        work()  # type: ignore[operator]
        times.append(time.process_time() - started)
    return statistics.median(times)


def main() -> None:
    """Print a line for each change and for one entered coupon."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        shutil.copy(DEMO / "study.toml", folder)  # without a kept plan: each change makes a draft
        edits = qb.study_edits(folder)
        for words, changes in CHANGES.items():

            def work(changes: dict[str, str] = changes) -> str:
                own = edits.with_changes(changes)
                own.problems_by_field()
                return preview_of_edits(own)._repr_html_()

            print(
                f"{words:28s} {median_seconds(work):6.3f} s, processor {processor_seconds(work):.3f} s"
            )
        preview = preview_of_edits(edits)
        print(f"{'then: questions of curves':28s} {median_seconds(preview.with_curves):6.3f} s")
        shutil.copytree(DEMO / "plan", folder / "plan")
        book = qb.entry_book(folder)
        started = time.perf_counter()
        for code in book.coupons("hardness")["coupon"]:
            book.enter("hardness", code, ["62.1"] * 5)
        print(
            f"{'an accepted coupon':28s} {(time.perf_counter() - started) / 96:6.3f} s, mean of 96"
        )


if __name__ == "__main__":
    main()
