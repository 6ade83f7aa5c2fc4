"""Laws of the strata: unbiased coefficients, right units, right words when something is missing."""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import quenchbook as qb
from quenchbook.errors import EstimabilityError
from quenchbook.fit.formula import formula_terms
from quenchbook.fit.mean_rows import mean_rows
from quenchbook.fit.precision import Precision
from quenchbook.fit.strata import strata_of
from quenchbook.study.terms import study_terms


def is_unbiased(strata, frame: pd.DataFrame) -> bool:
    """Whether the coefficients of noise-free values come back exactly."""
    fixed = strata.terms.matrix(frame)
    weights = np.array([strata.coupon_weights(row) for row in np.eye(fixed.shape[1])])
    return bool(np.allclose(weights @ fixed, np.eye(fixed.shape[1]), atol=1e-8))


def loads(per_level: tuple[int, ...], routes: str = "abcd", each: int = 2) -> pd.DataFrame:
    rows = []
    for temp, count in enumerate(per_level):
        for number in range(count):
            for route, _ in itertools.product(routes, range(each)):
                rows.append((f"L{temp}{number}", f"T{temp}", route))
    return pd.DataFrame(rows, columns=["load", "temp", "route"])


@pytest.mark.parametrize("lost", [0.0, 0.1, 0.25])
@pytest.mark.parametrize("seed", [1, 2])
def test_coefficients_of_the_demo_are_unbiased_with_lost_coupons(
    plane_irons, plane_irons_matrix, lost: float, seed: int
) -> None:
    frame = plane_irons_matrix.frame.sample(frac=1 - lost, random_state=seed)
    frame = frame.sort_index().reset_index(drop=True)
    terms = study_terms(plane_irons, plane_irons.response("hardness_hrc"), frame)
    strata = strata_of(frame, terms, ["furnace_load", "cold_batch", "temper_batch"])
    assert is_unbiased(strata, frame)


def test_sets_of_batches_with_unequal_tempers_do_not_bias_the_loads() -> None:
    rows = []
    for load in range(6):
        first = load < 3
        tempers = "aaab" if first else "abbb"
        for number, temper in enumerate(tempers):
            rows += [(f"L{load}", f"B{first}{number}", temper, r, "xxyyyx"[load]) for r in "pq"]
    frame = pd.DataFrame(rows, columns=["load", "batch", "temper", "route", "aus"])
    terms, _ = formula_terms("aus + temper + route", frame)
    strata = strata_of(frame, terms, ["load", "batch"])
    assert strata.term_stage == {"aus": "load", "temper": "batch", "route": "coupon"}
    assert is_unbiased(strata, frame)


@pytest.mark.parametrize("column", ["temper_c", "cold_route"])
def test_one_coupon_that_strayed_does_not_bias_its_unit(
    plane_irons, plane_irons_matrix, column
) -> None:
    frame = plane_irons_matrix.frame.copy()
    planned = frame.copy()
    other = {"temper_c": {150.0: 175.0, 175.0: 150.0}, "cold_route": {"freezer": "dry_ice"}}[column]
    row = frame.index[frame[column].isin(list(other))][0]
    frame.loc[row, column] = other[frame.loc[row, column]]
    terms = study_terms(plane_irons, plane_irons.response("impact_j"), frame)
    strata = strata_of(
        frame, terms, ["furnace_load", "cold_batch", "temper_batch"], planned=planned
    )
    assert strata.term_stage["temper"] == "temper_batch"
    assert strata.term_stage["cold_route"] == "cold_batch"
    assert is_unbiased(strata, frame)


def test_a_day_with_one_load_gives_way_to_the_factors(plane_irons, plane_irons_matrix) -> None:
    frame = plane_irons_matrix.frame.assign(day=plane_irons_matrix.frame["furnace_load"])
    terms = study_terms(plane_irons, plane_irons.response("hardness_hrc"), frame)
    strata = strata_of(frame, terms, ["furnace_load", "cold_batch", "temper_batch"])
    assert set(strata.dropped) == {"day"}
    assert "austenitize" in strata.terms.names


def test_a_dropped_factor_takes_its_combinations_with_it() -> None:
    frame = loads((2, 2)).assign(twin=lambda f: f["temp"].map({"T0": "u", "T1": "v"}))
    terms, _ = formula_terms("temp + twin + route + twin:route", frame)
    strata = strata_of(frame, terms, ["load"])
    assert set(strata.dropped) == {"twin", "twin:route"}
    assert strata.terms.names == ("temp", "route")


def test_a_nested_factor_is_coded_inside_its_parent() -> None:
    # Lots with bars of their own: published form of a nested analysis (Montgomery, Table 14.3).
    rng = np.random.default_rng(5)
    rows = [
        (f"s{s}", f"b{s}{b}", rng.normal()) for s in range(3) for b in range(4) for _ in range(3)
    ]
    frame = pd.DataFrame(rows, columns=["supplier", "bar", "y"])
    model = qb.mixed_model(frame, "y", fixed="supplier / bar")
    tests = model.tests().set_index("term")
    assert tests.loc["supplier:bar", "df"] == 9
    assert tests.loc["supplier:bar", "df_error"] == pytest.approx(24)
    groups = [own["y"] for _, own in frame.groupby("bar")]
    whole = sum(len(g) * (g.mean() - frame["y"].mean()) ** 2 for g in groups)
    between = sum(
        12 * (g.mean() - frame["y"].mean()) ** 2 for _, g in frame.groupby("supplier")["y"]
    )
    within = sum(((g - g.mean()) ** 2).sum() for g in groups)
    assert tests.loc["supplier:bar", "statistic"] == pytest.approx(
        (whole - between) / 9 / (within / 24)
    )


@pytest.mark.parametrize(
    "formula", ["temp:route", "temp + temp:route:load", "route:temp + temp:load"]
)
def test_a_combination_without_its_factors_is_refused(formula: str) -> None:
    frame = loads((2, 2)).assign(y=1.0)
    with pytest.raises(EstimabilityError, match="stands without"):
        formula_terms(formula, frame)


def test_whole_numbers_are_levels_and_decimals_a_line_and_a_note_says_so() -> None:
    frame = loads((2, 2, 2)).assign(y=lambda f: np.arange(len(f)) % 7 * 1.0)
    frame["degrees"] = frame["temp"].map({"T0": 940, "T1": 970, "T2": 1000})
    levels = qb.mixed_model(frame, "y", fixed="degrees * route", strata=["load"])
    assert levels.tests().set_index("term").loc["degrees", "df"] == 2
    assert "taken as levels" in levels.notes[0]
    frame["degrees"] = frame["degrees"] + 0.5
    settings = qb.mixed_model(frame, "y", fixed="degrees * route", strata=["load"])
    assert settings.tests().set_index("term").loc["degrees", "df"] == 2
    frame["degrees"] += frame["load"].str[2].astype(int) * 1.7  # measured in each load, not set
    line = qb.mixed_model(frame, "y", fixed="degrees * route", strata=["load"])
    assert line.tests().set_index("term").loc["degrees", "df"] == 1
    assert "straight line" in line.notes[0]
    curve = qb.mixed_model(
        frame, "y", fixed="degrees * route", strata=["load"], shapes={"degrees": "quadratic"}
    )
    assert curve.tests().set_index("term").loc["degrees", "df"] == 2


def test_the_published_bars_give_the_published_tests_with_numbers_as_levels() -> None:
    from tests.conftest import r_reference

    data, _ = r_reference("b_corrosion")
    data["temp"] = data["temp"].str.removeprefix("T").astype(int)
    model = qb.mixed_model(data, "y", fixed="temp * coating", strata=["heat"])
    assert model.tests()["statistic"].tolist() == pytest.approx([2.7548, 11.4798, 4.3757], abs=5e-5)


def test_a_comparison_that_was_not_analysed_is_refused(plane_irons) -> None:
    import dataclasses

    from tests.conftest import ROOT

    records = qb.read_records(
        ROOT / "data" / "plane_irons" / "records",
        qb.read_plan(ROOT / "data" / "plane_irons" / "plan", plane_irons),
    )
    model = qb.mixed_model(records, "impact_j")
    asked = next(q for q in plane_irons.questions if q.change)
    with pytest.raises(
        EstimabilityError, match=r"add .*austenitize:cold_route.* to its combinations"
    ):
        qb.answer(model, dataclasses.replace(asked, response="impact_j"))


def test_a_temperature_outside_what_was_tried_is_called_extrapolated(plane_irons) -> None:
    from tests.conftest import ROOT

    folder = ROOT / "data" / "plane_irons"
    model = qb.mixed_model(
        qb.read_records(folder / "records", qb.read_plan(folder / "plan", plane_irons)),
        "hardness_hrc",
    )
    means = qb.marginal_means(model, "cold_route", at={"austenitize": 1100.0})
    assert any("extrapolated: 1100" in note for note in means.notes)
    assert not any("even mix of austenitize" in note for note in means.notes)


def test_rounding_does_not_decide_which_strata_a_contrast_has(
    plane_irons, plane_irons_matrix
) -> None:
    # Each route holds every temper equally, so temper batches have no part in the contrast. The
    # form that says so comes out at 1e-17 of either sign: here the order of the coupons changes it.
    terms = study_terms(plane_irons, plane_irons.responses[0], plane_irons_matrix.frame)
    units = ["furnace_load", "cold_batch", "temper_batch"]
    found = set()
    for seed in range(8):
        frame = plane_irons_matrix.frame.sample(frac=1, random_state=seed, ignore_index=True)
        strata = strata_of(frame, terms, units)
        linear, _ = mean_rows(strata.terms, ["cold_route"], {})
        precision = Precision(strata, np.zeros(len(frame)))
        found |= {precision.strata_of_row(linear[0] - linear[place]) for place in (1, 2, 3)}
    assert found == {("cold_batch",)}


@pytest.mark.parametrize("fault", ["text", "log", "level"])
def test_bad_data_get_words(fault: str) -> None:
    frame = loads((2, 2)).assign(y=2.0)
    if fault == "text":
        frame["y"] = frame["y"].astype(object)
        frame.loc[3, "y"] = "soft"
        with pytest.raises(EstimabilityError, match="not numbers"):
            qb.mixed_model(frame, "y", fixed="temp", strata=["load"])
    elif fault == "log":
        frame.loc[3, "y"] = 0.0
        with pytest.raises(EstimabilityError, match="no logarithm"):
            qb.mixed_model(frame, "y", fixed="temp", strata=["load"], scale="log")
    else:
        frame.loc[frame["temp"] == "T1", "temp"] = None
        with pytest.raises(EstimabilityError, match="1 level"):
            qb.mixed_model(frame, "y", fixed="temp", strata=["load"])


def test_many_responses_give_what_each_gives_alone() -> None:
    frame = loads((3, 2, 2)).drop(index=[1, 9, 17])
    frame = frame.reset_index(drop=True)
    terms, _ = formula_terms("temp * route", frame)
    strata = strata_of(frame, terms, ["load"])
    y = np.random.default_rng(2).normal(size=(len(frame), 5))
    together = Precision(strata, y)
    for number in range(5):
        alone = Precision(strata, y[:, number])
        for term in terms.names:
            one, many = alone.test(term), together.test(term)
            assert many.p_value[number] == pytest.approx(one.p_value[0], rel=1e-10)
            assert many.df_error[number] == pytest.approx(one.df_error[0], rel=1e-10)


def test_a_single_small_load_at_one_temperature_needs_the_safety_factor() -> None:
    # Loads of 8 8 8 8 8 2, the small one alone at its temperature (notes, strata_test.md section 5).
    frame = loads((3, 2, 1), routes="ab", each=4)
    frame = frame.drop(frame[frame["temp"] == "T2"].index[[1, 2, 3, 5, 6, 7]]).reset_index(
        drop=True
    )
    assert frame.groupby("load").size().tolist() == [8, 8, 8, 8, 8, 2]
    terms, _ = formula_terms("temp + route", frame)
    strata = strata_of(frame, terms, ["load"])
    y = np.random.default_rng(1).normal(0, 0.45, (len(frame), 4000))
    test = Precision(strata, y).test("temp")
    assert (test.safety > 1.05).mean() > 0.5
    _, high = stats.binom.interval(0.9999, 4000, 0.05)
    assert (test.p_value < 0.05).sum() <= high
    plain = stats.f.sf(test.statistic * test.safety, test.df, strata.stage("load").df)
    assert (plain < 0.05).sum() > 2 * high  # without f and the error df the level is lost


def test_readings_that_would_pass_for_coupons_get_a_warning_that_teaches() -> None:
    from tests.conftest import r_reference

    data, _ = r_reference("c_balanced")
    with pytest.warns(qb_warning(), match="readings are not replicates. Add 'coupon' to strata"):
        qb.mixed_model(data, "y", fixed="temp * route", strata=["load"])


def test_a_load_factor_that_would_be_judged_on_rows_gets_a_warning_that_teaches() -> None:
    frame = loads((2, 2)).assign(y=lambda f: np.arange(len(f)) % 5 * 1.0)
    with pytest.warns(qb_warning(), match="temp is the same for all rows of one load"):
        model = qb.mixed_model(frame, "y", fixed="temp * route")
    assert any("must be judged on them" in note for note in model.notes)


def qb_warning() -> type[Warning]:
    from quenchbook.errors import QuenchbookWarning

    return QuenchbookWarning
