"""How a prior with its range is written."""

from __future__ import annotations

import numpy as np
import pytest

import quenchbook as qb
from quenchbook.metallurgy.expected import Expected


def expected(value: float, low: float, high: float) -> Expected:
    return Expected(np.asarray(value), np.asarray(low), np.asarray(high), "a table", "one steel")


@pytest.mark.parametrize(
    ("ends", "words"),
    [
        ((190.4, 145.2, 235.1), "190 (145 to 235)"),
        ((0.4249, 0.321, 0.538), "0.42 (0.32 to 0.54)"),
        ((4.0, 4.0, 4.0 + 1e-12), "4.00 (4.00 to 4.00)"),
    ],
)
def test_a_value_is_rounded_by_the_width_of_its_range(
    ends: tuple[float, float, float], words: str
) -> None:
    assert expected(*ends).range_words() == [words]


def test_a_prior_says_that_it_is_none_of_the_measurements() -> None:
    own = qb.equivalent_hours([175.0, 170.0], 2.0, 165.0)
    first, *notes = own.summary().splitlines()
    assert first.count("to") == 2
    assert notes[0].startswith("A prior, not a measurement.")
    assert any("below 200 °C" in note for note in notes)
    assert "<strong>5.8 (4.1 to 7.4); 3.41 (2.87 to 3.84)</strong>" in own._repr_html_()
    assert "array" not in repr(own)
