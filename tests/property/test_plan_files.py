"""A plan that is written comes back equal, and any change of it is refused in clear words."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import locale
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.evenness import small_study

from quenchbook.errors import PlanError
from quenchbook.plan.files import MATRIX_FILE, PLAN_FILE, read_plan, write_plan
from quenchbook.plan.matrix import CouponMatrix, canonical_text
from quenchbook.plan.randomization import coupon_matrix
from quenchbook.study.definition import Study

FILES = settings(
    max_examples=40, deadline=None, derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)  # fmt: skip


@pytest.fixture(scope="module")
def study(plane_irons: Study) -> Study:
    return small_study(plane_irons)


@pytest.fixture(scope="module")
def matrix(study: Study) -> CouponMatrix:
    return coupon_matrix(study, seed=9)


@pytest.fixture(scope="module")
def folder(matrix: CouponMatrix, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("plan")
    write_plan(matrix, folder)
    return folder


def rows_of(matrix: CouponMatrix) -> list[list[str]]:
    return list(csv.reader(io.StringIO(canonical_text(matrix.frame))))


def changed(folder: Path, rows: list[list[str]], study: Study) -> str:
    """Message with which a plan of these rows is refused."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    path = folder / MATRIX_FILE
    kept = path.read_bytes()
    path.write_bytes(text.getvalue().encode("utf-8", "surrogatepass"))
    try:
        with pytest.raises(PlanError) as caught:
            read_plan(folder, study)
    finally:
        path.write_bytes(kept)
    return str(caught.value)


def is_clear(message: str) -> bool:
    """Whether a message says where and what to do."""
    where = ("coupon ", "furnace load ", "cold batch ", "temper batch ")
    return (MATRIX_FILE in message or message.startswith(where)) and message.endswith(".")


@FILES
@given(
    seed=st.integers(0, 2**63),
    room=st.integers(4, 9),
    bar_ends=st.integers(0, 2),
    places=st.sampled_from([0, 8, 12]),
)
def test_a_plan_comes_back_equal(
    plane_irons: Study, tmp_path_factory: pytest.TempPathFactory, seed: int, room: int,
    bar_ends: int, places: int,
) -> None:  # fmt: skip
    study = small_study(plane_irons)
    layout = replace(
        study.layout, coupons_per_temper_batch=room, bar_ends=bar_ends, furnace_places=places
    )
    matrix = coupon_matrix(replace(study, layout=layout), seed=seed)
    folder = tmp_path_factory.mktemp("plan")
    write_plan(matrix, folder)
    again = read_plan(folder, matrix.study)
    pd.testing.assert_frame_equal(again.frame, matrix.frame)
    assert (again.seed, again.notes, again.versions) == (
        matrix.seed, matrix.notes, matrix.versions,
    )  # fmt: skip
    assert again.plan_hash == matrix.plan_hash


@FILES
@given(data=st.data())
def test_a_changed_cell_is_refused(
    folder: Path, matrix: CouponMatrix, study: Study, data: st.DataObject
) -> None:
    rows = rows_of(matrix)
    row = data.draw(st.integers(1, len(rows) - 1))
    column = data.draw(st.integers(0, len(rows[0]) - 1))
    others = {own[column] for own in rows[1:]} | {"", "x", "nan", "inf", "-1", "1.5", "1e400", '"'}
    value = data.draw(st.sampled_from(sorted(others - {rows[row][column]})) | st.text(max_size=6))
    # the same number in other digits (8.0 for 8) is no change
    if value == rows[row][column] or same_number(value, rows[row][column]):
        return
    rows[row][column] = value
    assert is_clear(changed(folder, rows, study))


def same_number(one: str, other: str) -> bool:
    try:
        return float(one) == float(other)
    except ValueError:
        return False


@FILES
@given(row=st.integers(1, 32))
def test_a_removed_row_is_refused(
    folder: Path, matrix: CouponMatrix, study: Study, row: int
) -> None:
    rows = rows_of(matrix)
    del rows[row]
    assert "was changed after the plan was made" in changed(folder, rows, study)


@FILES
@given(pair=st.lists(st.integers(1, 32), min_size=2, max_size=2, unique=True))
def test_swapped_rows_are_refused(
    folder: Path, matrix: CouponMatrix, study: Study, pair: list[int]
) -> None:
    rows = rows_of(matrix)
    first, second = pair
    rows[first], rows[second] = rows[second], rows[first]
    assert "was changed after the plan was made" in changed(folder, rows, study)


@FILES
@given(row=st.integers(0, 32), data=st.data())
def test_a_row_with_a_cell_too_many_or_too_few_is_named(
    folder: Path, matrix: CouponMatrix, study: Study, row: int, data: st.DataObject
) -> None:
    rows = rows_of(matrix)
    rows[row] = data.draw(st.sampled_from([rows[row][:-1], [*rows[row], "7"]]))
    message = changed(folder, rows, study)
    assert is_clear(message)
    assert f"has {len(rows[1])} cells, the head has {len(rows[0])}" in message or (
        f"{MATRIX_FILE} row {row + 1}: has {len(rows[row])} cells" in message
    )


@FILES
@given(column=st.integers(0, 13), data=st.data())
def test_another_head_is_refused(
    folder: Path, matrix: CouponMatrix, study: Study, column: int, data: st.DataObject
) -> None:
    rows = rows_of(matrix)
    value = data.draw(st.sampled_from(["", "x", *rows[0]]))
    if value != rows[0][column]:
        rows[0][column] = value
        assert is_clear(changed(folder, rows, study))


@FILES
@given(data=st.binary(max_size=40))
def test_a_damaged_file_is_refused(
    folder: Path, matrix: CouponMatrix, study: Study, data: bytes
) -> None:
    path = folder / MATRIX_FILE
    kept = path.read_bytes()
    path.write_bytes(data)
    try:
        with pytest.raises(PlanError):
            read_plan(folder, study)
    finally:
        path.write_bytes(kept)


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_line_ends_of_another_machine_change_nothing(
    tmp_path: Path, matrix: CouponMatrix, study: Study, ends: str
) -> None:
    write_plan(matrix, tmp_path)
    path = tmp_path / MATRIX_FILE
    path.write_bytes(path.read_bytes().replace(b"\n", ends.encode()))
    assert read_plan(tmp_path, study).plan_hash == matrix.plan_hash


def test_the_plan_file_tells_seed_versions_and_the_hash_of_the_canonical_text(
    folder: Path, matrix: CouponMatrix
) -> None:
    about = json.loads((folder / PLAN_FILE).read_text(encoding="utf-8"))
    text = (folder / MATRIX_FILE).read_bytes()
    head = f"quenchbook plan 1\nstudy {matrix.study.key}\nseed 9\norigin randomized\n"
    assert about["sha256"] == hashlib.sha256(head.encode() + text).hexdigest()
    assert about["seed"] == 9
    assert set(about["versions"]) == {"quenchbook", "numpy", "bit_generator"}
    assert b"\r" not in text
    assert not text.startswith(b"\xef\xbb\xbf")


def test_names_with_commas_quotes_and_letters_of_other_languages_come_back(
    tmp_path: Path, matrix: CouponMatrix
) -> None:
    route = matrix.study.factors[1]
    names = ("none", 'öl, "kalt"', "a\nb", "c\\d")
    study = replace(
        matrix.study,
        factors=(matrix.study.factors[0], replace(route, levels=names), matrix.study.factors[2]),
    )
    again = coupon_matrix(study, seed=1)
    write_plan(again, tmp_path)
    pd.testing.assert_frame_equal(read_plan(tmp_path, study).frame, again.frame)


SCRIPT = """
import contextlib, hashlib, locale, sys
import pandas as pd
with contextlib.suppress(locale.Error):  # not every machine has a locale that writes 0,5
    locale.setlocale(locale.LC_ALL, "de_DE.UTF-8")
from quenchbook.plan.matrix import canonical_text
from quenchbook.writing import write_text
frame = pd.DataFrame({"c": [812.5, float("nan"), 1200000.0], "r": ["\\u00f6l", "a,b", ""]})
path = write_text(sys.argv[1], canonical_text(frame))
print(hashlib.sha256(path.read_bytes()).hexdigest())
"""


@pytest.mark.parametrize(
    "environment",
    [{"LC_ALL": "C", "PYTHONUTF8": "0"}, {"LC_ALL": "C", "PYTHONIOENCODING": "latin-1"}, {}],
)
def test_the_canonical_text_is_the_same_in_every_locale(
    tmp_path: Path, environment: dict[str, str]
) -> None:
    expected = hashlib.sha256('c,r\n812.5,öl\n,"a,b"\n1200000,\n'.encode()).hexdigest()
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT, str(tmp_path / "text.csv")],
        env={**os.environ, **environment}, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stdout.strip() == expected


def test_the_canonical_text_asks_neither_locale_nor_line_ends(
    matrix: CouponMatrix, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = canonical_text(matrix.frame)
    monkeypatch.setattr("os.linesep", "\r\n")
    monkeypatch.setattr(locale, "localeconv", lambda: {"decimal_point": ",", "thousands_sep": "."})
    monkeypatch.setattr(locale, "getpreferredencoding", lambda *_: "cp1252")
    assert canonical_text(matrix.frame) == text
