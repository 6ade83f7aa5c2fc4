"""Fractions in whole furnace loads. The studies are invented."""

from __future__ import annotations

import collections
import dataclasses
import itertools

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import quenchbook as qb
from quenchbook.errors import PlanError
from quenchbook.outlook.error_df import error_df_frame
from quenchbook.plan.fraction_loads import study_fraction
from quenchbook.plan.fractions import alias_list, fraction_of
from quenchbook.plan.matrix import check_matrix
from quenchbook.study.definition import (
    ExtraCoupons,
    ForbiddenTreatment,
    Layout,
    PlanWish,
    Question,
    Response,
    Study,
)
from quenchbook.study.factors import Factor, Unit

SET_FOR: dict[str, Unit] = {
    "austenitize": "furnace_load", "soak": "furnace_load", "quenchant": "furnace_load",
    "cold_route": "cold_batch", "cold_hours": "cold_batch",
    "temper": "temper_batch", "cycles": "temper_batch", "delay": "coupon", "lot": "coupon",
}  # fmt: skip


def study(names: str, treatments: int, loads: int, size: int, **layout: int) -> Study:
    factors = tuple(
        Factor(name, name, ("low", "high"), set_for=SET_FOR[name]) for name in names.split()
    )
    return Study(
        "invented", "Invented", "Which matters?", "nobody", "2026-11-25", "CC0", factors,
        (Response("hardness_hrc", "hardness", "HRC"),), (), Layout(loads, size, **layout),
        PlanWish(kind="fraction", treatments=treatments),
    )  # fmt: skip


STUDIES = {
    "half": study("austenitize cold_route temper delay", 8, 4, 4),
    "two of the load": study("austenitize soak cold_route temper delay", 16, 8, 4),
    "loads a fraction": study("austenitize soak quenchant cold_route temper", 16, 4, 4),
    "repeats": study("austenitize cold_route cold_hours temper delay lot", 16, 4, 16),
    "few cold batches": study(
        "austenitize cold_route cold_hours temper delay", 16, 4, 8, cold_batches_per_load=2
    ),
    "a cold batch each": study("austenitize cold_route temper", 4, 4, 2),
    "no load factor": study("cold_route temper delay lot", 8, 3, 8),
    "all combinations": study("austenitize temper delay", 8, 4, 4),
    "oven and days": study(
        "austenitize cold_route temper delay", 8, 4, 4, loads_per_day=2, coupons_per_temper_batch=4
    ),
}
named = pytest.mark.parametrize("case", STUDIES.values(), ids=list(STUDIES))


@named
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_units_have_one_setting_and_treatments_are_equally_often_there(case, seed) -> None:
    matrix = qb.coupon_matrix(case, seed=seed)
    check_matrix(matrix)  # one level a load, a cold batch, a temper batch
    columns = [factor.column for factor in case.factors]
    counts = matrix.frame[columns].value_counts()
    assert len(counts) == case.plan.treatments
    assert counts.nunique() == 1
    assert len(matrix.frame) == case.layout.furnace_loads * case.layout.coupons_per_load


@named
def test_every_load_holds_all_treatments_of_its_setting(case) -> None:
    frame = qb.coupon_matrix(case, seed=4).frame
    inner = [factor.column for factor in case.factors if factor.set_for != "furnace_load"]
    outer = [factor.column for factor in case.factors if factor.set_for == "furnace_load"]
    loads = frame.groupby("furnace_load")
    for name in inner:
        assert (loads[name].nunique() == 2).all()
    contents = loads[inner].apply(lambda own: tuple(sorted(map(tuple, own.to_numpy()))))
    settings = loads[outer].first().apply(tuple, axis=1) if outer else contents
    assert contents.groupby(settings).nunique().max() == 1


def test_load_factors_are_free_of_each_other_where_the_loads_allow_it() -> None:
    free = qb.coupon_matrix(STUDIES["two of the load"], seed=1).frame
    assert (free.groupby(["austenitize", "soak"])["furnace_load"].nunique() == 2).all()
    bound = qb.coupon_matrix(STUDIES["loads a fraction"], seed=1).frame
    assert len(bound[["austenitize", "soak", "quenchant"]].drop_duplicates()) == 4


def test_a_load_holds_no_more_cold_batches_than_told() -> None:
    frame = qb.coupon_matrix(STUDIES["few cold batches"], seed=1).frame
    assert (frame.groupby("furnace_load")["cold_batch"].nunique() == 2).all()


@named
def test_a_term_is_constant_in_its_stratum_and_in_no_coarser_one(case) -> None:
    frame = qb.coupon_matrix(case, seed=1).frame
    codes = frame[[f.column for f in case.factors]].replace({"low": -1, "high": 1}).astype(int)
    units = {
        "furnace_load": ["furnace_load"],
        "temper_batch": ["temper_batch"],
        "cold_batch": ["furnace_load", "cold_batch"],
    }
    own_columns = {
        unit: [f.column for f in case.factors if f.set_for in set_for]
        for unit, set_for in units.items()
    }
    settings = {unit: codes[own].apply(tuple, axis=1) for unit, own in own_columns.items() if own}
    for row in alias_list(qb.coupon_matrix(case, seed=1)).itertuples():
        effect = codes[row.term.split(":")].prod(axis=1)
        constant = [u for u, own in settings.items() if (effect.groupby(own).nunique() == 1).all()]
        assert row.stratum == [*constant, "coupon"][0]


@named
def test_the_fraction_is_found_again_from_the_coupons(case) -> None:
    matrix = qb.coupon_matrix(case, seed=6)
    chosen = study_fraction(case, seed=6)
    rows = ["term", "alias"]
    expected = chosen.alias_frame().sort_values(rows, ignore_index=True)
    found = qb.alias_list(matrix).sort_values(rows, ignore_index=True)
    assert found.equals(expected)
    assert set(fraction_of(matrix).words) == set(chosen.words)


def test_a_plan_that_is_no_fraction_has_no_alias_list() -> None:
    matrix = qb.coupon_matrix(STUDIES["half"], seed=1)
    odd = matrix.frame.copy()
    odd.loc[0, "delay"] = "low" if odd.loc[0, "delay"] == "high" else "high"
    with pytest.raises(PlanError, match=r"are no regular fraction"):
        alias_list(dataclasses.replace(matrix, frame=odd))


@pytest.mark.parametrize("reference", [False, True])
def test_extra_coupons_and_references_are_no_part_of_the_fraction(reference) -> None:
    matrix = qb.coupon_matrix(STUDIES["half"], seed=1)
    names = [factor.name for factor in matrix.study.factors]
    there = set(matrix.frame[names].itertuples(index=False, name=None))
    levels = next(
        dict(zip(names, own, strict=True))
        for own in itertools.product(("low", "high"), repeat=4)
        if own not in there
    )
    extra = ExtraCoupons("trade", "as usual in the trade", 2, levels)
    frame = pd.concat([matrix.frame, pd.DataFrame([levels, levels])], ignore_index=True)
    if reference:
        frame["reference"] = ["", *("" for _ in matrix.frame.index[1:]), "trade", "trade"]
    case = dataclasses.replace(matrix.study, extra_coupons=() if reference else (extra,))
    longer = dataclasses.replace(matrix, frame=frame, study=case)
    assert alias_list(longer).equals(alias_list(matrix))


def test_notes_say_in_titles_what_cannot_be_told_apart() -> None:
    notes = " ".join(qb.coupon_matrix(STUDIES["half"], seed=1).notes)
    assert "8 of 16 combinations of 4 factors: a fraction of resolution 4" in notes
    assert "Defining words: austenitize by cold route by temper by delay." in notes
    assert "Austenitize by cold route cannot be told from temper by delay" in notes
    assert "Every furnace load holds the 4 treatments of its setting, each once." in notes


def test_what_is_asked_comes_first_in_the_notes() -> None:
    asked = Question(
        "late", "Does the delay matter more with one route?", "hardness_hrc",
        factor="delay", level="high", against="low", change={"austenitize": ("high", "low")},
    )  # fmt: skip
    case = dataclasses.replace(STUDIES["half"], questions=(asked,))
    notes = qb.coupon_matrix(case, seed=1).notes
    assert notes[1].startswith("Austenitize by delay cannot be told from cold route by temper;")


@named
def test_the_table_of_error_df_agrees_with_the_alias_list(case) -> None:
    """Two ways to the same: the strata of the analysis, and products of columns."""
    matrix = qb.coupon_matrix(case, seed=1)
    judged = error_df_frame(matrix).set_index("term")
    aliases = alias_list(matrix)
    for term, own in aliases.groupby("term"):
        alike = [term, *(alias for alias in own["alias"] if alias)]
        assert judged.loc[alike, "df"].sum() == 1  # one of them is kept, the others are dropped
        stratum = own["stratum"].iloc[0]
        if stratum in matrix.frame and matrix.frame[stratum].is_unique:
            stratum = "coupon"  # the analysis does not tell a batch of one coupon from the coupon
        if judged.loc[term, "df"] == 1:
            assert judged.loc[term, "stratum"] == stratum


# --- which of the equivalent fractions -------------------------------------------------------------


def test_every_fraction_of_the_family_is_equally_likely() -> None:
    case = study("cold_route cold_hours temper delay lot", 8, 2, 8)
    counts = collections.Counter(study_fraction(case, seed=seed).signs for seed in range(1200))
    assert len(counts) == 4
    assert stats.chisquare(list(counts.values())).pvalue > 1e-6


def test_the_same_seed_gives_the_same_plan() -> None:
    first, again, other = (qb.coupon_matrix(STUDIES["half"], seed=s).plan_hash for s in (5, 5, 6))
    assert first == again != other


def test_a_fraction_without_the_forbidden_treatment_is_taken() -> None:
    levels = {"austenitize": "high", "cold_route": "low", "temper": "low", "delay": "high"}
    case = dataclasses.replace(STUDIES["half"], forbidden=(ForbiddenTreatment(levels),))
    for seed in range(20):
        frame = qb.coupon_matrix(case, seed=seed).frame
        assert not np.logical_and.reduce([frame[n] == v for n, v in levels.items()]).any()


def test_a_forbidden_treatment_that_no_fraction_avoids_is_told() -> None:
    pair = {"austenitize": "high", "temper": "low"}
    case = dataclasses.replace(STUDIES["half"], forbidden=(ForbiddenTreatment(pair),))
    with pytest.raises(PlanError, match=r"each fraction of 8 treatments has one that is forbidden"):
        qb.coupon_matrix(case, seed=1)


# --- what cannot be planned ------------------------------------------------------------------------


def test_factors_that_cannot_be_part_of_a_fraction_are_all_named() -> None:
    factors = (
        Factor("austenitize", "austenitize", ("low", "mid", "high"), set_for="furnace_load"),
        Factor("cold_route", "cold_route", ("none", "freezer"), set_for="cold_batch"),
        Factor(
            "delay", "delay", ("short", "long"), nested_in="cold_route", exists_for=("freezer",)
        ),
        Factor("temper", "temper", ("low", "high"), repeats=(2, 1)),
    )
    case = dataclasses.replace(STUDIES["half"], factors=factors)
    with pytest.raises(PlanError) as caught:
        qb.coupon_matrix(case, seed=1)
    assert len(caught.value.problems) == 3
    text = str(caught.value)
    assert "austenitize has 3 levels; a fraction needs two levels of each factor" in text
    assert "delay exists only inside cold route" in text
    assert "levels of temper are to be used unequally often" in text
    assert 'Take kind = "crossed" or "best"' in text


@pytest.mark.parametrize(
    ("case", "words"),
    [
        (
            study("austenitize cold_route temper delay", 12, 4, 4),
            r"treatments is 12; 4 factors on two levels can have 8, 16",
        ),
        (
            study("austenitize cold_route temper delay", 0, 4, 4),
            r"treatments is 0; 4 factors on two levels can have 8, 16",
        ),
        (
            study("austenitize soak cold_route temper delay", 16, 6, 4),
            r"do not fit evenly into 6 furnace loads of 4 coupons. What fits: 4 loads or a",
        ),
        (
            study("austenitize cold_route temper delay", 8, 4, 6),
            r"into 4 furnace loads of 6 coupons. What fits: 2 loads or a multiple, each of 4",
        ),
    ],
)
def test_what_does_not_fit_gets_a_message_with_what_would(case, words) -> None:
    with pytest.raises(PlanError, match=words):
        qb.coupon_matrix(case, seed=1)


@pytest.mark.parametrize("settings", ["half", "two of the load", "repeats"])
def test_what_the_message_says_would_fit_does_fit(settings) -> None:
    case = STUDIES[settings]
    odd = dataclasses.replace(case, layout=Layout(7, 5))
    with pytest.raises(PlanError) as caught:
        qb.coupon_matrix(odd, seed=1)
    words = str(caught.value).split("What fits: ")[1].split()
    loads, coupons = int(words[0]), int(words[7])
    fits = dataclasses.replace(case, layout=Layout(2 * loads, coupons))
    assert len(qb.coupon_matrix(fits, seed=1).frame) == 2 * loads * coupons


def test_too_many_factors_are_told() -> None:
    many = tuple(Factor(f"f{number}", f"f{number}", ("low", "high")) for number in range(13))
    case = dataclasses.replace(STUDIES["half"], factors=many)
    with pytest.raises(PlanError, match=r"13 factors; a fraction is made of at most 12"):
        qb.coupon_matrix(case, seed=1)
