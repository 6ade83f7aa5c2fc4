"""Questions about curves in the study file, and what of them is declared."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

import quenchbook as qb
from quenchbook.errors import StudyError
from quenchbook.plan.declaration import change_of, declaration
from quenchbook.study.definition import Study

GOOD = """\
format = 1
key = "little"
title = "A title"
question = "A question?"

[factors.austenitize]
levels = ["1475 degF", "1500 degF", "1525 degF", "1550 degF"]
set_for = "furnace_load"
shape = "quadratic"

[factors.cold_route]
levels = ["none", "freezer"]
set_for = "cold_batch"

[responses.hardness]
unit = "HRC"

[layout]
furnace_loads = 8
coupons_per_load = 4

[[questions]]
key = "shift"
words = "Does the freezer move the peak?"
response = "hardness"
asks = "peak_shift"
along = "austenitize"
compare = { cold_route = ["freezer", "none"] }
margin = "18 degF"

[[questions]]
key = "window"
words = "How exact must the furnace be?"
response = "hardness"
asks = "working_window"
along = "austenitize"
at = { cold_route = "freezer" }
within = "0,3 HRC"
"""


def read(folder: Path, text: str) -> Study:
    path = folder / "study.toml"
    path.write_text(text, encoding="utf-8")
    return qb.read_study(path)


def problems(folder: Path, text: str) -> list[str]:
    with pytest.raises(StudyError) as caught:
        read(folder, text)
    return [str(problem) for problem in caught.value.problems]


def test_amounts_are_kept_in_storage_units(tmp_path: Path) -> None:
    shift, window = read(tmp_path, GOOD).trade_questions
    assert shift.margin == pytest.approx(10.0)
    assert (shift.factor, shift.level, shift.against) == ("cold_route", "freezer", "none")
    assert window.within == 0.3
    assert window.at == {"cold_route": "freezer"}


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            '"peak_shift"',
            '"peak_shifts"',
            "line 26: 'peak_shifts' cannot be asked. Did you mean peak_shift?",
        ),
        (
            'compare = { cold_route = ["freezer", "none"] }\n',
            "",
            'line 22: asks = "peak_shift" (how far the peak lies higher for the first of two '
            'levels) has no compare. Write compare = { cold_route = ["freezer", "none"] }.',
        ),
        (
            'along = "austenitize"\ncompare',
            'along = "cold_route"\ncompare',
            "line 27: 'cold_route' is not a factor with numbers as levels. Known: austenitize.",
        ),
        (
            '"18 degF"',
            '"18 HRC"',
            "line 29: margin is '18 HRC', not a difference of austenitize in degC or degF. "
            'Write margin = "10 degC".',
        ),
        ('"18 degF"', '"-18 degF"', "line 29: '-18 degF' is not above zero. "),
        (
            '"0,3 HRC"',
            '"0.3"',
            "line 38: '0.3' has no unit 'HRC'. Write within = \"0.3 HRC\".",
        ),
        (
            'within = "0,3 HRC"',
            'within = "0,3 HRC"\ntarget = "60 HRC"',
            'line 39: asks = "working_window" has no target. Leave it out.',
        ),
        ('key = "window"', 'key = "shift"', "line 32: key 'shift' is used twice."),
    ],
)  # fmt: skip
def test_a_mistake_is_named_with_its_line(tmp_path: Path, old: str, new: str, message: str) -> None:
    assert any(message in own for own in problems(tmp_path, GOOD.replace(old, new, 1)))


def test_a_changed_margin_of_a_shift_is_exploratory(tmp_path: Path) -> None:
    study = read(tmp_path, GOOD)
    stored = declaration(study)
    question = study.trade_questions[0]
    assert change_of(stored, study, question) == ""
    changed = replace(question, margin=20.0)
    assert change_of(stored, study, changed) == (
        "This question compared something else when the plan was made: exploratory."
    )
    later = replace(question, key="later")
    assert change_of(stored, study, later) == (
        "This question was added after the plan was made: exploratory."
    )


def test_questions_about_curves_share_the_level_too(tmp_path: Path) -> None:
    study = read(tmp_path, 'multiplicity = "together"\n' + GOOD)
    assert study.question_confidence == pytest.approx(1 - 0.05 / 2)


def test_a_question_about_a_curve_is_not_called_unknown(tmp_path: Path) -> None:
    with pytest.raises(StudyError, match="'shift' asks about a curve; here only comparisons"):
        read(tmp_path, GOOD).question_of("shift")
