"""One furnace load, and as many settings as coupons: no noise can be estimated, all else is said."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

import quenchbook as qb
from quenchbook.findings.answers import Analysis
from quenchbook.findings.result_tables import COMPONENT_COLUMNS, analysis_tables
from quenchbook.plan.randomization import published_matrix
from quenchbook.report.blocks import Block, Paragraph
from quenchbook.report.contents import report_limits, report_noise
from quenchbook.report.order_blocks import report_furnace_order

STUDY = """
format = 1
key = "one"
title = "One load"
question = "Do the coatings differ?"
published = true

[factors.coating]
levels = ["a", "b", "c", "d"]
set_for = "{unit}"

[responses.hardness]
unit = "HRC"

[layout]
furnace_loads = {loads}
coupons_per_load = {each}

[[questions]]
key = "first"
words = "Is a harder than b?"
response = "hardness"
compare = {{ coating = ["a", "b"] }}
"""


def studied(folder: Path, unit: str) -> Analysis:
    """Four coatings on four coupons, in one load or in a load each."""
    loads = 1 if unit == "coupon" else 4
    text = STUDY.format(unit=unit, loads=loads, each=4 // loads)
    (folder / "study.toml").write_text(text, encoding="utf-8")
    study = qb.read_study(folder)
    frame = pd.DataFrame({"coupon": ["K1", "K2", "K3", "K4"], "coating": list("abcd")})
    frame["furnace_load"] = 1 if loads == 1 else range(1, 5)
    qb.write_plan(published_matrix(study, frame), folder / "plan")
    (folder / "records").mkdir()
    readings = pd.DataFrame({"coupon": frame["coupon"], "hardness_hrc": [60.1, 61.2, 60.4, 59.8]})
    readings.to_csv(folder / "records" / "hardness.csv", index=False)
    return qb.analyse(qb.read_folder(folder)[2])


def words(blocks: list[Block]) -> str:
    return "\n".join(str(part) for own in blocks if isinstance(own, Paragraph) for part in own.runs)


@pytest.fixture(scope="module", params=["coupon", "furnace_load"])
def without_noise(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Analysis:
    return studied(tmp_path_factory.mktemp("one"), request.param)


def test_the_table_of_components_is_empty_and_the_others_are_there(
    without_noise: Analysis,
) -> None:
    tables = analysis_tables(without_noise)
    assert tuple(tables["variance_components"]) == COMPONENT_COLUMNS
    assert tables["variance_components"].empty
    assert len(tables["tests"]) == 1
    assert len(tables["findings"]) == 1


def test_the_columns_of_components_are_those_of_a_study_that_has_them(
    coated_bars_analysis: Analysis,
) -> None:
    tables = analysis_tables(coated_bars_analysis)
    assert tuple(tables["variance_components"]) == COMPONENT_COLUMNS


def test_the_report_says_that_no_noise_can_be_estimated(without_noise: Analysis) -> None:
    said = words(report_noise(without_noise))
    assert "No noise of hardness can be estimated: 4 coupons and 4 coefficients" in said
    assert words(report_furnace_order(without_noise))
    assert report_limits(without_noise)


def test_the_archive_of_one_load_is_written_and_verified(tmp_path: Path) -> None:
    studied(tmp_path, "coupon")
    path = tmp_path / "own.zip"
    qb.write_archive(tmp_path, path)
    done = qb.verify_archive(path)
    assert done.agrees, done.summary()
