"""Laws of a coupon matrix that hold for any study."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from hypothesis import HealthCheck, assume, given, reject, settings
from hypothesis import strategies as st

import quenchbook as qb
from quenchbook.errors import PlanError
from quenchbook.plan.matrix import CouponMatrix, check_matrix
from quenchbook.plan.treatments import treatments
from quenchbook.study.definition import (
    ExtraCoupons,
    ForbiddenTreatment,
    Layout,
    Response,
    Study,
)
from quenchbook.study.factors import Factor

AUSTENITIZE = Factor(
    "austenitize", "austenitize_c", (800.0, 830.0, 860.0), "temperature", "furnace_load"
)
QUENCH = Factor("quench", "quench", ("oil", "plates"), "", "furnace_load")
ROUTE = Factor("cold_route", "cold_route", ("none", "freezer", "dry_ice"), "", "cold_batch")
DELAY = Factor(
    "delay",
    "delay_minutes",
    (0.0, 60.0, 1440.0),
    "time",
    "cold_batch",
    nested_in="cold_route",
    exists_for=("freezer", "dry_ice"),
)
STEP_ORDER = Factor(
    "step_order",
    "step_order",
    ("cold_then_temper", "temper_then_cold"),
    "",
    "cold_batch",
    nested_in="cold_route",
    exists_for=("freezer", "dry_ice"),
)
TEMPER = Factor("temper", "temper_c", (150.0, 175.0, 200.0), "temperature", "temper_batch")
CYCLES = Factor("temper_cycles", "temper_cycles_count", (1.0, 2.0), "count", "temper_batch")
LOT = Factor("heat_lot", "heat_lot", ("A", "B"), "", "bar")
SIDE = Factor("side", "side", ("top", "bottom"), "", "coupon")
ALL = (AUSTENITIZE, QUENCH, ROUTE, DELAY, STEP_ORDER, TEMPER, CYCLES, LOT, SIDE)  # fmt: skip


@st.composite
def studies(draw: st.DrawFn) -> Study:
    """Studies with some of these factors, forbidden treatments, repeats and extra coupons."""
    chosen = [own for own in ALL if draw(st.booleans(), label=own.name)]
    chosen = [own for own in chosen if not own.nested_in or ROUTE in chosen] or [AUSTENITIZE]
    factors = tuple(
        replace(own, repeats=tuple(draw(st.integers(1, 3)) for _ in own.levels))
        if draw(st.integers(0, 3)) == 0
        else own
        for own in chosen
    )
    study = Study(
        "any", "Any", "Any?", "invented", "2026-01-01", "CC-BY-4.0", factors,
        (Response("hardness_hrc", "hardness", "HRC", "hardness"),), (), Layout(1, 1),
    )  # fmt: skip
    study = replace(study, forbidden=tuple(draw(forbidden(study))))
    allowed = treatments(study)
    assume(all(set(own.levels) <= set(allowed[own.column]) for own in factors))
    study = replace(study, extra_coupons=tuple(draw(extras(study, allowed))))
    furnace = [own.column for own in factors if own.set_for == "furnace_load"]
    least = len(allowed[furnace].drop_duplicates()) if furnace else 1
    loads = least + draw(st.integers(0, 5))
    size = draw(st.integers(1, 8))
    coupons = loads * size + sum(own.coupons for own in study.extra_coupons)
    layout = Layout(
        furnace_loads=loads,
        coupons_per_load=size,
        loads_per_day=draw(st.sampled_from([0, 2, 3])),
        coupons_per_temper_batch=draw(st.sampled_from([0, 4, 7])),
        bars=4 if LOT.name in [own.name for own in factors] else draw(st.sampled_from([0, 3])),
        coupons_per_bar=coupons,
    )
    return replace(study, layout=layout)


@st.composite
def forbidden(draw: st.DrawFn, study: Study) -> list[ForbiddenTreatment]:
    found = []
    for _ in range(draw(st.integers(0, 2)) if len(study.factors) > 1 else 0):
        names = draw(st.permutations([own.name for own in study.factors]))
        names = names[: draw(st.integers(2, 3))]
        levels = {name: draw(st.sampled_from(study.factor(name).levels)) for name in names}
        found.append(ForbiddenTreatment(levels, "because"))
    return found


@st.composite
def extras(draw: st.DrawFn, study: Study, allowed: pd.DataFrame) -> list[ExtraCoupons]:
    found = []
    row = allowed.iloc[draw(st.integers(0, len(allowed) - 1))]
    told = {own.name: row[own.column] for own in study.factors if row[own.column] in own.levels}
    if draw(st.booleans()):
        found.append(ExtraCoupons("usual", "usual", draw(st.integers(1, 5)), told))
    furnace = {own.name: told[own.name] for own in study.factors if own.set_for == "furnace_load"}
    if furnace and len(furnace) < len(told) and draw(st.booleans()):
        found.append(ExtraCoupons("as_quenched", "as quenched", draw(st.integers(1, 5)), furnace))
    if draw(st.booleans()):
        found.append(ExtraCoupons("untreated", "untreated", draw(st.integers(1, 3)), {}))
    return found


def plan(study: Study, seed: int) -> CouponMatrix:
    """Plan of a study; a study whose batches cannot have one allowed level is no case."""
    try:
        return qb.coupon_matrix(study, seed=seed)
    except PlanError as error:
        if "is forbidden for some of its coupons" in str(error):
            reject()
        raise


any_plan = settings(
    max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much]
)  # fmt: skip
SEEDS = st.integers(0, 2**31)


def test_a_reference_without_a_lot_gets_none_that_is_forbidden_for_it() -> None:
    """Found by a search: oil is forbidden for lot A, and the reference is quenched in oil."""
    quench = Factor("quench", "quench", ("oil", "plates"), set_for="furnace_load")
    lot = Factor("heat_lot", "heat_lot", ("A", "B"), set_for="bar")
    study = Study(
        key="any", title="Any", question="Any?", author="invented", date="2026-01-01",
        licence="CC-BY-4.0", factors=(quench, lot),
        responses=(Response("hardness_hrc", "hardness", "HRC", "hardness"),), questions=(),
        layout=Layout(furnace_loads=2, coupons_per_load=1, bars=4, coupons_per_bar=3),
        forbidden=(ForbiddenTreatment({"quench": "oil", "heat_lot": "A"}, "because"),),
        extra_coupons=(ExtraCoupons("as_quenched", "as quenched", 1, {"quench": "oil"}),),
    )  # fmt: skip
    for seed in range(12):
        matrix = qb.coupon_matrix(study, seed=seed)
        check_matrix(matrix)
        reference = matrix.frame[matrix.frame["reference"] != ""]
        assert reference["heat_lot"].tolist() == ["B"]


@any_plan
@given(studies(), SEEDS)
def test_a_furnace_a_bath_and_an_oven_can_run_any_plan(study: Study, seed: int) -> None:
    matrix = plan(study, seed)
    check_matrix(matrix)
    frame = matrix.frame
    for factor in study.factors:
        unit = factor.set_for
        if unit == "coupon":
            continue
        told = frame[frame[factor.column].isin(factor.levels) & ~frame[unit].isin([0, ""])]
        assert (told.groupby(unit)[factor.column].nunique() == 1).all(), factor.name
    if "cold_batch" in frame:
        real = frame[frame["cold_batch"] != ""]
        assert (real.groupby("cold_batch")["furnace_load"].nunique() == 1).all()
    if study.layout.coupons_per_temper_batch and "temper_batch" in frame:
        real = frame[frame["temper_batch"] != 0]
        assert (real.groupby("temper_batch").size() <= study.layout.coupons_per_temper_batch).all()
    assert frame["coupon"].is_unique
    if study.layout.bars:
        assert not frame.duplicated(["bar", "bar_position"]).any()
        assert frame["bar"].between(1, study.layout.bars).all()


@any_plan
@given(studies(), SEEDS)
def test_every_coupon_has_an_allowed_treatment(study: Study, seed: int) -> None:
    matrix = plan(study, seed)
    allowed = set(rows_of(study, treatments(study)))
    assert set(rows_of(study, matrix.analysed)) <= allowed


@any_plan
@given(studies(), SEEDS)
def test_all_coupons_are_there_and_extra_ones_beside_them(study: Study, seed: int) -> None:
    matrix = plan(study, seed)
    without = plan(replace(study, extra_coupons=()), seed)
    layout = study.layout
    assert len(without.frame) == layout.furnace_loads * layout.coupons_per_load
    added = Counter(rows_of(study, matrix.analysed))
    added.subtract(Counter(rows_of(study, without.frame)))
    usual = [own for own in study.extra_coupons if not study.is_reference(own)]
    if not any(own.set_for == "bar" for own in study.factors):
        expected: Counter[Any] = Counter()
        for own in usual:
            expected[tuple(str(own.levels.get(f.name, "")) for f in study.factors)] += own.coupons
        assert +added == expected
    references = matrix.frame.get("reference", pd.Series(dtype=str))
    for own in study.references:
        assert (references == own.key).sum() == own.coupons
    assert len(matrix.frame) == len(without.frame) + sum(o.coupons for o in study.extra_coupons)


@any_plan
@given(studies(), SEEDS)
def test_extra_coupons_lie_evenly_in_loads_with_their_furnace_setting(
    study: Study, seed: int
) -> None:
    matrix = plan(study, seed)
    furnace = [own for own in study.factors if own.set_for == "furnace_load"]
    frame, size = matrix.frame, study.layout.coupons_per_load
    for own in study.references:
        rows = frame[frame["reference"] == own.key]
        if not own.levels:
            assert (rows["furnace_load"] == 0).all()
            continue
        for factor in furnace:
            assert (rows[factor.column] == own.levels[factor.name]).all()
        inner = [f.column for f in study.factors if f.set_for in ("cold_batch", "temper_batch")]
        assert rows[inner].isna().to_numpy().sum() + (rows[inner] == "").to_numpy().sum() == (
            len(rows) * len(inner)
        )
    sizes = matrix.in_loads.groupby("furnace_load").size() - size
    assert (sizes >= 0).all()
    if len(study.extra_coupons) == 1 and furnace and study.extra_coupons[0].levels:
        levels = study.extra_coupons[0].levels
        settings_ = matrix.in_loads.groupby("furnace_load")[[f.column for f in furnace]].first()
        wanted = [levels[f.name] for f in furnace]
        fitting = sizes[(settings_ == wanted).all(axis=1)]
        assert fitting.max() - fitting.min() <= 1


@any_plan
@given(studies(), SEEDS)
def test_loads_are_shared_by_the_repeats_of_the_levels(study: Study, seed: int) -> None:
    matrix = plan(study, seed)
    furnace = [own for own in study.factors if own.set_for == "furnace_load"]
    assume(len(furnace) == 1)
    factor = furnace[0]
    loads = matrix.in_loads.drop_duplicates("furnace_load")[factor.column].value_counts()
    weights = np.array(factor.repeats or (1,) * len(factor.levels))
    counts = np.array([loads.get(level, 0) for level in factor.levels])
    assert counts.min() >= 1
    total, whole = counts.sum(), weights.sum()
    if total % whole == 0:
        assert counts.tolist() == (weights * (total // whole)).tolist()
    else:  # nobody has two more than its share says, but for the one load that each level needs
        share = total * weights / whole
        assert (counts < np.maximum(share, 1) + 1.5).all()


@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(studies(), SEEDS)
def test_a_plan_comes_back_from_its_file_as_it_was(
    tmp_path_factory: Any, study: Study, seed: int
) -> None:
    matrix = plan(study, seed)
    folder = tmp_path_factory.mktemp("plan")
    qb.write_plan(matrix, folder)
    again = qb.read_plan(folder, study)
    assert again.plan_hash == matrix.plan_hash
    assert again.changes == ()
    assert qb.coupon_matrix(study, seed=seed).plan_hash == matrix.plan_hash


def rows_of(study: Study, frame: pd.DataFrame) -> list[tuple[str, ...]]:
    """Treatment of each row as texts; blank where a factor does not exist."""
    columns = [factor.column for factor in study.factors]
    return [
        tuple("" if value != value else str(value) for value in row)
        for row in frame[columns].itertuples(index=False)
    ]
