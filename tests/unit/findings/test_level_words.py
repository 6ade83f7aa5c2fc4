from __future__ import annotations

import pytest
from tests.conftest import ROOT

import quenchbook as qb
from quenchbook.findings.level_words import held_levels, told_apart
from quenchbook.findings.statements import change_limits, change_text, percent_size
from quenchbook.study.definition import Study


@pytest.fixture(scope="module")
def study() -> Study:
    return qb.read_study(ROOT / "data" / "plane_irons")


def test_a_number_is_told_with_its_factor_and_a_name_without(study: Study) -> None:
    at = {"cold_route": "dry_ice", "austenitize": 970.0}
    assert held_levels(study, at) == "dry ice, austenitize 970\u00a0°C"
    assert told_apart(study, "cold_route", "none") == "no cold step"


def test_a_change_is_signed_and_its_limits_only_where_they_differ_in_sign() -> None:
    assert change_text(0.51, 0.1, is_ratio=False, unit="HRC") == "+0.51\u00a0HRC"
    assert change_limits(0.2, 0.8, 0.1, is_ratio=False, unit="HRC") == "0.20 to 0.80"
    assert change_limits(-0.2, 0.8, 0.1, is_ratio=False, unit="HRC") == "−0.20 to +0.80"
    assert (percent_size(-0.1), percent_size(0.05)) == ("10", "5.1")
