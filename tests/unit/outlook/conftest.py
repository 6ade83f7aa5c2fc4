from __future__ import annotations

import dataclasses

import pytest

from quenchbook.study.definition import ExpectedPeak, Layout, Question, Response, Study
from quenchbook.study.factors import Factor


@pytest.fixture(scope="session")
def small_study() -> Study:
    """An invented study: three temperatures, freezer or not, two loads a temperature."""
    factors = (
        Factor(
            "austenitize", "austenitize_c", (940.0, 970.0, 1000.0), "temperature",
            "furnace_load", "quadratic",
        ),
        Factor("cold_route", "cold_route", ("none", "freezer"), set_for="coupon"),
    )  # fmt: skip
    response = Response(
        "hardness_hrc", "hardness", "HRC", "hardness", readings=3, equivalence_margin=0.5,
        expected_peak=ExpectedPeak("austenitize", 970.0, 1.0, 40.0),
    )  # fmt: skip
    questions = (
        Question(
            "freezer", "Does the freezer harden?", "hardness_hrc", "cold_route", "freezer", "none"
        ),
        Question("hot", "Does heat matter?", "hardness_hrc", "austenitize", 1000.0, 940.0),
        Question("curve", "Is there a curve?", "hardness_hrc", term="austenitize"),
        Question(
            "both", "Does the gain depend on heat?", "hardness_hrc", term="austenitize:cold_route"
        ),
    )
    return Study(
        key="small", title="Small", question="Does cold help?", author="invented", date="2026-01-01",
        licence="CC-BY-4.0", factors=factors, responses=(response,), questions=questions,
        layout=Layout(furnace_loads=6, coupons_per_load=4), invented=True,
    )  # fmt: skip


@pytest.fixture(scope="session")
def one_load_a_level(small_study: Study) -> Study:
    factor = dataclasses.replace(small_study.factors[0], shape="levels")
    return dataclasses.replace(
        small_study,
        factors=(factor, small_study.factors[1]),
        layout=Layout(furnace_loads=3, coupons_per_load=4),
    )
