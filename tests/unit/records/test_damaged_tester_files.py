"""Damaged files about the testers and about lengths, each with its message word for word."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from quenchbook.errors import RecordError
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.reading import read_records

B = "session,when,block_value_hrc,hardness_hrc_1,hardness_hrc_2\n"
I = "session,certified_value_j,impact_j_1,impact_j_2\n"  # noqa: E741
L = "coupon,length_before_mm,length_after_mm\n"

CASES: dict[str, tuple[str, list[str]]] = {
    "no such time": (
        B + "1,befor,62.4,62.3,62.5\n",
        ["f.csv row 2: when is 'befor', expected before or after. Did you mean before?"],
    ),
    "no session": (
        B + ",before,62.4,62.3,62.5\n",
        [
            "f.csv row 2: has block readings but no session. Write a number or a date, the same "
            "before and after."
        ],
    ),
    "no block value": (
        B + "1,before,,62.3,62.5\n",
        [
            "f.csv row 2: has block readings but no block_value_hrc. Write the value of the "
            "certificate."
        ],
    ),
    "block value lost its point": (
        B + "1,before,624,62.3,62.5\n",
        [
            "f.csv row 2: block_value_hrc is 624, expected 20 to 70. Write the value of the certificate."
        ],
    ),
    "reading lost its point": (
        B + "1,before,62.4,623,62.5\n",
        ["f.csv row 2: hardness_hrc is 623, expected 0 to 70. Was the decimal point lost (62.3)?"],
    ),
    "reading is a word": (
        B + "1,before,62.4,hard,62.5\n",
        [
            "f.csv row 2: hardness_hrc_1 is 'hard', not a number in HRC. Write the reading, or "
            "leave the cell empty."
        ],
    ),
    "all mistakes of a row at once": (
        B + "1,during,62.4,x,99\n",
        [
            "f.csv row 2: hardness_hrc_1 is 'x', not a number in HRC. Write the reading, or leave "
            "the cell empty.",
            "f.csv row 2: hardness_hrc is 99, expected 0 to 70. Look at the sheet again; leave the "
            "cell empty if it cannot be read.",
            "f.csv row 2: when is 'during', expected before or after. Known: before, after.",
        ],
    ),
    "row twice": (
        B + "1,before,62.4,62.3,62.5\n1,Before,62.4,62.3,62.5\n",
        [
            "f.csv row 3: repeats the block readings of f.csv row 2. Delete one of the two, or "
            "correct the session."
        ],
    ),
    "uncertainty in the wrong column": (
        B.replace("block_value_hrc", "block_value_hrc,block_uncertainty_hrc")
        + "1,before,62.4,62.3,62.5,\n",
        [
            "f.csv row 2: block_uncertainty_hrc is 62.3, expected above 0, up to 2. Write the "
            "expanded uncertainty of the certificate, or leave the cell empty."
        ],
    ),
    "column without a unit": (
        B.replace("block_value_hrc", "block_value") + "1,before,62.4,62.3,62.5\n",
        [
            "f.csv row 1: the column 'block_value' has no unit, and its cells have none. Name it "
            "block_value_hrc if it is HRC."
        ],
    ),
    "another scale": (
        B.replace("hardness_hrc_2", "hardness_hv_2") + "1,before,62.4,62.3,745\n",
        [
            "f.csv row 1: the column 'hardness_hv_2': 'hv' is not a unit of hardness. Name it "
            "hardness_hrc if that is it."
        ],
    ),
    "unknown column": (
        B.replace("when", "whn") + "1,before,62.4,62.3,62.5\n",
        [
            "f.csv row 1: there is no column 'when'. The columns are session, when.",
            "f.csv row 1: the column 'whn' is not known here. Did you mean when?",
        ],
    ),
    "no readings at all": (
        "session,when,block_value_hrc\n1,before,62.4\n",
        ["f.csv row 1: there is no column of block readings. Name it hardness_hrc_1."],
    ),
    "header of the block misspelt": (
        B.replace("block_value_hrc", "blok_value_hrc") + "1,before,62.4,62.3,62.5\n",
        [
            "f.csv row 1: the columns session, when, blok_value_hrc, hardness_hrc_1, "
            "hardness_hrc_2 are of no known table; nearest is block checks. Is 'blok_value_hrc' "
            "the column block_value_hrc?"
        ],
    ),
    "negative energy": (
        I + "1,14,-13.9,14.1\n",
        ["f.csv row 2: impact_j is -13.9, expected above 0, up to 1000. Is the minus sign a slip?"],
    ),
    "no certified value": (
        I + "1,?,13.9,14.1\n",
        [
            "f.csv row 2: has impact readings but no certified_value_j. Write the value of the "
            "certificate."
        ],
    ),
    "length of another coupon": (
        L + "K7TX,60.012,63.020\n",
        [
            "f.csv row 2, coupon K7TX: 60.012 mm before and 63.02 mm after the cold step: no steel "
            "changes its length by more than 1.5%. Is a digit wrong, or a length in inches?"
        ],
    ),
    "length is a word": (
        L + "K7TX,long,60.020\n",
        [
            "f.csv row 2, coupon K7TX: length_before_mm is 'long', not a length. Write a length "
            "such as 60.012 mm, or leave the cell empty."
        ],
    ),
    "length without a unit": (
        "coupon,length_before\nK7TX,60.012\n",
        [
            "f.csv row 2, coupon K7TX: length_before is '60.012' without a unit. Write a length "
            "such as 60.012 mm, or leave the cell empty."
        ],
    ),
    "negative length": (
        L + "K7TX,-60.012,60.020\n",
        [
            "f.csv row 2, coupon K7TX: length_before_mm is -60.012 mm, expected above 0, up to "
            "1000. Look at the sheet again, and at the unit of the column."
        ],
    ),
    "length twice": (
        L + "K7TX,60.012,60.020\nK7TX,60.013,60.020\n",
        [
            "f.csv row 3, coupon K7TX: length_before is 60.013 mm, and 60.012 mm in f.csv row 2. "
            "Delete one of the two, or correct the label."
        ],
    ),
    "length without a coupon": (
        L + "K7TX,60.012,60.020\n,60.013,60.020\n",
        ["f.csv row 3: has a length but no coupon. Write the coupon's code."],
    ),
    "length of a misread label": (
        L + "K7QX,60.012,60.020\n",
        [
            "f.csv row 2: K7QX is not in this plan; nearest: K7TX (one character). If that is it, "
            "add a row to corrections.csv: f.csv,2,coupon,K7QX,K7TX,misread label"
        ],
    ),
    "length in two columns": (
        "coupon,length_before_mm,length_before_in\nK7TX,60.012,2.363\n",
        [
            "f.csv row 1: 'length_before_mm' and 'length_before_in' are the same measure. Keep one "
            "of them."
        ],
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_a_damaged_file_gives_exactly_this_message(
    name: str, put: Callable[..., Path], matrix: CouponMatrix
) -> None:
    text, expected = CASES[name]
    with pytest.raises(RecordError) as caught:
        read_records(put({"f.csv": text}), matrix)
    assert [str(problem).rstrip(".") for problem in caught.value.problems] == [
        words.rstrip(".") for words in expected
    ]


def test_block_readings_in_another_shape_are_the_same(
    put: Callable[..., Path], matrix: CouponMatrix
) -> None:
    plain = read_records(put({"f.csv": B + "1,before,62.4,62.3,62.5\n"}), matrix)
    long = "session;when;block_value_hrc;hardness_hrc\n1;before;62,4;62,3\n1;BEFORE;62,4;62,5\n\n2;after;;\n"
    other = read_records(put({"f.csv": long.encode("utf-8-sig")}), matrix)
    columns = ["session", "when", "block_value_hrc", "reading", "hardness_hrc"]
    assert other.block_checks[columns].equals(plain.block_checks[columns])


def test_energies_in_foot_pounds_become_joule(
    put: Callable[..., Path], matrix: CouponMatrix
) -> None:
    text = "session,certified_value_ft_lbf,impact_ft_lbf_1\n1,10,10\n"
    read = read_records(put({"f.csv": text}), matrix).impact_checks
    assert read.loc[0, "certified_value_j"] == pytest.approx(13.558, abs=5e-4)
    assert read.loc[0, "impact_j"] == pytest.approx(13.558, abs=5e-4)


def test_blank_forms_are_no_mistake(put: Callable[..., Path], matrix: CouponMatrix) -> None:
    text = B + "# example: 1,before,62.4,62.3,62.5\n1,before,62.4,,\n"
    assert read_records(put({"f.csv": text}), matrix).block_checks.empty
