"""Study tests use plane irons that tell nothing of stock, timetable and room: each tells its own."""

from __future__ import annotations

import pytest

from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import Study


@pytest.fixture(scope="session")
def plane_irons(untold_plane_irons: Study) -> Study:
    return untold_plane_irons


@pytest.fixture(scope="session")
def plane_irons_matrix(untold_plane_irons_matrix: CouponMatrix) -> CouponMatrix:
    return untold_plane_irons_matrix
