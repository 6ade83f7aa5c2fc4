"""Martensite, austenite and peak regions against values from outside (metallurgy/PROVENANCE.toml)."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pandas as pd
import pytest
from tests.conftest import REFERENCE

from quenchbook.errors import EstimabilityError
from quenchbook.metallurgy.austenite import known_grades, possible_austenites
from quenchbook.metallurgy.decarburization import decarburized_depth
from quenchbook.metallurgy.hardness_peak import peak_region, peak_shift
from quenchbook.metallurgy.hardness_scales import rockwell_hardness, vickers_hardness
from quenchbook.metallurgy.length_change import growth_share
from quenchbook.metallurgy.martensite import (
    START_RANGE_C,
    cold_ratio,
    martensite_start,
    retained_austenite,
    retained_fraction,
    transformation_rate,
)
from quenchbook.metallurgy.quenched_hardness import (
    martensite_hardness,
    martensite_vickers,
    quenched_hardness,
)
from quenchbook.metallurgy.tempering import (
    added_tempers,
    equivalent_hours,
    equivalent_temper_c,
    tempering_parameter,
)
from quenchbook.metallurgy.whole_steel import (
    ferrite_gone_c,
    soluble_carbon,
    steel_martensite_start,
)

FOLDER = REFERENCE / "metallurgy"
CONTENT = json.loads((FOLDER / "checks.json").read_text(encoding="utf-8"))
CHECKS: dict[str, dict[str, Any]] = {check["id"]: check for check in CONTENT["checks"]}
FORMULA_OF = {
    "andrews_lin": "Andrews 1965",
    "andrews_prod": "Andrews 1965, product",
    "steven_haynes": "Steven and Haynes 1956",
    "payson_savage": "Payson and Savage 1944",
    "nehrenberg": "Nehrenberg 1946",
    "capdevila": "Capdevila 2002",
    "ingber": "Ingber and Kunert 2022",
    "van_bohemen": "van Bohemen 2012",
    "barbier": "Barbier 2014",
}
ELEMENTS = ("C", "Mn", "Si", "Cr", "Ni", "Mo", "V", "Co", "W", "Cu")


def named(beginning: str) -> list[str]:
    found = [name for name in CHECKS if name.startswith(beginning)]
    assert found
    return found


def austenite_of(row: dict[str, float]) -> dict[str, float]:
    return {element.capitalize(): value for element, value in row.items()}


def measured_starts() -> tuple[pd.DataFrame, dict[str, Any]]:
    frame = pd.read_csv(FOLDER / "ms_high_carbon.csv")
    return frame, {element: frame[element.upper()].to_numpy() for element in ELEMENTS}


@pytest.mark.parametrize("name", [name for name in named("ms_") if "meas" not in name])
def test_martensite_start_is_the_printed_formula(name: str) -> None:
    check = CHECKS[name]
    formula: Any = FORMULA_OF[name.removeprefix("ms_").rpartition("_")[0]]
    start = martensite_start(austenite_of(check["inputs"]), formula=formula)
    # the rows of Payson and Savage were worked with coefficients rounded to whole degC; ours are
    # those printed in degF, which differ by up to 0.7 °C
    tolerance = 0.8 if "payson" in name else check["tolerance"]
    assert start.value == pytest.approx(check["expected"], abs=tolerance)


def test_payson_and_savage_is_the_formula_printed_in_fahrenheit() -> None:
    # 930 - 570 - 60 x 0.35 - 50 x 1.45 - 20 x 0.25 = 261.5 degF, worked by hand
    steel = austenite_of(CHECKS["ms_payson_savage_c3"]["inputs"])
    start = martensite_start(steel, formula="Payson and Savage 1944")
    assert float(start.value) * 1.8 + 32 == pytest.approx(261.5, abs=0.01)


@pytest.mark.parametrize(("formula", "told"), [("van Bohemen 2012", 37.0), ("Barbier 2014", 36.0)])
def test_error_on_published_martensite_starts_is_as_told(formula: Any, told: float) -> None:
    frame, composition = measured_starts()
    assert len(frame) == 57
    error = martensite_start(composition, formula=formula).value - frame["Ms"].to_numpy()
    assert np.sqrt(np.mean(error**2)) == pytest.approx(told, abs=3.0)


def test_the_formula_of_choice_misses_high_carbon_starts_by_40_degrees_at_most() -> None:
    frame, composition = measured_starts()
    assert frame["C"].min() >= 0.6
    start = martensite_start(composition)
    assert np.sqrt(np.mean((start.value - frame["Ms"]) ** 2)) <= 40.0
    assert not any("carbon of" in flag for flag in start.flags)


@pytest.mark.parametrize("formula", ["Andrews 1965", "Steven and Haynes 1956"])
def test_a_formula_for_low_carbon_is_flagged_on_high_carbon_and_its_range_widened(
    formula: Any,
) -> None:
    # notes, section 0: 103 and 132 °C root mean square, too low by 64 and 90 °C, at 0.6 % C and up
    frame, composition = measured_starts()
    start = martensite_start(composition, formula=formula)
    error = start.value - frame["Ms"].to_numpy()
    assert np.sqrt(np.mean(error**2)) > 70.0
    assert np.median(error) < -50.0
    assert any("carbon of" in flag for flag in start.flags)
    assert ((start.low <= frame["Ms"]) & (frame["Ms"] <= start.high)).mean() >= 0.9
    assert not martensite_start({"C": 0.4, "Cr": 0.8}, formula=formula).flags


def test_the_range_holds_nine_of_ten_published_martensite_starts() -> None:
    frame, composition = measured_starts()
    start = martensite_start(composition)
    inside = (start.low <= frame["Ms"]) & (frame["Ms"] <= start.high)
    # binomial: 9 of 10 on 57 records has a standard deviation of 4 in 100
    assert 0.82 <= inside.mean() <= 0.98


@pytest.mark.parametrize(
    ("name", "grade", "at_c"),
    [
        ("ms_meas_ASM1977_A2", "A2", 1000.0),
        ("ms_meas_Rowland1946_52100", "52100", 1050.0),
        ("ms_meas_ASM1977_52100", "52100", 1000.0),
    ],
)
def test_the_range_of_the_whole_chain_holds_measured_steels(
    name: str, grade: str, at_c: float
) -> None:
    (austenite,) = possible_austenites(grade)
    start = martensite_start(austenite.at(at_c))
    assert start.low <= CHECKS[name]["expected"] <= start.high


@pytest.mark.parametrize("name", [*named("ms_meas_Koistinen"), *named("ms_meas_Greninger")])
def test_the_range_holds_measured_plain_carbon_austenite(name: str) -> None:
    start = martensite_start(austenite_of(CHECKS[name]["inputs"]))
    assert start.low <= CHECKS[name]["expected"] <= start.high


def test_the_mill_sheet_of_d2_would_miss_what_its_austenite_gives() -> None:
    # ASM atlas 1977, 1.5 C 11.5 Cr: measured 221 °C; notes, section 1, last table
    austenites = possible_austenites("D2", {"C": 1.5, "Cr": 11.5})
    starts = [martensite_start(own.at(1000.0)) for own in austenites]
    assert min(start.low for start in starts) <= 221.0 <= max(start.high for start in starts)
    whole = martensite_start({"C": 1.5, "Cr": 11.5, "Mn": 0.4, "Si": 0.3, "Mo": 0.8})
    assert whole.high < 221.0 - 100.0


@pytest.mark.parametrize("name", [name for name in named("km_") if "ratio" not in name])
def test_retained_fraction_is_that_of_koistinen_and_marburger(name: str) -> None:
    check = CHECKS[name]
    given = check["inputs"]
    if name.startswith("km_M"):  # stated the other way round: how far below Ms for a share
        left = retained_fraction(check["expected"], 0.0, given["alpha"])
        assert left == pytest.approx(1.0 - given["fraction"], abs=1e-3 * check["tolerance"] * 11)
        return
    left = retained_fraction(given["Ms"], given["Tq"], given["alpha"])
    assert left == pytest.approx(check["expected"], abs=check["tolerance"])


@pytest.mark.parametrize(
    ("cold_c", "low", "value", "high"),
    [(-18.0, 0.47, 0.66, 0.74), (-78.0, 0.14, 0.34, 0.46), (-196.0, 0.013, 0.093, 0.18)],
)
def test_cold_ratio_has_the_range_of_the_notes(
    cold_c: float, low: float, value: float, high: float
) -> None:
    # notes, section 2: rates 0.020, 0.011 and 0.008; two digits printed
    ratio = cold_ratio(cold_c)
    assert ratio.low == pytest.approx(low, abs=6e-3)
    assert ratio.value == pytest.approx(value, abs=6e-3)
    assert ratio.high == pytest.approx(high, abs=6e-3)
    if f"km_ratio_{cold_c:.0f}" in CHECKS:
        check = CHECKS[f"km_ratio_{cold_c:.0f}"]
        assert ratio.value == pytest.approx(check["expected"], abs=check["tolerance"])


@pytest.mark.parametrize("name", named("alpha_vb"))
def test_rate_of_transformation_is_the_printed_formula(name: str) -> None:
    check = CHECKS[name]
    rate = transformation_rate(austenite_of(check["inputs"]))
    assert rate.value == pytest.approx(check["expected"], abs=check["tolerance"])
    assert rate.low <= rate.value <= rate.high


def test_the_mill_sheet_of_a_steel_outside_the_table_is_refused() -> None:
    # an H13 type, measured at 326 °C: its austenite at 1010 °C is not in the table
    check = CHECKS["ms_meas_ASM1977_H13"]
    steel = austenite_of(check["inputs"])
    with pytest.raises(EstimabilityError, match="Whether carbide is left at 1010 °C is not known"):
        steel_martensite_start(steel, 1010.0)
    # all dissolved is the lowest start that the steel can have
    all_dissolved = martensite_start(steel)
    assert all_dissolved.value < check["expected"] <= all_dissolved.value + check["tolerance"]


@pytest.mark.parametrize("grade", ["A2", "D2", "440C"])
def test_the_mill_sheet_of_a_steel_with_carbides_is_refused(grade: str) -> None:
    with pytest.raises(EstimabilityError, match="its mill sheet is not its austenite"):
        steel_martensite_start(CONTENT["grades_wt"][grade], 1000.0, grade=grade)


def test_the_mill_sheet_of_a_steel_without_carbides_is_its_austenite() -> None:
    steel = CONTENT["grades_wt"]["52100"]
    whole = martensite_start(steel)
    start = steel_martensite_start(steel, 950.0, grade="52100")
    assert start.value == pytest.approx(float(whole.value), abs=1.0)


@pytest.mark.parametrize("name", named("cal_Acm"))
def test_carbon_that_dissolves_in_plain_steel_is_the_computed_solubility(name: str) -> None:
    check = CHECKS[name]
    most = float(soluble_carbon(check["inputs"]["T"]))
    assert most == pytest.approx(check["expected"], abs=check["tolerance"])
    assert steel_martensite_start({"C": most - 0.01}, check["inputs"]["T"]).value < 250.0
    with pytest.raises(EstimabilityError, match="the rest is carbide"):
        steel_martensite_start({"C": most + 0.01}, check["inputs"]["T"])


@pytest.mark.parametrize(("carbon", "at_c"), [(0.3, 750.0), (0.4, 760.0), (0.2, 740.0)])
def test_a_steel_with_ferrite_left_is_refused(carbon: float, at_c: float) -> None:
    # 0.3 % C at 750 degC: by the lever rule its austenite holds about .6 % C, Ms near 270 degC
    with pytest.raises(EstimabilityError, match="ferrite may be left"):
        steel_martensite_start({"C": carbon, "Mn": 0.7}, at_c)
    assert steel_martensite_start({"C": carbon, "Mn": 0.7}, 880.0).value > 300.0


def test_ferrite_is_gone_no_earlier_than_on_the_iron_carbon_line() -> None:
    # A3 of Fe-C: 912 degC without carbon, 727 at the eutectoid (textbook values, from memory)
    assert ferrite_gone_c({"C": 0.0}) == pytest.approx(912.0, abs=3.0)
    assert 727.0 <= ferrite_gone_c({"C": 0.763}) <= 740.0
    assert ferrite_gone_c({"C": 0.4, "Si": 0.3}) > ferrite_gone_c({"C": 0.4, "Mn": 0.7})


def test_solubility_begins_at_the_eutectoid() -> None:
    check = CHECKS["cal_FeC_eutectoid_T"]
    assert float(soluble_carbon(check["expected"])) == pytest.approx(0.763, abs=1e-3)
    with pytest.raises(EstimabilityError):
        soluble_carbon(check["expected"] - check["tolerance"])


@pytest.mark.parametrize("name", named("a255_"))
def test_hardness_of_martensite_is_that_of_the_standard(name: str) -> None:
    check = CHECKS[name]
    hardness = martensite_hardness(check["inputs"]["C"])
    assert hardness.value == pytest.approx(check["expected"], abs=check["tolerance"])


@pytest.mark.parametrize("name", named("yurioka_"))
def test_vickers_hardness_of_martensite_is_the_printed_formula(name: str) -> None:
    check = CHECKS[name]
    hardness = martensite_vickers(check["inputs"]["C"])
    assert hardness.value == pytest.approx(check["expected"], abs=check["tolerance"])


def test_two_relations_for_martensite_lie_in_the_range_of_each_other() -> None:
    # notes, section 5: 1.5 HRC apart at 0.6 % C
    one = martensite_hardness(0.6)
    other = float(rockwell_hardness(martensite_vickers(0.6).value).converted[0])
    assert abs(other - float(one.value)) == pytest.approx(1.5, abs=0.1)
    assert one.low <= other <= one.high


@pytest.mark.parametrize("name", named("hrc_hv_"))
def test_vickers_for_rockwell_is_the_printed_table(name: str) -> None:
    check = CHECKS[name]
    assert vickers_hardness(check["inputs"]["HRC"]).converted[0] == check["expected"]


def test_52100_is_as_hard_as_published_before_and_harder_than_published_after_a_temper() -> None:
    (austenite,) = possible_austenites("52100")
    quenched = quenched_hardness(austenite, 845.0)
    least, most = CHECKS["hrc_52100_asq"]["expected"]
    assert least <= quenched.value <= most
    assert quenched.low < least < most < quenched.high + 1.0
    assert quenched.value > CHECKS["hrc_52100_temper"]["expected"][1]


@pytest.mark.parametrize(
    ("grade", "at_c", "told"),
    [("52100", 845.0, 64.8), ("A2", 970.0, 63.8), ("D2", 1010.0, 63.4), ("440C", 1050.0, 59.0),
     ("O1", 800.0, 64.2)],
)  # fmt: skip
def test_the_mixture_is_that_of_the_notes(grade: str, at_c: float, told: float) -> None:
    # notes, section 5, last digit; O1 is told with a tilde
    quenched = quenched_hardness(possible_austenites(grade)[0], at_c)
    assert quenched.value == pytest.approx(told, abs=0.2)


@pytest.mark.parametrize("name", [name for name in named("hjp_") if name != "hjp_eqt"])
def test_tempering_parameter_is_the_printed_formula(name: str) -> None:
    check = CHECKS[name]
    found = tempering_parameter(check["inputs"]["T"], check["inputs"]["t_h"])
    assert found == pytest.approx(check["expected"], abs=check["tolerance"])


def test_equivalent_time_and_temperature() -> None:
    check = CHECKS["hjp_eqt"]
    hours = equivalent_hours(200.0, 1.0, 180.0)
    assert hours.value == pytest.approx(check["expected"], abs=check["tolerance"])
    # notes, section 6: 4.8 h with a constant of 15.5, 193.0 °C for two hours, two tempers of 2 h
    assert hours.low < 4.83 < hours.high
    assert equivalent_temper_c(200.0, 1.0, 2.0).value == pytest.approx(193.0, abs=0.05)
    both = added_tempers([(200.0, 2.0), (200.0, 2.0)])
    assert tempering_parameter(200.0, both.value) == pytest.approx(9748, abs=0.5)


@pytest.mark.parametrize("name", named("decarb_"))
def test_depth_of_carbon_loss_is_that_of_the_two_diffusivities(name: str) -> None:
    check = CHECKS[name]
    depth = decarburized_depth(check["inputs"]["T"], check["inputs"]["t_s"] / 60)
    found = [float(depth.low), float(depth.high)]
    assert found == pytest.approx(check["expected"], abs=check["tolerance"])


def test_growth_of_a_coupon_for_one_per_cent_of_austenite() -> None:
    check = CHECKS["dilat_0.6"]
    growth_um = 60e3 * 0.01 * growth_share(check["inputs"]["C"])
    assert growth_um == pytest.approx(check["expected"], abs=check["tolerance"])


def test_every_stored_row_belongs_to_a_test() -> None:
    beginnings = (
        *(f"ms_{name}_" for name in FORMULA_OF), "ms_meas_", "alpha_vb", "km_", "cal_", "hrc_",
        "a255_", "yurioka_", "hjp_", "decarb_", "dilat_", "ra_",
    )  # fmt: skip
    assert [name for name in CHECKS if not name.startswith(beginnings)] == []


def test_compositions_of_the_table_are_those_it_was_computed_for() -> None:
    assert set(known_grades()) == set(CONTENT["grades_wt"])
    for grade, steel in CONTENT["grades_wt"].items():
        assert possible_austenites(grade)[0].steel == steel


@pytest.mark.parametrize(
    "name", [name for name in named("cal_") if "Acm" not in name and "FeC" not in name]
)
def test_austenite_agrees_with_the_computed_equilibria(name: str) -> None:
    # the table and these rows come from one computation: this guards how the table is read
    check = CHECKS[name]
    (austenite,) = possible_austenites(check["inputs"]["grade"])
    at_c, tolerance = check["inputs"]["T"], check["tolerance"]
    found = austenite.at(at_c)
    carbide = 100.0 * sum(float(share) for share in austenite.carbide_at(at_c).values())
    assert found["C"] == pytest.approx(check["expected"]["C"], abs=tolerance["C"])
    assert found["Cr"] == pytest.approx(check["expected"]["Cr"], abs=tolerance["Cr"])
    assert carbide == pytest.approx(check["expected"]["carbide_wt"], abs=tolerance["carbide_wt"])


@pytest.mark.parametrize(
    ("grade", "at_c", "carbon", "chromium"),
    [("52100", 845.0, (0.866, 0.886), (1.23, 1.23)), ("A2", 970.0, (0.694, 0.725), (3.82, 3.91)),
     ("D2", 1025.0, (0.537, 0.547), (6.58, 6.80)), ("440C", 1050.0, (0.369, 0.390), (11.9, 12.3))],
)  # fmt: skip
def test_straight_lines_between_rows_stay_within_the_spread_of_three_databases(
    grade: str, at_c: float, carbon: tuple[float, float], chromium: tuple[float, float]
) -> None:
    # notes, section 4: iron4cd, mc_fe and steel7; half the last digit, and 0.03 Cr for the line
    found = possible_austenites(grade)[0].at(at_c)
    assert carbon[0] - 5e-3 <= found["C"] <= carbon[1] + 5e-3
    assert chromium[0] - 0.03 <= found["Cr"] <= chromium[1] + 0.03


REGIONS = pd.read_csv(FOLDER / "peak_regions.csv", dtype={"grade": str})


@pytest.mark.parametrize(
    "row", REGIONS.to_dict("records"), ids=lambda r: f"{r['grade']} {r['cold_c']}"
)
def test_a_peak_region_is_never_narrower_than_that_of_the_notes(row: dict[str, Any]) -> None:
    region = peak_region(possible_austenites(row["grade"]), row["cold_c"])
    assert region.low_c is not None
    assert region.high_c is not None
    assert region.low_c <= row["low_c"] or region.low_open
    assert region.high_c >= row["high_c"] or region.high_open
    if region.centre_c is not None:
        assert region.centre_c == pytest.approx(row["centre_c"], abs=4.0)


@pytest.mark.parametrize(("cold_c", "low", "high"), [(-78.0, 39.0, 72.0), (-196.0, 70.0, 129.0)])
def test_the_shift_of_a2_is_never_narrower_than_that_of_the_notes(
    cold_c: float, low: float, high: float
) -> None:
    # notes, section 0: A2 +39 to +72 °C with dry ice, +70 to +129 °C with liquid nitrogen
    shift = peak_shift(possible_austenites("A2"), cold_c)
    assert shift is not None
    assert 0.0 < shift.low_delta_c <= low
    assert high <= shift.high_delta_c <= high + 20.0


@pytest.mark.parametrize("grade", ["52100", "A2", "O1"])
def test_a_peak_without_cold_lies_where_the_grade_is_commonly_hardened(grade: str) -> None:
    # 52100 815 to 855 °C: ASM note, 2019; A2 925 to 980, O1 790 to 815 °C: from memory
    usual = {"52100": (815.0, 855.0), "A2": (925.0, 980.0), "O1": (790.0, 815.0)}[grade]
    region = peak_region(possible_austenites(grade))
    assert region.centre_c is not None
    assert usual[0] - 20.0 <= region.centre_c <= usual[1] + 20.0


def test_retained_austenite_of_52100_covers_the_low_end_that_was_measured() -> None:
    # METU thesis (abstract): 10 % after 825 °C as quenched; 55 % after 1000 °C is beyond the range
    (austenite,) = possible_austenites("52100")
    share = retained_austenite(martensite_start(austenite.at(np.array([825.0, 1000.0]))))
    assert share.low[0] <= 0.10 <= share.high[0]
    assert share.high[1] < 0.55
    assert share.high[1] / share.value[1] >= 2.0
    assert START_RANGE_C == 45.0
