"""Which steels the table speaks for, and how near it a steel must be."""

from __future__ import annotations

import numpy as np
import pytest

from quenchbook.errors import EstimabilityError
from quenchbook.metallurgy.austenite import known_grades, possible_austenites
from quenchbook.metallurgy.hardness_peak import peak_region, peak_shift
from quenchbook.metallurgy.martensite import (
    is_extrapolated,
    martensite_start,
    retained_austenite,
    retained_fraction,
)


@pytest.mark.parametrize("written", ["A2", "a2", "AISI A2", "A-2", " grade A 2 "])
def test_a_grade_is_known_as_people_write_it(written: str) -> None:
    assert possible_austenites(written)[0].grade == "A2"


@pytest.mark.parametrize(
    ("grade", "composition", "words"),
    [
        ("4140", {}, "the grade 4140 is not one of 52100, A2, D2, 440C and O1"),
        ("", {}, "neither its grade nor its composition"),
        ("", {"C": 0.4, "Cr": 1.0}, "not near that of"),
        ("", {"C": 1.0, "Cr": 5.2}, "not near that of"),  # A2 without its molybdenum is another
        ("A2", {"C": 1.11}, r"C 1\.11 \(known for 0\.90 to 1\.10\)"),
        ("A2", {"Cr": 5.73}, r"Cr 5\.73 \(known for 4\.68 to 5\.72\)"),
        ("A2", {"V": 0.6}, r"V 0\.60"),
        ("O1", {"W": 0.5}, r"W 0\.50"),
    ],
)
def test_a_steel_outside_the_table_is_not_known(
    grade: str, composition: dict[str, float], words: str
) -> None:
    with pytest.raises(EstimabilityError, match=words):
        possible_austenites(grade, composition)


@pytest.mark.parametrize("carbon", [0.9, 1.1])
@pytest.mark.parametrize("chromium", [4.68, 5.72])
def test_the_limits_themselves_are_inside(carbon: float, chromium: float) -> None:
    assert len(possible_austenites("A2", {"C": carbon, "Cr": chromium})) == 4


def test_an_unnamed_steel_is_found_by_its_composition() -> None:
    found = possible_austenites("", {"C": 1.02, "Cr": 1.5, "Mn": 0.3, "Si": 0.25})
    assert {own.grade for own in found} == {"52100"}


def test_other_carbon_widens_the_range_and_never_narrows_it() -> None:
    heat = np.arange(850.0, 1101.0, 10.0)
    (table,) = possible_austenites("A2")
    own = martensite_start(table.at(heat))
    starts = [martensite_start(a.at(heat)) for a in possible_austenites("A2", {"C": 1.05})]
    assert np.min([start.low for start in starts], axis=0) == pytest.approx(own.low, abs=40.0)
    assert (np.min([start.low for start in starts], axis=0) < own.low).all()
    assert (np.max([start.high for start in starts], axis=0) >= own.high).all()


def test_manganese_in_solution_lowers_the_martensite_start_one_to_one() -> None:
    (own,), (more,) = possible_austenites("A2"), possible_austenites("A2", {"Mn": 0.9})
    shift = martensite_start(more.at(970.0)).value - martensite_start(own.at(970.0)).value
    assert shift == pytest.approx(-0.3 * 31.0)


@pytest.mark.parametrize("grade", known_grades())
def test_more_heat_dissolves_more_carbon_and_leaves_less_carbide(grade: str) -> None:
    (own,) = possible_austenites(grade)
    assert (np.diff(own.composition["C"]) >= 0).all()
    assert (np.diff(np.sum(list(own.carbides.values()), axis=0)) <= 1e-12).all()


def test_austenite_outside_the_table_is_refused() -> None:
    (own,) = possible_austenites("A2")
    with pytest.raises(EstimabilityError, match=r"850 to 1125 °C, not at 800 and 1200 °C"):
        own.at([800.0, 900.0, 1200.0])


def test_a_composition_without_carbon_is_refused() -> None:
    with pytest.raises(EstimabilityError, match="carbon of the austenite is not told"):
        martensite_start({"Cr": 5.0})


def test_nothing_transforms_above_the_martensite_start() -> None:
    assert retained_fraction(150.0, [150.0, 200.0]).tolist() == [1.0, 1.0]
    low = martensite_start({"C": 2.0})
    assert float(retained_austenite(low).high) <= 1.0


@pytest.mark.parametrize("cold_c", [20.0, -18.0, -78.0, -196.0])
def test_retained_austenite_is_a_range_about_its_value(cold_c: float) -> None:
    start = martensite_start({"C": np.array([0.3, 0.6, 1.0]), "Cr": 3.0})
    share = retained_austenite(start, cold_c)
    assert (share.low >= 0.0).all()
    assert (share.low < share.value).all()
    assert (share.value < share.high).all()
    assert (share.high <= 1.0).all()
    if cold_c == 20.0:  # a factor of two at least, either way
        assert (share.low <= share.value / 2).all()
        assert (share.high >= share.value * 2).all()


def test_colder_never_leaves_more_austenite_but_may_always_leave_five_per_cent() -> None:
    start = martensite_start({"C": 0.7, "Cr": 3.9})
    highs = [float(retained_austenite(start, c).high) for c in (20.0, -18.0, -78.0, -196.0)]
    assert highs == sorted(highs, reverse=True)
    assert float(retained_austenite(martensite_start({"C": 0.4}), -196.0).high) == 0.05


def test_high_carbon_with_chromium_is_told_as_an_extrapolation() -> None:
    assert is_extrapolated(
        {"C": np.array([0.7, 0.7, 0.3]), "Cr": np.array([3.9, 1.0, 12.0])}
    ).tolist() == [True, False, False]


@pytest.mark.parametrize("grade", ["D2", "440C"])
def test_no_peak_is_told_above_eight_per_cent_chromium(grade: str) -> None:
    region = peak_region(possible_austenites(grade))
    assert not region.known
    assert region.centre_c is None
    assert "chromium" in region.reason
    assert peak_shift(possible_austenites(grade), -78.0) is None


def test_the_shift_is_not_told_where_the_peak_lies_at_full_dissolution() -> None:
    assert peak_shift(possible_austenites("52100"), -78.0) is None
    assert peak_shift(possible_austenites("O1"), -18.0) is None


def test_regions_are_told_with_their_open_ends() -> None:
    cold = peak_region(possible_austenites("A2"), -78.0)
    assert cold.words().replace("\u00a0", " ") == "1035 °C (990 to 1075 °C or more)"
    level = peak_region(possible_austenites("52100"), -196.0)
    assert level.words().replace("\u00a0", " ") == "875 °C or more"
    assert "until no carbide is left, near 900" in level.reason
    both = peak_region(possible_austenites("O1"))
    assert both.words().replace("\u00a0", " ") == "809 °C (760 °C or less to 850 °C or more)"
