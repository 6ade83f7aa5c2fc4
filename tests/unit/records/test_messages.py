"""What is suggested can be done as it is suggested: marks, separators, rows, units."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from quenchbook.errors import RecordError
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.reading import read_records
from quenchbook.records.tester import checks_of_testers

Put = Callable[[Mapping[str, str | bytes]], Path]
COMMAS = "coupon;hardness_hrc_1;hardness_hrc_2\nK7TX;612;62,1\nK9AD;61,3;61,5\n"
HEAD = "file;row;column;found;corrected;reason\n"
LOG_F = "furnace_load,austenitize_actual_degF\n"


def messages(matrix: CouponMatrix, folder: Path) -> list[str]:
    with pytest.raises(RecordError) as caught:
        read_records(folder, matrix)
    return [str(problem) for problem in caught.value.problems]


# --- decimal marks --------------------------------------------------------------------------------


@pytest.mark.parametrize("corrected", ["61.2", "61,2", "61.2 HRC"])
def test_a_correction_is_read_with_either_mark(
    corrected: str, matrix: CouponMatrix, put: Put
) -> None:
    fix = f"h.csv;2;hardness_hrc_1;612;{corrected};comma lost\n"
    records = read_records(put({"h.csv": COMMAS, "corrections.csv": HEAD + fix}), matrix)
    assert records.readings["value"].tolist()[0] == 61.2


def test_a_correction_of_a_file_with_points_may_have_commas(matrix: CouponMatrix, put: Put) -> None:
    files = {
        "h.csv": "coupon,hardness_hrc_1\nK7TX,20.1\n",
        "c.csv": HEAD + "h.csv;2;hardness_hrc_1;20,1;62,1;slip\n",
    }
    assert read_records(put(files), matrix).readings["value"].tolist() == [62.1]


def test_the_suggested_value_has_the_mark_of_its_file(matrix: CouponMatrix, put: Put) -> None:
    [found] = messages(matrix, put({"h.csv": COMMAS}))
    assert found.endswith("Was the decimal comma lost (61,2)?")


# --- separators -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("more", "row"),
    [
        ({}, "h.csv;2;coupon;K7QX;K7TX;misread label"),
        ({"c.csv": HEAD.replace(";", ",")}, "h.csv,2,coupon,K7QX,K7TX,misread label"),
    ],
)
def test_a_suggested_row_has_the_separator_of_the_file_it_goes_into(
    more: dict[str, str], row: str, matrix: CouponMatrix, put: Put
) -> None:
    text = COMMAS.replace("K7TX;612", "K7QX;61,2")
    [found] = messages(matrix, put({"h.csv": text, **more}))
    assert found.endswith(f"add a row to corrections.csv: {row}")


@pytest.mark.parametrize(
    ("files", "told"),
    [
        (
            {"h.csv": COMMAS, "c.csv": HEAD + "h.csv,2,hardness_hrc_1,612,61.2,slip\n"},
            "c.csv row 2: has commas between its cells, the header has semicolons. "
            "Write semicolons here.",
        ),
        (
            {"h.csv": "coupon,hardness_hrc_1,hardness_hrc_2\nK7TX;62.5;62.1\nK9AD,61,62\n"},
            "h.csv row 2: has semicolons between its cells, the header has commas. "
            "Write commas here.",
        ),
        (
            {"h.csv": "coupon,hardness_hrc_1,hardness_hrc_2\nK7TX;62,5;62,1\nK9AD,61,62\n"},
            "h.csv row 2: has semicolons between its cells, the header has commas. "
            "Write commas here.",
        ),
        (
            {"h.csv": "coupon\thardness_hrc_1\nK7TX;62.5\nK9AD\t61\nCRDH\t61\n"},
            "h.csv row 2: has semicolons between its cells, the header has tabs. Write tabs here.",
        ),
    ],
)
def test_a_row_with_another_separator_is_told_so(
    files: dict[str, str], told: str, matrix: CouponMatrix, put: Put
) -> None:
    assert told in messages(matrix, put(files))


def test_a_note_with_a_semicolon_is_no_slip(matrix: CouponMatrix, put: Put) -> None:
    text = "coupon,hardness_hrc_1,note\nK7TX,62.5,chipped; ground again\n"
    records = read_records(put({"h.csv": text}), matrix)
    assert records.deviations["note"].tolist() == ["chipped; ground again"]


# --- rows that moved ------------------------------------------------------------------------------


def test_a_correction_whose_row_moved_is_told_where_it_is(matrix: CouponMatrix, put: Put) -> None:
    fix = "h.csv;3;hardness_hrc_1;612;61.2;comma lost\n"
    found = messages(matrix, put({"h.csv": COMMAS, "corrections.csv": HEAD + fix}))
    assert found[0] == (
        "corrections.csv row 2: h.csv row 3, hardness_hrc_1 holds '61,3', not '612'. "
        "'612' is in row 2 now: write that row here."
    )


def test_a_text_that_stands_twice_is_not_said_to_have_moved(matrix: CouponMatrix, put: Put) -> None:
    text = COMMAS + "CRDH;612;61,0\n"
    fix = "h.csv;3;hardness_hrc_1;612;61.2;comma lost\n"
    found = messages(matrix, put({"h.csv": text, "corrections.csv": HEAD + fix}))
    assert found[0].endswith("Correct the row number, or delete the correction.")


# --- units ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cell", "told"),
    [
        # 2812 degF read as degC is no hardening either: nothing is guessed
        (
            "2812",
            "austenitize is '2812' (1544.4\u00a0°C), expected 820 to 1180 °C (1508 to 2156 °F). "
            "Look at the log again.",
        ),
        (
            "970",
            "austenitize is '970' (521.1\u00a0°C), expected 820 to 1180 °C (1508 to 2156 °F). "
            "Was it 970 degC?",
        ),
        (  # digits as wide as letters, found by the slow lane
            "\uff16\uff12",
            "austenitize is '\uff16\uff12' (16.7\u00a0°C), expected 820 to 1180 °C (1508 to 2156 °F). "
            "Look at the log again.",
        ),
        (
            "8l5",
            "austenitize is '8l5', not a temperature in °F. Write it such as 1778 degF, or leave "
            "the cell empty.",
        ),
        (
            "1778 degC",
            "austenitize is '1778 degC' (1778\u00a0°C), expected 820 to 1180 °C. "
            "Was it 1778 degF (970\u00a0°C)?",
        ),
    ],
)
def test_a_form_in_fahrenheit_is_answered_in_fahrenheit(
    cell: str, told: str, matrix: CouponMatrix, put: Put
) -> None:
    [found] = messages(matrix, put({"l.csv": f"{LOG_F}1,{cell}\n"}))
    assert found == f"l.csv row 2, furnace load 1: {told}"


# --- places ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("label", "what"),
    [
        ("", "has readings but no coupon"),
        ("?", "has readings but no coupon"),
        ("4E?Q", "4E?Q is not in this plan"),
    ],
)
def test_a_lost_label_is_found_by_its_place(
    label: str, what: str, matrix: CouponMatrix, put: Put
) -> None:
    files = {
        "h.csv": f"coupon,hardness_hrc_1,place\n{label},62.5,Tray 2-3\nK9AD,61,tray 1-1\n",
        "places.csv": "coupon,place\nK7TX,tray 1-2\n4E79,tray 2-3\n",
    }
    [found] = messages(matrix, put(files))
    row = f"h.csv,2,coupon,{label},4E79,found by its place Tray 2-3"
    assert found == (
        f"h.csv row 2: {what}; its place 'Tray 2-3' is that of 4E79 (places.csv row 3). "
        f"If that is it, add a row to corrections.csv: {row}"
    )
    files["corrections.csv"] = f"{HEAD.replace(';', ',')}{row}\n"
    records = read_records(put(files), matrix)
    assert records.readings["coupon"].tolist() == ["4E79", "K9AD"]


def test_a_place_of_two_coupons_names_both(matrix: CouponMatrix, put: Put) -> None:
    files = {
        "h.csv": "coupon,hardness_hrc_1,place\n,62.5,foil 3\n",
        "places.csv": "coupon,place\nK7TX,foil 3\n4E79,foil 3\n",
    }
    [found] = messages(matrix, put(files))
    assert found.endswith(
        "no coupon; its place 'foil 3' is that of K7TX and 4E79. Look at the coupon."
    )


# --- testers --------------------------------------------------------------------------------------


@pytest.mark.parametrize(("reading", "told"), [("64.0", True), ("62.4", False)])
def test_a_tester_out_of_its_limit_is_told_in_one_line(
    reading: str, told: bool, matrix: CouponMatrix, put: Put
) -> None:
    block = f"session,when,block_value_hrc,hardness_hrc_1\n1,before,62.4,{reading}\n"
    files = {"h.csv": "coupon,hardness_hrc_1\nK7TX,62.5\n", "b.csv": block}
    alarm = checks_of_testers(read_records(put(files), matrix)).alarm()
    assert "\n" not in alarm
    assert alarm.startswith("A tester check is out of its limit (error, session 1 before") == told
