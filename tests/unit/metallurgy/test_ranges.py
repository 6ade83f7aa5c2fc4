"""Every computed value brings its range, its source, where it holds, and that it is a prior."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from quenchbook.errors import EstimabilityError
from quenchbook.metallurgy.austenite import possible_austenites
from quenchbook.metallurgy.cooling import dry_ice_mass, heat_removed, nitrogen_mass
from quenchbook.metallurgy.cooling_times import (
    bath_time,
    freezer_time,
    nitrogen_time,
    through_heat_time,
)
from quenchbook.metallurgy.decarburization import decarburized_depth, grind_allowance
from quenchbook.metallurgy.expected import Expected
from quenchbook.metallurgy.indents import indent_diameter
from quenchbook.metallurgy.length_change import transformed_austenite
from quenchbook.metallurgy.martensite import (
    cold_ratio,
    martensite_start,
    retained_austenite,
    transformation_rate,
)
from quenchbook.metallurgy.martensite_formulas import FORMULAS
from quenchbook.metallurgy.quenched_hardness import (
    austenite_cost,
    martensite_hardness,
    martensite_vickers,
    quenched_hardness,
)
from quenchbook.metallurgy.tempering import (
    added_tempers,
    equivalent_hours,
    equivalent_temper_c,
    parameter_temper_c,
    tempering_parameter,
)
from quenchbook.metallurgy.whole_steel import steel_martensite_start

CASES: dict[str, Callable[[], Expected]] = {
    "martensite start": lambda: martensite_start({"C": 0.7, "Cr": 4.0}),
    "whole steel": lambda: steel_martensite_start({"C": 0.7}, 850.0),
    "rate": lambda: transformation_rate({"C": 0.7}),
    "cold ratio": lambda: cold_ratio(-78.0),
    "retained austenite": lambda: retained_austenite(martensite_start({"C": 0.7}), -78.0),
    "martensite HRC": lambda: martensite_hardness([0.2, 0.6]),
    "martensite HV": lambda: martensite_vickers([0.2, 0.6]),
    "quenched": lambda: quenched_hardness(possible_austenites("A2")[0], [950.0, 1000.0]),
    "cost": lambda: austenite_cost(5.0),
    "equivalent hours": lambda: equivalent_hours(200.0, 1.0, 180.0),
    "equivalent temperature": lambda: equivalent_temper_c(200.0, 1.0, 2.0),
    "added tempers": lambda: added_tempers([(150.0, 1.0), (200.0, 1.0)]),
    "decarburized": lambda: decarburized_depth(950.0, 20.0),
    "allowance": lambda: grind_allowance(950.0, 20.0),
    "freezer": lambda: freezer_time(1.0),
    "bath": lambda: bath_time(1.0),
    "nitrogen time": lambda: nitrogen_time(1.0),
    "furnace": lambda: through_heat_time(1.0, 950.0),
    "heat": lambda: heat_removed(-78.0),
    "nitrogen": lambda: nitrogen_mass(1.0),
    "dry ice": lambda: dry_ice_mass(1.0),
    "indent": lambda: indent_diameter(60.0),
    "length": lambda: transformed_austenite([60.0], [60.05]),
}


@pytest.mark.parametrize("name", CASES)
def test_a_computed_value_brings_range_source_and_validity(name: str) -> None:
    own = CASES[name]()
    assert np.all(own.low <= own.value)
    assert np.all(own.value <= own.high)
    assert own.source
    assert own.validity
    assert own.standing == ("measured" if name == "length" else "prior")


@pytest.mark.parametrize("formula", FORMULAS)
def test_carbon_lowers_the_martensite_start_in_every_formula(formula: str) -> None:
    start = martensite_start({"C": np.array([0.2, 0.4, 0.6])}, formula=formula)  # type: ignore[arg-type]
    assert np.all(np.diff(start.value) < 0)


def test_a_start_below_the_bath_leaves_all_austenite() -> None:
    start = martensite_start({"C": 1.9, "Cr": 10.0})
    share = retained_austenite(start)
    assert share.high == 1.0
    assert share.flags


def test_unknown_formulas_and_impossible_carbon_are_refused() -> None:
    with pytest.raises(EstimabilityError, match="is not a formula"):
        martensite_start({"C": 0.5}, formula="Payson")  # type: ignore[arg-type]
    with pytest.raises(EstimabilityError, match="is no austenite"):
        martensite_start({"C": np.nan})


def test_parameter_and_temperature_undo_each_other() -> None:
    tempers = np.array([150.0, 300.0, 540.0])
    assert parameter_temper_c(tempering_parameter(tempers, 3.0), 3.0) == pytest.approx(tempers)


def test_a_cool_temper_adds_little_to_a_hot_one() -> None:
    both = added_tempers([(180.0, 2.0), (250.0, 2.0)])
    assert 2.0 < both.value < 2.2


def test_secondary_hardening_is_flagged() -> None:
    assert any("harden again" in flag for flag in equivalent_hours(540.0, 2.0, 560.0).flags)
    assert not equivalent_hours(300.0, 2.0, 320.0).flags


@pytest.mark.parametrize("hours", [0.0, -1.0, np.nan, np.inf])
def test_a_temper_without_a_time_is_refused(hours: float) -> None:
    with pytest.raises(EstimabilityError, match="more than zero hours"):
        tempering_parameter(200.0, hours)


def test_no_tempers_cannot_be_added() -> None:
    with pytest.raises(EstimabilityError, match="no temper to add"):
        added_tempers([])
