"""Files of a timetable, and the PDF read back by pikepdf."""

from __future__ import annotations

import datetime
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pikepdf

from quenchbook.plan.matrix import CouponMatrix
from quenchbook.report.timetable_pages import write_timetable_documents


def test_a_first_day_adds_the_calendar(
    untold_plane_irons_matrix: CouponMatrix, tmp_path: Path
) -> None:
    without = write_timetable_documents(untold_plane_irons_matrix, tmp_path / "a")
    assert [path.name for path in without] == ["timetable.csv", "timetable.pdf"]
    study = untold_plane_irons_matrix.study
    told = replace(study, timetable={"first_day": datetime.date(2026, 10, 5)})
    matrix = replace(untold_plane_irons_matrix, study=told)
    dated = write_timetable_documents(matrix, tmp_path / "b")
    assert [path.name for path in dated] == ["timetable.csv", "timetable.pdf", "timetable.ics"]
    table = pd.read_csv(dated[0])
    assert table["date"].iloc[0] == "2026-10-05"
    with pikepdf.open(dated[1]) as pdf:
        assert len(pdf.pages) >= 1 + 2 * 5  # the first, then a picture and a list for each day
    first = [path.read_bytes() for path in dated]
    assert [
        path.read_bytes() for path in write_timetable_documents(matrix, tmp_path / "b")
    ] == first
