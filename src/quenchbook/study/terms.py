"""The fixed part of a model: coded columns for factors, curves, nested factors and interactions.

Coding is sum-to-zero, so that a main effect is an average over equal weights of the other factors.
A curve is coded so that its columns average to zero over the declared levels. A nested factor has
zeros where it does not exist.
"""

from __future__ import annotations

import itertools
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from quenchbook.errors import EstimabilityError, with_suggestion
from quenchbook.study.definition import Response, Study
from quenchbook.study.factors import Factor, Level

Array = npt.NDArray[np.float64]


MIX_WEIGHT = "(weight)"
"""Column of a reference grid; no name of a formula can be this."""


@dataclass(frozen=True)
class Variable:
    """One factor or covariate as it is coded.

    Attributes
    ----------
    name : str
        Name in terms.
    column : str
        Column of the data.
    levels : tuple
        Levels, in order; for a curve the levels over which its columns average to zero.
    degree : int
        0 for named levels, 1 for linear, 2 for quadratic.
    parent : str
        Column inside which this variable exists; empty when it exists everywhere.
    exists_for : tuple
        Levels of `parent` where it exists; elsewhere it is blank.
    inside : mapping of parent level to levels, optional
        For a factor nested in `parent` (``parent / name``): its levels in each level of the parent.
    first_power : int
        Lowest power of a curve; above 1 for what a lower curve leaves over.
    """

    name: str
    column: str
    levels: tuple[Level, ...]
    degree: int = 0
    parent: str = ""
    exists_for: tuple[Level, ...] = ()
    inside: Mapping[Level, tuple[Level, ...]] | None = None
    first_power: int = 1

    def coded(self, frame: pd.DataFrame, *, only: tuple[Level, ...] = ()) -> Array:
        """Columns of this variable, shape (rows, columns); zero where it does not exist.

        Parameters
        ----------
        frame : DataFrame
        only : tuple
            Code only these levels (of a parent, inside its nested factor); others get zeros.
        """
        values = frame[self.column]
        if self.inside is not None:
            return self._nested(frame, values)
        coded = self._curve(values) if self.degree else _sum_to_zero(values, only or self.levels)
        if self.parent:
            there = frame[self.parent].isin(self.exists_for).to_numpy()
            coded = np.where(there[:, None], coded, 0.0)
        return coded

    def _nested(self, frame: pd.DataFrame, values: pd.Series[Any]) -> Array:
        """Sum-to-zero columns of the levels in each level of the parent."""
        blocks = []
        for level, own in (self.inside or {}).items():
            here = (frame[self.parent] == level).to_numpy()
            blocks.append(np.where(here[:, None], _sum_to_zero(values, own), 0.0))
        return np.column_stack(blocks)

    def _curve(self, values: pd.Series[Any]) -> Array:
        levels = np.asarray(self.levels, dtype=float)
        middle = levels.mean()
        half = max(levels.max() - middle, middle - levels.min()) or 1.0
        x = (values.to_numpy(dtype=float) - middle) / half
        grid = (levels - middle) / half
        columns = [
            x**power - np.mean(grid**power) for power in range(self.first_power, self.degree + 1)
        ]
        coded: Array = np.nan_to_num(np.column_stack(columns))
        return coded


def _sum_to_zero(values: pd.Series[Any], levels: tuple[Level, ...]) -> Array:
    contrasts = np.vstack(
        [
            np.eye(len(levels) - 1),
            np.full(len(levels) - 1, -1.0),
            np.zeros(len(levels) - 1),  # for a value that is none of the levels
        ]
    )
    coded: Array = contrasts[pd.Index(levels).get_indexer(pd.Index(values))]
    return coded


@dataclass(frozen=True)
class Terms:
    """The fixed part: variables and which of them are combined.

    Attributes
    ----------
    variables : tuple of Variable
    names : tuple of str
        Terms such as ``cold_route`` and ``austenitize:cold_route``, without the mean.
    blocks : tuple of str
        Terms that are only taken out (days): they are not tested and never in a result.
    """

    variables: tuple[Variable, ...]
    names: tuple[str, ...]
    blocks: tuple[str, ...] = ()

    def variable(self, name: str) -> Variable:
        """Return the variable of this name."""
        for variable in self.variables:
            if variable.name == name:
                return variable
        names = [v.name for v in self.variables if v.name not in self.blocks]
        words = f"'{name}' is not in the model. It has {', '.join(names)}."
        raise EstimabilityError(with_suggestion(words, name, names))

    def without(self, dropped: Collection[str]) -> Terms:
        """Return the terms less those that cannot be estimated, and less what contains them."""
        gone = [set(name.split(":")) for name in dropped]
        kept = tuple(n for n in self.names if not any(g <= set(n.split(":")) for g in gone))
        return replace(self, names=kept)

    def columns(
        self,
        frame: pd.DataFrame,
        name: str,
        known: dict[tuple[str, tuple[Level, ...]], Array] | None = None,
    ) -> Array:
        """Coded columns of one term, shape (rows, columns).

        Parameters
        ----------
        frame : DataFrame
        name : str
        known : dict, optional
            Keeps the coded columns of each variable between the terms of one frame.
        """
        known = {} if known is None else known
        parts = [self.variable(part) for part in name.split(":")]
        parents = {variable.parent for variable in parts if variable.inside is not None}
        inner = {v.parent: v.exists_for for v in parts if v.parent and v.inside is None}
        product = np.ones((len(frame), 1))
        for variable in parts:
            if variable.column in parents:  # its nested factor is coded inside each of its levels
                continue
            key = (variable.name, inner.get(variable.column, ()))
            if key not in known:
                known[key] = variable.coded(frame, only=key[1])
            coded = known[key]
            product = (product[:, :, None] * coded[:, None, :]).reshape(len(frame), -1)
        return product

    def matrix(self, frame: pd.DataFrame) -> Array:
        """Mean and all terms, shape (rows, coefficients)."""
        known: dict[tuple[str, tuple[Level, ...]], Array] = {}
        columns = [self.columns(frame, name, known) for name in self.names]
        return np.column_stack([np.ones(len(frame)), *columns])

    def slices(self, frame: pd.DataFrame) -> dict[str, slice]:
        """Place of each term among the coefficients; the mean is coefficient 0."""
        found, start = {}, 1
        for name in self.names:
            width = self.columns(frame.iloc[:1], name).shape[1]
            found[name] = slice(start, start + width)
            start += width
        return found

    def reference_grid(self, at: Mapping[str, Sequence[Level]] | None = None) -> pd.DataFrame:
        """All allowed combinations of levels with the weight of an even mix.

        Parameters
        ----------
        at : mapping of variable name to levels, optional
            Levels that replace the declared ones, such as a fine grid of temperatures.

        Returns
        -------
        DataFrame
            A column for each variable and `MIX_WEIGHT`: one over the number of levels of each
            variable that exist in that combination.
        """
        at = dict(at or {})
        outer = sorted(self.variables, key=lambda variable: bool(variable.parent))
        columns: dict[str, np.ndarray] = {}
        weights = np.ones(1)
        for variable in outer:
            levels: Sequence[Level] = at.get(variable.name, variable.levels)
            parents = columns[variable.parent] if variable.parent else [None] * len(weights)
            choices = {parent: _levels_below(variable, levels, parent) for parent in set(parents)}
            counts = np.array([len(choices[parent]) for parent in parents])
            new = itertools.chain.from_iterable(choices[parent] for parent in parents)
            columns = {name: np.repeat(column, counts) for name, column in columns.items()}
            columns[variable.column] = np.fromiter(new, dtype=object, count=int(counts.sum()))
            weights = np.repeat(weights / counts, counts)
        grid = pd.DataFrame({name: column.tolist() for name, column in columns.items()})
        grid[MIX_WEIGHT] = weights
        return grid


def _levels_below(
    variable: Variable, levels: Sequence[Level], parent: Level | None
) -> Sequence[Level]:
    """Levels that exist where the parent of the variable has the given level."""
    if variable.inside is not None and parent is not None:
        return [level for level in levels if level in variable.inside[parent]]
    if variable.parent and parent not in variable.exists_for:
        return ("",) if isinstance(levels[0], str) else (float("nan"),)
    return levels


def variable_of(factor: Factor, study: Study) -> Variable:
    """Code a factor of a study."""
    parent = study.factor(factor.nested_in).column if factor.nested_in else ""
    degree = {"levels": 0, "linear": 1, "quadratic": 2}[factor.shape]
    return Variable(factor.name, factor.column, factor.levels, degree, parent, factor.exists_for)


def study_terms(study: Study, response: Response, frame: pd.DataFrame) -> Terms:
    """Fixed part of a study: days as blocks, each factor, and the declared combinations.

    Parameters
    ----------
    study : Study
    response : Response
        Says which combinations are analysed.
    frame : DataFrame
        Coupons with at least ``day``.
    """
    variables = [variable_of(factor, study) for factor in study.factors]
    names = [variable.name for variable in variables]
    pairs = tuple(
        f"{first.name}:{second.name}"
        for first, second in itertools.combinations(study.factors, 2)
        if not _exists_once(first, second) and not _exists_once(second, first)
    )
    names += pairs if response.combinations is None else response.combinations
    days = tuple(sorted(float(day) for day in frame["day"].unique()))
    if len(days) == 1:
        return Terms(tuple(variables), tuple(names))
    # Blocks come last, so that a day that cannot be told from its loads gives way to the factors.
    variables.append(Variable("day", "day", days))
    return Terms(tuple(variables), (*names, "day"), blocks=("day",))


def _exists_once(inner: Factor, outer: Factor) -> bool:
    """Whether a nested factor exists at one level of the other: they have no combination."""
    return inner.nested_in == outer.name and len(inner.exists_for) == 1
