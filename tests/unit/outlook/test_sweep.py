from __future__ import annotations

import dataclasses
import math
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from quenchbook.errors import EstimabilityError, PlanError, RepeatedWorkError, StudyError
from quenchbook.outlook.power import PlannedContrast
from quenchbook.outlook.questions import question_outlooks
from quenchbook.outlook.sweep import planning_sweep, share_error, untrue_chance
from quenchbook.outlook.sweep_blocks import untrue_claims
from quenchbook.outlook.sweep_grid import sweep_grid
from quenchbook.outlook.sweep_table import PAIRS, PlanningSweep
from quenchbook.plan.randomization import coupon_matrix
from quenchbook.study.definition import Layout, Noise, Study

STUDIES = 600


@pytest.fixture(scope="module")
def sweep(small_study: Study) -> PlanningSweep:
    return planning_sweep(
        small_study, "freezer", loads=[6, 12], coupons=[4, 8], noise=[1.0, 2.0],
        differences=[-0.5, 0.0, 0.5, 1.0], studies=STUDIES, backend="serial",
    )  # fmt: skip


def test_there_is_a_row_for_each_plan_noise_and_difference(sweep: PlanningSweep) -> None:
    keys = ["furnace_loads", "coupons_per_load", "noise_multiple", "difference"]
    assert len(sweep.frame) == 2 * 2 * 2 * 4
    assert not sweep.frame.duplicated(keys).any()
    assert (
        sweep.frame["coupons"] == sweep.frame["furnace_loads"] * sweep.frame["coupons_per_load"]
    ).all()
    assert (sweep.frame["studies"] == STUDIES).all()


def test_the_formula_is_that_of_the_outlook_of_the_same_plan(
    sweep: PlanningSweep, small_study: Study
) -> None:
    study = dataclasses.replace(small_study, layout=Layout(furnace_loads=12, coupons_per_load=4))
    own = question_outlooks(coupon_matrix(study, seed=9)).answer("freezer")
    rows = sweep.frame.query(
        "furnace_loads == 12 and coupons_per_load == 4 and noise_multiple == 1"
    )
    assert own.half_width() is not None
    for row in rows.to_dict("records"):
        assert row["half_width"] == pytest.approx(own.half_width())
        assert row["power"] == pytest.approx(own.power(row["difference"]))
        assert row["inside_chance"] == pytest.approx(own.equivalence_power(row["difference"]))


def test_power_agrees_with_the_noncentral_t_of_a_general_library(sweep: PlanningSweep) -> None:
    """Balanced comparison inside loads: noncentral t of scipy, and 3.5 binomial standard errors.

    Loads cancel: the variance is that of two means of n/2 coupons at the assumed noise (0.45 HRC a
    coupon, 0.6 HRC an indent, 3 indents), twice those at twice the noise.
    """
    for row in sweep.frame.to_dict("records"):
        variance = row["noise_multiple"] ** 2 * (0.45**2 + 0.6**2 / 3)
        error = math.sqrt(variance * 4 / row["coupons"])
        bound = stats.t.ppf(0.975, row["df_error"])
        shift = row["difference"] / error
        power = stats.nct.sf(bound, row["df_error"], shift) + stats.nct.cdf(
            -bound, row["df_error"], shift
        )
        assert row["power"] == pytest.approx(power, abs=2e-6)
        near = 3.5 * share_error(power, STUDIES)
        assert row["simulated_power"] == pytest.approx(power, abs=near)


def test_simulated_chances_and_widths_lie_within_their_error_of_the_formula(
    sweep: PlanningSweep,
) -> None:
    distance = sweep.distances()["distance"]
    assert len(distance) > 50
    assert distance.abs().max() < 4
    # the formula gives the width at the true noise; the mean of estimated ones is c4 times that
    c4 = 1 - 1 / (4 * sweep.frame["df_error"])
    apart = (sweep.frame["simulated_half_width"] - c4 * sweep.frame["half_width"]).abs()
    assert (apart < 4 * sweep.frame["half_width_error"]).all()


@pytest.mark.parametrize(
    "more",
    [
        {"backend": "serial", "chunk": 1},
        {"backend": "threading", "workers": 3, "chunk": 5},
    ],
)
def test_no_number_depends_on_what_does_the_work(
    sweep: PlanningSweep, small_study: Study, more: dict[str, Any]
) -> None:
    other = planning_sweep(
        small_study, "freezer", loads=[6, 12], coupons=[4, 8], noise=[1.0, 2.0],
        differences=[1.0, 0.5, 0.0, -0.5], studies=STUDIES, **more,
    )  # fmt: skip
    pd.testing.assert_frame_equal(other.frame, sweep.frame, check_exact=True)


def test_another_seed_gives_other_luck(small_study: Study) -> None:
    one, other = (
        planning_sweep(small_study, "freezer", loads=[6], studies=200, seed=seed).frame
        for seed in (1, 2)
    )
    assert (one["power"] == other["power"]).all()
    assert (one["simulated_half_width"] != other["simulated_half_width"]).all()


@pytest.mark.parametrize(
    ("true", "low", "high", "inside", "untrue"),
    [
        (0.0, 0.1, 0.9, False, True),  # a difference where there is none
        (0.0, -0.9, -0.1, False, True),
        (0.0, -0.4, 0.4, True, False),
        (0.3, 0.1, 0.9, False, False),
        (0.3, -0.9, -0.1, False, True),  # the other way round
        (0.3, 0.6, 0.9, False, True),  # beyond the margin where it is not
        (0.3, -0.3, 0.4, True, False),
        (0.8, -0.3, 0.4, True, True),  # inside the margin where it is not
        (0.8, 0.6, 0.9, False, False),
        (-0.8, 0.1, 0.9, False, True),
        (-0.8, -0.9, -0.1, False, False),
        (0.5, 0.51, 0.9, False, True),  # a difference of the margin is not beyond it
    ],
)
def test_what_is_claimed_is_true_or_not(
    true: float, low: float, high: float, inside: bool, untrue: bool
) -> None:
    found = untrue_claims(true, 0.5, np.array([low]), np.array([high]), np.array([inside]))
    assert found.tolist() == [untrue]


def test_without_a_difference_the_chance_of_an_untrue_claim_is_the_level(
    small_study: Study,
) -> None:
    grid = sweep_grid(small_study, "freezer", loads=[6], studies=1)
    own = grid.cells[0].judged
    assert isinstance(own.planned, PlannedContrast)
    assert untrue_chance(own, 0.0) == pytest.approx(0.05, abs=1e-9)
    assert untrue_chance(own, 0.5) == untrue_chance(own, -0.5)


def test_a_term_is_swept_without_widths(small_study: Study) -> None:
    found = planning_sweep(
        small_study, "curve", loads=[6, 12], differences=[0.0, 2.0], studies=300
    ).frame
    assert found["half_width"].isna().all()
    assert found["simulated_inside_chance"].isna().all()
    near = 4 * np.sqrt(found["power"] * (1 - found["power"]) / 300)
    assert ((found["simulated_power"] - found["power"]).abs() < near).all()
    assert (found.loc[found["difference"] == 0, "simulated_untrue_claims"] > 0).all()


def test_standard_deviations_may_be_given_by_a_name(small_study: Study) -> None:
    quiet = Noise({"furnace_load": 0.1, "coupon": 0.1, "indent": 0.0}, "pilot")
    found = planning_sweep(
        small_study, "freezer", loads=[6], noise={"pilot": quiet, "loud": {"coupon": 3.0}},
        studies=100,
    )  # fmt: skip
    assert list(dict.fromkeys(found.frame["noise_name"])) == ["pilot", "loud"]
    assert found.frame["noise_multiple"].isna().all()
    assert found.sentences()[0].startswith("At the noise “pilot” the smallest plan here that finds")
    assert found.sentences()[2].startswith("At the noise “loud” none of the sizes here finds")
    assert found.notes[0].startswith("Noise of hardness, pilot: furnace load 0.10")


def test_plans_that_cannot_be_made_or_judged_are_told(one_load_a_level: Study) -> None:
    found = planning_sweep(one_load_a_level, "hot", loads=[2, 3, 6], studies=50)
    assert set(found.frame["furnace_loads"]) == {6}
    left_out = [note for note in found.notes if note.startswith("Left out")]
    assert len(left_out) == 2
    with pytest.raises(EstimabilityError, match="cannot be answered by any of these plans"):
        planning_sweep(one_load_a_level, "hot", loads=[3], studies=50)


def test_the_finding_comes_first(sweep: PlanningSweep) -> None:
    first = sweep.sentences()[0]
    assert first.startswith("At the noise of the study the smallest plan here that finds 0.50")
    good = sweep.frame.query("noise_multiple == 1 and difference == 0.5 and power >= 0.8")
    row = good.sort_values(["coupons", "furnace_loads"]).iloc[0]
    plan = f"{row['furnace_loads']} furnace loads of {row['coupons_per_load']} coupons, 3 indents"
    assert plan in first
    assert sweep.summary().split("\n")[0] == first
    assert sweep.question.words in sweep.summary()
    html = sweep._repr_html_()
    assert html.index("the smallest plan here") < html.index("<details")
    assert f"All plans, noises and differences ({len(sweep.frame)})" in html
    assert "seed 1; quenchbook" in sweep.summary()


def test_the_words_name_the_smallest_plan_that_reaches_the_power(sweep: PlanningSweep) -> None:
    rows = sweep.frame.query("noise_multiple == 2 and difference == 0.5")
    good = rows[rows["power"] >= 0.8]
    assert good.empty
    best = rows.loc[rows["power"].idxmax()]
    line = next(own for own in sweep.sentences() if "2 times the noise" in own and "finds" in own)
    assert "none of the sizes here finds" in line
    assert f"{best['furnace_loads']} furnace loads of {best['coupons_per_load']} coupons" in line


def test_counts_of_pairs_apart_leave_out_what_is_nearly_certain(sweep: PlanningSweep) -> None:
    apart = sweep.distances()
    sure = pd.concat([sweep.frame[formula] for formula, _ in PAIRS])
    assert len(apart) < len(sure)
    assert np.isfinite(apart["distance"]).all()


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"loads": [0]}, r"loads is \[0\]"),
        ({"indents": []}, r"indents is \[\]"),
        ({"studies": 0}, "studies is 0"),
        ({"power": 1.0}, "power is 1"),
        ({"noise": []}, "noise is empty"),
        ({"noise": [0.0]}, "A multiple of the noise is 0"),
        ({"noise": {"a": {"furnace_load": 1.0}}}, 'that of a coupon as "coupon"'),
        ({"noise": {"a": {"coupon": -1.0}}}, "from 0"),
        ({"noise": {"a": {"coupon": 1.0, "furnace_laod": 1.0}}}, r"Did you mean furnace_load\?"),
        ({"noise": [1.0, 1.0000001]}, "Two multiples of the noise are 1 in print"),
        ({"differences": [math.nan]}, "differences is"),
        ({"question": "nothing"}, "no question 'nothing'"),
    ],
)
def test_wrong_options_are_refused(small_study: Study, options: dict[str, Any], words: str) -> None:
    with pytest.raises((EstimabilityError, StudyError), match=words):
        planning_sweep(small_study, **{"loads": [6], "studies": 10, **options})


def test_a_published_study_is_not_swept(coated_bars: Study) -> None:
    with pytest.raises(PlanError):
        planning_sweep(coated_bars, studies=10)


# --- what a sweep is told apart by ---------------------------------------------------------------


def changed_question(study: Study, **other: Any) -> Study:
    asked = dataclasses.replace(study.question_of("freezer"), **other)
    return dataclasses.replace(
        study, questions=tuple(asked if own.key == "freezer" else own for own in study.questions)
    )


def changed_shape(study: Study) -> Study:
    curve, *others = study.factors
    return dataclasses.replace(study, factors=(dataclasses.replace(curve, shape="levels"), *others))


def other_studies(study: Study) -> dict[str, Study]:
    """The same plan, with something else asked or analysed under the same key."""
    return {
        "compare": changed_question(study, level="none", against="freezer"),
        "at": changed_question(study, at={"austenitize": 970.0}),
        "shape": changed_shape(study),
    }


@pytest.mark.parametrize("edit", ["compare", "at", "shape"])
def test_finished_blocks_of_another_question_are_not_taken(
    small_study: Study, tmp_path: Path, edit: str
) -> None:
    options: dict[str, Any] = {"loads": [6], "studies": 100, "backend": "serial"}
    keep = tmp_path / "kept.jsonl"
    planning_sweep(small_study, "freezer", keep=keep, **options)
    other = other_studies(small_study)[edit]
    with pytest.raises(RepeatedWorkError, match="belongs to another run"):
        planning_sweep(other, "freezer", keep=keep, **options)


def test_what_else_is_swept_changes_no_number(small_study: Study, sweep: PlanningSweep) -> None:
    alone = planning_sweep(
        small_study, "freezer", loads=[12], coupons=[4], noise=[2.0], differences=[0.5],
        studies=STUDIES, backend="serial",
    ).frame  # fmt: skip
    own = sweep.frame.query(
        "furnace_loads == 12 and coupons_per_load == 4 and noise_multiple == 2 and "
        "difference == 0.5"
    ).reset_index(drop=True)
    pd.testing.assert_frame_equal(alone, own, check_exact=True)


def test_blocks_of_one_plan_have_luck_of_their_own(small_study: Study) -> None:
    grid = sweep_grid(small_study, "freezer", loads=[6, 12], noise=[1.0, 2.0], studies=300)
    seeds = {tuple(block.own_seed(1).generate_state(4)) for block in grid.blocks}
    assert len(seeds) == len({block.digest for block in grid.blocks}) == len(grid.blocks) == 12


# --- words ---------------------------------------------------------------------------------------


def told_rows(sweep: PlanningSweep, rough: bool) -> PlanningSweep:
    """Two plans: luck says that the smaller one reaches 80 %, the formula that it does not."""
    frame = sweep.frame.query("noise_multiple == 1 and difference == 0.5").sort_values("coupons")
    frame = frame.iloc[[0, -1]].assign(
        power=[0.79, 0.95], simulated_power=[0.81, 0.95], simulation_error=[0.016, 0.009],
        rough=rough,
    )  # fmt: skip
    return dataclasses.replace(sweep, frame=frame.reset_index(drop=True))


def test_the_smallest_plan_is_that_of_the_formula(sweep: PlanningSweep) -> None:
    own = told_rows(sweep, rough=False)
    first = own.sentences()[0]
    assert "12 furnace loads of 8 coupons" in first
    assert "could name another plan" not in first


def test_where_the_formula_is_rough_the_simulation_chooses_and_luck_is_told(
    sweep: PlanningSweep,
) -> None:
    first = told_rows(sweep, rough=True).sentences()[0]
    plan = "6 furnace loads of 4 coupons, 3 indents each"
    assert (
        f"the smallest plan here that finds 0.50\N{NO-BREAK SPACE}HRC 8 times in 10: {plan}"
        in first
    )
    assert f"two standard errors of the simulated share of {plan}" in first


def test_the_words_say_that_rows_share_their_luck(sweep: PlanningSweep) -> None:
    assert "; rows are not independent)" in sweep.sentences()[-1]
