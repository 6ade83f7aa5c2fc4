from __future__ import annotations

import dataclasses
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from tests.conftest import ROOT

import quenchbook as qb
from quenchbook.errors import EstimabilityError, PlanError, QuenchbookError
from quenchbook.outlook.layouts import drawn_layout
from quenchbook.outlook.next_coupons import next_coupons, possible_peaks
from quenchbook.outlook.noise import measured_noise
from quenchbook.outlook.questions import question_outlooks
from quenchbook.outlook.undecided import undecided_needs
from quenchbook.plan.continuation import continued_matrix
from quenchbook.plan.files import read_plan, write_continuation, write_plan
from quenchbook.plan.matrix import CouponMatrix, check_matrix
from quenchbook.study.definition import Noise, PlanWish, Study

NOISE = {"hardness_hrc": Noise({"furnace_load": 0.4, "coupon": 0.3, "indent": 0.6}, "a pilot")}


@pytest.fixture(scope="module")
def first(small_study: Study) -> CouponMatrix:
    return qb.coupon_matrix(small_study, seed=4)


@pytest.fixture(scope="module")
def longer(first: CouponMatrix) -> CouponMatrix:
    return next_coupons(first, 3, aim="verdicts", questions=["hot"], seed=5)


def test_the_rows_of_the_first_plan_stay_as_they_are(first, longer) -> None:
    pd.testing.assert_frame_equal(longer.parts()[0], first.frame)
    assert longer.hashes[0] == first.plan_hash
    assert longer.plan_hash != first.plan_hash


def test_new_coupons_go_on_after_the_old_ones(first, longer) -> None:
    old, new = longer.parts()
    assert new["furnace_load"].min() == old["furnace_load"].max() + 1
    assert new["day"].min() == old["day"].max() + 1
    assert not set(new["coupon"]) & set(old["coupon"])
    assert new["hardness_hrc_order"].min() == old["hardness_hrc_order"].max() + 1
    assert len(new) == 12
    check_matrix(longer)


def test_coupons_for_a_question_about_the_furnace_go_to_its_two_levels(longer) -> None:
    """Only the ends tell the difference of the ends (a quadratic through three levels)."""
    assert set(longer.parts()[1]["austenitize_c"]) == {940.0, 1000.0}


def test_a_continuation_makes_the_question_it_aims_at_sharper(first, longer) -> None:
    before, after = (question_outlooks(own, noise=NOISE).answer("hot") for own in (first, longer))
    assert after.half_width() < before.half_width()


def test_aiming_helps_more_than_more_of_the_same(first) -> None:
    aimed = next_coupons(first, 2, aim="verdicts", questions=["hot"], seed=5)
    same = next_coupons(first, 2, aim="same", seed=5)
    errors = [
        question_outlooks(own, noise=NOISE).answer("hot").planned.true_error
        for own in (aimed, same)
    ]
    assert errors[0] <= errors[1] * (1 + 1e-9)


def test_a_seed_is_used_once(first, longer) -> None:
    with pytest.raises(PlanError, match=r"Seed 4 made an earlier part"):
        next_coupons(first, 2, seed=4)
    with pytest.raises(PlanError, match=r"Seed 5 made an earlier part"):
        next_coupons(longer, 2, seed=5)


@pytest.mark.parametrize("loads", [0, -2])
def test_no_loads_are_no_continuation(first, loads: int) -> None:
    with pytest.raises(PlanError, match="write a whole number, 1 or more"):
        next_coupons(first, loads, seed=9)


def test_a_continuation_comes_back_from_its_files(tmp_path: Path, first, longer) -> None:
    write_plan(first, tmp_path)
    paths = write_continuation(longer, tmp_path)
    assert [path.name for path in paths] == ["continuation_1.csv", "continuation_1.json"]
    again = read_plan(tmp_path, first.study)
    assert again.hashes == longer.hashes
    pd.testing.assert_frame_equal(again.frame, longer.frame)
    assert again.continuations == longer.continuations
    assert "Continued with 12 coupons" in again.summary()
    twice = next_coupons(again, 2, seed=11)
    write_continuation(twice, tmp_path)
    assert read_plan(tmp_path, first.study).hashes == twice.hashes


def test_a_changed_continuation_is_refused(tmp_path: Path, first, longer) -> None:
    write_plan(first, tmp_path)
    path, _ = write_continuation(longer, tmp_path)
    path.write_text(path.read_text().replace("freezer", "none", 1))
    with pytest.raises(PlanError, match="was changed after the plan was made"):
        read_plan(tmp_path, first.study)


def test_a_continuation_of_another_plan_is_refused(tmp_path: Path, first, longer) -> None:
    write_plan(qb.coupon_matrix(first.study, seed=77), tmp_path)
    with pytest.raises(PlanError, match="this continues plan"):
        write_continuation(longer, tmp_path)


def test_a_continuation_is_not_written_twice(tmp_path: Path, first, longer) -> None:
    write_plan(first, tmp_path)
    write_continuation(longer, tmp_path)
    with pytest.raises(PlanError, match="holds plan"):
        write_continuation(longer, tmp_path)


def test_new_coupons_of_a_bar_that_is_used_up_come_from_new_bars(plane_irons_matrix) -> None:
    longer = next_coupons(plane_irons_matrix, 2, aim="same", seed=3, starts=3)
    old, new = longer.parts()
    assert (new["bar"] > old["bar"].max()).all()
    assert not longer.frame.duplicated(["bar", "bar_position"]).any()
    tested = new["impact_j_order"].notna().sum()
    assert tested == len(new) / 2  # half of the coupons, as in the first plan


def test_every_continuation_tests_the_share_of_the_first_plan(plane_irons_matrix) -> None:
    longer = plane_irons_matrix
    for seed in (3, 4, 5):
        longer = next_coupons(longer, 4, seed=seed, starts=1)
    shares = [part["impact_j_order"].notna().mean() for part in longer.parts()]
    assert shares == [0.5] * 4


@pytest.mark.parametrize("wrong", [{"aim": "nope"}, {"questions": ["nope"], "aim": "verdicts"}])
def test_an_aim_or_a_question_that_is_none_is_refused(first, wrong: dict) -> None:
    with pytest.raises(QuenchbookError, match="nope"):
        next_coupons(first, 2, seed=9, **wrong)


def test_a_fraction_is_continued_without_what_it_mixes_up(small_study: Study) -> None:
    two = tuple(
        dataclasses.replace(own, levels=own.levels[:2], shape="levels")
        for own in small_study.factors
    )
    more = tuple(
        dataclasses.replace(two[1], name=name, column=name, levels=("a", "b"))
        for name in ("polish", "oil", "foil")
    )
    study = dataclasses.replace(
        small_study, factors=(*two, *more), plan=PlanWish("fraction", treatments=8), questions=()
    )
    longer = next_coupons(qb.coupon_matrix(study, seed=1), 2, seed=2, starts=3)
    assert len(longer.parts()) == 2
    assert qb.alias_list(longer).equals(qb.alias_list(longer.part(0)))


def test_quality_of_a_continued_plan_is_that_of_its_first_part(first, longer) -> None:
    assert qb.plan_quality(longer).d_value == qb.plan_quality(first).d_value


def test_free_places_of_old_bars_are_used_first(small_study: Study) -> None:
    layout = dataclasses.replace(small_study.layout, bars=4, coupons_per_bar=9)
    first = qb.coupon_matrix(dataclasses.replace(small_study, layout=layout), seed=1)
    longer = next_coupons(first, 3, seed=2)
    assert longer.frame["bar"].max() == 4
    assert not longer.frame.duplicated(["bar", "bar_position"]).any()


def test_the_peak_may_lie_where_the_curve_lets_it(plane_irons_records) -> None:
    model = qb.mixed_model(plane_irons_records, "hardness_hrc")
    curve = plane_irons_records.study.factor("austenitize")
    places = possible_peaks(model, curve)
    assert (np.diff(places) >= 0).all()
    assert 940 <= places.min() < places.max() <= 1030
    slope = qb.slopes(model, "austenitize", at=[float(np.median(places))]).to_frame()
    assert abs(slope["estimate"][0]) < 0.3 * slope["std_error"][0]


def test_next_coupons_for_a_peak_bracket_it(plane_irons_matrix, plane_irons_records) -> None:
    """Loads at the peak itself tell little; a pair around it does (shared notes, designs 1.5)."""
    models = {"hardness_hrc": qb.mixed_model(plane_irons_records, "hardness_hrc")}
    longer = next_coupons(plane_irons_matrix, 4, aim="peak", models=models, seed=3, starts=5)
    new = longer.parts()[1].drop_duplicates("furnace_load")["austenitize_c"]
    assert new.min() < 985 < new.max()
    assert "to locate the peak of hardness" in longer.summary()


def test_undecided_questions_are_told_what_they_need(small_study: Study, first) -> None:
    rng = np.random.default_rng(2)
    frame = first.frame.loc[first.frame.index.repeat(3)].reset_index(drop=True)
    loads = rng.normal(0, 0.25, 6)[frame["furnace_load"] - 1]
    frame["hardness"] = 60 + loads + rng.normal(0, 0.5, len(frame))
    model = qb.mixed_model(
        frame, "hardness", fixed="austenitize_c * cold_route", strata=["furnace_load", "coupon"],
        shapes={"austenitize_c": "quadratic"},
    )  # fmt: skip
    needs = undecided_needs(first, {"hardness_hrc": model}, ["freezer", "hot", "curve"])
    table = needs.to_frame().set_index(["key", "goal"])
    assert set(table.index.get_level_values("key")) == {"freezer", "hot"}
    told = table["more_loads"].dropna()
    assert len(told)
    for (key, goal), more in told[told > 0].items():  # one step less must not be enough
        outlook = question_outlooks(
            drawn_layout(
                small_study, small_study.question_of(key), 6 + int(more) - 3, 4, seed=1
            ).matrix,
            noise={"hardness_hrc": measured_noise(model)},
        ).answer(key)
        got = outlook.power(0.5) if goal == "difference" else outlook.equivalence_power()
        assert got < 0.8
    assert "more furnace loads" in needs.summary()
    assert "Is there a curve? Undecided; a whole term has no margin" in needs.summary()
    assert "nan" not in needs.summary()


def test_a_study_without_a_curve_has_no_peak_to_aim_at(one_load_a_level: Study) -> None:
    matrix = qb.coupon_matrix(one_load_a_level, seed=1)
    with pytest.raises(EstimabilityError, match="no peak to locate"):
        next_coupons(matrix, 2, aim="peak", seed=2)


def test_records_of_both_parts_are_read_together(tmp_path: Path, plane_irons) -> None:
    folder = tmp_path / "study"
    shutil.copytree(ROOT / "data" / "plane_irons", folder)
    matrix, _ = qb.next_study(folder, 2, aim="same", seed=8)
    new = matrix.parts()[1]
    lines = [f"# plan {matrix.plan_hash}", "coupon,hardness_hrc_1"]
    lines += [f"{code},60.{number % 10}" for number, code in enumerate(new["coupon"])]
    (folder / "records" / "hardness_new.csv").write_text("\n".join(lines) + "\n")
    records = qb.read_folder(folder)[2]
    read = set(records.frame("hardness_hrc")["coupon"])
    assert set(new["coupon"]) <= read
    assert len(read) == 95 + 16  # one coupon of the demonstration cracked
    paths = [Path(path).name for path in qb.bench_study(folder)]
    assert paths.count("hardness.csv") == 2
    form = (folder / "bench" / "continuation_1" / "forms" / "hardness.csv").read_text()
    assert all(code in form for code in new["coupon"])
    assert not any(code in form for code in matrix.parts()[0]["coupon"])


def test_rows_that_cannot_be_run_are_refused(first) -> None:
    rows = first.frame.iloc[:4].copy()
    rows["furnace_load"], rows["day"] = 7, 2
    rows["austenitize_c"] = [940.0, 970.0, 940.0, 970.0]
    with pytest.raises(PlanError, match="furnace load 7: has"):
        continued_matrix(first, rows, seed=99, aim="none")


def test_an_undecided_question_about_a_curve_is_named_with_its_remedy(
    plane_irons_matrix: CouponMatrix,
) -> None:
    helped = {"peak_none": "Try hotter."}
    needs = undecided_needs(plane_irons_matrix, {}, ["peak_none", "temper_63"], remedies=helped)
    lines = needs.summary().split("\n")
    assert lines[0].endswith("it hardest without a cold step? Undecided. Try hotter.")
    assert "no number of loads is told" in lines[1]
    assert repr(needs) == "<Undecided: 2 questions>"


def test_next_coupons_for_a_peak_aim_at_its_place(plane_irons_matrix: CouponMatrix) -> None:
    own = next_coupons(
        plane_irons_matrix, 2, aim="verdicts", questions=["peak_none"], seed=1, starts=1
    )
    assert own.continuations[-1].aim.startswith("to locate the peak of hardness")


def test_a_change_for_each_decade_is_aimed_at_and_other_curves_are_noted(
    plane_irons_matrix: CouponMatrix,
) -> None:
    own = next_coupons(
        plane_irons_matrix, 2, aim="verdicts", questions=["decade", "temper_63"], seed=1, starts=1
    ).continuations[-1]
    assert own.aim == "to settle “What does ten times the wait before the cold cost?”"
    assert "Not aimed at" in own.notes[0]
    assert "Which temper gives 63 HRC" in own.notes[0]


def test_where_only_a_half_loss_is_open_the_whole_model_is_continued(
    plane_irons_matrix: CouponMatrix,
) -> None:
    own = next_coupons(
        plane_irons_matrix, 2, aim="verdicts", questions=["half_loss_nitrogen"], seed=1, starts=1
    ).continuations[-1]
    assert own.aim.startswith("the same model")
    assert "Not aimed at" in own.notes[0]
