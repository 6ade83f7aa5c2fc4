"""Marginal means and contrasts: linear functions of the coefficients, each with its own df."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from quenchbook.errors import EstimabilityError, with_suggestion
from quenchbook.fit.estimate_words import means_sentence
from quenchbook.fit.mean_rows import mean_rows, question_row
from quenchbook.fit.mixed import MixedModel, interval_frame
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.definition import Question
from quenchbook.study.factors import Level
from quenchbook.study.terms import Array
from quenchbook.units import listed


@dataclass(frozen=True, eq=False, repr=False)
class MarginalMeans(ShowsItself):
    """Means over an even mix of the other factors, or contrasts of such means.

    Attributes
    ----------
    grid : DataFrame
        One row for each mean (its levels) or contrast (its name).
    linear : ndarray, shape (rows, coefficients)
        Weights of the coefficients.
    model : MixedModel
        Gives estimates, standard errors and df of any linear function.
    confidence : float
    notes : tuple of str
        What was averaged over and what could not be estimated.
    """

    grid: pd.DataFrame
    linear: Array
    model: MixedModel
    confidence: float = 0.95
    notes: tuple[str, ...] = ()

    def to_frame(self) -> pd.DataFrame:
        """Return estimates at full precision.

        Returns
        -------
        DataFrame
            The columns of `grid`, then ``estimate, std_error, df, conf_low, conf_high, strata``
            (the units whose noise the row carries). On the log
            scale these are natural logarithms.
        """
        numbers = interval_frame(self.model, self.linear, self.confidence)
        names = [[self.model.stratum_name(unit) for unit in own] for own in self.strata()]
        numbers["strata"] = [" + ".join(own) for own in names]
        return pd.concat([self.grid.reset_index(drop=True), numbers], axis=1)

    def contrast(self, weights: Mapping[str, Sequence[float]]) -> MarginalMeans:
        """Weighted sums of the rows; contrasts of contrasts are the same thing.

        Parameters
        ----------
        weights : mapping of name to sequence of float, shape (rows,)

        Returns
        -------
        MarginalMeans
        """
        matrix = np.array(list(weights.values()), dtype=float)
        if not np.isfinite(matrix).all() or not np.abs(matrix).sum(axis=-1).all():
            raise EstimabilityError("A contrast needs finite weights, not all of them zero.")
        if matrix.ndim != 2 or matrix.shape[1] != len(self.linear):
            raise EstimabilityError(
                f"A contrast needs {len(self.linear)} weights, one for each row of the means."
            )
        return replace(
            self, grid=pd.DataFrame({"contrast": list(weights)}), linear=matrix @ self.linear
        )

    def strata(self) -> list[tuple[str, ...]]:
        """Units whose noise each row carries."""
        return [self.model.precision.strata_of_row(row) for row in self.linear]

    def shown(self) -> Shown:
        """The means or contrasts in one sentence, then the table."""
        table = self.to_frame()
        units = dict.fromkeys(unit for own in self.strata() for unit in own)
        judged = [self.model.unit_word(unit, 2) for unit in sorted(units)]
        is_slope = self._is_difference and list(self.grid.columns) != ["contrast"]
        return Shown(
            means_sentence(self.model, self.grid, table, is_difference=self._is_difference),
            table,
            self.notes,
            (f"Judged on the noise of {listed(judged)}; {self.model.method_words()}.",),
            confidence=self.confidence,
            unit="" if is_slope or self.model.scale == "log" else self.model.unit,
        )

    @property
    def _is_difference(self) -> bool:
        """Whether the rows are sums of means whose weights add up to nothing, such as contrasts."""
        constant = self.linear @ np.eye(self.linear.shape[1])[:, 0]
        return bool(np.all(np.abs(constant) < 1e-9))

    def methods_used(self) -> tuple[str, ...]:
        """Methods whose sources stand with it."""
        return tuple(own for own in self.model.methods_used() if own != "reml")

    def __repr__(self) -> str:
        return f"<MarginalMeans of {self.model.response}: {len(self.grid)} rows>"


def marginal_means(
    model: MixedModel,
    by: str | Sequence[str],
    *,
    at: Mapping[str, Sequence[Level] | Level] | None = None,
    confidence: float | None = None,
) -> MarginalMeans:
    """Means of a fitted model over an even mix of the factors that are not named.

    Parameters
    ----------
    model : MixedModel
    by : str or sequence of str
        Factors whose levels get a mean each.
    at : mapping of factor to level or levels, optional
        Levels to use in place of the declared ones.
    confidence : float, optional
        Confidence level; that of the model when left out.

    Returns
    -------
    MarginalMeans

    Raises
    ------
    EstimabilityError
        If a factor is not in the model, or a level was not declared.
    """
    by = [by] if isinstance(by, str) else list(by)
    if not by:
        raise EstimabilityError("Name at least one factor whose levels get a mean.")
    if confidence is not None and not 0.5 <= confidence < 1:
        raise EstimabilityError(f"confidence is {confidence}. Write a number such as 0.95.")
    chosen: dict[str, Sequence[Level]] = {
        name: (levels,) if isinstance(levels, str | float | int) else tuple(levels)
        for name, levels in (at or {}).items()
    }
    for name in [*by, *chosen]:
        variable = model.terms.variable(name)
        unknown = [
            x for x in chosen.get(name, ()) if not variable.degree and x not in variable.levels
        ]
        if unknown:
            words = f"{name} {unknown[0]!r} was not tried; levels are "
            words += f"{', '.join(map(str, variable.levels))}."
            raise EstimabilityError(with_suggestion(words, unknown[0], variable.levels))
    linear, first = mean_rows(model.terms, by, chosen)
    notes = (*_mix_notes(model, by, chosen), *_untried(model, by, first))
    return MarginalMeans(
        grid=first,
        linear=linear,
        model=model,
        confidence=confidence or model.confidence,
        notes=notes,
    )


def slopes(
    model: MixedModel,
    factor: str,
    *,
    at: Sequence[float],
    by: str | Sequence[str] = (),
) -> MarginalMeans:
    """Slope of a curve or line along a numeric factor.

    Parameters
    ----------
    model : MixedModel
    factor : str
        Numeric factor with shape ``linear`` or ``quadratic``.
    at : sequence of float
        Points where the slope is taken, in the storage unit.
    by : str or sequence of str
        Factors whose levels get a slope each.

    Returns
    -------
    MarginalMeans
        Change of the response for one unit of the factor.
    """
    if not model.terms.variable(factor).degree:
        raise EstimabilityError(
            f"{factor} is analysed as levels, so it has no slope. "
            'Declare shape = "linear" or "quadratic".'
        )
    by = [by] if isinstance(by, str) else list(by)
    points = [float(x) for x in at]
    step = 1.0
    above = marginal_means(model, [factor, *by], at={factor: [x + step for x in points]})
    below = marginal_means(model, [factor, *by], at={factor: [x - step for x in points]})
    here = marginal_means(model, [factor, *by], at={factor: points})
    # The central difference of a quadratic is exact, whatever the step.
    note = f"Change of {model.response} for one unit of {model.term_word(factor)}."
    slope = (above.linear - below.linear) / (2 * step)
    return replace(here, linear=slope, notes=(note, *here.notes))


def _untried(model: MixedModel, by: Sequence[str], cells: pd.DataFrame) -> tuple[str, ...]:
    """Name cells that no coupon was run at: their means are sums of single effects."""
    named = [name for name in by if not model.terms.variable(name).degree]
    if len(named) < 2:
        return ()
    columns = [model.terms.variable(name).column for name in named]
    run = {tuple(row) for row in model.data.planned[columns].itertuples(index=False)}
    wanted = dict.fromkeys(tuple(row) for row in cells[columns].itertuples(index=False))
    missing = [", ".join(str(x) for x in row) for row in wanted if row not in run]
    if not missing:
        return ()
    return (f"Never run, predicted from the single effects: {'; '.join(missing)}.",)


def _mix_notes(
    model: MixedModel, by: Sequence[str], at: Mapping[str, Sequence[Level]]
) -> tuple[str, ...]:
    """What was averaged over, what was held, and what lies outside the levels that were tried."""
    study = model.study
    notes = []
    mixed = [
        model.term_word(v.name)
        for v in model.terms.variables
        if v.name not in by and v.name not in at and v.name not in model.terms.blocks
    ]
    if mixed:
        notes.append(f"Over an even mix of {', '.join(mixed)}.")
    for name, levels in at.items():
        factor = study.factor(name) if study is not None and study.has(name) else None
        words = [factor.word(x) if factor else f"{x}" for x in levels]
        if name not in by:
            notes.append(f"At {model.term_word(name)} {', '.join(words)}.")
        variable = model.terms.variable(name)
        if variable.degree:
            tried = [float(x) for x in variable.levels]
            outside = [
                word
                for word, x in zip(words, levels, strict=True)
                if not min(tried) <= float(x) <= max(tried)
            ]
            if outside:
                notes.append(f"Outside what was tried, extrapolated: {', '.join(outside)}.")
    return tuple(notes)


def question_contrast(model: MixedModel, question: Question) -> MarginalMeans:
    """Contrast that answers a declared question about two levels.

    Parameters
    ----------
    model : MixedModel
    question : Question
        With `factor`, `level` and `against`.

    Returns
    -------
    MarginalMeans
        One row: level minus against; with ``change``, how that differs between two other levels.
    """
    levels: dict[str, Sequence[Level]] = {n: (level,) for n, level in question.at.items()}
    levels |= {question.factor: (question.level, question.against)}
    notes = _mix_notes(model, [question.factor], levels)
    row = question_row(model.terms, question)
    if question.change:
        (name, _), *_ = question.change.items()
        if not np.any(np.abs(row) > 1e-12):
            raise EstimabilityError(
                f"Whether this differs with {model.term_word(name)} was not part of the "
                "analysis of "
                f'{model.response}: add "{name}:{question.factor}" to its combinations.'
            )
        changed = {name: question.change[name][:1]}
        notes = _mix_notes(model, [question.factor], {**levels, **changed})
        notes = tuple(note for note in notes if not note.startswith("At "))
    elif not np.any(np.abs(row) > 1e-12):
        raise EstimabilityError(
            f"{model.term_word(question.factor)} could not be estimated for {model.response}."
        )
    return MarginalMeans(
        grid=pd.DataFrame({"contrast": [question.key]}),
        linear=row[None, :],
        model=model,
        confidence=model.confidence,
        notes=notes,
    )


def adjusted_values(model: MixedModel, by: Sequence[str]) -> Array:
    """Coupon values adjusted to an even mix of the factors that are not in `by`.

    Parameters
    ----------
    model : MixedModel
    by : sequence of str
        Factors that stay as they were run.

    Returns
    -------
    ndarray, shape (coupons,)
        Fitted value for the coupon's own levels of `by`, plus its residual (with what its load and
        batches did). nan where a factor of `by` does not exist.
    """
    columns = [model.terms.variable(name).column for name in by]
    own = model.coupons[columns]
    at = {n: tuple(own[c].dropna().unique()) for n, c in zip(by, columns, strict=True)}
    means = marginal_means(model, list(by), at=at)
    fitted = means.grid.assign(fitted=means.linear @ model.precision.coefficients[:, 0])
    fitted = fitted.dropna().drop_duplicates(columns)
    adjusted = own.merge(fitted, on=columns, how="left")["fitted"].to_numpy(dtype=float)
    return np.asarray(adjusted + model.residuals())


def differences_inside_loads(model: MixedModel, question: Question) -> Array:
    """Difference of the two levels inside each furnace load that holds both, adjusted alike.

    Returns
    -------
    ndarray, shape (loads with both,)
        Empty for a factor that is set once for a load, for a change of a difference, and where
        there is one load only: its difference is the estimate.
    """
    coupons = model.coupons
    if question.change or "furnace_load" not in coupons or coupons["furnace_load"].nunique() < 2:
        return np.zeros(0)
    names = list(dict.fromkeys([question.factor, *question.at]))
    if any(name not in [v.name for v in model.terms.variables] for name in names):
        return np.zeros(0)
    table = coupons.assign(adjusted=adjusted_values(model, names))
    for name, level in question.at.items():
        column = model.terms.variable(name).column
        nearest = table[f"{column}_planned"] if f"{column}_planned" in table else table[column]
        table = table[nearest == level]
    column = model.terms.variable(question.factor).column
    means = table.groupby(["furnace_load", column])["adjusted"].mean().unstack(column)
    if question.level not in means or question.against not in means:
        return np.zeros(0)
    inside = (means[question.level] - means[question.against]).dropna()
    return inside.to_numpy(dtype=float)
