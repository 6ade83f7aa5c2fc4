"""What all tests share: the two example studies, read-only."""

from __future__ import annotations

import json
import os
import re
import shutil
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hypothesis import settings
from tests.example_reports import ExampleReport, example_report

import quenchbook as qb
from quenchbook.findings.answers import Analysis
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.reading import Records
from quenchbook.study.definition import Study

# The same examples in each run, so that a gate does not depend on luck. To search for new ones:
# pytest --hypothesis-profile search tests/property
settings.register_profile("steady", derandomize=True)
settings.register_profile("search", derandomize=False)
settings.load_profile("steady")

ROOT = Path(__file__).parent.parent
REFERENCE = ROOT / "tests" / "reference"


@pytest.fixture(scope="session")
def plane_irons() -> Study:
    return qb.read_study(ROOT / "data" / "plane_irons")


@pytest.fixture(scope="session")
def coated_bars() -> Study:
    return qb.read_study(ROOT / "data" / "coated_bars")


@pytest.fixture(scope="session")
def plane_irons_analysis() -> Analysis:
    return qb.analyse(qb.read_folder(ROOT / "data" / "plane_irons")[2])


@pytest.fixture(scope="session")
def coated_bars_analysis() -> Analysis:
    return qb.analyse(qb.read_folder(ROOT / "data" / "coated_bars")[2])


@pytest.fixture(scope="session")
def plane_irons_matrix(plane_irons: Study) -> CouponMatrix:
    return qb.read_plan(ROOT / "data" / "plane_irons" / "plan", plane_irons)


@pytest.fixture(scope="session")
def coated_bars_matrix(coated_bars: Study) -> CouponMatrix:
    return qb.read_plan(ROOT / "data" / "coated_bars" / "plan", coated_bars)


@pytest.fixture(scope="session")
def untold_plane_irons(tmp_path_factory: pytest.TempPathFactory) -> Study:
    """Plane irons that tell nothing of stock, timetable and room, in a folder of their own."""
    source = ROOT / "data" / "plane_irons"
    folder = tmp_path_factory.mktemp("untold") / "plane_irons"
    shutil.copytree(source / "plan", folder / "plan")
    text = (source / "study.toml").read_text(encoding="utf-8")
    (folder / "study.toml").write_text(without_bench_tables(text), encoding="utf-8")
    return qb.read_study(folder)


@pytest.fixture(scope="session")
def untold_plane_irons_matrix(untold_plane_irons: Study) -> CouponMatrix:
    return qb.read_plan(untold_plane_irons.folder / "plan", untold_plane_irons)


@pytest.fixture(scope="session")
def plane_irons_records(plane_irons_matrix: CouponMatrix) -> Records:
    return qb.read_records(ROOT / "data" / "plane_irons" / "records", plane_irons_matrix)


@pytest.fixture(scope="session")
def report_of(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], ExampleReport]:
    """Executed report of an example by its name; each is executed once in a whole test run."""
    own = tmp_path_factory.getbasetemp()
    shared = own.parent if "PYTEST_XDIST_WORKER" in os.environ else own

    @cache
    def made(name: str) -> ExampleReport:
        return example_report(name, shared)

    return made


def without_bench_tables(text: str) -> str:
    """Study file without what is told for the bench only: stock, timetable and room."""
    for table in ("stock", "timetable", "room"):
        text, found = re.subn(rf"^\[{table}\]\n(?:(?!\[).*\n)*", "", text, flags=re.MULTILINE)
        assert found == 1
    return text


def r_reference(name: str) -> tuple[pd.DataFrame, dict[str, Any]]:
    """Data and R results of one reference model; the data are named in the results."""
    folder = REFERENCE / "mixed_models"
    results = json.loads((folder / f"{name}.json").read_text(encoding="utf-8"))
    data = pd.read_csv(folder / results["data"], keep_default_na=False)
    for unit in results["ngrps"]:
        if ":" in unit:  # a plot of a block: R joins the two names
            data[unit] = data[unit.split(":")].agg(":".join, axis=1)
    return data, results
