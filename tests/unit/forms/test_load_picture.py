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
from quenchbook.study.files import study_from_text


@pytest.fixture(scope="module")
def picture() -> str:
    """Six loads of 24 coupons in Fahrenheit."""
    routes, temper = ("none", "freezer"), ("350 degF", "400 degF")
    hot = ("1450 degF", "1475 degF", "1500 degF")
    asked = AskedStudy("o1", "O1", routes, hot, temper, 6, 24)
    study = study_from_text(asked_study_text(asked), Path("study.toml"))
    return load_picture(qb.coupon_matrix(study, seed=1))


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
