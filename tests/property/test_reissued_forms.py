"""A form of an older layout is written anew with every entry in it, and the old one stays."""

from __future__ import annotations

import csv
import io
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from tests.property.test_filled_forms import (
    Table,
    fill,
    filled_csv,
    filled_workbook,
    read_values,
    written_values,
)

from quenchbook.bench.forms import WORKBOOK, write_entry_forms
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.reading import read_records


def with_readings(matrix: CouponMatrix, readings: int) -> CouponMatrix:
    first, *others = matrix.study.responses
    study = replace(matrix.study, responses=(replace(first, readings=readings), *others))
    return replace(matrix, study=study)


def rows_of(path: Path) -> Table:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file))


def text_of(rows: Table, mark: str = ",") -> str:
    text = io.StringIO()
    csv.writer(text, delimiter=mark, lineterminator="\r\n").writerows(rows)
    return text.getvalue()


@pytest.fixture
def forms(plane_irons_matrix: CouponMatrix, tmp_path: Path) -> Path:
    """Filled forms of the demonstration, in place."""
    (tmp_path / "blank").mkdir()
    write_entry_forms(plane_irons_matrix, tmp_path / "blank")
    folder = tmp_path / "forms"
    shutil.copytree(tmp_path / "blank", folder)
    filled_csv(plane_irons_matrix, tmp_path / "blank", folder)
    filled_workbook(plane_irons_matrix, tmp_path / "blank", folder)
    return folder


def test_more_readings_a_coupon_give_new_forms_with_all_entries(
    plane_irons_matrix: CouponMatrix, forms: Path, tmp_path: Path
) -> None:
    more = with_readings(plane_irons_matrix, 7)
    before = {path: path.read_bytes() for path in forms.iterdir()}
    again = write_entry_forms(more, forms)
    assert [path.name for path in again] == [
        "hardness_2.csv", "block_checks.csv", "impact_checks.csv", "corrections.csv", "entry_2.xlsx",
    ]  # fmt: skip
    assert {path: path.read_bytes() for path in before} == before
    assert "hardness.csv is of an older layout and was left alone;" in again.notes[0]
    old, new = rows_of(forms / "hardness.csv"), rows_of(forms / "hardness_2.csv")
    assert new[1] == ["order", "coupon", *(f"hardness_hrc_{n}" for n in range(1, 8)), "note"]
    assert [[*row[:7], row[9]] for row in new[2:]] == old[2:]
    values = {}
    for name in ("hardness_2.csv", "entry_2.xlsx"):
        folder = tmp_path / f"records_{name}"
        folder.mkdir()
        shutil.copy(forms / name, folder)
        values[name] = read_values(read_records(folder, more))
    assert values["hardness_2.csv"] == written_values({"hardness": old})
    assert values["entry_2.xlsx"] == written_values(
        {name: rows_of(forms / f"{name}.csv") for name in ("hardness", "impact")}
    )
    notes = read_records(tmp_path / "records_entry_2.xlsx", more).deviations["note"].tolist()
    assert "drawn late" in notes


def test_the_next_issue_goes_on_from_the_newest_form(
    plane_irons_matrix: CouponMatrix, forms: Path
) -> None:
    more = with_readings(plane_irons_matrix, 7)
    write_entry_forms(more, forms)
    second = fill("hardness", rows_of(forms / "hardness_2.csv"))
    (forms / "hardness_2.csv").write_text(text_of(second), encoding="utf-8")
    (forms / "entry_2.xlsx").unlink()
    (forms / WORKBOOK).unlink()
    same = write_entry_forms(more, forms)
    assert not (forms / "hardness_3.csv").exists()
    assert any(
        "hardness_2.csv is filled in or of an earlier version" in note for note in same.notes
    )
    write_entry_forms(with_readings(plane_irons_matrix, 8), forms)
    third = rows_of(forms / "hardness_3.csv")
    assert [[*row[:9], row[10]] for row in third[2:]] == second[2:]


def test_a_form_that_a_spreadsheet_saved_again_is_carried_over_too(
    plane_irons_matrix: CouponMatrix, forms: Path, tmp_path: Path
) -> None:
    old = [[cell.replace(".", ",") for cell in row] for row in rows_of(forms / "hardness.csv")]
    (forms / "hardness.csv").write_bytes(text_of(old, ";").encode("utf-8-sig"))
    more = with_readings(plane_irons_matrix, 6)
    write_entry_forms(more, forms)
    (tmp_path / "records").mkdir()
    shutil.copy(forms / "hardness_2.csv", tmp_path / "records")
    points = [[cell.replace(",", ".") for cell in row] for row in old]
    assert read_values(read_records(tmp_path / "records", more)) == written_values({"h": points})


def test_what_has_no_place_is_carried_by_hand_and_named(
    plane_irons_matrix: CouponMatrix, forms: Path
) -> None:
    rows = rows_of(forms / "hardness.csv")
    rows.append(["", "K7QX", "60.1", "", "", "", "", "found under the bench"])
    (forms / "hardness.csv").write_text(text_of(rows), encoding="utf-8")
    fewer = write_entry_forms(with_readings(plane_irons_matrix, 4), forms)
    note = next(note for note in fewer.notes if "hardness_2.csv has no place for" in note)
    assert f"row 4, hardness_hrc_5: '{rows[3][6]}'" in note
    assert "and 90 more: look there." in note
    assert rows_of(forms / "hardness_2.csv")[-1] == [
        "", "K7QX", "60.1", "", "", "", "found under the bench",
    ]  # fmt: skip


def test_coupons_that_were_added_to_the_plan_get_a_new_form_with_the_old_entries(
    plane_irons_matrix: CouponMatrix, tmp_path: Path
) -> None:
    part = replace(plane_irons_matrix, frame=plane_irons_matrix.frame.head(40), part_hash="a" * 64)
    whole = replace(plane_irons_matrix, part_hash="a" * 64)
    write_entry_forms(part, tmp_path)
    old = fill("impact", rows_of(tmp_path / "impact.csv"))
    (tmp_path / "impact.csv").write_text(text_of(old), encoding="utf-8")
    write_entry_forms(whole, tmp_path)
    new = {row[1]: row for row in rows_of(tmp_path / "impact_2.csv")[2:]}
    assert len(new) == 48
    for row in old[2:]:
        assert new[row[1]][2:] == row[2:]
    assert sum(bool(row[2]) for row in new.values()) == len(old) - 2
