"""Levels that no steel is treated at are asked about when the study file is read.

Outside: austenitize and temper temperatures of tool steels as in ISO 4957 (from memory), and the
boiling points of the coolants, have to lie inside the ranges.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.unit.study.test_files import GOOD, problems, written

import quenchbook as qb
from quenchbook.study.plausible_levels import plausible_range

LEVELS = 'levels = ["1475 degF", "1500 degF"]'


def with_levels(levels: str, name: str = "austenitize") -> str:
    assert LEVELS in GOOD
    text = GOOD.replace(LEVELS, f"levels = {levels}")
    return text.replace("[factors.austenitize]", f"[factors.{name}]")


@pytest.mark.parametrize(
    ("name", "levels", "told"),
    [
        (
            "austenitize",
            '["8500 degC", "850 degC"]',
            "austenitize level 8500 degC is outside the 600 to 1350\u00a0°C in which steel is "
            "austenitized. Is the unit right, or was the decimal point lost (850 degC)?",
        ),
        (
            "austenitize",
            '["970 degC", "1900 degC"]',
            "austenitize level 1900 degC is outside the 600 to 1350\u00a0°C in which steel is "
            "austenitized. Is the unit right? Write 1900 degF if that is meant (1038\u00a0°C).",
        ),
        (
            "austenitizing",
            '["970 degF", "1900 degF"]',
            "austenitizing level 970 degF (521\u00a0°C) is outside the 600 to 1350\u00a0°C in "
            "which steel is austenitized. Is the unit right? Write 970 degC if that is meant.",
        ),
        (
            "temper",
            '["20 degC", "200 degC"]',
            "temper level 20 degC is outside the 50 to 750\u00a0°C in which steel is tempered. "
            "Is the unit right (degC, degF)?",
        ),
        (
            "second_temper",
            '["175 degC", "1750 degC"]',
            "second_temper level 1750 degC is outside the 50 to 750\u00a0°C in which steel is "
            "tempered. Is the unit right, or was the decimal point lost (175 degC)?",
        ),
        (
            "cold",
            '["0 degC", "32 degC"]',
            "cold level 32 degC is outside the −270 to 30\u00a0°C in which a cold step lies. "
            "Is the unit right? Write 32 degF if that is meant (0\u00a0°C).",
        ),
        (
            "reaustenitize",
            '["850 degC", "8500 degC"]',
            "reaustenitize level 8500 degC is outside the 600 to 1350\u00a0°C in which steel is "
            "austenitized. Is the unit right, or was the decimal point lost (850 degC)?",
        ),
        (
            "cold_temperature",
            '["-78 degC", "60 degC"]',
            "cold_temperature level 60 degC is outside the −270 to 30\u00a0°C in which a cold "
            "step lies. Is the unit right? Write 60 degF if that is meant (16\u00a0°C).",
        ),
        (
            "cold_bath",
            '["-78 degC", "-321 degC"]',
            "cold_bath level -321 degC is outside the −270 to 30\u00a0°C in which a cold step "
            "lies. Is the unit right? Write -321 degF if that is meant (−196\u00a0°C).",
        ),
        (
            "preheat",
            '["650 degC", "6500 kelvin"]',
            "preheat level 6500 kelvin (6227\u00a0°C) is outside the −270 to 1540\u00a0°C in "
            "which steel is worked on and stays solid. Is the unit right, or was the decimal point lost "
            "(650 kelvin)?",
        ),
        (
            "austenitize",
            '{ lowest = "850 degC", highest = "8500 degC", step = "450 degC" }',
            "austenitize level 8500 degC is outside the 600 to 1350\u00a0°C in which steel is "
            "austenitized. Is the unit right, or was the decimal point lost (850 degC)?",
        ),
        (
            "austenitize",
            "[850, 8500]\nunit = \"degC\"",
            "austenitize level 8500 degC is outside the 600 to 1350\u00a0°C in which steel is "
            "austenitized. Is the unit right, or was the decimal point lost (850 degC)?",
        ),
    ],
)  # fmt: skip
def test_a_level_that_no_steel_is_treated_at_is_asked_about(
    name: str, levels: str, told: str, tmp_path: Path
) -> None:
    text = with_levels(levels, name)
    line = 1 + text.splitlines().index(f"levels = {levels}".splitlines()[0])
    assert problems(tmp_path, text) == [f"study.toml line {line}: {told}"]


def test_each_level_that_is_wrong_is_asked_about_and_nothing_else(tmp_path: Path) -> None:
    found = problems(tmp_path, with_levels('["8500 degC", "9000 degC", "850 degC"]'))
    assert [words.split(" is outside")[0] for words in found] == [
        "study.toml line 7: austenitize level 8500 degC",
        "study.toml line 7: austenitize level 9000 degC",
    ]


def test_a_level_that_cannot_be_read_is_told_once(tmp_path: Path) -> None:
    [found] = problems(tmp_path, with_levels('["8500 degC", "850"]'))
    assert "has no unit" in found


@pytest.mark.parametrize(
    ("name", "levels"),
    [
        ("austenitize", '["780 degC", "1290 degC"]'),  # C105U and HS6-5-2: ISO 4957, from memory
        ("austenitize", '["600 degC", "1350 degC"]'),  # the ends themselves
        ("austenitize", '["1123.15 K", "1223.15 K"]'),
        ("temper", '["100 degC", "560 degC"]'),  # cold work and high-speed steels, from memory
        ("temper_temperature", '["300 degF", "1000 degF"]'),
        ("cold", '["-195.8 degC", "-78.5 degC"]'),  # nitrogen and dry ice at 1 atm, handbook
        ("cold", '["-268.9 degC", "20 degC"]'),  # helium, room
        ("temperature", '["-40 degC", "1200 degC"]'),  # says not what for
        ("furnace_temp", '["360 degC", "380 degC"]'),  # an oven for a coating
        ("cold_oil", '["20 degC", "60 degC"]'),  # a bath of the quench, not a cold step
        ("cold_water_quench", '["10 degC", "40 degC"]'),
        ("scold_temp", '["20 degC", "900 degC"]'),  # cold is no word of this name
    ],
)
def test_what_steel_is_really_treated_at_passes(name: str, levels: str, tmp_path: Path) -> None:
    study = qb.read_study(written(tmp_path, with_levels(levels, name)))
    assert study.factor(name).dimension == "temperature"


def test_a_name_with_two_steps_counts_as_the_first_of_the_furnace() -> None:
    assert plausible_range("austenitize_before_cold").high == 1350.0
