"""Files of the bench: the booklet as PDF and HTML, its timetable and its cut list as tables."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import pandas as pd

from quenchbook.bench.calendar import write_calendar
from quenchbook.errors import ReportError
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.report.booklet import bench_booklet
from quenchbook.report.booklet_html import booklet_html
from quenchbook.report.booklet_pages import booklet_files, booklet_source
from quenchbook.report.exporters import write_whole
from quenchbook.report.pdf import compile_typst
from quenchbook.writing import write_text

BOOKLET_PDF: Final = "booklet.pdf"
BOOKLET_HTML: Final = "booklet.html"
TIMETABLE_CSV: Final = "timetable.csv"
TIMETABLE_ICS: Final = "timetable.ics"
CUT_LIST_CSV: Final = "cut_list.csv"


def write_bench_documents(matrix: CouponMatrix, folder: str | Path) -> list[Path]:
    """Write the bench booklet of a plan, with its timetable and cut list as tables.

    Parameters
    ----------
    matrix : CouponMatrix
    folder : str or Path
        Made if needed.

    Returns
    -------
    list of Path
        ``booklet.pdf``, ``booklet.html``, ``timetable.csv``; ``timetable.ics`` where the study
        tells the first day, and ``cut_list.csv`` where it tells of a stock.

    Raises
    ------
    ReportError
        If the folder holds the booklet of another plan: nothing is overwritten.
    """
    folder = Path(folder)
    booklet = bench_booklet(matrix)
    renewed = _is_of_this_plan(folder, booklet.title, matrix.short_hash)
    pdf = compile_typst(booklet_source(booklet), booklet_files(booklet), title=booklet.title)
    page = booklet_html(booklet).encode("utf-8")
    paths = []
    if booklet.cuts is not None:  # first: it is the one that could be there without a booklet
        cuts = _csv(booklet.cuts.frame).encode("utf-8")
        paths.append(write_whole(folder / CUT_LIST_CSV, cuts, overwrite=renewed))
    files = [
        write_whole(folder / BOOKLET_PDF, pdf, overwrite=True),
        write_whole(folder / BOOKLET_HTML, page, overwrite=True),
        write_text(folder / TIMETABLE_CSV, _csv(booklet.timetable.to_frame())),
    ]
    if booklet.timetable.hours.first_day is not None:
        files.append(write_calendar(booklet.timetable, folder / TIMETABLE_ICS))
    return [*files, *paths]


def _is_of_this_plan(folder: Path, title: str, plan: str) -> bool:
    """Whether a booklet of this plan is there; ReportError if it is anything else."""
    found = [path for name in (BOOKLET_PDF, BOOKLET_HTML) if (path := folder / name).exists()]
    for path in found:
        if title.encode("utf-8") not in path.read_bytes():
            raise ReportError(
                f"{path} holds the booklet of another plan, this one is {plan}. "
                "Move it away; it is not overwritten."
            )
    return bool(found)


def _csv(frame: pd.DataFrame) -> str:
    return str(frame.to_csv(index=False, lineterminator="\n"))
