from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from tests.conftest import ROOT

import quenchbook as qb


@pytest.fixture(scope="session")
def plane_irons_archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("open") / "plane_irons"
    shutil.copytree(ROOT / "data" / "plane_irons", folder)
    return qb.write_archive(folder)


@pytest.fixture(scope="session")
def coated_bars_archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("open") / "coated_bars"
    shutil.copytree(ROOT / "data" / "coated_bars", folder)
    return qb.write_archive(folder)


@pytest.fixture
def coated_bars_folder(tmp_path: Path) -> Path:
    folder = tmp_path / "coated_bars"
    shutil.copytree(ROOT / "data" / "coated_bars", folder)
    return folder
