from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

import quenchbook as qb
from quenchbook.errors import EstimabilityError, StudyError
from quenchbook.fit.precision import Precision
from quenchbook.outlook.needed import units_needed
from quenchbook.outlook.noise import planning_variances
from quenchbook.outlook.peak import peak_compared, peak_outlook, peak_rows
from quenchbook.outlook.prepared import prepared
from quenchbook.outlook.simulation import noise_values
from quenchbook.study.definition import ExpectedPeak, Noise

QUIET = Noise({"furnace_load": 0.1, "coupon": 0.2, "indent": 0.0}, "a pilot")


def with_loads(study, loads: int):
    layout = dataclasses.replace(study.layout, furnace_loads=loads)
    return qb.coupon_matrix(dataclasses.replace(study, layout=layout), seed=1)


def test_the_slope_of_a_known_parabola_is_zero_at_its_peak(small_study) -> None:
    matrix = with_loads(small_study, 6)
    terms = prepared(matrix).strata["hardness_hrc"].terms
    frame = matrix.frame
    y = 60 - 0.0007 * (frame["austenitize_c"].to_numpy() - 965.0) ** 2
    coefficients = np.linalg.lstsq(terms.matrix(frame), y, rcond=None)[0]
    slope, bend = peak_rows(terms, "austenitize", 965.0)
    assert slope @ coefficients == pytest.approx(0.0, abs=1e-9)
    assert bend @ coefficients == pytest.approx(-0.0014, abs=1e-9)
    slope, _ = peak_rows(terms, "austenitize", 975.0)
    assert slope @ coefficients == pytest.approx(-0.0014 * 10, abs=1e-9)


def test_the_half_width_of_a_peak_agrees_with_simulated_inversion_sets(small_study) -> None:
    """Median half width of the sets of places whose slope cannot be told from zero."""
    matrix = with_loads(small_study, 12)
    strata = prepared(matrix).strata["hardness_hrc"]
    response = small_study.responses[0]
    outlook = peak_outlook(matrix, noise=QUIET)
    rng = np.random.default_rng(5)
    variances = planning_variances(QUIET, response)
    x = matrix.frame["austenitize_c"].to_numpy()
    truth = 60 - 1.0 * ((x - 970.0) / 40.0) ** 2
    precision = Precision(strata, noise_values(strata, variances, 800, rng) + truth[:, None])
    from scipy import special

    places = np.arange(940.0, 1000.5, 0.5)
    rows = np.array([peak_rows(strata.terms, "austenitize", place)[0] for place in places])
    estimate, std_error, df = precision.of(rows)
    inside = np.abs(estimate) <= special.stdtrit(df, 0.975) * std_error
    widths = inside.sum(axis=0) * 0.25
    assert outlook.table["half_width"][0] == pytest.approx(np.median(widths), rel=0.12)
    assert outlook.table["bounded"][0] > 0.99


def test_more_loads_locate_the_peak_better_and_it_is_said(small_study) -> None:
    few, many = (peak_outlook(with_loads(small_study, n), noise=QUIET) for n in (6, 18))
    words = peak_compared(few, many)
    assert "instead of" in words
    assert float(many.table["half_width"][0]) < float(few.table["half_width"][0])
    assert "Expected, not known" in many.summary()


def test_a_flat_curve_is_hardly_ever_located(small_study) -> None:
    flat = ExpectedPeak("austenitize", 970.0, 0.02, 40.0)
    own = peak_outlook(with_loads(small_study, 6), expected=flat, noise=QUIET)
    assert own.table["bounded"][0] < 0.1


def test_without_an_expected_peak_the_message_says_what_to_write(small_study) -> None:
    response = dataclasses.replace(small_study.responses[0], expected_peak=None)
    study = dataclasses.replace(small_study, responses=(response,))
    with pytest.raises(EstimabilityError, match=r"expected_peak.*lower_by"):
        peak_outlook(with_loads(study, 6))


def test_units_needed_is_the_smallest_plan_that_reaches_the_power(small_study) -> None:
    noise = {"hardness_hrc": Noise({"furnace_load": 0.15, "coupon": 0.45, "indent": 0.6}, "x")}
    own = units_needed(small_study, "hot", noise=noise)
    table = own.to_frame().set_index("furnace_loads")["power"]
    assert own.loads is not None
    assert table[own.loads] >= 0.8
    assert table[own.loads - 3] < 0.8
    assert f"{own.loads} furnace loads" in own.summary()


def test_equivalence_of_freezer_and_none_needs_more_than_a_difference(small_study) -> None:
    noise = {"hardness_hrc": Noise({"furnace_load": 0.3, "coupon": 0.45, "indent": 0.6}, "x")}
    found = units_needed(small_study, "freezer", noise=noise)
    same = units_needed(small_study, "freezer", goal="equivalence", noise=noise)
    assert found.loads is not None
    assert same.loads is not None
    assert same.loads >= found.loads


def test_noise_of_other_responses_may_be_told_with_it(small_study) -> None:
    (hardness,) = small_study.responses
    impact = dataclasses.replace(hardness, name="impact_j", unit="J", quantity="impact energy")
    both = dataclasses.replace(small_study, responses=(hardness, impact))
    noise = {"hardness_hrc": QUIET, "impact_j": Noise({"coupon": 3.0}, "a pilot")}
    found = units_needed(both, "freezer", noise=noise).loads
    assert found == units_needed(both, "freezer", noise={"hardness_hrc": QUIET}).loads
    with pytest.raises(StudyError, match="'strength' is not a response"):
        units_needed(both, "freezer", noise={"strength": QUIET})


def test_what_no_plan_can_do_is_said(small_study) -> None:
    noise = {"hardness_hrc": Noise({"furnace_load": 3.0, "coupon": 0.45, "indent": 0.6}, "x")}
    own = units_needed(small_study, "hot", noise=noise, most_loads=24)
    assert own.loads is None
    assert "24 furnace loads are not enough" in own.summary()
    assert not math.isnan(own.to_frame()["power"].max())


def test_a_question_without_a_margin_has_no_size_to_find(small_study) -> None:
    response = dataclasses.replace(small_study.responses[0], equivalence_margin=None)
    study = dataclasses.replace(small_study, responses=(response,))
    with pytest.raises(EstimabilityError, match="no margin is declared"):
        units_needed(study, "freezer")
