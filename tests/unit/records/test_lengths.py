"""Lengths before and after the cold step: read beside readings, shown, in no model. Invented."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.lengths import NO_LENGTHS, length_changes
from quenchbook.records.reading import read_records
from quenchbook.study.definition import Response

H = "coupon,hardness_hrc_1,hardness_hrc_2,length_before_mm,length_after_mm\n"


def test_lengths_stand_beside_readings(put: Callable[..., Path], matrix: CouponMatrix) -> None:
    text = H + "K9AD,62.5,62.1,60.000,60.042\nK7TX,62.5,62.1,60.000,60.000\n"
    records = read_records(put({"h.csv": text}), matrix)
    assert len(records.readings) == 4
    frame = length_changes(records).to_frame()
    assert frame["coupon"].tolist() == ["K7TX", "K9AD"]
    # 42 um over 8.5 and 8.3 um for 1 % (notes), the readings off by 2.8 um together
    own = frame.iloc[1]
    assert own["transformed"] == pytest.approx(5.0, abs=0.05)
    assert own["transformed_low"] == pytest.approx((42 - 2.83) / 8.5, abs=0.05)
    assert own["transformed_high"] == pytest.approx((42 + 2.83) / 8.3, abs=0.05)
    assert frame.loc[0, "transformed_low"] < 0 < frame.loc[0, "transformed_high"]


def test_lengths_in_inches_become_mm(put: Callable[..., Path], matrix: CouponMatrix) -> None:
    text = "coupon,length_before_in,length_after_in\nK9AD,2.3622,2.3640\n"
    frame = length_changes(read_records(put({"l.csv": text}), matrix)).frame
    assert frame.loc[0, "length_before_mm"] == pytest.approx(59.99988)


def test_without_lengths_it_is_said(put: Callable[..., Path], matrix: CouponMatrix) -> None:
    records = read_records(put({"h.csv": "coupon,hardness_hrc_1\nK7TX,62.5\n"}), matrix)
    assert length_changes(records).summary() == NO_LENGTHS


def test_one_length_only_and_a_shorter_coupon_are_told(
    put: Callable[..., Path], matrix: CouponMatrix
) -> None:
    text = "coupon,length_before_mm,length_after_mm\nK9AD,60.000,\nK7TX,60.000,59.990\n"
    notes = length_changes(read_records(put({"l.csv": text}), matrix)).notes
    assert "1 with one length only: not used." in notes
    assert any(
        note.startswith("Shorter after the cold step than readings allow: K7TX.") for note in notes
    )


def test_a_better_micrometer_narrows_the_range(
    put: Callable[..., Path], matrix: CouponMatrix
) -> None:
    folder = put({"l.csv": "coupon,length_before_mm,length_after_mm\nK9AD,60.000,60.042\n"})
    fine = replace(matrix, study=replace(matrix.study, tester={"micrometer": "0.0005 mm"}))
    usual, better = (
        length_changes(read_records(folder, own)).frame.iloc[0] for own in (matrix, fine)
    )
    assert better["transformed_high"] < usual["transformed_high"]
    assert better["transformed_low"] > usual["transformed_low"]


def test_a_length_that_the_study_declares_is_a_response(
    put: Callable[..., Path], matrix: CouponMatrix
) -> None:
    declared = Response("length_after_mm", "length after the cold step", "mm")
    study = replace(matrix.study, responses=(*matrix.study.responses, declared))
    frame = matrix.frame.assign(length_after_mm_order=[float(n) for n in range(1, 9)])
    own = replace(matrix, study=study, frame=frame)
    records = read_records(put({"l.csv": "coupon,length_after_mm\nK9AD,60.042\n"}), own)
    assert records.measures.empty
    assert records.readings["response"].tolist() == ["length_after_mm"]
