"""The fixed part of a model: coded columns for factors, curves, nested factors and interactions.

Coding is sum-to-zero, so that a main effect is an average over equal weights of the other factors.
A curve is coded so that its columns average to zero over the declared levels. A nested factor has
zeros where it does not exist.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from quenchbook.errors import EstimabilityError
from quenchbook.study.definition import Response, Study
from quenchbook.study.factors import Factor, Level

Array = npt.NDArray[np.float64]


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
        Levels of `parent` where it exists.
    """

    name: str
    column: str
    levels: tuple[Level, ...]
    degree: int = 0
    parent: str = ""
    exists_for: tuple[Level, ...] = ()

    def coded(self, frame: pd.DataFrame, *, only: tuple[Level, ...] = ()) -> Array:
        """Columns of this variable, shape (rows, columns); zero where it does not exist.

        Parameters
        ----------
        frame : DataFrame
        only : tuple
            Code only these levels (of a parent, inside its nested factor); others get zeros.
        """
        values = frame[self.column]
        coded = (
            self._curve(values) if self.degree else self._sum_to_zero(values, only or self.levels)
        )
        if self.parent:
            there = frame[self.parent].isin(self.exists_for).to_numpy()
            coded = np.where(there[:, None], coded, 0.0)
        return coded

    def _sum_to_zero(self, values: pd.Series, levels: tuple[Level, ...]) -> Array:
        contrasts = np.vstack(
            [
                np.eye(len(levels) - 1),
                np.full(len(levels) - 1, -1.0),
                np.zeros(len(levels) - 1),  # for a value that is none of the levels
            ]
        )
        coded: Array = contrasts[pd.Index(levels).get_indexer(pd.Index(values))]
        return coded

    def _curve(self, values: pd.Series) -> Array:
        levels = np.asarray(self.levels, dtype=float)
        middle = levels.mean()
        half = max(levels.max() - middle, middle - levels.min()) or 1.0
        x = (values.to_numpy(dtype=float) - middle) / half
        grid = (levels - middle) / half
        columns = [x**power - np.mean(grid**power) for power in range(1, self.degree + 1)]
        coded: Array = np.nan_to_num(np.column_stack(columns))
        return coded


@dataclass(frozen=True)
class Terms:
    """The fixed part: variables and which of them are combined.

    Attributes
    ----------
    variables : tuple of Variable
    names : tuple of str
        Terms such as ``cold_route`` and ``austenitize:cold_route``, without the mean.
    """

    variables: tuple[Variable, ...]
    names: tuple[str, ...]

    def variable(self, name: str) -> Variable:
        """Return the variable of this name."""
        for variable in self.variables:
            if variable.name == name:
                return variable
        names = ", ".join(variable.name for variable in self.variables)
        raise EstimabilityError(f"'{name}' is not in the model. It has {names}.")

    def without(self, dropped: Sequence[str]) -> Terms:
        """Return the terms less those that cannot be estimated."""
        return Terms(self.variables, tuple(name for name in self.names if name not in dropped))

    def columns(self, frame: pd.DataFrame, name: str) -> Array:
        """Coded columns of one term, shape (rows, columns)."""
        parts = [self.variable(part) for part in name.split(":")]
        inner = {variable.parent: variable.exists_for for variable in parts if variable.parent}
        product = np.ones((len(frame), 1))
        for variable in parts:
            coded = variable.coded(frame, only=inner.get(variable.column, ()))
            product = (product[:, :, None] * coded[:, None, :]).reshape(len(frame), -1)
        return product

    def matrix(self, frame: pd.DataFrame) -> Array:
        """Mean and all terms, shape (rows, coefficients)."""
        return np.column_stack([np.ones(len(frame)), *(self.columns(frame, n) for n in self.names)])

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
            A column for each variable and ``weight``: one over the number of levels of each
            variable that exist in that combination.
        """
        at = dict(at or {})
        outer = sorted(self.variables, key=lambda variable: bool(variable.parent))
        rows: list[tuple[dict[str, Level], float]] = [({}, 1.0)]
        for variable in outer:
            grown = []
            for row, weight in rows:
                levels: Sequence[Level] = at.get(variable.name, variable.levels)
                if variable.parent and row[variable.parent] not in variable.exists_for:
                    levels = ("",) if isinstance(levels[0], str) else (float("nan"),)
                grown += [
                    ({**row, variable.column: level}, weight / len(levels)) for level in levels
                ]
            rows = grown
        grid = pd.DataFrame([row for row, _ in rows], index=pd.RangeIndex(len(rows)))
        grid["weight"] = [weight for _, weight in rows]
        return grid


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
    pairs = tuple(":".join(pair) for pair in itertools.combinations(names, 2))
    names += pairs if response.combinations is None else response.combinations
    if frame["day"].nunique() > 1:
        days = tuple(sorted(float(day) for day in frame["day"].unique()))
        variables.append(Variable("day", "day", days))
        names.insert(0, "day")
    return Terms(tuple(variables), tuple(names))


def formula_terms(formula: str, frame: pd.DataFrame) -> Terms:
    """Fixed part of a plain data frame from a Wilkinson-Rogers formula.

    Parameters
    ----------
    formula : str
        Names of columns joined by ``+ * : /`` and brackets, such as ``"furnace_temp * coating"``.
        Nothing else is understood, and nothing is evaluated.
    frame : DataFrame
        Text columns become named levels; numbers become a straight line.
    """
    import re

    from formulaic.parser import DefaultFormulaParser

    if not re.fullmatch(r"[\w\s+*:/()^-]*", formula):
        raise EstimabilityError(
            f"'{formula}' has more than names and + * : / ( ). Write such as 'temp * route'."
        )
    parsed = DefaultFormulaParser(include_intercept=False).get_terms(formula or "0")
    terms = [term for term in parsed if str(term) not in ("0", "1")]
    names = [":".join(str(factor) for factor in term.factors) for term in terms]
    used = dict.fromkeys(part for name in names for part in name.split(":"))
    if missing := [name for name in used if name not in frame]:
        columns = ", ".join(str(column) for column in frame.columns)
        raise EstimabilityError(
            f"The data have no column {', '.join(missing)}. They have {columns}."
        )
    variables = []
    for name in used:
        numeric = pd.api.types.is_numeric_dtype(frame[name])
        levels = tuple(sorted(frame[name].unique()))
        variables.append(Variable(name, name, levels, degree=1 if numeric else 0))
    return Terms(tuple(variables), tuple(names))
