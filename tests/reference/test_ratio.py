"""A worked ratio with published limits: where a straight line has a wanted value (Fieller, 1954)."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import quenchbook as qb

# Graybill and Iyer (1996), Regression Analysis: Concepts and Applications, p. 433: temperature of
# a reaction chamber against its dial, 99 % limits for the dial that gives 400. Data and printed
# limits as quoted in the tests of the R package investr (GPL; numbers only).
DIAL = np.arange(0.0, 101.0, 10.0)
TEMPERATURE = (
    206.36, 225.52, 252.18, 289.33, 318.11, 349.49, 383.03, 410.70, 444.40, 469.14, 501.16,
)  # fmt: skip


def test_the_place_of_a_wanted_value_has_the_published_limits_of_fieller() -> None:
    model = qb.mixed_model(
        pd.DataFrame({"dial": DIAL, "temperature": TEMPERATURE}),
        "temperature",
        fixed="dial",
        shapes={"dial": "linear"},
        confidence=0.99,
    )
    found = qb.temper_set(qb.temper_curve(model, "dial"), 400.0)
    ((low, high),) = found.pieces
    assert found.estimates == pytest.approx([66.5], abs=0.05)
    assert (low, high) == pytest.approx((65.07, 68.03), abs=0.005)
