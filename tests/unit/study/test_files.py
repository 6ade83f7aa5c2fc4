from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

import quenchbook as qb
from quenchbook.errors import StudyError

GOOD = """\
format = 1
key = "little"
title = "A title"
question = "A question?"

[factors.austenitize]
levels = ["1475 degF", "1500 degF"]
set_for = "furnace_load"

[factors.cold_route]
levels = ["none", "freezer"]
set_for = "cold_batch"

[factors.delay]
levels = ["0 min", "2 h"]
set_for = "cold_batch"
exists_for = { cold_route = ["freezer"] }

[responses.hardness]
unit = "HRC"
equivalence_margin = "0.5 HRC"

[layout]
furnace_loads = 4
coupons_per_load = 4

[[questions]]
key = "cold"
words = "Harder?"
response = "hardness"
compare = { cold_route = ["freezer", "none"] }
"""


def written(folder: Path, text: str) -> Path:
    path = folder / "study.toml"
    path.write_text(text, encoding="utf-8")
    return path


def problems(folder: Path, text: str) -> list[str]:
    with pytest.raises(StudyError) as caught:
        qb.read_study(written(folder, text))
    return [str(problem) for problem in caught.value.problems]


def test_numbers_are_kept_in_the_storage_unit(tmp_path: Path) -> None:
    study = qb.read_study(written(tmp_path, GOOD))
    assert study.factor("austenitize").column == "austenitize_c"
    assert study.factor("austenitize").levels == pytest.approx((801.6666667, 815.5555556))
    assert study.factor("delay").levels == (0.0, 120.0)
    assert study.factor("delay").exists_for == ("freezer",)
    assert study.equivalence_margin("hardness_hrc") == 0.5


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('"1475 degF"', '"1475"', "study.toml line 7: austenitize level '1475' has no unit."),
        ('"1475 degF"', '"1475 degQ"', "line 7: 'degQ' is not a unit of a level."),
        ('set_for = "furnace_load"', 'set_for = "furnace_lod"', "Did you mean furnace_load?"),
        ("[responses.hardness]\n", "[responses.hardness]\nuint = 3\n", "line 20: 'uint' is not known here. Did you mean unit?"),
        ('"0.5 HRC"', '"0.5"', "'0.5' has no unit 'HRC'."),
        ('"0.5 HRC"', '"-1 HRC"', "is not above zero."),
        ('["freezer"] }', '["none"] }', "a delay has no meaning for route 'none'."),
        ('exists_for = { cold_route = ["freezer"] }', "", "a delay has no meaning without a cold step."),
        ("coupons_per_load = 4", "coupons_per_load = 0", "coupons_per_load is 0. Write a whole number, 1 or more."),
        ("furnace_loads = 4", "", "layout has no furnace_loads."),
        ('["freezer", "none"] }', '["frezer", "none"] }', "'frezer' is not a level of cold_route. Did you mean freezer?"),
        ('response = "hardness"', 'response = "hardnes"', "'hardnes' is not a response. Did you mean hardness?"),
        ('title = "A title"', "", "title is missing."),
        ("format = 1", "format = 7", "line 1: format is 7. Write format = 1."),
        ('["none", "freezer"]', '["none", "900 degC"]', "cold_route mixes numbers and names."),
        ('["none", "freezer"]', '["none", "none"]', "a level of cold_route is written twice."),
        ('["none", "freezer"]', '["none"]', "cold_route has fewer than two levels."),
        ("[factors.austenitize]", "[factors.coupon]", "'coupon' cannot be the name of a factor."),
        ('compare = { cold_route = ["freezer", "none"] }', 'compare = ["freezer", "none"]', "compare is ['freezer', 'none'], not a factor with two of its levels. Write compare = {"),
        ('compare = { cold_route = ["freezer", "none"] }', "compare = 3", "compare is 3, not a factor with two of its levels. Write compare = {"),
        ('compare = {', 'comparison = {', "'comparison' is not known here. Did you mean compare?"),
    ],
)  # fmt: skip
def test_a_mistake_is_named_with_its_line_and_remedy(tmp_path, old, new, message) -> None:
    assert old in GOOD
    assert any(message in problem for problem in problems(tmp_path, GOOD.replace(old, new, 1)))


def test_all_mistakes_come_at_once(tmp_path: Path) -> None:
    text = GOOD.replace('"0.5 HRC"', '"0.5"').replace("furnace_loads = 4", "furnace_loads = -1")
    found = problems(tmp_path, text.replace('"2 h"', '"2"'))
    assert len(found) == 3


def test_a_missing_file_says_how_to_make_one(tmp_path: Path) -> None:
    with pytest.raises(StudyError, match="quenchbook new"):
        qb.read_study(tmp_path)


def test_broken_toml_is_one_message(tmp_path: Path) -> None:
    assert len(problems(tmp_path, "format = = 1")) == 1


def test_the_template_of_new_studies_is_a_study_that_can_be_planned(tmp_path: Path) -> None:
    from quenchbook.steps import new_study

    new_study(tmp_path / "mine")
    matrix = qb.coupon_matrix(qb.read_study(tmp_path / "mine"), seed=1)
    assert len(matrix.frame) == 36


def test_the_examples_of_the_template_are_right_when_they_are_no_comments(tmp_path: Path) -> None:
    import re

    from quenchbook.steps import new_study

    new_study(tmp_path / "mine")
    path = tmp_path / "mine" / "study.toml"
    text = path.read_text(encoding="utf-8").replace("coupons_per_bar = 12", "coupons_per_bar = 14")
    text = text.replace('temper_cycles = "1"', "")  # it is a factor now
    text = text.replace('["0 min", "60 min"]', '["0 min", "60 min", "1 day"]')  # for a half-loss
    key = r"^# (?=\[+[a-z_.]+\]|[a-z_]+ = )"
    study = qb.read_study(written(tmp_path, re.sub(key, "", text, flags=re.MULTILINE)))
    assert study.has("step_order")
    assert study.factor("temper_cycles").word(2.0) == "twice"
    assert study.layout.furnace_places == 6
    assert study.plan.kind == "best"
    assert [own.key for own in study.references] == ["as_quenched"]
    assert study.forbidden[0].reason == "cracks"
    assert study.response("hardness_hrc").expected_peak is not None
    assert study.response("impact_j").scale == "log"
    assert [own.answer_from for own in study.publishing.reader_questions] == ["freezer", ""]


HELD = """
[held_constant]
soak = "15 min"
quench = "oil,  50 degC"
temper_cycles = 2
"""


def test_what_is_held_constant_is_kept_as_words_and_changes_no_plan(tmp_path: Path) -> None:
    study = qb.read_study(written(tmp_path, GOOD + HELD))
    assert study.held_constant == {
        "soak": "15 min", "quench": "oil, 50 degC", "temper_cycles": "2",
    }  # fmt: skip
    assert "held constant: soak 15\u00a0min; quench oil, 50\u00a0°C; temper cycles 2" in (
        study.summary()
    )
    plan = qb.coupon_matrix(study, seed=5)
    without = qb.coupon_matrix(replace(study, held_constant={}), seed=5)
    assert plan.plan_hash == without.plan_hash
    assert plan.declaration == without.declaration


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("soak = 15", 'soak is 15, without a unit. Write soak = "15 min".'),
        ('cold_time = "12"', "cold_time is '12', without a unit. Write cold_time = \"12 h\"."),
        ('temper_time = " "', 'temper_time is empty. Write temper_time = "2 h".'),
        ("quench = true", "quench is True."),
        ("quench = [1]", "quench is [1]."),
        ('"Öl bath" = "x"', "'Öl bath' is not a short name."),
    ],
)
def test_a_mistake_in_what_is_held_constant_is_named(
    tmp_path: Path, line: str, message: str
) -> None:
    [found] = problems(tmp_path, GOOD + f"\n[held_constant]\n{line}\n")
    assert message in found
    assert found.startswith("study.toml line ")


def test_a_factor_is_not_held_constant(tmp_path: Path) -> None:
    name = next(iter(qb.read_study(written(tmp_path, GOOD)).factors)).name
    [found] = problems(tmp_path, GOOD + f'\n[held_constant]\n{name} = "1 h"\n')
    assert f"'{name}' is a factor, so it is not held constant." in found


def test_levels_declared_in_degf_are_printed_as_declared_beside_the_storage_unit(
    tmp_path: Path,
) -> None:
    study = qb.read_study(written(tmp_path, GOOD))
    factor = study.factor("austenitize")
    words = [factor.word(level).replace("\u00a0", " ") for level in factor.levels]
    assert words == ["801.7 °C (1475 °F)", "815.6 °C (1500 °F)"]
    # 1475.1 is what the rounded 801.7 would give
    assert factor.set_word(factor.levels[0]).replace("\u00a0", " ") == "801.7 °C"


def test_declared_degf_stand_the_same_with_both_units_in_print(tmp_path: Path) -> None:
    both = qb.read_study(written(tmp_path, GOOD + '\n[publishing]\nunits = "both"\n'))
    factor = both.factor("austenitize")
    assert factor.word(factor.levels[0]).replace("\u00a0", " ") == "801.7 °C (1475 °F)"


@pytest.mark.parametrize(
    ("levels", "words"),
    [
        ('{ lowest = "1475 degF", highest = "1500 degF", step = "12.5 degF" }',
         ["801.7 °C (1475 °F)", "808.6 °C (1487.5 °F)", "815.6 °C (1500 °F)"]),
        ('["1475 degF", "815 degC"]', ["801.7 °C", "815 °C"]),
        ('["800 degC", "815 degC"]', ["800 °C", "815 °C"]),
    ],
)  # fmt: skip
def test_a_declared_unit_is_shown_where_all_levels_have_it(
    tmp_path: Path, levels: str, words: list[str]
) -> None:
    text = GOOD.replace('["1475 degF", "1500 degF"]', levels)
    factor = qb.read_study(written(tmp_path, text)).factor("austenitize")
    assert [factor.word(x).replace("\u00a0", " ") for x in factor.levels] == words
