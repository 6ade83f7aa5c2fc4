"""Candidate treatments: every combination of levels that a coupon may get."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
import pandas as pd

from quenchbook.errors import PlanError, Problem
from quenchbook.study.definition import ForbiddenTreatment, Study
from quenchbook.study.factors import Factor, Level

MOST_TREATMENTS: Final = 1_000_000  # each takes some 300 bytes, and then its rows of a matrix


def blank_level(factor: Factor) -> Level:
    """What stands for a factor that does not exist: nan for numbers, nothing for names."""
    return math.nan if factor.is_numeric else ""


def treatments(study: Study, *, without: Sequence[str] = ()) -> pd.DataFrame:
    """All allowed combinations of levels, in the order of the study file.

    Parameters
    ----------
    study : Study
    without : sequence of str
        Factors that are left out.

    Returns
    -------
    DataFrame
        A column for each factor; a nested factor is blank where it does not exist. Forbidden
        treatments are not there.
    """
    factors = [factor for factor in study.factors if factor.name not in without]
    rows: list[dict[str, Level]] = [{}]
    for factor in factors:
        parent = study.factor(factor.nested_in).column if factor.nested_in else ""
        grown = []
        for row in rows:
            there = not parent or row[parent] in factor.exists_for
            levels = factor.levels if there else (blank_level(factor),)
            grown += [{**row, factor.column: level} for level in levels]
            if len(grown) > MOST_TREATMENTS:
                raise PlanError(
                    Problem(
                        "study.toml",
                        f"has more than {MOST_TREATMENTS} combinations of levels",
                        "Use fewer factors or levels, or a grid with a larger step.",
                    )
                )
        rows = grown
    frame = pd.DataFrame(rows)
    return frame[~is_forbidden(study, frame)].reset_index(drop=True)


def is_forbidden(
    study: Study, frame: pd.DataFrame, *, only: ForbiddenTreatment | None = None
) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Which rows have a combination of levels that the study (or one entry of it) forbids.

    Returns
    -------
    ndarray of bool, shape (rows,)
    """
    hit = np.zeros(len(frame), dtype=bool)
    for entry in study.forbidden if only is None else (only,):
        hit |= _has_levels(study, frame, entry.levels)
    return hit


def _has_levels(
    study: Study, frame: pd.DataFrame, levels: Mapping[str, Level]
) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    columns = {study.factor(name).column: level for name, level in levels.items()}
    if any(column not in frame for column in columns):
        return np.zeros(len(frame), dtype=bool)
    own = [(frame[column] == level).to_numpy() for column, level in columns.items()]
    return np.logical_and.reduce(own) if own else np.zeros(len(frame), dtype=bool)


def set_for(study: Study, *units: str) -> list[Factor]:
    """Factors that are set once for one of these units."""
    return [factor for factor in study.factors if factor.set_for in units]
