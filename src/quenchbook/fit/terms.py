"""The fixed part of a model: coded columns for factors, curves, nested factors and interactions.

Coding is sum-to-zero, so that a main effect is an average over equal weights of the other factors.
A curve is coded so that its columns average to zero over the declared levels. A nested factor has
zeros where it does not exist.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, cast

import numpy as np
import numpy.typing as npt
import pandas as pd

from quenchbook.errors import EstimabilityError
from quenchbook.study.definition import Response, Study
from quenchbook.study.factors import Factor, Level, Shape

Array = npt.NDArray[np.float64]


MIX_WEIGHT = "(weight)"
"""Column of a reference grid; no name of a formula can be this."""

ROUND_STEP = 5
"""Whole numbers that are all multiples of this are settings, not measured values."""

MOST_UNEQUAL = 3
"""Decimal numbers that occur more unequally than this are measurements, not designed settings."""


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
        names = ", ".join(v.name for v in self.variables if v.name not in self.blocks)
        raise EstimabilityError(f"'{name}' is not in the model. It has {names}.")

    def without(self, dropped: Collection[str]) -> Terms:
        """Return the terms less those that cannot be estimated, and less what contains them."""
        gone = [set(name.split(":")) for name in dropped]
        kept = tuple(n for n in self.names if not any(g <= set(n.split(":")) for g in gone))
        return replace(self, names=kept)

    def columns(self, frame: pd.DataFrame, name: str) -> Array:
        """Coded columns of one term, shape (rows, columns)."""
        parts = [self.variable(part) for part in name.split(":")]
        parents = {variable.parent for variable in parts if variable.inside is not None}
        inner = {v.parent: v.exists_for for v in parts if v.parent and v.inside is None}
        product = np.ones((len(frame), 1))
        for variable in parts:
            if variable.column in parents:  # its nested factor is coded inside each of its levels
                continue
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
            A column for each variable and `MIX_WEIGHT`: one over the number of levels of each
            variable that exist in that combination.
        """
        at = dict(at or {})
        outer = sorted(self.variables, key=lambda variable: bool(variable.parent))
        rows: list[tuple[dict[str, Level], float]] = [({}, 1.0)]
        for variable in outer:
            grown = []
            for row, weight in rows:
                levels: Sequence[Level] = at.get(variable.name, variable.levels)
                if variable.inside is not None:
                    levels = [x for x in levels if x in variable.inside[row[variable.parent]]]
                elif variable.parent and row[variable.parent] not in variable.exists_for:
                    levels = ("",) if isinstance(levels[0], str) else (float("nan"),)
                grown += [
                    ({**row, variable.column: level}, weight / len(levels)) for level in levels
                ]
            rows = grown
        grid = pd.DataFrame([row for row, _ in rows], index=pd.RangeIndex(len(rows)))
        grid[MIX_WEIGHT] = [weight for _, weight in rows]
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
    days = tuple(sorted(float(day) for day in frame["day"].unique()))
    if len(days) == 1:
        return Terms(tuple(variables), tuple(names))
    # Blocks come last, so that a day that cannot be told from its loads gives way to the factors.
    variables.append(Variable("day", "day", days))
    return Terms(tuple(variables), (*names, "day"), blocks=("day",))


def formula_terms(
    formula: str,
    frame: pd.DataFrame,
    *,
    shapes: Mapping[str, Shape] | None = None,
    units: Sequence[str] = (),
) -> tuple[Terms, tuple[str, ...]]:
    """Fixed part of a plain data frame from a Wilkinson-Rogers formula.

    Parameters
    ----------
    formula : str
        Names of columns joined by ``+ * : / -`` and brackets, such as ``"furnace_temp * coating"``.
        Nothing else is understood, and nothing is evaluated. ``lot / bar`` nests bar in lot.
    frame : DataFrame
    shapes : mapping of column to {"levels", "linear", "quadratic"}, optional
        How a column of numbers enters. Without it whole numbers, and decimal numbers that occur
        about equally often, are levels (designed settings); others are a straight line.
    units : sequence of str
        Columns that name random units: numbers that differ from unit to unit are measurements.

    Returns
    -------
    terms : Terms
    notes : tuple of str
        How each column of numbers was taken.
    """
    names = _formula_names(formula)
    for name, shape in (shapes or {}).items():
        if name not in frame or shape not in ("levels", "linear", "quadratic"):
            raise EstimabilityError(
                f"shapes: {name!r}: {shape!r} names no column or no shape. Shapes are levels, "
                "linear, "
                "quadratic."
            )
        if shape != "levels" and not pd.api.types.is_numeric_dtype(frame[name]):
            raise EstimabilityError(f"{name} holds names, so it cannot be {shape}.")
    used = list(dict.fromkeys(part for name in names for part in name.split(":")))
    if missing := [name for name in used if name not in frame]:
        columns = ", ".join(str(column) for column in frame.columns)
        raise EstimabilityError(
            f"The data have no column {', '.join(missing)}. They have {columns}."
        )
    variables, notes = [], []
    for name in used:
        shape, note = _shape_of(frame, name, (shapes or {}).get(name), units)
        notes += [note] if note else []
        try:
            levels = tuple(sorted(frame[name].dropna().unique().tolist()))
        except TypeError:
            raise EstimabilityError(
                f"{name} mixes numbers and words. Write all its cells as one or the other."
            ) from None
        if len(levels) < 2:
            raise EstimabilityError(
                f"{name} has {len(levels)} level in these rows; nothing to compare."
            )
        degree = {"levels": 0, "linear": 1, "quadratic": 2}[shape]
        if shape == "quadratic" and len(levels) < 3:
            raise EstimabilityError(f"{name} has two levels; a quadratic needs three.")
        variables.append(_nested_in(name, names, frame, Variable(name, name, levels, degree)))
    terms = Terms(tuple(variables), tuple(names))
    _check_marginality(terms)
    return terms, tuple(notes)


def _formula_names(formula: str) -> list[str]:
    """Terms of a formula, such as ``["temp", "route", "temp:route"]``."""
    from formulaic.errors import FormulaSyntaxError
    from formulaic.parser import DefaultFormulaParser

    if not re.fullmatch(r"[\w\s+*:/()^-]*", formula):
        raise EstimabilityError(
            f"'{formula}' has more than names and + * : / - ( ). Write such as 'temp * route'."
        )
    try:
        parsed = DefaultFormulaParser(include_intercept=False).get_terms(formula.strip() or "0")
    except (FormulaSyntaxError, ValueError):
        raise EstimabilityError(
            f"'{formula}' is not a formula. Write such as 'temp * route + temper'; a column whose "
            "name holds a space needs another name."
        ) from None
    names = [
        ":".join(str(f) for f in term.factors) for term in parsed if str(term) not in ("0", "1")
    ]
    return sorted(names, key=lambda name: name.count(":"))


def _shape_of(
    frame: pd.DataFrame, name: str, wanted: Shape | None, units: Sequence[str]
) -> tuple[Shape, str]:
    """How a column enters, and a note when numbers had to be interpreted."""
    values = frame[name]
    if not pd.api.types.is_numeric_dtype(values) or pd.api.types.is_bool_dtype(values):
        return "levels", ""
    if wanted is not None:
        return wanted, ""
    counts = values.value_counts()
    few = len(counts) <= max(12, len(values) // 10)
    if pd.api.types.is_integer_dtype(values) and bool((values.dropna() % ROUND_STEP == 0).all()):
        units = ()  # 800, 830, 860: set, even where each has one load only
    for unit in units:
        groups = frame.groupby(unit)[name].nunique()
        if bool((groups <= 1).all()) and 2 * len(counts) > len(groups):
            few = False  # nearly every unit has its own number: measured, not set
    if pd.api.types.is_integer_dtype(values) and few:
        return "levels", f"{name}: {len(counts)} whole numbers, taken as levels."
    if few and len(counts) <= 12 and counts.max() <= MOST_UNEQUAL * counts.min():
        return (
            "levels",
            f"{name}: {len(counts)} numbers about equally often, taken as levels.",
        )
    return "linear", f"{name}: numbers, taken as a straight line."


def _nested_in(
    name: str, names: Sequence[str], frame: pd.DataFrame, variable: Variable
) -> Variable:
    """Nest a factor that stands in the formula only together with another one."""
    if name in names or variable.degree:
        return variable
    for term in names:
        parts = term.split(":")
        if len(parts) == 2 and name in parts:
            parent = parts[0] if parts[1] == name else parts[1]
            if parent in names:
                groups = frame.dropna(subset=[name, parent]).groupby(parent)[name]
                inside: dict[Level, tuple[Level, ...]] = {}
                for level, own in groups:
                    inside[cast(Level, level)] = tuple(sorted(own.unique().tolist()))
                return replace(variable, parent=parent, inside=inside)
    return variable


def _check_marginality(terms: Terms) -> None:
    """Refuse a combination without the factors it is made of: its coding would be another model."""
    known = {frozenset(name.split(":")) for name in terms.names}
    parents = {v.name: v.parent for v in terms.variables if v.inside is not None}
    for name in terms.names:
        parts = frozenset(name.split(":"))
        for part in parts:
            smaller = parts - {part}
            holds_nested = any(parents.get(other) == part for other in smaller)
            if not smaller or holds_nested or smaller in known:
                continue
            written = name.split(":")
            raise EstimabilityError(
                f"{name} stands without {':'.join(sorted(smaller))}. Write "
                f"{' * '.join(written)}, or {' / '.join(written)} for a nested factor."
            )
