"""Wrong uses of a plain data frame: mistyped cells, codes used again, units that were forgotten."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from pandas.api.types import is_float_dtype, is_hashable

from quenchbook.errors import EstimabilityError
from quenchbook.fit.unit_codes import are_crossed
from quenchbook.study.terms import Terms

if TYPE_CHECKING:
    from quenchbook.fit.mixed import MixedModel

PIECES = ("coupon", "piece", "specimen")
"""Names of single pieces: one goes through one load only (a bar is cut up and crosses loads)."""

MOSTLY = 0.8
"""Share of units that agree, above which a unit that disagrees is taken for a mistyped cell."""


def check_codes(
    frame: pd.DataFrame, terms: Terms, strata: Sequence[str], repeated: str | None
) -> None:
    """Refuse a unit of which one row disagrees, and a name that would hide repeated readings."""
    fixed = [variable.column for variable in terms.variables]
    for unit in strata:
        if unit != repeated:
            _check_agreement(frame, unit, [*fixed, *(name for name in strata if name != unit)])
    if "coupon" in strata and repeated != "coupon" and frame["coupon"].nunique() < len(frame):
        raise EstimabilityError(
            "The column name coupon is kept for single pieces of steel, but its rows differ in "
            "their settings. Rename it in the data."
        )


def codes_used_again(frame: pd.DataFrame, strata: Sequence[str], repeated: str | None) -> list[str]:
    """Pieces of steel whose codes occur in several loads: perhaps 1, 2, 3 of each."""
    lessons = []
    for unit, other in itertools.permutations(strata, 2):
        if unit.lower() not in PIECES or repeated in (unit, other):
            continue
        one, two = (pd.factorize(frame[name])[0].astype(np.int64) for name in (unit, other))
        if are_crossed(one, two):
            lessons.append(
                f"The same {unit} occurs in several units of {other}. If each {other} has its own, "
                f"make the codes unique ({other} and {unit} joined), or readings pass for "
                "replicates."
            )
    return lessons


def _check_agreement(frame: pd.DataFrame, unit: str, others: Sequence[str]) -> None:
    """Refuse a unit of repeated readings in which a few rows disagree: a cell was mistyped."""
    groups = frame.groupby(unit)
    if int(groups.size().min()) < 2 or not others:
        return
    constant = groups[list(others)].nunique() <= 1
    whole = constant.all(axis=1)
    if whole.all() or whole.mean() < MOSTLY:
        return
    name = whole.index[~whole][0]
    column = constant.columns[~constant.loc[name]][0]
    found = " and ".join(str(x) for x in frame.loc[frame[unit] == name, column].unique()[:3])
    raise EstimabilityError(
        f"{unit} {name}: {column} is {found}. One row is probably mistyped; readings of one {unit} "
        "belong to one setting. Correct it in the data."
    )


def forgotten_readings(
    frame: pd.DataFrame, response: str, terms: Terms, strata: Sequence[str]
) -> list[str]:
    """Columns of which rows differ by nothing but the reading, in words that teach."""
    used = [*(variable.column for variable in terms.variables), *strata]
    lessons = []
    for column in frame.columns:
        if column in (*used, response, "value", "coupon_row") or not used:
            continue
        if not frame[column].map(is_hashable).all():
            continue
        groups = frame.groupby(column, dropna=False)
        count = groups.ngroups
        if not 2 <= count < len(frame) or int(groups.size().min()) < 2:
            continue
        alike = bool((groups[used].nunique() <= 1).all(axis=None))
        if alike and count > len(frame.drop_duplicates(used)):
            lessons.append(
                f"Rows of one {column} differ by nothing but the reading: readings are not "
                f"replicates. Add '{column}' to strata, or {len(frame)} readings pass for as many "
                "coupons."
            )
    return lessons


def forgotten_units(model: MixedModel, frame: pd.DataFrame) -> list[str]:
    """Columns of a data frame that look like units of a factor but are not among the strata."""
    used = {model.response, *model.units, model.data.lowest}
    used |= {variable.column for variable in model.terms.variables}
    lessons: list[str] = []
    cells = [variable.column for variable in model.terms.variables]
    told = " ".join(model.notes)
    for column in frame.columns:
        # Measured values, copies of the settings and what was told before are no units.
        if not frame[column].map(is_hashable).all():
            continue
        if column in used or is_float_dtype(frame[column]) or f"Add '{column}' to" in told:
            continue
        groups = frame.groupby(column)
        if not 2 <= groups.ngroups < len(frame) or int(groups.size().min()) < 2:
            continue
        if not cells or bool((frame.groupby(cells)[column].nunique() <= 1).all()):
            continue
        for variable in model.terms.variables:
            if variable.name not in model.terms.names or variable.degree:
                continue
            inside = bool((groups[variable.column].nunique() <= 1).all())
            stage = model.strata.stage(model.strata.term_stage[variable.name])
            if inside and len(variable.levels) < groups.ngroups < stage.count:
                lessons.append(
                    f"{variable.name} is the same for all rows of one {column}. If {column} names "
                    f"furnace loads or batches, add '{column}' to strata: {variable.name} must be "
                    f"judged on them, not on {stage.count} "
                    f"{model.unit_word(stage.unit, 2)}."
                )
    return lessons
