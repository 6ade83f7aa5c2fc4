"""Any row of names, numbers and operators is a formula or is refused in words."""

from __future__ import annotations

import contextlib

from hypothesis import given, settings
from hypothesis import strategies as st

from quenchbook.errors import EstimabilityError
from quenchbook.fit.formula import _formula_names

SIGNS = ("+", "-", "*", ":", "/", "^", "**", "(", ")", " ", "a", "b", "temp", "0", "1", "2", "²")


@settings(deadline=None, max_examples=300)
@given(st.lists(st.sampled_from(SIGNS), max_size=9).map("".join))
def test_a_row_of_signs_is_a_formula_or_is_refused(formula: str) -> None:
    with contextlib.suppress(EstimabilityError):
        names = _formula_names(formula)
        assert len(names) == len(set(names))


BRACKETS = st.recursive(
    st.sampled_from(("a", "b", "c", "0", "1")),
    lambda own: st.one_of(
        st.tuples(own, st.sampled_from("+-*:/"), own).map("".join),
        own.map("({})".format),
        own.map("(-{})".format),
    ),
    max_leaves=6,
)


@settings(deadline=None, max_examples=300)
@given(BRACKETS)
def test_brackets_in_brackets_are_a_formula_or_are_refused(formula: str) -> None:
    with contextlib.suppress(EstimabilityError):
        _formula_names(formula)
