"""Hardness scales, indents and tester limits against values from outside (hardness/PROVENANCE.toml)."""

from __future__ import annotations

import csv
import re

import numpy as np
import pandas as pd
import pytest
from tests.conftest import REFERENCE

from quenchbook.metallurgy.hardness_scales import rockwell_hardness, vickers_hardness
from quenchbook.metallurgy.indents import (
    EDGE_DIAMETERS,
    SPACING_DIAMETERS,
    THICKNESS_DEPTHS,
    indent_depth,
    indent_diameter,
    least_thickness,
)
from quenchbook.metallurgy.length_change import growth_share, transformed_austenite
from quenchbook.metallurgy.tester_limits import (
    CAPACITY_SHARE,
    CAPACITY_SOURCE,
    hardness_error_limit,
    hardness_range_limit,
    impact_error_limit,
)
from quenchbook.records.check_rows import _RANGE_SDS, pooled_variance

FOLDER = REFERENCE / "hardness"
E140 = pd.read_csv(FOLDER / "hrc_conversion_astm_e140_table1.csv")
DEPTHS = pd.read_csv(FOLDER / "hrc_depth_min_thickness.csv")


def facts(name: str) -> dict[str, dict[str, str]]:
    with (FOLDER / name).open(encoding="utf-8", newline="") as file:
        return {row["fact"]: row for row in csv.DictReader(file)}


HARDNESS, CHARPY = facts("hardness_facts.csv"), facts("charpy_facts.csv")


def number(text: str) -> float:
    found = re.search(r"\d+\.?\d*", text)
    assert found is not None
    return float(found[0])


def test_every_row_of_the_conversion_table_comes_out() -> None:
    assert len(E140) == 49
    np.testing.assert_array_equal(vickers_hardness(E140["HRC"]).converted, E140["HV"])
    np.testing.assert_array_equal(rockwell_hardness(E140["HV"]).converted, E140["HRC"])


def test_depth_and_least_thickness_are_those_of_the_table() -> None:
    np.testing.assert_allclose(indent_depth(DEPTHS["HRC"]), DEPTHS["h_mm"], atol=1e-12)
    np.testing.assert_allclose(
        least_thickness(DEPTHS["HRC"]), DEPTHS["min_thickness_10h_mm"], atol=1e-12
    )


def test_depth_follows_from_the_definition_of_the_scale() -> None:
    assert HARDNESS["HRC definition"]["value"] == "HRC = 100 - h/0.002"
    hardness = np.array([20.0, 45.0, 63.4])
    np.testing.assert_allclose(100 - indent_depth(hardness) / 0.002, hardness)


def test_thickness_at_60_hrc_is_the_computed_fact() -> None:
    fact = float(HARDNESS["minimum thickness at 60 HRC"]["value"])
    assert float(least_thickness(60)) == pytest.approx(fact)
    assert float(HARDNESS["minimum thickness, diamond cone"]["value"]) == THICKNESS_DEPTHS


def test_spacing_and_edge_rules_are_those_of_the_manual() -> None:
    assert number(HARDNESS["indent spacing centre-centre"]["value"]) == SPACING_DIAMETERS
    assert number(HARDNESS["indent centre to edge"]["value"]) == EDGE_DIAMETERS


@pytest.mark.parametrize(
    ("band", "blocks"),
    [("HRC <35", (20.0, 34.9)), ("HRC 35 to <60", (35.0, 59.9)), ("HRC >=60", (60.0, 65.0))],
)
def test_limits_of_e18_are_those_of_its_table(band: str, blocks: tuple[float, ...]) -> None:
    error, spread = (
        HARDNESS[f"machine error E, {band}"],
        HARDNESS[f"machine repeatability R, {band}"],
    )
    for block in blocks:
        own, range_ = (
            f(block, "ASTM E18-19") for f in (hardness_error_limit, hardness_range_limit)
        )
        assert own.value == number(error["value"])
        assert range_.value == number(spread["value"])
        assert own.clause == range_.clause == error["source"] == spread["source"]


@pytest.mark.parametrize("block", [25.0, 45.0, 63.0, 66.0])
def test_limits_of_iso_are_told_to_be_from_memory(block: float) -> None:
    error, spread = HARDNESS["ISO machine error 20-70 HRC"], HARDNESS["ISO machine repeatability"]
    assert spread["value"] == "max(0.02*(100-H), 0.8)"
    own, range_ = (f(block, "ISO 6508-2") for f in (hardness_error_limit, hardness_range_limit))
    assert own.value == number(error["value"])
    assert range_.value == pytest.approx(max(0.02 * (100 - block), 0.8))
    assert error["status"] == spread["status"] == "from memory"
    assert own.clause == range_.clause == "ISO 6508-2 (from memory)"


def test_scatter_of_the_e18_example_is_the_computed_one() -> None:
    fact = HARDNESS["E18-19 example X2.3"]
    values = np.array([40.61, 40.72, 40.65, 40.61, 40.55])
    assert fact["value"].startswith(" ".join(f"{v:g}" for v in values))
    variance, df = pooled_variance([values])
    assert df == 4
    assert (
        f"mean {values.mean():.3f}, sd {variance**0.5:.4f}, sd/sqrt(5) {(variance / 5) ** 0.5:.4f}"
        in (fact["status"])
    )
    assert np.ptp(values) == pytest.approx(0.17)


def test_range_of_five_readings_is_that_of_the_hardness_guide() -> None:
    fact = HARDNESS["sd from range of 5"]
    assert fact["value"] == "0.43*R"
    assert round(1 / _RANGE_SDS[5], 2) == 0.43
    assert str(_RANGE_SDS[5]) in fact["source"]


@pytest.mark.parametrize("count", [2, 3, 4, 5])
def test_expected_range_of_normal_readings_is_the_integral(count: int) -> None:
    """Tippett (1925): integral of 1 - F^n - (1 - F)^n, independent of the typed constants."""
    from scipy.integrate import quad
    from scipy.stats import norm

    value, _ = quad(lambda x: 1 - norm.cdf(x) ** count - norm.sf(x) ** count, -10, 10)
    assert value == pytest.approx(_RANGE_SDS[count], abs=5e-4)


def test_limit_of_the_impact_tester_is_the_greater_of_the_two() -> None:
    rule = CHARPY["acceptable machine"]["value"]
    assert rule == "mean of 5 within 1.4 J or 5 % of certified, whichever greater"
    values = {
        name: number(CHARPY[name]["value"])
        for name in ("KLST SRM 2216 low", "RHS SRM 2238 high", "ERM-FA013au")
    }
    for value in values.values():
        assert impact_error_limit(value).value == pytest.approx(max(1.4, 0.05 * value))
    lot = number(CHARPY["SRM 2097 lot HH-121 (4340, -40 C)"]["value"])
    assert impact_error_limit(lot).value == pytest.approx(5.095)
    assert impact_error_limit(27.9).value == 1.4  # the change-over is 28 J (shared/notes/checks.md)
    assert impact_error_limit(28.1).value > 1.4


def test_upper_use_of_the_pendulum_is_told_to_be_from_memory() -> None:
    fact = CHARPY["upper use of range"]
    assert float(fact["value"]) == 100 * CAPACITY_SHARE
    assert fact["status"] == "from memory"
    assert "(from memory)" in CAPACITY_SOURCE


def test_growth_on_60_mm_is_that_of_the_notes() -> None:
    np.testing.assert_allclose(600 * growth_share([0.6, 0.8]), [8.5, 8.3], atol=0.05)


def test_a_micrometer_of_2_um_sees_a_third_of_a_per_cent() -> None:
    seen = transformed_austenite([60.0], [60.0])
    assert seen.value[0] == 0
    np.testing.assert_allclose([seen.low[0], seen.high[0]], [-0.34, 0.34], atol=0.005)


def test_all_austenite_grows_by_the_cube_root_of_the_volume() -> None:
    grown = 60 * (1 + 0.01 * (4.64 - 0.53 * 0.6)) ** (1 / 3)
    share = transformed_austenite([60.0], [grown], micrometer_mm=1e-9, carbon=(0.6, 0.6))
    assert share.value[0] == pytest.approx(100)


def test_the_diameter_is_a_range_that_narrows_with_hardness() -> None:
    range_ = indent_diameter(np.array([20.0, 40.0, 60.0, 68.0]))
    assert (range_.low < range_.value).all()
    assert (range_.value < range_.high).all()
    assert (np.diff(range_.low) < 0).all()
    assert (np.diff(range_.high) < 0).all()
    # cone of 120 degrees with a tip of 0.2 mm at 0.08 mm, by hand: 2 (0.08 + 0.03094) 1.73205
    assert range_.low[2] == pytest.approx(0.38431, abs=1e-5)
