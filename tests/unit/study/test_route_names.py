from __future__ import annotations

from pathlib import Path

import pytest

from quenchbook.bench.at_hand import consumables
from quenchbook.bench.hazards import hazards
from quenchbook.errors import QuenchbookWarning, StudyError
from quenchbook.plan.cost import plan_cost
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.plan.randomization import coupon_matrix
from quenchbook.study.factors import perhaps_meant, route_key
from quenchbook.study.files import read_study
from quenchbook.study.hours import WorkHours

STUDY = """
format = 1
title = "Freezer and dry ice"
question = "Does the cold make it harder?"
[room]
volume = "30 m3"
[held_constant]
cold_time = "1 h"
[factors.austenitize]
levels = ["790 degC", "805 degC"]
set_for = "furnace_load"
[factors.cold_route]
levels = ["none", "ROUTE"]
set_for = "cold_batch"
[factors.temper]
levels = ["175 degC", "205 degC"]
set_for = "temper_batch"
[responses.hardness]
unit = "HRC"
readings = 3
[layout]
furnace_loads = 4
coupons_per_load = 4
"""


def planned(folder: Path, route: str) -> CouponMatrix:
    (folder / "study.toml").write_text(STUDY.replace("ROUTE", route), encoding="utf-8")
    return coupon_matrix(read_study(folder), seed=1)


@pytest.mark.parametrize("name", ["dry ice", "dry-ice", "Dry ice", "dryice", "DRY_ICE", "Dry  Ice"])
def test_another_spelling_of_dry_ice_gets_its_amount_air_cost_and_cooling(
    tmp_path: Path, name: str
) -> None:
    usual, own = planned(tmp_path, "dry_ice"), planned(tmp_path, name)
    assert name in own.study.factor("cold_route").levels
    for first, second in zip(consumables(usual).lines, consumables(own).lines, strict=True):
        assert (first.item, first.amount_words(), first.note) == (
            second.item, second.amount_words(), second.note,
        )  # fmt: skip
    assert [a.value_words() for a in consumables(own).air] == [
        a.value_words() for a in consumables(usual).air
    ]
    assert consumables(own).air
    assert hazards(own.study) == hazards(usual.study)
    assert "dry ice" in [line.item for line in plan_cost(own).lines]
    assert WorkHours().cooling(name) == WorkHours().cooling("dry_ice")
    assert WorkHours(bath_capacity={"dry_ice": 5}).capacity(name) == 5


@pytest.mark.parametrize(
    ("name", "meant"),
    [("CO2", "dry_ice"), ("dry icee", "dry_ice"), ("fridge", "freezer"), ("frezer", "freezer")],
)
def test_a_near_miss_is_asked_about_and_keeps_its_caution(
    tmp_path: Path, name: str, meant: str
) -> None:
    with pytest.warns(QuenchbookWarning, match=f"Did you mean {meant}"):
        own = planned(tmp_path, name)
    assert meant in hazards(own.study)
    assert name in own.study.factor("cold_route").levels


@pytest.mark.parametrize("name", ["cold plate", "brine", "chest at -60", "outdoors"])
def test_a_route_of_the_study_is_no_near_miss(name: str) -> None:
    assert (route_key(name), perhaps_meant(name)) == (name, "")


@pytest.mark.parametrize("name", ["None", "no cold step", "No"])
def test_no_cold_step_by_another_name_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(StudyError, match="Write none"):
        planned(tmp_path, name)


def test_why_an_amount_is_missing_names_the_route_that_may_be_meant(tmp_path: Path) -> None:
    with pytest.warns(QuenchbookWarning):
        own = consumables(planned(tmp_path, "CO2"))
    assert "'CO2' is not a coolant known here; if it is this one, write dry_ice" in own.summary()
