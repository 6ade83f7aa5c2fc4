"""Measure how often the sentences of 1,000 simulated studies are wrong, and store the rates.

Run in the project folder: ``python tests/simulation/measure_written_word.py``. It takes some three
minutes on two cores and writes ``written_word_counts.csv`` beside this file and
``src/quenchbook/report/measured_rates.json``, which reports and README tell. With ``--stored`` only
the second is made again, from the counts that are there.
"""

from __future__ import annotations

import datetime
import itertools
import json
import os
import resource
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")  # small matrices: one thread for each process

sys.path.insert(0, str(Path(__file__).parents[2]))  # started as a script

import pandas as pd
from tests.simulation.written_layouts import LAYOUTS
from tests.simulation.written_rates import (
    COUNTS,
    RATES,
    layout_table,
    markdown,
    measured,
    stored_counts,
)
from tests.simulation.written_studies import PLANS, STUDIES, counts_of

from quenchbook import __version__


def new_counts() -> pd.DataFrame:
    """Counts of all plans, on all processors; they are stored."""
    cells = list(itertools.product(range(len(LAYOUTS)), range(PLANS)))
    with ProcessPoolExecutor() as pool:
        parts = [pool.submit(counts_of, layout, plan, STUDIES // PLANS) for layout, plan in cells]
        tables = []
        for part, (layout, plan) in zip(parts, cells, strict=True):
            tables.append(part.result())
            print(f"{LAYOUTS[layout].name}, plan {plan + 1} of {PLANS}", file=sys.stderr)
    counts = pd.concat(tables, ignore_index=True)
    counts.to_csv(COUNTS, index=False, lineterminator="\n")
    return counts


def main() -> None:
    start = time.perf_counter()
    counts = stored_counts() if "--stored" in sys.argv[1:] else new_counts()
    told = measured(counts, date=datetime.date.today().isoformat(), version=__version__)
    text = json.dumps(told, indent=1, ensure_ascii=False)
    RATES.write_text(text + "\n", encoding="utf-8")
    print(markdown(told))
    print(layout_table(counts).round(3).to_string())
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    spent = used.ru_utime + used.ru_stime
    print(f"{time.perf_counter() - start:.0f} s, {spent:.0f} s of processor time")


if __name__ == "__main__":
    main()
