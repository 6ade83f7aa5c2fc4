from __future__ import annotations

import numpy as np
import pytest

from quenchbook.metallurgy import room_air
from quenchbook.metallurgy.cooling import (
    dry_ice_mass,
    dry_ice_needed,
    heat_removed,
    iron_heat_capacity,
    nitrogen_litres,
    nitrogen_mass,
    nitrogen_needed,
)
from quenchbook.metallurgy.cooling_times import (
    bath_time,
    freezer_time,
    nitrogen_time,
    through_heat_time,
    volume_to_area,
)


def test_heat_capacity_rises_with_heat_and_falls_as_the_cube_in_deep_cold() -> None:
    capacity = iron_heat_capacity(np.linspace(5, 400, 80))
    assert (np.diff(capacity) > 0).all()
    # lattice part far below the Debye temperature: 12 pi^4 R / 5 (T / D)^3
    lattice = iron_heat_capacity(10.0, debye_k=420.0) - 4.98e-3 * 10
    assert float(lattice) == pytest.approx(
        12 * np.pi**4 / 5 * 8.314462618 * (10 / 420) ** 3, rel=1e-3
    )


def test_heat_of_two_steps_is_that_of_both() -> None:
    both = float(heat_removed(-196).value)
    parts = float(heat_removed(-78).value) + float(heat_removed(-196, from_c=-78).value)
    assert parts == pytest.approx(both, rel=1e-9)


@pytest.mark.parametrize("cold_c", [-18.0, -78.5, -195.8])
def test_heat_is_a_range_about_its_value(cold_c: float) -> None:
    heat = heat_removed(cold_c)
    assert 0 < heat.low < heat.value < heat.high


def test_nitrogen_to_bring_is_more_than_boils_and_its_parts_add_up() -> None:
    latent = nitrogen_mass(0.5)
    low, high = nitrogen_needed(0.5)
    vessel = nitrogen_needed(0.0)
    assert low - vessel[0] == pytest.approx(2 * nitrogen_litres(float(latent.low)))
    assert high - vessel[1] == pytest.approx(3 * nitrogen_litres(float(latent.high)))
    longer = nitrogen_needed(0.5, (10, 10))
    assert longer[0] - low == pytest.approx(1.0)  # 0.1 l/h
    assert longer[1] - high == pytest.approx(5.0)  # 0.5 l/h
    assert nitrogen_needed(0.5, vessels=(0, 0))[0] == pytest.approx(low - vessel[0])


def test_more_steel_hours_and_bath_never_need_less() -> None:
    small, large = dry_ice_needed(0.1, (1, 1), (1, 1)), dry_ice_needed(0.2, (1, 3), (1, 12))
    assert small[0] <= large[0]
    assert small[1] < large[1]
    assert dry_ice_needed(0.1, (1, 1))[0] > float(dry_ice_mass(0.1, ethanol_litres=1).low)


@pytest.mark.parametrize("time", [freezer_time, bath_time, nitrogen_time])
def test_times_are_ranges_that_grow_with_the_thickness(time: object) -> None:
    assert callable(time)
    thin, thick = time(0.5), time(1.0)
    assert 0 < thin.low < thin.value < thin.high
    assert float(thick.value) == pytest.approx(2 * float(thin.value))


def test_the_colder_step_is_the_faster_in_its_medium() -> None:
    assert float(bath_time(1.0).high) < float(freezer_time(1.0).low)
    assert float(nitrogen_time(1.0).value) < float(freezer_time(1.0).low)


def test_a_hotter_furnace_heats_faster_and_to_nearer_takes_longer() -> None:
    cool, hot = through_heat_time(1.0, 800), through_heat_time(1.0, 1050)
    assert float(hot.value) < float(cool.value)
    assert float(through_heat_time(1.0, 800, within_c=1).value) > float(cool.value)


def test_volume_over_area_of_a_wide_sheet_is_half_its_thickness() -> None:
    assert volume_to_area(10_000, 10_000, 2.0) == pytest.approx(1.0, rel=1e-3)


def test_gas_that_fills_the_room_leaves_nothing_to_breathe() -> None:
    assert room_air.oxygen_after_spill(0, 30) == room_air.OXYGEN_IN_AIR
    assert room_air.oxygen_after_spill(1000, 30) == 0.0
    assert room_air.carbon_dioxide(1000, 30) == 1e6
    assert room_air.steady_oxygen(1.0, 0.0) == 0.0
    assert room_air.steady_carbon_dioxide(1.0, 0.0) == 1e6


def test_without_coolant_the_air_is_that_outdoors() -> None:
    assert room_air.steady_oxygen(0.0, 0.0) == room_air.OXYGEN_IN_AIR
    assert room_air.carbon_dioxide(0, 30) == room_air.steady_carbon_dioxide(0.0, 0.0) == 420


@pytest.mark.parametrize("flow", [0.05, 0.7, 4.0])
def test_fresh_air_that_is_needed_holds_the_limit(flow: float) -> None:
    oxygen = room_air.steady_oxygen(flow, room_air.fresh_air_for_oxygen(flow))
    assert oxygen == pytest.approx(19.5)
    fresh = room_air.fresh_air_for_carbon_dioxide(flow, 15_000)
    assert room_air.steady_carbon_dioxide(flow, fresh) == pytest.approx(15_000)


def test_dry_ice_meets_its_limit_long_before_oxygen_does() -> None:
    kilograms = room_air.dry_ice_for(room_air.CARBON_DIOXIDE_DAY.value, 30)
    oxygen = room_air.OXYGEN_IN_AIR * (1 - room_air.dry_ice_gas(kilograms) / 30)
    assert oxygen > 20.8  # an oxygen alarm sees nothing


def test_litres_and_kilograms_of_nitrogen_are_told_apart() -> None:
    assert nitrogen_litres(0.8061) == pytest.approx(1.0)
    assert room_air.nitrogen_gas(nitrogen_litres(1.0)) == pytest.approx(0.8585, abs=1e-3)
