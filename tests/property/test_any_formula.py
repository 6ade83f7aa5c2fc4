from __future__ import annotations

import contextlib

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quenchbook.errors import EstimabilityError
from quenchbook.fit.formula import formula_terms

FRAME = pd.DataFrame(
    {
        "temp": ["low", "low", "high", "high"] * 4,
        "route": ["none", "freezer"] * 8,
        "bar": ["a", "b", "c", "d"] * 4,
    }
)
PIECES = [*FRAME.columns, "0", "1", "2", *"+-*/:^() ", "**"]


@settings(deadline=None)  # the first one loads the parser
@given(st.lists(st.sampled_from(PIECES), max_size=16))
def test_any_row_of_names_and_signs_is_a_formula_or_is_refused_in_words(pieces: list[str]) -> None:
    with contextlib.suppress(EstimabilityError):
        formula_terms("".join(pieces), FRAME)


@pytest.mark.parametrize("formula", ["(-temp)/route", "(temp-temp)/route", "(0)/route"])
def test_something_nested_in_nothing_is_refused_in_words(formula: str) -> None:
    with pytest.raises(EstimabilityError, match="is not a formula"):
        formula_terms(formula, FRAME)
