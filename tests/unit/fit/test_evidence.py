from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

import quenchbook as qb
from quenchbook.errors import EstimabilityError
from quenchbook.fit.evidence import pooled_scatter
from quenchbook.records.published_comparisons import Arm, Kind, PublishedComparison


def study(
    name: str, level: float = 12.0, *, sd: float = 2.0, coupons: int = 5, kind: Kind = "total"
) -> PublishedComparison:
    return PublishedComparison(
        study=name, kind=kind, quantity="impact energy", unit="J", effect="ratio",
        level="dry ice", against="no cold step", source="invented in a test",
        level_arm=Arm(level, sd, coupons), against_arm=Arm(10.0, sd, coupons),
    )  # fmt: skip


def several(count: int, *, kind: Kind = "total", coupons: int = 5) -> list[PublishedComparison]:
    return [study(f"{kind} {n}", 9.0 + 1.3 * n, kind=kind, coupons=coupons) for n in range(count)]


def test_fewer_than_three_studies_are_listed_and_not_pooled() -> None:
    (found,) = qb.syntheses(several(2))
    assert found.mean is None
    assert math.isnan(found.conf_low)
    assert any("listed, not pooled" in note for note in found.notes)


def test_kinds_are_never_put_together() -> None:
    found = qb.syntheses([*several(3), *several(2, kind="equal hardness")])
    assert [(own.kind, own.mean is None) for own in found] == [
        ("equal hardness", True),
        ("total", False),
    ]


def test_different_comparisons_are_refused() -> None:
    other = replace(study("B"), quantity="wear")
    with pytest.raises(EstimabilityError, match="compare different things"):
        qb.syntheses([study("A"), other])


def test_a_missing_scatter_needs_only_the_number_of_coupons_and_is_said() -> None:
    rows = several(4)
    rows[1] = replace(
        rows[1], level_arm=replace(rows[1].level_arm, sd=math.nan),
        against_arm=replace(rows[1].against_arm, sd=math.nan),
    )  # fmt: skip
    (found,) = qb.syntheses(rows)
    assert found.variances[1] == pytest.approx(found.scatter.sd**2 * 2 / 5)
    assert any("Total 1 tells no scatter" in note for note in found.notes)


def test_without_any_scatter_studies_are_listed() -> None:
    (found,) = qb.syntheses([study(str(n), sd=math.nan) for n in range(4)])
    assert found.mean is None
    assert any("none has a weight" in note for note in found.notes)


def test_the_scatter_of_another_kind_stands_in_and_is_said() -> None:
    rows = [*several(3), *(study(f"e{n}", sd=math.nan, kind="equal hardness") for n in range(3))]
    found = qb.syntheses(rows)[0]
    assert found.scatter == pooled_scatter(rows)
    assert any("other kinds stands in" in note for note in found.notes)


def test_scatter_is_pooled_by_coupons_less_one() -> None:
    rows = [study("A", 10.0, sd=1.0, coupons=3), study("B", 10.0, sd=3.0, coupons=9)]
    expected = (2 * 2 * 0.1**2 + 2 * 8 * 0.3**2) / 20
    assert pooled_scatter(rows).sd == pytest.approx(math.sqrt(expected))


def test_with_few_studies_that_agree_the_spread_is_raised_to_what_chance_gives() -> None:
    alike = [study(str(n), 12.0 + 0.01 * n) for n in range(4)]
    (found,) = qb.syntheses(alike)
    assert found.mean is not None
    assert found.mean.floored
    plain = (1 / found.variances).sum() ** -0.5
    assert found.mean.std_error == pytest.approx(plain)


def test_with_six_studies_the_spread_is_left_as_it_is() -> None:
    (found,) = qb.syntheses([study(str(n), 12.0 + 0.01 * n) for n in range(6)])
    assert found.mean is not None
    assert not found.mean.floored
    assert found.mean.spread < 1


def test_one_far_larger_study_raises_the_spread_too() -> None:
    rows = [*(study(str(n), 12.0 + 0.01 * n) for n in range(6)), study("large", coupons=30)]
    (found,) = qb.syntheses(rows)
    assert found.mean is not None
    assert found.mean.floored
    assert any("far larger" in note for note in found.notes)


def test_an_estimate_with_its_standard_error_is_taken_as_published() -> None:
    own = PublishedComparison(
        "P", "total", "impact energy", "J", "ratio", "dry ice", "no cold step",
        estimate=0.1, std_error=0.07,
    )  # fmt: skip
    (found,) = qb.syntheses([*several(3), own])
    assert found.effects[3] == 0.1
    assert found.variances[3] == pytest.approx(0.0049)


def test_a_further_study_has_the_same_range_for_the_same_seed() -> None:
    first, second, other = (qb.syntheses(several(5), seed=seed)[0] for seed in (1, 1, 2))
    assert (first.further_low, first.further_high) == (second.further_low, second.further_high)
    assert first.further_low != other.further_low


def test_the_order_of_the_studies_changes_nothing() -> None:
    rows = several(5)
    (there,), (back,) = qb.syntheses(rows), qb.syntheses(rows[::-1])
    assert there.mean is not None
    assert back.mean is not None
    assert there.mean.estimate == pytest.approx(back.mean.estimate, rel=1e-10)
    assert np.allclose(there.further_low, back.further_low)
