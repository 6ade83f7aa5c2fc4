"""Copies of files with their mistakes marked: beside the files, and good again when corrected."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from python_calamine import CalamineWorkbook
from tests.unit.records.test_damaged_files import CASES, book

from quenchbook.errors import RecordError
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.marked_copies import write_marked_copies
from quenchbook.records.mistakes import place_of, record_mistakes
from quenchbook.records.reading import read_records

Put = Callable[..., Path]
H = "coupon,hardness_hrc_1,hardness_hrc_2\n"


def marked(folder: Path, matrix: CouponMatrix) -> list[Path]:
    return write_marked_copies(folder, record_mistakes(folder, matrix))


def test_a_text_file_gets_a_last_column_with_the_mistakes(matrix: CouponMatrix, put: Put) -> None:
    text = f"# plan {matrix.short_hash}\nCoupon;hardness_hrc_1\nK7TX;612\n\nK9AD;62,5\nCRDH;é\n"
    folder = put({"h.csv": text.encode("cp1252")})
    (path,) = marked(folder, matrix)
    assert path == folder / "marked" / "h.csv"
    assert path.read_text(encoding="utf-8-sig").splitlines() == [
        f"# plan {matrix.short_hash}",
        "Coupon;hardness_hrc_1;mistake",
        "K7TX;612;hardness_hrc is 612, expected 0 to 70. Was the decimal comma lost (61,2)?",
        "",
        "K9AD;62,5",
        "CRDH;é;hardness_hrc is 'é', not a number in HRC. Write the reading, or leave the cell "
        "empty.",
    ]
    assert (folder / "h.csv").read_bytes() == text.encode("cp1252")


def test_a_marked_copy_that_was_corrected_is_read_like_any_file(
    matrix: CouponMatrix, put: Put
) -> None:
    folder = put({"h.csv": H + "K7TX,612,62.1\nK7QX,62,61\n"})
    (path,) = marked(folder, matrix)
    text = path.read_text(encoding="utf-8-sig").replace(",612,", ",61.2,").replace("K7QX", "K9AD")
    put({"h.csv": text})
    values = read_records(folder, matrix).readings[["coupon", "value"]].to_numpy().tolist()
    assert values == [["K7TX", 61.2], ["K7TX", 62.1], ["K9AD", 62.0], ["K9AD", 61.0]]


def test_a_workbook_gets_coloured_cells_with_a_comment(matrix: CouponMatrix, put: Put) -> None:
    rows = [["coupon", "hardness_hrc_1", "hardness_hrc_2"], ["K7TX", 612, 62.1], ["K9AD", 62, "x"]]
    data = book({"hardness": rows, "list": [["coupon", "impact_j"], ["K7TX", 13.5]]})
    folder = put({"b.xlsx": data})
    (path,) = marked(folder, matrix)
    copy = CalamineWorkbook.from_path(str(path))
    assert copy.sheet_names == ["hardness", "list"]
    assert copy.get_sheet_by_name("hardness").to_python() == rows
    with zipfile.ZipFile(path) as parts:
        comments = parts.read("xl/comments1.xml").decode()
        sheet = parts.read("xl/worksheets/sheet1.xml").decode()
        assert "FFF3DFA6" in parts.read("xl/styles.xml").decode()
    assert re.findall(r'<comment ref="(\w+)"', comments) == ["B2", "C3"]
    assert "Was the decimal point lost (61.2)?" in comments
    assert re.findall(r'<c r="(\w+)" s="1"', sheet) == ["B2", "C3"]
    assert (folder / "b.xlsx").read_bytes() == data


def test_a_mistake_of_a_whole_row_marks_its_cells(matrix: CouponMatrix, put: Put) -> None:
    rows = [["coupon", "hardness_hrc_1"], ["K7TX", 62], ["K7TX", 62.5]]
    (path,) = marked(put({"b.xlsx": book({"hardness": rows})}), matrix)
    with zipfile.ZipFile(path) as parts:
        assert re.findall(r'<comment ref="(\w+)"', parts.read("xl/comments1.xml").decode()) == [
            "A3"
        ]
        sheet = parts.read("xl/worksheets/sheet1.xml").decode()
    assert re.findall(r'<c r="(\w+)" s="1"', sheet) == ["A3", "B3"]


def test_a_copy_is_never_written_over(matrix: CouponMatrix, put: Put) -> None:
    folder = put({"h.csv": H + "K7TX,612,62.1\n"})
    (first,) = marked(folder, matrix)
    assert marked(folder, matrix) == [first]
    first.write_text("mine")
    (second,) = marked(folder, matrix)
    assert (first.read_text(), second.name) == ("mine", "h_2.csv")


def test_good_records_get_no_copies(matrix: CouponMatrix, put: Put) -> None:
    folder = put({"h.csv": H + "K7TX,62,62.1\n"})
    assert marked(folder, matrix) == []
    assert not (folder / "marked").exists()


@pytest.mark.parametrize("name", CASES)
def test_every_mistake_with_a_row_stands_in_a_copy_that_has_the_same_mistakes(
    name: str, matrix: CouponMatrix, put: Put
) -> None:
    folder = put(CASES[name][0])
    mistakes = record_mistakes(folder, matrix)
    before = {path: path.read_bytes() for path in folder.iterdir()}
    paths = {path.stem: path for path in write_marked_copies(folder, mistakes)}
    assert {path: path.read_bytes() for path in before} == before
    for problem in mistakes.problems:
        file, row, _ = place_of(problem)
        unreadable = "quotation mark is never closed" in problem.problem
        if row is None or unreadable:
            continue
        path = paths[Path(file.partition(", sheet ")[0]).stem]
        if path.suffix == ".xlsx":
            with zipfile.ZipFile(io.BytesIO(path.read_bytes())) as parts:
                assert any(part.startswith("xl/comments") for part in parts.namelist())
            continue
        assert problem.problem in path.read_text(encoding="utf-8-sig").replace('""', '"')
    again = {str(own) for own in _messages(folder, matrix)}
    for path in paths.values():
        (folder / path.name).write_bytes(path.read_bytes())
    if not any(path.name.endswith(".ods") for path in before):
        assert {str(own) for own in _messages(folder, matrix)} == again


def _messages(folder: Path, matrix: CouponMatrix) -> tuple[object, ...]:
    with pytest.raises(RecordError) as caught:
        read_records(folder, matrix)
    return caught.value.problems
