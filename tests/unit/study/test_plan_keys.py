"""Keys of the study file that say how the coupon matrix is made, and what is expected."""

from __future__ import annotations

from pathlib import Path

import pytest

import quenchbook as qb
from quenchbook.errors import StudyError
from quenchbook.study.definition import ExpectedPeak, Noise, PlanWish, Study

GOOD = """\
format = 1
key = "little"
title = "A title"
question = "A question?"

[factors.austenitize]
levels = { lowest = "1725 degF", highest = "1875 degF", step = "50 degF" }
set_for = "furnace_load"
shape = "quadratic"
repeats = [2, 1, 1, 2]

[factors.heat_lot]
levels = ["A", "B"]
set_for = "bar"

[factors.cold_route]
levels = ["none", "freezer"]
set_for = "cold_batch"

[factors.cold_hold]
levels = ["1 h", "1 day"]
set_for = "cold_batch"
exists_for = { cold_route = ["freezer"] }

[factors.temper_cycles]
levels = [1, 2, 3]
unit = "times"
set_for = "temper_batch"

[responses.hardness]
unit = "HRC"

[responses.hardness.noise]
furnace_load = "0.3 HRC"
coupon = "0,45 HRC"
source = "pilot of June"

[responses.hardness.expected_peak]
factor = "austenitize"
at = "1800 degF"
lower_by = "1 HRC"
away = "40 degF"

[responses.impact]
unit = "J"
scale = "log"
noise = { coupon = "10 %" }

[layout]
furnace_loads = 6
coupons_per_load = 4
bars = 4
coupons_per_bar = 12
bar_ends = 1
cold_batches_per_load = 2
furnace_places = 8

[plan]
kind = "best"
criterion = "D"
response = "hardness"
spare_level = false
noise_ratios = { furnace_load = 1.5 }

[[forbidden]]
levels = { austenitize = "1875 degF", cold_route = "none" }
reason = "cracks"

[[extra_coupons]]
key = "as_quenched"
words = "as quenched, no temper"
coupons = 4
levels = { austenitize = "1725 degF" }

[[extra_coupons]]
key = "usual"
coupons = 2
levels = { austenitize = "1725 degF", heat_lot = "A", cold_route = "none", temper_cycles = 2 }

[[extra_coupons]]
key = "untreated"
coupons = 1
"""


def read(folder: Path, text: str = GOOD) -> Study:
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return qb.read_study(folder)


def problems(folder: Path, text: str) -> list[str]:
    with pytest.raises(StudyError) as caught:
        read(folder, text)
    return [str(problem) for problem in caught.value.problems]


def line_of(text: str) -> int:
    return GOOD[: GOOD.index(text)].count("\n") + 1


def test_a_grid_has_all_levels_from_lowest_to_highest(tmp_path: Path) -> None:
    levels = read(tmp_path).factor("austenitize").levels
    # 1725, 1775, 1825, 1875 degF by (F - 32) / 1.8
    assert levels == pytest.approx((940.5555556, 968.3333333, 996.1111111, 1023.8888889))


def test_levels_are_repeated_as_told(tmp_path: Path) -> None:
    study = read(tmp_path)
    assert study.factor("austenitize").repeats == (2, 1, 1, 2)
    even = read(tmp_path, GOOD.replace("repeats = [2, 1, 1, 2]", "repeats = [3, 3, 3, 3]"))
    assert even.factor("austenitize").repeats == ()


def test_counted_levels_have_words_and_a_column_of_their_own(tmp_path: Path) -> None:
    factor = read(tmp_path).factor("temper_cycles")
    assert (factor.column, factor.unit, factor.levels) == (
        "temper_cycles_count", "times", (1.0, 2.0, 3.0),
    )  # fmt: skip
    assert [factor.word(level) for level in factor.levels] == ["once", "twice", "3\xa0times"]


def test_noise_is_kept_on_the_analysed_scale(tmp_path: Path) -> None:
    study = read(tmp_path)
    assert study.response("hardness_hrc").noise == Noise(
        {"furnace_load": 0.3, "coupon": 0.45}, "pilot of June"
    )
    assert study.response("impact_j").noise == Noise({"coupon": 0.1}, "study.toml")


def test_a_distance_from_the_peak_has_no_zero_point(tmp_path: Path) -> None:
    peak = read(tmp_path).response("hardness_hrc").expected_peak
    assert peak is not None
    assert peak == ExpectedPeak(
        "austenitize", pytest.approx((1800 - 32) / 1.8), 1.0, pytest.approx(40 / 1.8)
    )


def test_kind_of_plan_and_layout_are_read(tmp_path: Path) -> None:
    study = read(tmp_path)
    assert study.plan == PlanWish(
        "best", "D", "hardness_hrc", spare_level=False, noise_ratios={"furnace_load": 1.5}
    )
    layout = study.layout
    assert (layout.bar_ends, layout.cold_batches_per_load, layout.furnace_places) == (1, 2, 8)


def test_coupons_with_all_levels_are_a_treatment_and_others_are_references(tmp_path: Path) -> None:
    study = read(tmp_path)
    assert [own.key for own in study.references] == ["as_quenched", "untreated"]
    assert [own.words for own in study.extra_coupons] == [
        "as quenched, no temper", "usual", "untreated",
    ]  # fmt: skip
    assert dict(study.forbidden[0].levels)["cold_route"] == "none"


def test_the_summary_says_what_is_special(tmp_path: Path) -> None:
    lines = read(tmp_path).summary().splitlines()
    assert any(", used 2 : 1 : 1 : 2; set for each furnace load" in line for line in lines)
    assert (
        "never austenitize 1023.9\xa0°C (1875\xa0°F) with cold route no cold step: cracks" in lines
    )
    assert "beside the plan: 4 coupons as quenched, no temper (references)" in lines
    assert "beside the plan: 2 coupons usual (analysed like the others)" in lines


def test_a_file_without_the_keys_means_what_it_did(tmp_path: Path, plane_irons: Study) -> None:
    assert plane_irons.plan == PlanWish()
    assert plane_irons.forbidden == plane_irons.extra_coupons == ()
    assert all(response.noise is None for response in plane_irons.responses)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('step = "50 degF"', 'step = "40 degF"', "austenitize: 1875 degF is not reached from 1725 degF by whole steps of 40 degF. 3.75 steps would be needed"),
        ('step = "50 degF"', 'step = "50 min"', "step of austenitize: 'min' is not a unit of temperature difference."),
        ('step = "50 degF"', 'step = "0 degF"', "the grid of austenitize has a step that is not above zero."),
        ('step = "50 degF"', 'step = "0.01 degF"', "the grid of austenitize has 15001 levels."),
        (', step = "50 degF"', "", "the grid of austenitize has no step. Write levels = {"),
        ('step = "50 degF"', 'stepp = "50 degF"', "'stepp' is not known here. Did you mean step?"),
        ('highest = "1875 degF"', 'highest = "1725 degF"', "the grid of austenitize has a highest level that is not above the lowest."),
        ('lowest = "1725 degF", highest = "1875 degF"', 'lowest = "low", highest = "high"', "the grid of austenitize is made of names."),
        ("repeats = [2, 1, 1, 2]", "repeats = [2, 1, 1]", "repeats of austenitize is [2, 1, 1]. Write 4 whole numbers, 1 or more"),
        ("repeats = [2, 1, 1, 2]", "repeats = [2, 0, 1, 1]", "repeats of austenitize is [2, 0, 1, 1]."),
        ("repeats = [2, 1, 1, 2]", "repeats = 2", "repeats of austenitize is 2."),
        ("levels = [1, 2, 3]", "levels = [1, 2.5]", "temper_cycles is counted, but 2.5 is no whole number of times."),
        ("bars = 4", "bars = 0", "heat_lot has 2 levels and is set for each bar; there are no bars. Write bars = 4"),
        ("bars = 4", "bars = 1", "heat_lot has 2 levels and is set for each bar; there is 1 bar."),
        ("bars = 4", "bars = 2", "2 bars of 12 give too few coupons. 31 are needed, extra coupons among them: write bars = 3 or more."),
        ("bar_ends = 1", "bar_ends = 6", "6 end pieces at each end leave no middle of a bar of 12."),
        ('set_for = "bar"', 'set_for = "bar"\nexists_for = { austenitize = ["1725 degF"] }', "heat_lot is set for each bar, but austenitize is set for each furnace load."),
        ('furnace_load = "0.3 HRC"', 'furnace_load = "0.3"', "'0.3' has no unit 'HRC'. Write furnace_load ="),
        ('furnace_load = "0.3 HRC"', 'furnace_load = "-0.3 HRC"', "'-0.3 HRC' is below zero."),
        ('furnace_load = "0.3 HRC"', 'furnace_lod = "0.3 HRC"', "'furnace_lod' is not known here. Did you mean furnace_load?"),
        ('noise = { coupon = "10 %" }', 'noise = { coupon = "10 J" }', "'10 J' has no unit '%'."),
        ('noise = { coupon = "10 %" }', 'noise = { source = "guess" }', "the noise has no standard deviation."),
        ('noise = { coupon = "10 %" }', 'noise = "10 %"', "noise is not a table. Write [responses.impact.noise]"),
        ('factor = "austenitize"', 'factor = "cold_route"', "'cold_route' is not a factor with numbers as levels."),
        ('away = "40 degF"', 'away = "0 degF"', "away is '0 degF'. Write a distance above zero"),
        ('away = "40 degF"', 'away = "40"', "away: '40' has no unit."),
        ('away = "40 degF"\n', "", "the expected peak has no away."),
        ('lower_by = "1 HRC"', 'lower_by = "0 HRC"', "'0 HRC' is not above zero."),
        ('kind = "best"', 'kind = "bst"', "'bst' is not a kind. Did you mean best?"),
        ('kind = "best"', 'kind = "crossed"', 'criterion says something about a plan of kind "best", this one is "crossed".'),
        ('kind = "best"', 'kind = "fraction"', "a fraction needs to know how many treatments."),
        ('criterion = "D"', 'criterion = "A"', "'A' is not a criterion. Known: I, D."),
        ('response = "hardness"', 'response = "hardnes"', "'hardnes' is not a response. Did you mean hardness?"),
        ("spare_level = false", 'spare_level = "no"', "spare_level is 'no'. Write true or false."),
        ("spare_level = false", "treatments = 12", "treatments is 12, which is no power of two. Write treatments = 8 or 16."),
        ("furnace_load = 1.5", "furnace_load = -1", "noise ratio of furnace_load is -1."),
        ("furnace_load = 1.5", "coupon = 1.5", "'coupon' is no unit."),
        (', cold_route = "none" }\nreason', " }\nreason", "a forbidden treatment needs levels of two or more factors."),
        ('"1875 degF", cold_route = "none" }\nreason', '"1880 degF", cold_route = "none" }\nreason', "'1880 degF' is not a level of austenitize."),
        ('reason = "cracks"', 'because = "cracks"', "'because' is not known here."),
        ('reason = "cracks"', '[[forbidden]]\nlevels = { austenitize = "1875 degF", cold_route = "freezer" }', "austenitize 1023.9\xa0°C (1875\xa0°F) is left without any treatment."),
        ('key = "usual"', 'key = "as_quenched"', "key 'as_quenched' is used twice."),
        ('key = "usual"\n', "", "extra coupons have no key."),
        ('key = "usual"', 'key = "As usual"', "'As usual' is not a short name."),
        ("coupons = 2\n", "", "extra coupons do not say how many."),
        ("coupons = 2\n", "coupons = 0\n", "coupons is 0. Write a whole number, 1 or more."),
        ('cold_route = "none", temper', 'cold_route = "none", cold_hold = "1 h", temper', "cold_hold has no meaning with cold_route none."),
        ('cold_route = "none", temper', 'cold_route = "freezer", temper', "cold_route is told but not cold_hold, which the same cold batch has."),
        ('"1725 degF", heat_lot = "A", cold_route', '"1875 degF", heat_lot = "A", cold_route', "this treatment is forbidden (cracks)."),
        ('heat_lot = "A", cold_route', "cold_route", "every factor has a level but heat_lot, which every coupon has from its bar."),
        ('austenitize = "1725 degF", heat_lot', "heat_lot", "cold_route is told, but not which furnace load comes before it."),
    ],
)  # fmt: skip
def test_a_mistake_is_named_with_what_to_write(
    tmp_path: Path, old: str, new: str, message: str
) -> None:
    assert GOOD.count(old) == 1
    assert any(message in problem for problem in problems(tmp_path, GOOD.replace(old, new)))


@pytest.mark.parametrize(
    ("old", "new", "at"),
    [
        ('step = "50 degF"', 'step = "40 degF"', "levels = { lowest"),
        ('furnace_load = "0.3 HRC"', 'furnace_load = "0.3"', 'furnace_load = "0.3 HRC"'),
        ('noise = { coupon = "10 %" }', 'noise = { coupon = "10" }', "noise = {"),
        ('away = "40 degF"', 'away = "40"', 'away = "40 degF"'),
        ("furnace_load = 1.5", "furnace_load = -1", "noise_ratios"),
        ("coupons = 2\n", "coupons = 0\n", "coupons = 2\n"),
    ],
)
def test_a_mistake_is_told_with_its_line(tmp_path: Path, old: str, new: str, at: str) -> None:
    assert any(
        problem.startswith(f"study.toml line {line_of(at)}:")
        for problem in problems(tmp_path, GOOD.replace(old, new))
    )


def test_a_list_of_tables_is_asked_for_where_a_table_stands(tmp_path: Path) -> None:
    text = GOOD.replace("[[forbidden]]", "[forbidden]")
    assert any("Write [[forbidden]] above each entry." in own for own in problems(tmp_path, text))


def test_a_grid_of_levels_is_planned_like_a_list(tmp_path: Path) -> None:
    text = GOOD.replace('kind = "best"\ncriterion = "D"\nresponse = "hardness"\n', "")
    text = text.replace("spare_level = false\nnoise_ratios = { furnace_load = 1.5 }\n", "")
    listed = text.replace(
        '{ lowest = "1725 degF", highest = "1875 degF", step = "50 degF" }',
        '["1725 degF", "1775 degF", "1825 degF", "1875 degF"]',
    )
    grid, other = (qb.coupon_matrix(read(tmp_path, own), seed=3) for own in (text, listed))
    assert grid.plan_hash == other.plan_hash
