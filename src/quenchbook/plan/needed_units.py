"""Budgets that cannot estimate a term, and what would make it possible."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np
import pandas as pd

from quenchbook.errors import Problem
from quenchbook.plan.linear_dependence import dependent_terms
from quenchbook.plan.plan_model import column_terms
from quenchbook.study.definition import Study
from quenchbook.study.terms import Terms

_INSIDE = {
    "furnace_load": ("furnace_load",),
    "cold_batch": ("furnace_load", "cold_batch"),
    "temper_batch": ("temper_batch",),
}
"""Factors that are constant in a unit are set for one of these."""


def missing_treatments(study: Study, terms: Terms, allowed: pd.DataFrame) -> list[Problem]:
    """Terms that no budget can estimate, since treatments they need are forbidden or not declared.

    Parameters
    ----------
    study : Study
    terms : Terms
    allowed : DataFrame
        Every allowed treatment.
    """
    # R of the table has the same dependent columns and is small.
    small = np.asarray(np.linalg.qr(terms.matrix(allowed), mode="r"))
    lost = dependent_terms(small, column_terms(terms, allowed))
    if not lost:
        return []
    return [
        Problem(
            "plan",
            f"{_listed(study, lost)} cannot be estimated from the levels that are declared and "
            "not forbidden, however many coupons there are",
            "Allow or declare what is missing, or take it out of the combinations of the response.",
        )
    ]


def missing_units(
    study: Study, terms: Terms, combinations: pd.DataFrame, units: pd.DataFrame
) -> list[Problem]:
    """Terms that need more units than there are, whatever is chosen.

    What is constant in a unit can have no more coefficients than there are units; days take theirs.

    Parameters
    ----------
    study : Study
    terms : Terms
    combinations : DataFrame
        Any rows with all factors, for the number of columns of each term.
    units : DataFrame
        ``day`` and units of each coupon.
    """
    problems = []
    names = column_terms(terms, combinations)[1:]
    days = int(units["day"].nunique())
    for unit, inside in _INSIDE.items():
        if unit in units and any(factor.set_for == unit for factor in study.factors):
            fits = {factor.name for factor in study.factors if factor.set_for in inside}
            own = [name for name in names if set(name.split(":")) <= fits]
            problems += _too_few(study, unit, own, days, int(units[unit].nunique()))
    return problems or _too_few(study, "coupon", names, days, len(units))


def _too_few(study: Study, unit: str, names: Sequence[str], days: int, count: int) -> list[Problem]:
    needed = days + len(names)  # a mean for each day
    if needed <= count:
        return []
    lost = list(dict.fromkeys(names[max(count - days, 0) :]))
    without = ", days taken out" if days > 1 else ""
    words = study.unit_word(unit, 2)
    return [
        Problem(
            "plan",
            f"{_listed(study, lost)} cannot be estimated with {count} {words}: the terms that are "
            f"set for a {study.unit_word(unit)} have {needed} coefficients{without}",
            f"Have at least {needed} {words} (more, to judge them by), or take terms out: "
            'combinations = "none", or a list, below the response.',
        )
    ]


def _listed(study: Study, terms: Collection[str]) -> str:
    return ", ".join(term_words(study, term) for term in terms)


def term_words(study: Study, term: str) -> str:
    """Term in print: ``austenitize by cold route``."""
    names = term.split(":")
    return " by ".join(study.factor(n).title if study.has(n) else n for n in names)
