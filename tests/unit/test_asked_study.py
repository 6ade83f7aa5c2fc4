"""Questions in the terminal, and the study file that comes of the answers."""

from __future__ import annotations

import datetime
import itertools
import tomllib
from collections.abc import Callable, Iterable
from pathlib import Path

import pytest

from quenchbook.asked_study import AskedStudy, asked_study, temperature_levels
from quenchbook.asked_study_text import asked_study_text
from quenchbook.errors import QuenchbookError
from quenchbook.planning_steps import draft_plan, unanswerable
from quenchbook.steps import new_study


def answering(answers: Iterable[str]) -> Callable[[str], str]:
    left = iter(answers)
    return lambda _prompt: next(left)


def unheard(_line: str) -> None:
    """Listener where nothing is expected to be said that matters."""


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_enter_key_alone_gives_the_study_of_the_template(here: Path) -> None:
    assert asked_study(answering([""] * 9), unheard) == AskedStudy("my_study")


def test_every_question_has_a_default_in_brackets_for_the_steel_of_the_template(here: Path) -> None:
    prompts: list[str] = []
    asked_study(lambda prompt: prompts.append(prompt) or "", unheard)
    assert len(prompts) == 9
    assert all(prompt.endswith("]: ") for prompt in prompts)


def test_temperatures_of_another_steel_have_no_default(here: Path) -> None:
    said: list[str] = []
    answers = ["", "A2", "", "", "1700, 1750, 1800 degF", "", "400 degF", "", "", "", ""]
    asked = asked_study(answering(answers), said.append)
    assert asked.austenitize == ("1700 degF", "1750 degF", "1800 degF")
    assert any("see the data sheet of your steel" in line for line in said)


@pytest.mark.parametrize(
    ("place", "wrong", "message"),
    [
        (0, "a/b", "there is no such folder"),
        (0, "..", "is not a name"),
        (0, "there", "is there already"),
        (2, "freezr", "Is freezer meant?"),
        (2, "sandbox", "A route of your own"),
        (3, "790, 805", "The unit is missing"),
        (3, "79 degC", "is outside the 600 to 1350"),
        (3, "790, 790 degC", "different temperatures"),
        (3, "hot", "is not a temperature"),
        (5, "2", "write 3 to 200"),
        (5, "many", "is not a number of furnace loads"),
        (6, "0", "write 1 to 200"),
        (7, "0", "is no margin"),
        (7, "3 mm", "mm"),
    ],
)
def test_a_wrong_answer_is_told_and_asked_again(
    here: Path, place: int, wrong: str, message: str
) -> None:
    (here / "there").mkdir()
    (here / "there" / "x").touch()
    said: list[str] = []
    answers = [""] * 9
    answers[place:place] = [wrong]
    assert asked_study(answering(answers), said.append) == AskedStudy("my_study")
    assert any(message in line for line in said)


@pytest.mark.parametrize(("answer", "grade"), [("", "O1"), ("no", "01")])
def test_a_zero_for_the_letter_o_is_asked_about(here: Path, answer: str, grade: str) -> None:
    prompts: list[str] = []
    answers = answering(["", "01", answer, "", "805 degC", "200 degC", "", "", "", ""])
    asked = asked_study(lambda prompt: prompts.append(prompt) or answers(prompt), unheard)
    assert asked.grade == grade
    assert "Is O1 meant, with the letter O? [yes]" in prompts[2]


def test_a_word_that_is_taken_for_a_cold_route_is_said(here: Path) -> None:
    said: list[str] = []
    answers = ["", "", "no, fridge, dry ice", "no, dry ice", *[""] * 6]
    asked = asked_study(answering(answers), said.append)
    assert asked.cold_routes == ("none", "dry_ice")
    assert "'no' is taken for none, which is no cold step." in said
    assert any(line.startswith("'fridge' is not one of none, freezer") for line in said)


@pytest.mark.parametrize(
    ("answers", "margin"), [(["4 HRC", "yes"], 4), (["4 HRC", "", "5 HRC"], 5), (["3 HRC"], 3)]
)
def test_a_wide_margin_is_asked_about_once(here: Path, answers: list[str], margin: float) -> None:
    assert asked_study(answering([*[""] * 7, *answers, ""]), unheard).margin_hrc == margin


def test_a_study_that_would_compare_nothing_is_told_so(here: Path) -> None:
    said: list[str] = []
    answers = ["", "", "freezer", "805 degC", "200 degC", "175, 205 degC", "", "", "", ""]
    asked = asked_study(answering(answers), said.append)
    assert len(asked.temper) == 2
    assert any("nothing would be compared" in line for line in said)


@pytest.mark.parametrize("end", [KeyboardInterrupt, EOFError])
def test_what_ends_the_questions_writes_nothing(here: Path, end: type[BaseException]) -> None:
    def stop(prompt: str) -> str:
        raise end

    with pytest.raises(end):
        asked_study(stop, unheard)
    assert list(here.iterdir()) == []


def test_a_unit_holds_for_the_numbers_before_it() -> None:
    assert temperature_levels("400 degF; 175, 205 °C", "temper") == (
        "175 degC", "400 degF", "205 degC",
    )  # fmt: skip


_STUDIES = [
    (routes, hot, temper, loads)
    for routes, hot, temper, loads in itertools.product(
        (("none",), ("freezer",), ("none", "freezer"), ("freezer", "dry_ice", "liquid_nitrogen")),
        (("805 degC",), ("1450 degF", "1500 degF"), ("790 degC", "805 degC", "820 degC")),
        (("175 degC",), ("175 degC", "205 degC")),
        (6, 7),
    )
    if max(len(routes), len(hot), len(temper)) > 1
]


@pytest.mark.parametrize("grade", ["O1", "52100"])
@pytest.mark.parametrize(("routes", "hot", "temper", "loads"), _STUDIES[::3])
def test_a_study_of_any_answers_can_be_planned_and_answers_its_questions(
    tmp_path: Path, grade: str, routes, hot, temper, loads: int
) -> None:
    asked = AskedStudy("mine", grade, routes, hot, temper, loads, 6)
    new_study(tmp_path / "mine", text=asked_study_text(asked))
    matrix = draft_plan(tmp_path / "mine")
    assert len(matrix.frame) == asked.coupons
    assert [factor.name for factor in matrix.study.factors] == [
        name
        for name, levels in (("austenitize", hot), ("cold_route", routes), ("temper", temper))
        if len(levels) > 1
    ]
    assert matrix.study.questions
    assert unanswerable(matrix) == ([], False)


def test_what_was_answered_stands_in_the_file_and_all_comments_of_the_template(
    tmp_path: Path,
) -> None:
    asked = AskedStudy("mine", margin_hrc=0.75, author='A "quoted" \\ name')
    text = asked_study_text(asked, today=datetime.date(2026, 11, 26))
    content = tomllib.loads(text)
    assert content["author"] == 'A "quoted" \\ name'
    assert content["date"] == datetime.date(2026, 11, 26)
    assert content["responses"]["hardness"]["equivalence_margin"] == "0.75 HRC"
    new_study(tmp_path / "plain")
    template = (tmp_path / "plain" / "study.toml").read_text(encoding="utf-8")
    comments = [line for line in template.splitlines() if line.startswith("#")]
    assert [line for line in comments if line not in text] == []


def test_what_holds_for_the_steel_of_the_template_is_not_said_of_another() -> None:
    content = tomllib.loads(asked_study_text(AskedStudy("mine", grade="A2")))
    assert "composition" not in content["steel"]
    assert {"soak", "quench"}.isdisjoint(content["held_constant"])


def test_what_is_not_varied_is_held_constant() -> None:
    asked = AskedStudy("mine", cold_routes=("none",), temper=("200 degC",))
    content = tomllib.loads(asked_study_text(asked))
    assert content["held_constant"]["cold_route"] == "none"
    assert content["held_constant"]["temper"] == "200 degC"
    assert "cold_time" not in content["held_constant"]


def test_a_template_without_a_place_for_an_answer_is_an_error_and_no_silent_loss() -> None:
    from quenchbook.asked_study_text import _Text

    with pytest.raises(QuenchbookError, match="has no place"):
        _Text("format = 1\n").line("grade", "O1")


@pytest.mark.parametrize("text", ["392 degF, 200 degC", "200 degC, 200.0 degC, 175 degC"])
def test_one_level_in_two_units_is_told(text: str) -> None:
    with pytest.raises(QuenchbookError, match="different temperatures"):
        temperature_levels(text, "temper")
