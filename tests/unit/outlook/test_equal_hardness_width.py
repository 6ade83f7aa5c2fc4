"""Planned width at equal hardness: refusals and advice."""

from __future__ import annotations

from typing import Any

import pytest

import quenchbook as qb
from quenchbook.errors import PlanError

NOISE = qb.ToughnessNoise(
    cv=0.15, line_slope=-0.12, scatter_slope=-0.12, coupon_sd=0.45, indent_sd=0.6, indents=5,
    batch_sd=0.03,
)  # fmt: skip


def outlook(difference: float = 1.0, **more: Any) -> Any:
    plan = qb.TemperPlan(**{"loads": 3, "tempers": 3, "coupons": 2, "step": 1.5, **more})
    return qb.equal_hardness_outlook(plan, NOISE, difference=difference)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"tempers": 1}, "One temper gives no line"),
        ({"loads": 1}, "One furnace load leaves no batch"),
        ({"step": 0.0}, "a step in hardness above zero"),
    ],
)
def test_plans_without_an_answer_are_refused(more: dict[str, Any], words: str) -> None:
    with pytest.raises(PlanError, match=words):
        outlook(**more)


def test_good_plan_needs_no_advice() -> None:
    assert outlook().notes == ()


def test_tempers_too_near_each_other_are_told() -> None:
    words = outlook(step=0.5).summary()
    assert "span 1.00 HRC only" in words
    assert "may never have the same hardness" in words


def test_two_loads_and_two_tempers_get_howe_and_advice() -> None:
    own = outlook(loads=2, tempers=2, coupons=4)
    assert own.width > 2 * 2.2 * own.std_error
    assert "Two tempers cannot show" in own.summary()
    assert "three loads or more" in own.summary()


def test_width_grows_with_the_difference_that_is_taken_out() -> None:
    assert outlook(2.0).width > outlook(1.0).width > outlook(0.0).width
    assert outlook(0.0).line_share == 0
