"""Conversions against exact definitions; what was computed from them stands in ``tables``."""

from __future__ import annotations

import pandas as pd
import pytest
from tests.conftest import REFERENCE

from quenchbook.units import convert, difference_dimension, parse_quantity

CASES = {
    row["what"]: row for row in pd.read_csv(REFERENCE / "tables" / "units.csv").to_dict("records")
}
TO_CELSIUS = [what for what in CASES if what.endswith("degF in degC")]
TO_FAHRENHEIT = [what for what in CASES if what.endswith("degC in degF")]


@pytest.mark.parametrize("what", TO_CELSIUS)
@pytest.mark.parametrize("written", ["{} degF", "{} °F", "{}F"])
def test_fahrenheit_is_read_as_celsius(what: str, written: str) -> None:
    number = what.split()[0]
    found = parse_quantity(written.format(number), "temperature")
    assert found == pytest.approx(CASES[what]["value"], rel=1e-12, abs=1e-9)


@pytest.mark.parametrize("what", TO_FAHRENHEIT)
def test_celsius_goes_back_to_the_fahrenheit_of_the_table(what: str) -> None:
    celsius, fahrenheit = float(what.split()[0]), CASES[what]["value"]
    assert convert(fahrenheit, "degF", "temperature") == pytest.approx(celsius, rel=1e-12, abs=1e-9)


def test_a_difference_of_25_fahrenheit_is_no_temperature() -> None:
    dimension = difference_dimension("temperature")
    expected = CASES["difference 25 delta_degF in K"]["value"]
    assert parse_quantity("25 degF", dimension) == pytest.approx(expected, rel=1e-12)
    assert round(expected, 2) == 13.89
    step = parse_quantity("1475 degF", "temperature") - parse_quantity("1450 degF", "temperature")
    assert step == pytest.approx(CASES["(1475 degF - 1450 degF) to delta_degC"]["value"], abs=1e-9)


def test_a_foot_pound_is_as_many_joules_as_the_table_says() -> None:
    assert convert(1, "ft lbf", "energy") == pytest.approx(
        CASES["1 ft*lbf in J"]["value"], rel=1e-12
    )
    ten_joules = CASES["10 J in ft*lbf"]["value"]
    assert convert(ten_joules, "ft-lbf", "energy") == pytest.approx(10, rel=1e-12)


def test_an_inch_is_254_tenths_of_a_millimetre() -> None:
    assert convert(1, "in", "length") == CASES["1 in"]["value"]


def test_every_case_of_the_table_that_is_a_unit_here_is_checked() -> None:
    elsewhere = {"1 ft*lbf/in^2 in kJ/m^2", "1 kgf in N", "150 kgf in N (HRC total force)",
                 "1 ksi in MPa", "difference 10 delta_degC in delta_degF"}  # fmt: skip
    here = {"1 ft*lbf in J", "10 J in ft*lbf", "1 in", "difference 25 delta_degF in K",
            "(1475 degF - 1450 degF) to delta_degC"}  # fmt: skip
    assert set(CASES) == {*TO_CELSIUS, *TO_FAHRENHEIT, *here, *elsewhere}
