"""Weights of the coefficients that give a marginal mean, or the answer to a declared question."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from quenchbook.errors import EstimabilityError
from quenchbook.study.definition import Question
from quenchbook.study.factors import Level
from quenchbook.study.terms import MIX_WEIGHT, Array, Terms


def mean_rows(
    terms: Terms,
    by: Sequence[str],
    at: Mapping[str, Sequence[Level]],
    *,
    coded: Terms | None = None,
) -> tuple[Array, pd.DataFrame]:
    """Marginal means as linear functions of the coefficients.

    Parameters
    ----------
    terms : Terms
    by : sequence of str
        Variables whose levels get a mean each.
    at : mapping of variable name to levels
        Levels that replace the declared ones.
    coded : Terms, optional
        Terms whose coefficients are meant, over the mix of `terms`: the same variables, coded in
        another way (one curvature for all, a cubic).

    Returns
    -------
    linear : ndarray, shape (means, coefficients)
    levels : DataFrame, shape (means, len(by))
        Levels of each mean.

    Raises
    ------
    EstimabilityError
        If the variables never exist together.
    """
    grid = terms.reference_grid(at)
    columns = [terms.variable(name).column for name in by]
    for name in by:
        variable = terms.variable(name)
        if variable.parent:  # a nested factor has means only where it exists
            grid = grid[grid[variable.parent].isin(variable.exists_for)]
    if grid.empty:
        raise EstimabilityError(
            f"{' and '.join(by)} do not exist together: no coupon can have them."
        )
    rows = (coded or terms).matrix(grid.reset_index(drop=True))
    weight = grid[MIX_WEIGHT].to_numpy()
    groups = grid.groupby(columns, sort=False, dropna=False).ngroup().to_numpy()
    linear = np.zeros((int(groups.max()) + 1, rows.shape[1]))
    np.add.at(linear, groups, rows * weight[:, None])
    linear /= np.bincount(groups, weights=weight)[:, None]
    first = grid.groupby(columns, sort=False, dropna=False)[columns].first()
    return linear, first.reset_index(drop=True)


def question_row(terms: Terms, question: Question) -> Array:
    """Weights of the coefficients in the answer to a question about two levels.

    Parameters
    ----------
    terms : Terms
    question : Question
        With `factor`, `level` and `against`.

    Returns
    -------
    ndarray, shape (coefficients,)
        Level minus against; with ``change``, how that differs between two other levels. All zero
        where the terms do not hold it.
    """

    def difference(at: Mapping[str, Level]) -> Array:
        levels: dict[str, Sequence[Level]] = {name: (level,) for name, level in at.items()}
        levels[question.factor] = (question.level, question.against)
        rows, _ = mean_rows(terms, [question.factor], levels)
        return np.asarray(rows[0] - rows[1])

    if not question.change:
        return difference(question.at)
    (name, (first, second)), *_ = question.change.items()
    return difference({**question.at, name: first}) - difference({**question.at, name: second})
