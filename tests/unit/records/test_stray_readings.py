from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.reading import read_records
from quenchbook.records.stray_readings import stray_notes, stray_places, within_coupon_sd
from quenchbook.study.definition import Response


def with_responses(matrix: CouponMatrix, *responses: Response) -> CouponMatrix:
    return replace(matrix, study=replace(matrix.study, responses=responses))


def readings(response: str, coupons: dict[str, list[float]]) -> dict[tuple[str, str, int], object]:
    return {
        (response, code, number): {"value": value, "file": "r.csv", "row": row}
        for row, (code, values) in enumerate(coupons.items(), start=2)
        for number, value in enumerate(values, start=1)
    }


def notes(matrix: CouponMatrix, response: Response, coupons: dict[str, list[float]]) -> list[str]:
    study = with_responses(matrix, response).study
    return stray_notes(readings(response.name, coupons), study)  # type: ignore[arg-type]


def test_a_possible_but_strange_indent_is_told_and_kept(
    matrix: CouponMatrix, records_folder: Path
) -> None:
    three = with_responses(
        matrix,
        Response("hardness_hrc", "hardness", "HRC", "hardness", 3),
        matrix.study.responses[1],
    )
    (records_folder / "hardness.csv").write_text(
        "coupon,hardness_hrc_1,hardness_hrc_2,hardness_hrc_3\n"
        "K7TX,62.1,62.4,62.2\nK9AD,62.4,62.6,20.1\n4E79,61.0,61.2,61.3\n",
        encoding="utf-8",
    )
    records = read_records(records_folder, three)
    expected = (
        "hardness.csv row 3, coupon K9AD: 20.1 lies 42\u00a0HRC from its other indents. Look at the "
        "coupon again; correct it in corrections.csv or keep it."
    )
    assert records.notes[-1] == expected
    assert expected in records.summary()
    assert 20.1 in records.frame("hardness_hrc")["value"].tolist()

    (records_folder / "corrections.csv").write_text(
        "file,row,column,found,corrected,reason\n"
        "hardness.csv,3,hardness_hrc_3,20.1,62.1,slip of the pen\n",
        encoding="utf-8",
    )
    assert not any("lies" in note for note in read_records(records_folder, three).notes)


HRC = Response("hardness_hrc", "hardness", "HRC", "hardness", 5)
HV = Response("hardness_hv", "hardness", "HV", "hardness", 5)
LOG = Response("energy_j", "energy", "J", "other", 5, scale="log")


def test_usual_scatter_is_never_told(matrix: CouponMatrix) -> None:
    draw = np.random.default_rng(3)
    coupons = {f"C{i}": (62 + draw.normal(0, 0.4, 5)).tolist() for i in range(400)}
    assert notes(matrix, HRC, coupons) == []
    assert notes(matrix, HV, coupons) == []


def test_five_hrc_is_the_least_that_counts(matrix: CouponMatrix) -> None:
    quiet = {f"C{i}": [62.0, 62.1, 62.2] for i in range(9)}
    assert notes(matrix, HRC, {**quiet, "ODD": [62.0, 62.1, 66.9]}) == []
    assert len(notes(matrix, HRC, {**quiet, "ODD": [62.0, 62.1, 67.2]})) == 1
    assert len(notes(matrix, HV, {**quiet, "ODD": [62.0, 62.1, 66.9]})) == 1  # scatter alone


def test_coarse_equal_readings_of_another_kind_are_not_told(matrix: CouponMatrix) -> None:
    assert notes(matrix, HV, {"A": [7.0, 7.0, 7.0], "B": [7.0, 7.0, 7.1]}) == []


def test_ratios_count_on_the_log_scale(matrix: CouponMatrix) -> None:
    coupons = {"A": [100.0, 105.0, 110.0], "B": [1.0, 1.05, 1.1], "C": [50.0, 52.0, 5.0]}
    [note] = notes(matrix, LOG, coupons)
    assert note.startswith("r.csv row 4, coupon C: 5 lies 46\u00a0J from its other readings.")


def test_two_readings_are_too_few_to_say_which_is_wrong(matrix: CouponMatrix) -> None:
    assert notes(matrix, HRC, {"A": [62.0, 20.0], "B": [61.0, 61.2]}) == []


@pytest.mark.parametrize(
    ("values", "places"),
    [
        ([62.4, 62.6, 20.1], [2]),
        ([20.1, 62.4, 62.6, 62.5, 19.0], [0, 4]),
        ([62.0, 62.4, 62.1, 62.9], []),
        ([], []),
    ],
)
def test_strays_are_found_one_at_a_time(values: list[float], places: list[int]) -> None:
    assert stray_places(values, limit=5) == places


@pytest.mark.parametrize("number", [3, 4, 5, 8])
def test_the_spread_is_about_the_standard_deviation_and_robust(number: int) -> None:
    draw = np.random.default_rng(number)
    coupons = draw.normal(60, 0.5, (4000, number))
    assert within_coupon_sd(coupons.tolist()) == pytest.approx(0.5, rel=0.08)
    coupons[:800, 0] = 20.0
    assert within_coupon_sd(coupons.tolist()) == pytest.approx(0.5, rel=0.4)


def test_readings_below_the_range_of_the_c_scale_are_told(
    matrix: CouponMatrix, put: Callable[..., Path]
) -> None:
    folder = put({"h.csv": "coupon,hardness_hrc_1,hardness_hrc_2\nK7TX,20,19.9\nK9AD,18,18\n"})
    notes = read_records(folder, matrix).notes
    assert (
        "3 readings of hardness below 20\u00a0HRC (first: h.csv row 2, coupon K7TX): the C scale "
        "is used from 20 up (ASTM E18), and no table converts them to another scale (ASTM E140)."
    ) in notes
