"""Blank forms; filled ones are read in tests/property, where bench and records meet."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import pytest
from python_calamine import CalamineWorkbook

from quenchbook.bench.forms import WORKBOOK, entry_forms, write_entry_forms
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.stock import Stock, StockBar


def test_the_demo_gets_a_form_for_each_thing_to_write(
    plane_irons_matrix: CouponMatrix, tmp_path: Path
) -> None:
    written = write_entry_forms(plane_irons_matrix, tmp_path / "forms")
    assert [path.name for path in written] == [
        "hardness.csv", "impact.csv", "furnace_log.csv", "block_checks.csv", "impact_checks.csv",
        "deviations.csv", "corrections.csv", WORKBOOK,
    ]  # fmt: skip
    assert written.notes == ()
    lines = (tmp_path / "forms" / "hardness.csv").read_text(encoding="utf-8").splitlines()
    assert lines[0] == f"# plan {plane_irons_matrix.plan_hash}"
    assert (
        lines[1] == "order,coupon," + ",".join(f"hardness_hrc_{n}" for n in range(1, 6)) + ",note"
    )
    first = plane_irons_matrix.frame.set_index("hardness_hrc_order").loc[1.0, "coupon"]
    assert lines[2] == f"1,{first},,,,,,"
    assert len(lines) == 98
    log = (tmp_path / "forms" / "furnace_log.csv").read_text(encoding="utf-8").splitlines()
    assert log[1:3] == ["furnace_load,austenitize_actual_degC", "1,"]


def test_a_micrometer_in_the_study_gives_a_form_for_lengths(
    plane_irons_matrix: CouponMatrix,
) -> None:
    study = replace(plane_irons_matrix.study, tester={"micrometer": "0.002 mm"})
    forms = {form.name: form for form in entry_forms(replace(plane_irons_matrix, study=study))}
    assert forms["lengths"].columns == ("coupon", "length_before_mm", "length_after_mm", "note")
    assert len(forms["lengths"].rows) == 96


def test_labels_give_a_form_for_the_place_of_each_coupon(
    plane_irons_matrix: CouponMatrix,
) -> None:
    stock = Stock((StockBar(500.0),), 25.0, 1.6, 10.0, labels=True)
    study = replace(plane_irons_matrix.study, stock=stock)
    forms = {form.name: form for form in entry_forms(replace(plane_irons_matrix, study=study))}
    assert forms["places"].columns == ("coupon", "place", "note")
    assert [row[0] for row in forms["places"].rows] == plane_irons_matrix.frame["coupon"].tolist()
    assert "places" not in {form.name for form in entry_forms(plane_irons_matrix)}


def test_a_study_without_these_testers_has_no_form_for_them(
    coated_bars_matrix: CouponMatrix,
) -> None:
    names = {form.name for form in entry_forms(coated_bars_matrix)}
    assert not names & {"block_checks", "impact_checks", "lengths"}


def test_the_workbook_holds_the_same_tables(
    plane_irons_matrix: CouponMatrix, tmp_path: Path
) -> None:
    write_entry_forms(plane_irons_matrix, tmp_path)
    book = CalamineWorkbook.from_path(str(tmp_path / WORKBOOK))
    for form in entry_forms(plane_irons_matrix):
        rows = book.get_sheet_by_name(form.name).to_python()
        assert rows[0][0] == f"# plan {plane_irons_matrix.plan_hash}"
        assert tuple(rows[1]) == form.columns
        with (tmp_path / f"{form.name}.csv").open(encoding="utf-8", newline="") as file:
            lines = list(csv.reader(file))[2:]
        kept = [[str(int(c)) if isinstance(c, float) else str(c) for c in row] for row in rows[2:]]
        assert [row for row in kept if any(row)] == lines


def test_the_same_plan_gives_the_same_bytes(
    coated_bars_matrix: CouponMatrix, tmp_path: Path
) -> None:
    for folder in ("a", "b"):
        write_entry_forms(coated_bars_matrix, tmp_path / folder)
    for path in (tmp_path / "a").iterdir():
        assert path.read_bytes() == (tmp_path / "b" / path.name).read_bytes()


@pytest.mark.parametrize("name", ["hardness.csv", WORKBOOK])
def test_a_filled_form_is_left_alone_and_told(
    plane_irons_matrix: CouponMatrix, tmp_path: Path, name: str
) -> None:
    write_entry_forms(plane_irons_matrix, tmp_path)
    filled = (tmp_path / name).read_bytes() + b"mine"
    (tmp_path / name).write_bytes(filled)
    again = write_entry_forms(plane_irons_matrix, tmp_path)
    assert (tmp_path / name).read_bytes() == filled
    assert len(again) == 7
    assert again.notes == (
        f"{tmp_path / name} is filled in or of an earlier version and was left alone.",
    )
    assert again.notes[0] in again.summary()


def test_no_half_written_file_stays(plane_irons_matrix: CouponMatrix, tmp_path: Path) -> None:
    write_entry_forms(plane_irons_matrix, tmp_path)
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".")]


def test_forms_of_another_plan_are_left_alone_and_told(
    plane_irons_matrix: CouponMatrix, coated_bars_matrix: CouponMatrix, tmp_path: Path
) -> None:
    write_entry_forms(coated_bars_matrix, tmp_path)
    before = (tmp_path / "deviations.csv").read_bytes()
    again = write_entry_forms(plane_irons_matrix, tmp_path)
    assert (tmp_path / "deviations.csv").read_bytes() == before
    assert len(again.notes) == 4
    assert all("is not a form of this plan" in note for note in again.notes)


def test_deviations_and_corrections_show_what_to_write(plane_irons_matrix: CouponMatrix) -> None:
    forms = {form.name: form for form in entry_forms(plane_irons_matrix)}
    for name in ("deviations", "corrections"):
        assert forms[name].rows == ()
        assert forms[name].examples
        for row in forms[name].examples:
            assert row[0].startswith("# example: ")
            assert len(row) == len(forms[name].columns)
    assert forms["deviations"].examples[0] == (
        "# example: coupon", "K7TC", "lost", "cracked", "seen after the quench",
    )  # fmt: skip
    told = {row[2] for row in forms["deviations"].examples}
    assert {"austenitize", "delay", "temper", "lost", "note"} <= told
    assert forms["hardness"].examples == ()
