from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from typing import Any

import pytest

import quenchbook as qb
from quenchbook.errors import PlanError
from quenchbook.plan.declaration import change_of, changed_factors, changed_layout, declaration
from quenchbook.plan.files import PLAN_FILE
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import Study


def with_margin(study: Study, margin: float | None) -> Study:
    first, *others = study.responses
    return dataclasses.replace(
        study, responses=(dataclasses.replace(first, equivalence_margin=margin), *others)
    )


def with_factor(study: Study, name: str, **changes: Any) -> Study:
    factors = [
        dataclasses.replace(factor, **changes) if factor.name == name else factor
        for factor in study.factors
    ]
    return dataclasses.replace(study, factors=tuple(factors))


def test_a_declaration_comes_back_from_the_file_as_it_went_in(
    tmp_path: Path, plane_irons: Study, plane_irons_matrix: CouponMatrix
) -> None:
    qb.write_plan(plane_irons_matrix, tmp_path)
    stored = json.loads((tmp_path / PLAN_FILE).read_text(encoding="utf-8"))
    assert stored["declared"] == declaration(plane_irons)
    assert stored["declared"]["margins"] == {"hardness_hrc": 0.5, "impact_j": 0.15}
    again = qb.read_plan(tmp_path, plane_irons)
    assert again.declaration == declaration(plane_irons)
    assert again.changes == ()


def test_a_changed_margin_is_told_with_both_values(plane_irons: Study) -> None:
    changed = with_margin(plane_irons, 0.1)
    words = (
        "Margin of hardness was 0.5\u00a0HRC when the plan was made, now 0.1\u00a0HRC: exploratory."
    )
    stored = declaration(plane_irons)
    questions = {question.key: question for question in changed.questions}
    assert change_of(stored, changed, questions["dry_ice"]) == words
    assert change_of(stored, changed, questions["tough"]) == ""  # of the other response
    assert change_of(stored, plane_irons, questions["dry_ice"]) == ""
    assert "not declared when the plan was made" in change_of(
        declaration(with_margin(plane_irons, None)), plane_irons, questions["dry_ice"]
    )


def test_added_changed_and_dropped_questions_are_told(
    tmp_path: Path, plane_irons: Study, plane_irons_matrix: CouponMatrix
) -> None:
    qb.write_plan(plane_irons_matrix, tmp_path)
    first, second, *others = plane_irons.questions
    turned = dataclasses.replace(second, level=second.against, against=second.level)
    new = dataclasses.replace(first, key="mine", words="Is it different on Mondays?")
    changed = dataclasses.replace(plane_irons, questions=(turned, *others, new))
    matrix = qb.read_plan(tmp_path, changed)
    assert matrix.changes == (
        "“Does dry ice make it harder?” compared something else when the plan was made: "
        "exploratory.",
        "“Is it different on Mondays?” was added after the plan was made: exploratory.",
        "“Is a freezer enough to make it harder?” was declared when the plan was made and is no "
        "longer asked.",
    )
    assert change_of(matrix.declaration, changed, new) == (
        "This question was added after the plan was made: exploratory."
    )


def test_other_words_for_the_same_question_are_told_and_stay_declared(plane_irons: Study) -> None:
    stored = declaration(plane_irons)
    first, *others = plane_irons.questions
    reworded = dataclasses.replace(first, words="Does a freezer do?")
    changed = dataclasses.replace(plane_irons, questions=(reworded, *others))
    assert change_of(stored, changed, reworded) == ""
    from quenchbook.plan.declaration import declaration_changes

    assert declaration_changes(stored, changed) == (
        "“Does a freezer do?” was asked as “Is a freezer enough to make it harder?” when the plan "
        "was made.",
    )


@pytest.mark.parametrize(
    ("study_change", "words"),
    [
        (lambda s: with_factor(s, "austenitize", shape="levels"), "was to be analysed as quadratic"),
        (lambda s: dataclasses.replace(s, confidence=0.9), "confidence level was 95\u00a0%"),
        (
            lambda s: dataclasses.replace(
                s, responses=(dataclasses.replace(s.responses[0], scale="log"), *s.responses[1:])
            ),
            "was to be analysed on the linear scale",
        ),
    ],
)  # fmt: skip
def test_another_analysis_makes_every_answer_exploratory(
    plane_irons: Study, study_change: Any, words: str
) -> None:
    changed = study_change(plane_irons)
    own = change_of(declaration(plane_irons), changed, changed.questions[0])
    assert words in own
    assert own.endswith(": exploratory.")


def test_a_changed_level_is_one_message_and_not_one_for_each_coupon(
    tmp_path: Path, plane_irons: Study, plane_irons_matrix: CouponMatrix
) -> None:
    qb.write_plan(plane_irons_matrix, tmp_path)
    changed = with_factor(plane_irons, "temper", levels=(150.0, 200.0))
    with pytest.raises(PlanError) as caught:
        qb.read_plan(tmp_path, changed)
    assert len(caught.value.problems) == 1
    message = str(caught.value).replace("\u00a0", " ")
    assert "temper was 150 °C, 175 °C (for each temper batch) when the plan was made" in message
    assert "now 150 °C, 200 °C" in message
    assert "12 furnace loads" in message


def test_new_and_lost_factors_and_another_layout_are_found(plane_irons: Study) -> None:
    stored = declaration(plane_irons)
    fewer = dataclasses.replace(plane_irons, factors=plane_irons.factors[:-1])
    assert changed_factors(stored, fewer) == ["factor delay is gone"]
    assert changed_factors(declaration(fewer), plane_irons) == ["factor delay is new"]
    layout = dataclasses.replace(plane_irons.layout, furnace_loads=9)
    assert changed_layout(stored, dataclasses.replace(plane_irons, layout=layout)) == [
        "9 furnace loads, the plan has 12"
    ]


def test_the_declaration_of_a_plan_is_never_written_again(
    tmp_path: Path, plane_irons: Study, plane_irons_matrix: CouponMatrix
) -> None:
    qb.write_plan(plane_irons_matrix, tmp_path)
    before = (tmp_path / PLAN_FILE).read_bytes()
    changed = with_margin(plane_irons, 0.1)
    assert plane_irons_matrix.seed is not None
    again = qb.coupon_matrix(changed, seed=plane_irons_matrix.seed)
    assert again.plan_hash == plane_irons_matrix.plan_hash
    qb.write_plan(again, tmp_path)
    assert (tmp_path / PLAN_FILE).read_bytes() == before
    assert "0.5" in qb.read_plan(tmp_path, changed).changes[0]


def test_a_plan_that_does_not_tell_its_declaration_is_read_by_its_hash(
    tmp_path: Path, plane_irons: Study, plane_irons_matrix: CouponMatrix
) -> None:
    qb.write_plan(plane_irons_matrix, tmp_path)
    about = json.loads((tmp_path / PLAN_FILE).read_text(encoding="utf-8"))
    del about["declared"]
    (tmp_path / PLAN_FILE).write_text(json.dumps(about), encoding="utf-8")
    assert qb.read_plan(tmp_path, plane_irons).changes == ()
    changed = with_margin(plane_irons, 0.1)
    matrix = qb.read_plan(tmp_path, changed)
    assert "everything is exploratory" in matrix.changes[0]
    assert "exploratory" in change_of(matrix.declaration, changed, changed.questions[0])
    qb.write_plan(matrix, tmp_path)  # cannot know it, so does not invent it
    assert "declared" not in json.loads((tmp_path / PLAN_FILE).read_text(encoding="utf-8"))


@pytest.mark.parametrize("declared", [[], {"margins": {}}, {"factors": 3}, "x"])
def test_a_damaged_declaration_is_named(
    tmp_path: Path, plane_irons: Study, plane_irons_matrix: CouponMatrix, declared: object
) -> None:
    qb.write_plan(plane_irons_matrix, tmp_path)
    about = json.loads((tmp_path / PLAN_FILE).read_text(encoding="utf-8"))
    about["declared"] = declared
    (tmp_path / PLAN_FILE).write_text(json.dumps(about), encoding="utf-8")
    with pytest.raises(PlanError, match="does not tell what was declared"):
        qb.read_plan(tmp_path, plane_irons)


@pytest.mark.parametrize("text", ["{", "[1]", "\x00"])
def test_a_damaged_plan_file_is_named(
    tmp_path: Path, plane_irons: Study, plane_irons_matrix: CouponMatrix, text: str
) -> None:
    qb.write_plan(plane_irons_matrix, tmp_path)
    (tmp_path / PLAN_FILE).write_text(text, encoding="utf-8")
    with pytest.raises(PlanError, match="is damaged"):
        qb.read_plan(tmp_path, plane_irons)
