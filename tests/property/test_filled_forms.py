"""What is written into a blank form is what the reader gives back."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np
import pytest
import xlsxwriter
from python_calamine import CalamineWorkbook

from quenchbook.bench.forms import WORKBOOK, write_entry_forms
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.reading import Records, read_records

Table = list[list[str]]

ACTUAL = {"austenitize_actual_degC": "971.5", "furnace_temp_actual_degC": "361.5"}


def fill(name: str, rows: Table) -> Table:
    """Fill in the blank cells of a form, one reading of the first row left out."""
    draw = np.random.default_rng(7)
    columns = rows[1]
    for number, row in enumerate(rows[2:]):
        for place, column in enumerate(columns):
            if row[place] or (number == 0 and column == "hardness_hrc_5"):
                continue
            if column.startswith("hardness"):
                row[place] = f"{draw.uniform(58, 66):.1f}"
            elif column.startswith(("impact", "resistance")):
                row[place] = f"{draw.uniform(8, 90):.1f}"
            elif column in ACTUAL:
                row[place] = ACTUAL[column] if number == 0 else ""
    if name == "deviations":
        rows.append(["furnace_load", "1", "note", "", "drawn late"])
    return rows


def written_values(tables: dict[str, Table]) -> dict[tuple[str, str, int], float]:
    found = {}
    for rows in tables.values():
        columns = rows[1]
        for row in rows[2:] if "coupon" in columns else []:  # not those on a block
            for place, column in enumerate(columns):
                base, _, end = column.rpartition("_")
                name, number = (base, int(end)) if end.isdigit() else (column, 1)
                if name in ("hardness_hrc", "impact_j", "resistance") and row[place]:
                    found[name, row[columns.index("coupon")], number] = float(row[place])
    return found


def read_values(records: Records) -> dict[tuple[str, str, int], float]:
    rows = records.readings.itertuples(index=False)
    return {(str(r.response), str(r.coupon), int(r.reading)): float(r.value) for r in rows}


def filled_csv(matrix: CouponMatrix, blank: Path, records: Path) -> dict[str, Table]:
    tables = {}
    for path in blank.glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as file:
            rows = fill(path.stem, list(csv.reader(file)))
        text = io.StringIO()
        csv.writer(text, lineterminator="\n").writerows(rows)
        (records / path.name).write_text(text.getvalue(), encoding="utf-8")
        tables[path.stem] = rows
    return tables


def filled_workbook(matrix: CouponMatrix, blank: Path, records: Path) -> dict[str, Table]:
    book = CalamineWorkbook.from_path(str(blank / WORKBOOK))
    target = xlsxwriter.Workbook(str(records / WORKBOOK))
    tables = {}
    for name in book.sheet_names:
        cells = book.get_sheet_by_name(name).to_python(skip_empty_area=False)
        texts = [[str(int(c)) if isinstance(c, float) else str(c) for c in row] for row in cells]
        rows = fill(name, [row for row in texts if any(row)])
        sheet = target.add_worksheet(name)
        for number, row in enumerate(rows):
            for place, cell in enumerate(row):
                if number > 1 and cell.replace(".", "", 1).isdigit() and rows[1][place] != "coupon":
                    sheet.write_number(number, place, float(cell))
                else:
                    sheet.write_string(number, place, cell)
        tables[name] = rows
    target.close()
    return tables


@pytest.mark.parametrize("study", ["plane_irons_matrix", "coated_bars_matrix"])
@pytest.mark.parametrize("kind", [filled_csv, filled_workbook])
def test_a_filled_form_comes_back(
    study: str, kind: object, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    matrix: CouponMatrix = request.getfixturevalue(study)
    write_entry_forms(matrix, tmp_path / "blank")
    (tmp_path / "records").mkdir()
    tables = kind(matrix, tmp_path / "blank", tmp_path / "records")  # type: ignore[operator]
    records = read_records(tmp_path / "records", matrix)
    written = written_values(tables)
    assert len(written) == (96 * 5 - 1 + 48 if study == "plane_irons_matrix" else 24)
    assert read_values(records) == written
    logged = records.deviations[records.deviations["item"] != "note"]
    assert logged[["what", "which"]].to_numpy().tolist() == [["furnace_load", "1"]]
    assert logged["actual"].tolist() == [971.5 if study == "plane_irons_matrix" else 361.5]
    assert "drawn late" in records.deviations["note"].tolist()


@pytest.mark.parametrize("study", ["plane_irons_matrix", "coated_bars_matrix"])
def test_blank_forms_are_read_as_nothing_measured_yet(
    study: str, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    matrix: CouponMatrix = request.getfixturevalue(study)
    write_entry_forms(matrix, tmp_path)
    records = read_records(tmp_path, matrix)
    assert records.readings.empty
    assert len(records.missing) == (96 * 5 + 48 if study == "plane_irons_matrix" else 24)
    assert all(line.startswith("No readings of ") for line in records.summary().splitlines())
