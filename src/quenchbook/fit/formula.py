"""The fixed part of a plain data frame, from a formula of its column names."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import cast

import pandas as pd

from quenchbook.errors import EstimabilityError, with_suggestion
from quenchbook.fit.formula_size import formula_fault
from quenchbook.study.factors import Level, Shape
from quenchbook.study.terms import Terms, Variable

ROUND_STEP = 5
"""Whole numbers that are all multiples of this are settings, not measured values."""

MOST_UNEQUAL = 3
"""Decimal numbers that occur more unequally than this are measurements, not designed settings."""


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
            shapes_known = ("levels", "linear", "quadratic")
            words = f"shapes: {name!r}: {shape!r} names no column or no shape. Shapes are levels, "
            words += "linear, quadratic."
            slip, known = (shape, shapes_known) if name in frame else (name, frame.columns)
            raise EstimabilityError(with_suggestion(words, slip, known))
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

    if wrong := formula_fault(formula):
        raise EstimabilityError(f"'{formula[:60]}' {wrong}")
    if not re.fullmatch(r"[\w\s+*:/()^-]*", formula):
        raise EstimabilityError(
            f"'{formula}' has more than names and + * : / - ( ). Write such as 'temp * route'."
        )
    try:
        parsed = DefaultFormulaParser(include_intercept=False).get_terms(formula.strip() or "0")
    except (FormulaSyntaxError, ValueError, TypeError):  # the last: a bracket that is empty
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
