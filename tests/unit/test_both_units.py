"""Three kinds of conversion in print: places, differences, energies."""

from __future__ import annotations

import pandas as pd
import pytest
from tests.conftest import REFERENCE

from quenchbook.both_units import Printed
from quenchbook.study.definition import Study, held_value
from quenchbook.units import NO_BREAK

BOTH = Printed("degC", "both")
JOULES = Printed("J", "both")


def plain(text: str) -> str:
    return text.replace(NO_BREAK, " ")


# fixed points: water freezes at 0 °C and 32 °F and boils at 100 °C and 212 °F (the definition of
# the Fahrenheit scale by NIST SP 811, Appendix B.8, footnote to "degree Fahrenheit"); -40 is both
@pytest.mark.parametrize(
    ("celsius", "fahrenheit"), [(0.0, "32"), (100.0, "212"), (-40.0, "−40"), (970.0, "1778")]
)
def test_a_place_takes_the_zero_of_the_scale_along(celsius: float, fahrenheit: str) -> None:
    assert plain(BOTH.place(celsius)).endswith(f" °C ({fahrenheit} °F)")


@pytest.mark.parametrize(("celsius", "fahrenheit"), [(5.0, "9"), (100.0, "180"), (27.0, "49")])
def test_a_difference_drops_the_zero(celsius: float, fahrenheit: str) -> None:
    assert plain(BOTH.difference(celsius)) == f"{celsius:.0f} °C ({fahrenheit} °F)"


def test_a_foot_pound_is_that_of_nist_sp_811() -> None:
    """Factor 1.355 818 of Appendix B.9 in six digits; the exact product stands in units.csv."""
    table = pd.read_csv(REFERENCE / "tables" / "units.csv").set_index("what")["value"]
    exact = float(table["1 ft*lbf in J"])
    assert round(exact, 6) == 1.355818
    assert JOULES.other is not None
    assert JOULES.other.size == pytest.approx(1 / exact, rel=1e-12)
    assert plain(JOULES.difference(1.3558179483, 4)) == "1.3558 J (1.0000 ft lbf)"


def test_a_range_names_each_unit_once() -> None:
    assert plain(BOTH.place_range(993.0, 1022.0)) == "993 to 1022 °C (1819 to 1872 °F)"


def test_an_interval_of_differences_has_no_offset() -> None:
    found = BOTH.difference_range(18.0, 47.0, sign=True)
    assert plain(found) == "+18 to +47 °C (+32 to +85 °F)"


def test_each_unit_gets_two_digits_of_the_standard_error() -> None:
    """Of 12 J there is no decimal, of the same 8.9 ft lbf there is one."""
    assert plain(JOULES.difference(40.0, std_error=12.0)) == "40 J (29.5 ft lbf)"


def test_a_level_told_in_fahrenheit_comes_back_whole() -> None:
    """1450 degF is 787.777... degC."""
    assert plain(BOTH.place((1450 - 32) / 1.8, 1)) == "787.8 °C (1450 °F)"


def test_limits_carry_units_only_where_there_are_two() -> None:
    assert Printed("J").limits(3.1, 8.2, 1) == "3.1 to 8.2"
    assert plain(JOULES.limits(3.1, 8.2, 1)) == "3.1 to 8.2 J (2.3 to 6.0 ft lbf)"


@pytest.mark.parametrize("unit", ["HRC", "mm", "minutes", "%", ""])
def test_units_without_another_stay_alone(unit: str) -> None:
    assert Printed(unit, "both").difference(2.0) == Printed(unit).difference(2.0)


def test_a_held_temperature_is_printed_in_both() -> None:
    assert plain(held_value("oil, 50 degC", "both")) == "oil, 50 °C (122 °F)"
    assert plain(held_value("oil, 60-70 degC", "both")) == "oil, 60 to 70 °C (140 to 158 °F)"
    assert plain(held_value("oil, 120 degF", "both")) == "oil, 120 °F (49 °C)"
    assert plain(held_value("freezer at -18 degC", "both")) == "freezer at −18 °C (0 °F)"


def test_factors_and_responses_print_as_the_study_publishes(plane_irons: Study) -> None:
    from dataclasses import replace

    publishing = replace(plane_irons.publishing, units="both")
    study = replace(plane_irons, publishing=publishing)
    factor = study.factor("austenitize")
    assert plain(factor.word(970.0)) == "970 °C (1778 °F)"
    assert plain(factor.difference_word(12.0)) == "12 °C (22 °F)"
    assert plain(study.responses[1].printed.told(40.0)) == "40 J (29.5 ft lbf)"


def test_what_is_set_at_the_bench_stays_in_one_unit(plane_irons: Study) -> None:
    from dataclasses import replace

    publishing = replace(plane_irons.publishing, units="both")
    factor = replace(plane_irons, publishing=publishing).factor("austenitize")
    assert plain(factor.set_word(970.0)) == "970 °C"
