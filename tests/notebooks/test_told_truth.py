"""What the pages tell of the truth behind invented readings, and of sizes, computed again."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from typing import Any

import nbformat
import pytest
from tests.conftest import ROOT
from tests.notebooks.told_numbers import findings_of, told_numbers

import quenchbook as qb
from quenchbook.findings.answers import Analysis


def truth_of(example: str) -> Mapping[str, Any]:
    return tomllib.loads((ROOT / "data" / example / "truth.toml").read_text(encoding="utf-8"))


def words_of(page: str) -> str:
    path = ROOT / "notebooks" / "questions" / f"{page}.ipynb"
    return str(nbformat.read(path, as_version=4).cells[0].source).replace("\N{NO-BREAK SPACE}", " ")


def told_of_the_truth(page: str) -> list[str]:
    """Numbers that a page tells of the truth, in the order of its words."""
    _, _, told = words_of(page).partition("truth.toml`")
    return [own.digits for own in told_numbers(told)]


def finding_of(page: str) -> str:
    path = ROOT / "notebooks" / "questions" / f"{page}.ipynb"
    return findings_of(nbformat.read(path, as_version=4))[-1].replace("\N{NO-BREAK SPACE}", " ")


def mean_hardness() -> dict[str, float]:
    """True mean of each route over an even mix of the planned furnace settings and delays [HRC]."""
    truth, study = truth_of("plane_irons")["hardness"], qb.read_study(ROOT / "data/plane_irons")
    settings = [float(own) for own in study.factor("austenitize").levels]
    delays = [truth["delay"][f"{float(own):g}"] for own in study.factor("delay").levels]
    means = {}
    for name, own in truth["routes"].items():
        bent = sum((level - own["peak"]) ** 2 for level in settings) / len(settings)
        waited = sum(delays) / len(delays) if name != "none" else 0.0
        means[name] = own["height"] + truth["curvature"] * bent + waited
    return means


def test_the_true_gains_are_those_of_the_truth() -> None:
    means = mean_hardness()
    gains = [means[own] - means["none"] for own in ("freezer", "dry_ice", "liquid_nitrogen")]
    assert told_of_the_truth("is_a_freezer_enough") == [f"{own:.2f}" for own in gains]


def test_the_true_difference_of_the_two_coldest_routes_is_that_of_the_truth() -> None:
    means = mean_hardness()
    gap = means["liquid_nitrogen"] - means["dry_ice"]
    assert told_of_the_truth("no_difference_that_matters") == [f"{gap:.2f}"]


def test_the_true_peaks_are_those_of_the_truth() -> None:
    peaks = [own["peak"] for own in truth_of("plane_irons")["hardness"]["routes"].values()]
    assert told_of_the_truth("where_is_it_hardest") == [f"{own:.0f}" for own in peaks]


def test_the_true_cost_of_a_hotter_temper_is_that_of_the_truth() -> None:
    tempers = truth_of("plane_irons")["hardness"]["temper"]
    (cool, first), (hot, second) = tempers.items()
    expected = [str(int(hot) - int(cool)), f"{first - second:.2f}"]
    assert told_of_the_truth("which_temper") == expected


def test_the_true_cost_of_waiting_is_that_of_the_truth() -> None:
    truth = truth_of("plane_irons")["hardness"]
    costs = [f"{-truth['delay'][own]:.2f}" for own in ("60", "1440")]
    assert told_of_the_truth("does_waiting_spoil_it") == costs
    routes = truth["routes"]
    gain = routes["liquid_nitrogen"]["height"] - routes["none"]["height"]
    assert f"a day costs {costs[1]} of some {gain:.1f} HRC" in finding_of("does_waiting_spoil_it")


def test_the_true_differences_in_energy_are_those_of_the_truth() -> None:
    routes = truth_of("plane_irons")["impact"]["routes"]
    nitrogen = 100 * math.expm1(routes["liquid_nitrogen"] - routes["dry_ice"])
    dry_ice = 100 * math.expm1(routes["dry_ice"] - routes["none"])
    expected = [f"{abs(nitrogen):.0f}", f"{abs(dry_ice):.0f}"]
    assert told_of_the_truth("tougher_or_only_softer") == expected
    told = f"The true totals, \N{MINUS SIGN}{expected[0]} % and \N{MINUS SIGN}{expected[1]} %"
    assert told in finding_of("tougher_or_only_softer")


def test_the_true_shift_between_lots_is_that_of_the_truth() -> None:
    lots = truth_of("two_lots")["hardness"]["lots"]
    shift = lots["new_lot"]["peak"] - lots["old_lot"]["peak"]
    lower = lots["old_lot"]["height"] - lots["new_lot"]["height"]
    assert told_of_the_truth("lot_against_lot") == [f"{shift:.0f}", f"{lower:.1f}"]
    assert f"The truth, {shift:.0f} °C, lies inside" in finding_of("lot_against_lot")


def test_a_fraction_of_five_factors_is_out_of_so_many_combinations() -> None:
    study = qb.read_study(ROOT / "data" / "leaf_springs")
    sizes = [len(own.levels) for own in study.factors]
    assert len(sizes) == 5
    told = f"tried five factors in 16 of {math.prod(sizes)} combinations"
    assert told in words_of("what_can_a_fraction_not_tell")


def test_four_more_loads_hold_so_many_coupons() -> None:
    matrix = qb.draft_plan(ROOT / "data" / "plane_irons")
    in_a_load = len(matrix.frame) // matrix.unit_counts()["furnace_load"]
    assert f"four more furnace loads with {4 * in_a_load} coupons" in words_of("which_coupons_next")


def test_the_gain_that_stays_open_is_the_one_that_was_found(plane_irons_analysis: Analysis) -> None:
    gain = plane_irons_analysis.finding("freezer")
    told = f"The gain was found as {gain.estimate:.2f} HRC and the margin is {gain.margin} HRC"
    assert told in finding_of("which_coupons_next")
    assert f"narrower than ±{gain.estimate - gain.margin:.2f} HRC" in finding_of(
        "which_coupons_next"
    )


def test_the_peak_beside_the_prior_is_the_one_that_was_found(
    plane_irons_analysis: Analysis,
) -> None:
    found = plane_irons_analysis.finding("peak_nitrogen").sentence
    assert "peak at 998 °C" in found.replace("\N{NO-BREAK SPACE}", " ")
    assert "998 °C found" in finding_of("what_does_the_steel_model_say")


@pytest.mark.parametrize("page", ["what_went_differently", "which_coupons_next"])
def test_a_page_that_tells_no_number_of_the_truth_points_at_its_file(page: str) -> None:
    assert told_of_the_truth(page) == []
