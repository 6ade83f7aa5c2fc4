"""The small picture of a plan: every coupon drawn, in the units of the study, and told in words."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from tests.conftest import ROOT

import quenchbook as qb
from quenchbook.asked_study import AskedStudy
from quenchbook.asked_study_text import asked_study_text
from quenchbook.forms.load_picture import load_picture
from quenchbook.forms.plan_preview import good_enough
from quenchbook.plots.style import PAPER, ROUTE_STYLES, mark_styles
from quenchbook.steps import new_study
from quenchbook.study.files import study_from_text


@pytest.fixture(scope="module")
def picture() -> str:
    """Six loads of 24 coupons in Fahrenheit."""
    routes, temper = ("none", "freezer"), ("350 degF", "400 degF")
    hot = ("1450 degF", "1475 degF", "1500 degF")
    asked = AskedStudy("o1", "O1", routes, hot, temper, 6, 24)
    study = study_from_text(asked_study_text(asked), Path("study.toml"))
    return load_picture(qb.coupon_matrix(study, seed=1))


@pytest.fixture(scope="module")
def new_study_text(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("new") / "own"
    new_study(folder)
    return (folder / "study.toml").read_text(encoding="utf-8")


def drawn(picture: str) -> str:
    return picture[: picture.index("</svg>")]


def test_every_coupon_of_a_large_load_is_drawn(picture: str) -> None:
    marks = re.findall(r'stroke-width="1.4"', drawn(picture))
    assert len(marks) == 6 * 24
    width, height = (float(own) for own in re.findall(r"[\d.]+", picture.split("viewBox=")[1])[2:4])
    places = re.findall(r'<(?:rect|circle) c?x="([\d.]+)" c?y="([\d.]+)"', drawn(picture))
    assert all(float(x) < width and float(y) < height for x, y in places)


def test_a_level_stands_above_its_load_in_the_unit_of_the_study(picture: str) -> None:
    words = re.findall(r"<text[^>]*>([^<]*)</text>", picture)
    levels = {own for own in words if not own.isdecimal()}
    assert levels == {"1450\u00a0°F", "1475\u00a0°F", "1500\u00a0°F"}
    assert "°C" not in picture


def test_what_stands_in_each_load_is_told_in_words(picture: str) -> None:
    items = re.findall(r"<li>([^<]*)</li>", picture)
    assert len(items) == 6
    for number, item in enumerate(items, start=1):
        assert re.match(rf"Furnace load {number}, 1[45]\d\d\s°F: 24 coupons: ", item)
        runs = item.partition("24 coupons: ")[2].split("; ")
        counts = [int(own.split(" × ")[0]) if " × " in own else 1 for own in runs]
        assert sum(counts) == 24


def test_coupons_and_loads_have_the_words_of_the_study() -> None:
    text = (ROOT / "data" / "plane_irons" / "study.toml").read_text(encoding="utf-8")
    text = 'unit_names = { coupon = "bar", furnace_load = "salt bath" }\n' + text
    study = study_from_text(text, Path("study.toml"))
    assert "96 bars in 12 salt baths" in load_picture(qb.coupon_matrix(study, seed=1))


def test_a_known_route_keeps_its_mark_beside_a_route_of_ones_own(new_study_text: str) -> None:
    levels = 'levels = ["none", "freezer"]'
    two = study_from_text(new_study_text, Path("study.toml"))
    text = new_study_text.replace(levels, 'levels = ["none", "freezer", "salted_ice"]')
    text = text.replace("per_load = 4", "per_load = 12").replace("per_bar = 12", "per_bar = 36")
    three = study_from_text(text, Path("study.toml"))
    for study in (two, three):
        styles = mark_styles(study.factor("cold_route"))
        assert styles["none"] == ROUTE_STYLES["none"]
        assert styles["freezer"] == ROUTE_STYLES["freezer"]
    assert styles["salted_ice"] not in ROUTE_STYLES.values()


def test_the_picture_has_no_ground_of_its_own_and_the_ink_of_the_words_around(picture: str) -> None:
    assert "background" not in picture
    assert PAPER not in picture
    texts = re.findall(r"<text[^>]*>", picture)
    assert texts
    assert all('fill="currentColor"' in own for own in texts)


@pytest.mark.parametrize(("loads", "words"), [(9, "No: 0.50"), (36, "Yes: ")])
def test_the_outlook_says_whether_the_plan_is_good_enough_and_what_it_assumes(
    new_study_text: str, loads: int, words: str
) -> None:
    text = new_study_text.replace("furnace_loads = 9", f"furnace_loads = {loads}")
    text = text.replace("bars = 3", f"bars = {loads // 3}")
    preview = qb.plan_preview(study_from_text(text, Path("study.toml")))
    assert good_enough(preview.outlook.answer("freezer")).startswith(words)
    assert "coupon 0.45" in preview.details_html().partition("What was assumed")[0]
