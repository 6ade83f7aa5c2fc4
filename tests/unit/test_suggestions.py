"""A name that is not known is answered with what was probably meant, and with what there is."""

# ruff: noqa: ARG005  (a table of calls, each takes what it needs)

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

import quenchbook as qb
from quenchbook.errors import QuenchbookError, did_you_mean
from quenchbook.findings.answers import Analysis

SLIPS: dict[str, tuple[Callable[[Analysis, Any], Any], str, str]] = {
    "factor of a study": (lambda a, m: a.study.factor("cold_rout"), "cold_route", "austenitize"),
    "response": (lambda a, m: a.records.frame("hardnes_hrc"), "hardness_hrc", "impact_j"),
    "question": (lambda a, m: a.study.question_of("freezr"), "freezer", "dry_ice"),
    "factor of a model": (lambda a, m: qb.marginal_means(m, "tempr"), "temper", "austenitize"),
    "level": (
        lambda a, m: qb.marginal_means(m, "cold_route", at={"cold_route": "Dry Ice"}),
        "dry_ice", "freezer",
    ),
    "level of a curve": (
        lambda a, m: qb.peak_place(m, "austenitize", at={"cold_route": "dryice"}),
        "dry_ice", "freezer",
    ),
    "reference level": (
        lambda a, m: qb.against(qb.marginal_means(m, "cold_route"), "frezer"), "freezer", "none",
    ),
    "adjustment": (
        lambda a, m: qb.pairs(qb.marginal_means(m, "cold_route"), adjustment="tuckey"),  # type: ignore[arg-type]
        "tukey", "holm",
    ),
    "coupon": (lambda a, m: qb.without(m, ["C94"]), "C94K", "C94 is not"),
    "outlook": (
        lambda a, m: qb.question_outlooks(a.records.matrix).answer("freezr"), "freezer", "dry_ice",
    ),
    "df_method": (
        lambda a, m: qb.mixed_model(a.records, "hardness_hrc", a.study, df_method="kenward_rogers"),  # type: ignore[arg-type]
        "kenward_roger", "satterthwaite",
    ),
    "goal": (
        lambda a, m: qb.units_needed(a.study, "freezer", goal="diference"),  # type: ignore[arg-type]
        "difference", "equivalence",
    ),
    "column of a frame": (
        lambda a, m: qb.mixed_model(m.coupons, "valeu", fixed="temper_c", strata=["furnace_load"]),
        "value", "coupon",
    ),
}  # fmt: skip


@pytest.mark.parametrize("slip", SLIPS)
def test_slip_is_answered_with_what_was_meant(slip: str, plane_irons_analysis: Analysis) -> None:
    call, meant, there = SLIPS[slip]
    with pytest.raises(QuenchbookError) as error:
        call(plane_irons_analysis, plane_irons_analysis.models["hardness_hrc"])
    assert f"Did you mean {meant}?" in str(error.value)
    assert there in str(error.value)


def test_slip_in_a_name_of_the_package_is_answered() -> None:
    with pytest.raises(AttributeError, match=r"Did you mean mixed_model\?"):
        qb.mixed_modle  # noqa: B018


def test_name_like_none_gets_no_suggestion() -> None:
    assert did_you_mean("xyzzy", ["freezer", "dry_ice"]) == ""
