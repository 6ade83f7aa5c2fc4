"""What may be chosen for each unit of a study, and every combination of it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from quenchbook.errors import PlanError
from quenchbook.plan.coordinates import Codes, Mask
from quenchbook.plan.treatments import blank_level, is_forbidden
from quenchbook.study.definition import Study
from quenchbook.study.factors import Factor, Level

MOST_COMBINATIONS: Final = 200_000
"""Beyond this the table of combinations takes too much memory."""

_TOGETHER: Final = 100
"""Factors of one unit are chosen together up to this number of choices."""


@dataclass(frozen=True, eq=False)
class Part:
    """Factors of one unit that are chosen together.

    Attributes
    ----------
    unit : str
        ``furnace_load``, ``cold_batch``, ``temper_batch`` or ``coupon``.
    factors : tuple of Factor
    choices : tuple of tuple
        Levels of the factors in each choice; a nested factor is blank where its parent of the same
        unit does not have it.
    """

    unit: str
    factors: tuple[Factor, ...]
    choices: tuple[tuple[Level, ...], ...]

    @property
    def columns(self) -> tuple[str, ...]:
        """Columns of the factors."""
        return tuple(factor.column for factor in self.factors)

    def levels(self, factor: Factor) -> list[Level]:
        """Level of a factor in each choice."""
        place = self.factors.index(factor)
        return [choice[place] for choice in self.choices]

    def choice(self, levels: Mapping[str, Level]) -> int:
        """Number of the choice with these levels of columns; -1 when there is none."""
        for number, choice in enumerate(self.choices):
            own = zip(self.columns, choice, strict=True)
            if all(_same(levels.get(column, ""), level) for column, level in own):
                return number
        return -1


@dataclass(frozen=True, eq=False)
class ChoiceSpace:
    """All that may be chosen.

    Attributes
    ----------
    parts : tuple of Part
    frame : DataFrame
        A row for each combination of choices, the last part running fastest, and a column for each
        factor. A factor nested in one of another unit is blank where it does not exist.
    allowed : ndarray of bool, shape (combinations,)
    """

    parts: tuple[Part, ...]
    frame: pd.DataFrame
    allowed: Mask


def choice_space(study: Study) -> ChoiceSpace:
    """Choices of the units of a study.

    Parameters
    ----------
    study : Study

    Returns
    -------
    ChoiceSpace

    Raises
    ------
    PlanError
        If there are more than `MOST_COMBINATIONS`; the message says which factor to coarsen.
    """
    parts = []
    for unit in ("furnace_load", "cold_batch", "temper_batch", "coupon"):
        own = [f for f in study.factors if f.set_for == unit or (unit, f.set_for) == _AS_COUPON]
        parts += [_part(unit, factors) for factors in _groups(own)]
    sizes = [len(part.choices) for part in parts]
    if math.prod(sizes) > MOST_COMBINATIONS:
        finest = max(study.factors, key=lambda factor: len(factor.levels))
        raise PlanError(
            f"The levels of the factors make {math.prod(sizes)} combinations, more than "
            f"{MOST_COMBINATIONS}. {finest.title} has {len(finest.levels)} levels: declare fewer, "
            "in coarser steps."
        )
    picks = np.unravel_index(np.arange(math.prod(sizes)), sizes)
    columns: dict[str, npt.NDArray[Any]] = {}
    for part, pick in zip(parts, picks, strict=True):
        for factor in part.factors:
            kind = float if factor.is_numeric else object
            columns[factor.column] = np.array(part.levels(factor), dtype=kind)[pick]
    frame = pd.DataFrame(columns)[[factor.column for factor in study.factors]]
    frame = frame.astype({f.column: "str" for f in study.factors if not f.is_numeric})
    for factor in study.factors:
        if factor.nested_in:
            parent = frame[study.factor(factor.nested_in).column]
            frame.loc[~parent.isin(factor.exists_for), factor.column] = blank_level(factor)
    return ChoiceSpace(tuple(parts), frame, ~is_forbidden(study, frame))


_AS_COUPON: Final = ("coupon", "bar")
"""A heat lot is chosen coupon by coupon; bars have no noise of their own in a plan."""


def _groups(factors: Sequence[Factor]) -> list[list[Factor]]:
    """Factors to be chosen together: all of a unit, or only what is nested where all are many."""
    names = {factor.name for factor in factors}
    nests: dict[str, list[Factor]] = {}
    for factor in factors:
        nests.setdefault(factor.nested_in if factor.nested_in in names else factor.name, [])
    for factor in factors:
        nests[factor.nested_in if factor.nested_in in names else factor.name].append(factor)
    if math.prod(len(factor.levels) for factor in factors) <= _TOGETHER:
        return [list(itertools.chain(*nests.values()))] if factors else []
    return list(nests.values())


def _part(unit: str, factors: Sequence[Factor]) -> Part:
    names = [factor.name for factor in factors]
    rows: list[tuple[Level, ...]] = [()]
    for factor in factors:
        grown = []
        for row in rows:
            there = True
            if factor.nested_in in names[: len(row)]:
                there = row[names.index(factor.nested_in)] in factor.exists_for
            levels = factor.levels if there else (blank_level(factor),)
            grown += [(*row, level) for level in levels]
        rows = grown
    return Part(unit, tuple(factors), tuple(rows))


def spare_codes(factor: Factor, levels: Sequence[Level], least: int) -> Codes:
    """What each level counts for when different levels are counted; -1: for none.

    On a fine grid neighbours are no different levels for a lack of fit: only levels near one of
    `least` evenly spaced places count, those at the same place as one.

    Parameters
    ----------
    factor : Factor
        With numeric levels.
    levels : sequence of float
        Levels to be counted; blank ones count for none.
    least : int
        How many different levels are wanted.
    """
    values = np.array([math.nan if isinstance(x, str) else float(x) for x in levels])
    declared = np.sort(np.array(factor.levels, dtype=float))
    if len(declared) <= 2 * least:
        nearest = np.abs(values[:, None] - declared).argmin(axis=1)
        return np.where(np.isnan(values), -1, nearest).astype(np.int64)
    places = np.linspace(declared[0], declared[-1], least)
    away = np.abs(values[:, None] - places)
    near = np.nan_to_num(away.min(axis=1), nan=np.inf) <= (places[1] - places[0]) / 4
    return np.where(near, away.argmin(axis=1), -1).astype(np.int64)


def _same(first: Level, second: Level) -> bool:
    blank = (first in ("", None) or first != first) and (second == "" or second != second)
    return blank or first == second
