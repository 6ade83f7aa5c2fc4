"""Files of the bench: the booklet as PDF and HTML, its timetable and its cut list as tables.

Each file names its plan: the booklet in its title, a table in its column ``plan``, the calendar in
its description. Only files of the same plan are written again; those that the plan has no more are
removed.
"""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Final

import pandas as pd

from quenchbook.bench.calendar import calendar_mark, calendar_text
from quenchbook.errors import ReportError, TypesettingError
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.report.booklet import Booklet, bench_booklet
from quenchbook.report.booklet_html import booklet_html
from quenchbook.report.booklet_pages import booklet_files, booklet_source
from quenchbook.report.browser_print import printed_instead
from quenchbook.report.pdf import compile_typst, pdf_seconds
from quenchbook.writing import write_bytes

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
        tells the first day, and ``cut_list.csv`` where it tells of a stock. One of these that
        the plan had before and has no more is removed.

    Raises
    ------
    ReportError
        If the folder holds a file of one of these names that is not of this plan: nothing is
        written.
    TypesettingError
        If neither Typst nor a browser of this machine makes the PDF; the rest is written.
    """
    folder = Path(folder)
    booklet, plan = bench_booklet(matrix), matrix.short_hash
    tables = {TIMETABLE_CSV: _csv(booklet.timetable.to_frame(), plan)}
    if booklet.timetable.hours.first_day is not None:
        tables[TIMETABLE_ICS] = calendar_text(booklet.timetable)
    if booklet.cuts is not None:
        tables[CUT_LIST_CSV] = _csv(booklet.cuts.frame, plan)
    _check_booklets(folder, booklet.title, plan)
    for name in tables:
        if (folder / name).exists() and not _is_of_plan(folder / name, plan):
            raise ReportError(
                f"{folder / name} is not of this plan, {plan}. Move it away; it is not overwritten."
            )
    page = booklet_html(booklet)
    done = {BOOKLET_HTML: page.encode("utf-8")}
    done |= {name: text.encode("utf-8") for name, text in tables.items()}
    unset: TypesettingError | None = None
    try:
        done = {BOOKLET_PDF: _pdf(booklet, page), **done}
    except TypesettingError as error:
        unset = error
    folder.mkdir(parents=True, exist_ok=True)
    paths = [write_bytes(folder / name, data) for name, data in done.items()]
    for name in (TIMETABLE_ICS, CUT_LIST_CSV):
        if name not in done and (folder / name).exists() and _is_of_plan(folder / name, plan):
            (folder / name).unlink()
    if unset is not None:
        raise TypesettingError(f"{unset} The HTML was written: {folder / BOOKLET_HTML}.")
    return paths


def _pdf(booklet: Booklet, page: str) -> bytes:
    """Booklet set by Typst or, where Typst does not work, its page printed by a browser."""
    source, files = booklet_source(booklet), booklet_files(booklet)
    try:
        return compile_typst(source, files, title=booklet.title)
    except TypesettingError as error:
        return printed_instead(page, str(error), pdf_seconds(None))


def _check_booklets(folder: Path, title: str, plan: str) -> None:
    """ReportError if a booklet is there that is not of this plan."""
    for path in (folder / BOOKLET_PDF, folder / BOOKLET_HTML):
        if path.exists() and title.encode("utf-8") not in path.read_bytes():
            raise ReportError(
                f"{path} holds the booklet of another plan, this one is {plan}. "
                "Move it away; it is not overwritten."
            )


def _is_of_plan(path: Path, plan: str) -> bool:
    """Whether a table or a calendar says that it belongs to this plan."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        return False
    if path.suffix == ".ics":
        return calendar_mark(plan) in text.splitlines()
    rows = csv.DictReader(text.splitlines())
    return "plan" in (rows.fieldnames or ()) and all(row["plan"] == plan for row in rows)


def _csv(frame: pd.DataFrame, plan: str) -> str:
    return str(frame.assign(plan=plan).to_csv(index=False, lineterminator="\n"))
