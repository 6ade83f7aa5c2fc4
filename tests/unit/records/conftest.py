"""A small plan with known codes, so that every message can be written down exactly."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from pathlib import Path

import pandas as pd
import pytest

from quenchbook.plan.matrix import CouponMatrix, check_matrix
from quenchbook.study.definition import Layout, Response, Study
from quenchbook.study.factors import ROUTE_WORDS, Factor

COLD = ("freezer", "dry_ice", "liquid_nitrogen")


def small_study() -> Study:
    return Study(
        key="small",
        title="A small study",
        question="Does a colder route make it harder?",
        author="The tool workshop (invented)",
        date="2026-01-14",
        licence="CC-BY-4.0",
        factors=(
            Factor(
                "austenitize", "austenitize_c", (970.0, 1000.0, 1030.0), "temperature",
                "furnace_load", "quadratic",
            ),
            Factor("cold_route", "cold_route", ("none", *COLD), set_for="cold_batch", words=ROUTE_WORDS),
            Factor("temper", "temper_c", (150.0, 175.0), "temperature", "temper_batch"),
            Factor(
                "delay", "delay_minutes", (0.0, 60.0, 1440.0), "time", "cold_batch", "levels",
                "cold_route", COLD,
            ),
        ),
        responses=(
            Response("hardness_hrc", "hardness", "HRC", "hardness", 2),
            Response("impact_j", "impact energy", "J", "impact", 1, 4, "log"),
        ),
        questions=(),
        layout=Layout(2, 4, coupons_per_temper_batch=4),
        equipment={"furnace": "small chamber furnace", "quench": "oil, 60 degC"},
    )  # fmt: skip


def small_matrix() -> CouponMatrix:
    nan = math.nan
    frame = pd.DataFrame(
        {
            "coupon": ["K7TX", "K9AD", "4E79", "CRDH", "AXKF", "Y7AF", "JD7H", "PHCT"],
            "furnace_load": [1, 1, 1, 1, 2, 2, 2, 2],
            "day": [1] * 8,
            "load_place": [1, 2, 3, 4, 1, 2, 3, 4],
            "austenitize_c": [970.0] * 4 + [1030.0] * 4,
            "cold_route": ["none", *COLD, "dry_ice", "none", "liquid_nitrogen", "freezer"],
            "temper_c": [150.0, 175.0, 150.0, 175.0, 175.0, 150.0, 175.0, 150.0],
            "delay_minutes": [nan, 0.0, 60.0, 1440.0, 0.0, nan, 60.0, 1440.0],
            "cold_batch": ["1-1", "1-2", "1-3", "1-4", "2-1", "2-2", "2-3", "2-4"],
            "temper_batch": [1, 2, 1, 2, 2, 1, 2, 1],
            "hardness_hrc_order": [3.0, 1.0, 2.0, 8.0, 5.0, 6.0, 7.0, 4.0],
            "impact_j_order": [1.0, nan, 2.0, nan, 4.0, nan, nan, 3.0],
        }
    )
    matrix = CouponMatrix(frame=frame, study=small_study(), seed=1)
    check_matrix(matrix)
    return matrix


@pytest.fixture(scope="session")
def matrix() -> CouponMatrix:
    return small_matrix()


@pytest.fixture
def records_folder(tmp_path: Path) -> Path:
    folder = tmp_path / "records"
    folder.mkdir()
    return folder


@pytest.fixture
def put(records_folder: Path) -> Callable[..., Path]:
    """Write files as a workshop would have left them; the folder they are in."""

    def write(files: Mapping[str, str | bytes]) -> Path:
        for name, content in files.items():
            data = content.encode("utf-8") if isinstance(content, str) else content
            (records_folder / name).write_bytes(data)
        return records_folder

    return write
