from __future__ import annotations

from pathlib import Path

import pytest

from quenchbook.asked_study import AskedStudy
from quenchbook.asked_study_text import asked_study_text
from quenchbook.outlook.questions import question_outlooks
from quenchbook.outlook.sharpest import DRAWS, WORTH_IT, chance_decides, sharpest_draw
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.plan.randomization import coupon_matrix
from quenchbook.study.definition import Study
from quenchbook.study.files import study_from_text

SEEDS = range(1, 1 + DRAWS)


def first_width(matrix: CouponMatrix) -> float:
    return float(question_outlooks(matrix).to_frame()["half_width"].iloc[0])


def three_routes_two_tempers(coupons_per_load: int) -> Study:
    asked = AskedStudy(
        "o1_cold",
        cold_routes=("none", "freezer", "dry_ice"),
        austenitize=("790 degC", "800 degC", "815 degC"),
        furnace_loads=12,
        coupons_per_load=coupons_per_load,
    )
    return study_from_text(asked_study_text(asked), Path("study.toml"))


@pytest.fixture(scope="module")
def crowded() -> Study:
    """Loads that hold four of six combinations."""
    return three_routes_two_tempers(4)


@pytest.fixture(scope="module")
def drawn(crowded: Study) -> list[CouponMatrix]:
    return [coupon_matrix(crowded, seed=seed) for seed in SEEDS]


def test_a_draw_that_is_much_wider_is_passed_over(
    crowded: Study, drawn: list[CouponMatrix]
) -> None:
    widths = [first_width(matrix) for matrix in drawn]
    assert max(widths) > 1.5 * min(widths)  # else this study shows nothing
    chosen = sharpest_draw(crowded, SEEDS)
    assert first_width(chosen) < WORTH_IT * min(widths)
    assert chosen.short_hash in {matrix.short_hash for matrix in drawn}


def test_a_seed_that_is_asked_for_is_that_draw(crowded: Study, drawn: list[CouponMatrix]) -> None:
    worst = max(drawn, key=first_width)
    assert sharpest_draw(crowded, [worst.seed]).short_hash == worst.short_hash


def test_the_first_is_kept_where_the_others_are_about_as_sharp(plane_irons: Study) -> None:
    assert sharpest_draw(plane_irons, SEEDS).seed == 1


def test_chance_decides_only_where_loads_differ_in_what_they_hold(
    drawn: list[CouponMatrix],
) -> None:
    assert chance_decides(drawn[0])
    assert not chance_decides(coupon_matrix(three_routes_two_tempers(6), seed=1))
