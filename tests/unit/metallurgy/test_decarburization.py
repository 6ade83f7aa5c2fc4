from __future__ import annotations

import numpy as np
import pytest
from scipy.special import erf

from quenchbook.errors import EstimabilityError
from quenchbook.metallurgy.decarburization import decarburized_depth, grind_allowance

# sqrt(Dt) and the depth after 30 min [mm] for both diffusivities, at two decimals: computed by an
# earlier session of the project with code of its own (its notes on metallurgy, section 10)
PATHS = {800: (0.05, 0.09), 845: (0.07, 0.12), 900: (0.10, 0.16), 970: (0.16, 0.24),
         1050: (0.24, 0.36)}  # fmt: skip
DEPTHS = {800: (0.12, 0.20), 845: (0.17, 0.27), 900: (0.24, 0.38), 970: (0.37, 0.56),
          1050: (0.57, 0.83)}  # fmt: skip


@pytest.mark.parametrize("celsius", DEPTHS)
def test_depth_after_half_an_hour_is_that_of_the_notes(celsius: int) -> None:
    depth = decarburized_depth(float(celsius), 30.0)
    assert (float(depth.low), float(depth.high)) == pytest.approx(DEPTHS[celsius], abs=0.005)
    path = float(depth.low) / 2.326, float(depth.high) / 2.326
    assert path == pytest.approx(PATHS[celsius], abs=0.005)


def test_carbon_at_the_depth_is_nine_tenths_by_the_error_function() -> None:
    # C / C0 = erf(x / (2 sqrt(D t))), scipy's error function
    seconds, kelvin = 1800.0, 1000.0 + 273.15
    for factor, energy, end in ((1.5e-5, 135e3, "high"), (2.3e-5, 148e3, "low")):
        diffusivity = factor * np.exp(-energy / (8.314 * kelvin))
        depth_m = float(getattr(decarburized_depth(1000.0, 30.0), end)) / 1000
        assert erf(depth_m / (2 * np.sqrt(diffusivity * seconds))) == pytest.approx(0.9, abs=2e-4)


def test_depth_grows_with_the_root_of_time_and_with_heat() -> None:
    depth = decarburized_depth([900.0, 900.0, 1000.0], [15.0, 60.0, 15.0])
    assert depth.high[1] == pytest.approx(2 * depth.high[0])
    assert depth.high[2] > depth.high[0]
    assert np.all(depth.low <= depth.value)
    assert np.all(depth.value <= depth.high)


def test_bare_steel_is_ground_a_little_beyond_the_depth() -> None:
    depth, allowance = decarburized_depth(970.0, 20.0), grind_allowance(970.0, 20.0)
    assert allowance.high - depth.high == pytest.approx(0.05)
    assert "upper bound" in allowance.source


@pytest.mark.parametrize("protection", ["foil", "gas"])
def test_protected_steel_needs_less_and_says_it_has_no_source(protection: str) -> None:
    bare = grind_allowance(970.0, 20.0)
    own = grind_allowance(970.0, 20.0, protection=protection)  # type: ignore[arg-type]
    assert (float(own.low), float(own.high)) == (0.05, 0.1)
    assert own.high < bare.low
    assert "no source" in own.source


def test_protection_never_asks_for_more_than_bare_steel() -> None:
    assert float(grind_allowance(800.0, 0.0, protection="foil").high) == pytest.approx(0.05)


@pytest.mark.parametrize(("celsius", "minutes"), [(600.0, 30.0), (1400.0, 30.0), (900.0, -1.0),
                                                  (float("nan"), 30.0), (900.0, float("inf"))])  # fmt: skip
def test_what_is_no_austenite_and_no_time_is_refused(celsius: float, minutes: float) -> None:
    with pytest.raises(EstimabilityError):
        grind_allowance(celsius, minutes)
