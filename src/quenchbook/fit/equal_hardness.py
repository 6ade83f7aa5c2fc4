"""A response compared at equal hardness, by the line along which the temper moves both.

Hardness is changed by the treatment itself, so there are two answers: the total effect, and the
contrast at equal hardness ``total - slope * difference in hardness``. Both are always given.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from quenchbook.errors import EstimabilityError
from quenchbook.fit.hardness_cells import (
    Cells,
    LineCheck,
    cells_of,
    check_tempers,
    parallel_check,
    straight_check,
)
from quenchbook.fit.hardness_notes import NOT_TOTAL, equal_hardness_notes, level_word
from quenchbook.fit.hardness_pairs import HardnessPairs, hardness_pairs
from quenchbook.fit.hardness_scatter import WARNING, scatter_lines
from quenchbook.fit.mean_rows import mean_rows
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.precision import Precision
from quenchbook.fit.temper_line import Estimate, TemperLine, line_contrast, temper_line
from quenchbook.study.factors import Level
from quenchbook.study.terms import Array
from quenchbook.units import capital, number_text, with_unit


@dataclass(frozen=True, eq=False, repr=False)
class EqualHardness:
    """Two levels compared in total and at equal hardness.

    Attributes
    ----------
    pairs : HardnessPairs
    factor, along : str
    level, against : float or str
    total : Estimate
        Level less against, as the treatment leaves it.
    hardness_difference : Estimate
        [unit of hardness]
    slope : Estimate
        Of the temper line: change of the response for one unit of hardness.
    adjusted : Estimate
        At equal hardness. Where `one_number` is false, the lines are not parallel: use `ends`.
    common_range : tuple of float
        Hardness that both arms had, by their means of each temper [unit of hardness].
    at : float
        Middle of the common range.
    values : DataFrame
        ``level, estimate, conf_low, conf_high``: response of each arm at `at`, on the analysed
        scale.
    ends : DataFrame
        ``hardness, estimate, std_error, df, conf_low, conf_high``: contrast at both ends of the
        common range, each arm on its own line. Empty where arms have no lines of their own.
    checks : tuple of LineCheck
    own_slopes : tuple of float
        Slope of each arm alone, level then against; empty like `ends`.
    sensitivity : DataFrame
        ``line, slope, estimate, std_error, df`` by covariance analysis; see `WARNING`.
    confidence : float
    notes : tuple of str
    """

    pairs: HardnessPairs
    factor: str
    along: str
    level: Level
    against: Level
    total: Estimate
    hardness_difference: Estimate
    slope: Estimate
    adjusted: Estimate
    common_range: tuple[float, float]
    at: float
    values: pd.DataFrame
    ends: pd.DataFrame
    checks: tuple[LineCheck, ...]
    own_slopes: tuple[float, ...]
    sensitivity: pd.DataFrame
    confidence: float
    notes: tuple[str, ...] = ()

    @property
    def one_number(self) -> bool:
        """Whether the arms passed as parallel; else the answer changes with the hardness."""
        return all(c.p_value >= 0.05 for c in self.checks if c.check == "parallel")

    def to_frame(self) -> pd.DataFrame:
        """Return estimates at full precision.

        Returns
        -------
        DataFrame
            ``line, estimate, std_error, df, conf_low, conf_high, note``. On the log scale total and
            adjusted are natural logarithms of ratios.
        """
        rows: list[dict[str, Any]] = []
        named = (
            ("total", self.total, "as the treatment leaves it, whatever it does to the hardness"),
            ("difference in hardness", self.hardness_difference, ""),
            ("slope of the temper line", self.slope, "for one unit of hardness"),
        )
        for name, own, note in named:
            rows.append(self._row(name, own, note))
        if self.one_number:
            rows.append(self._row("at equal hardness", self.adjusted, NOT_TOTAL))
        else:
            for end in self.ends.itertuples(index=False):
                at = {"line": f"at hardness {end.hardness:.2f}", "note": NOT_TOTAL}
                rows.append({**end._asdict(), **at})
        for other in self.sensitivity.itertuples(index=False):
            rows.append({**other._asdict(), "note": "sensitivity only"})
        columns = ["line", "estimate", "std_error", "df", "conf_low", "conf_high", "note"]
        return pd.DataFrame(rows, columns=columns)

    def _row(self, name: str, own: Estimate, note: str) -> dict[str, Any]:
        low, high = own.limits(self.confidence)
        numbers = {"estimate": own.estimate, "std_error": own.std_error, "df": own.df}
        return {"line": name, **numbers, "conf_low": low, "conf_high": high, "note": note}

    def summary(self) -> str:
        """Show the table, what was checked and the notes."""
        low, high = self.common_range
        lines = [self.to_frame().round(4).to_string(index=False, na_rep="")]
        lines.append(f"Both had {low:.2f} to {high:.2f} in common; compared at {self.at:.2f}.")
        for own in self.checks:
            lines.append(
                f"{own.check}: F({own.df:.0f}, {own.df_error:.0f}) {own.statistic:.2f}, "
                f"p {own.p_value:.3f}"
            )
        return "\n".join([*lines, *self.notes])

    def __repr__(self) -> str:
        names = f"{self.level} - {self.against}"
        return f"<EqualHardness of {self.pairs.response.response}: {names}>"

    def _repr_html_(self) -> str:
        from html import escape

        words = "".join(f"<p>{escape(note)}</p>" for note in self.notes)
        return self.to_frame().round(4).to_html(index=False, border=0, na_rep="") + words


def equal_hardness(
    response: MixedModel,
    hardness: MixedModel,
    *,
    compare: Mapping[str, Sequence[Level]],
    along: str = "temper",
    confidence: float | None = None,
    indent_variance: float | None = None,
    planned_span: float | None = None,
) -> EqualHardness:
    """Compare two levels at equal hardness by the line of the temper.

    Parameters
    ----------
    response : MixedModel
        Such as the logarithm of the impact energy.
    hardness : MixedModel
        Of the same coupons; coupons without hardness are left out.
    compare : mapping of factor to two levels
        First less second: ``{"cold_route": ["dry_ice", "none"]}``.
    along : str
        Factor of the temper.
    confidence : float, optional
        That of the response when left out.
    indent_variance : float, optional
        Variance of the hardness of a coupon from its own indents, for error in variables; taken
        from the indents where the hardness has them.
    planned_span : float, optional
        Hardness that the tempers were planned to span [unit of hardness]; what they did span when
        left out. It only decides a warning.

    Returns
    -------
    EqualHardness

    Raises
    ------
    EstimabilityError
        With fewer than two tempers in an arm, without a spare temper batch, or where the two never
        had the same hardness.
    """
    pairs = hardness_pairs(response, hardness)
    factor, level, against = _compared(compare)
    row = _row(pairs, factor, level, against)
    check_temper_plan(pairs, factor, (level, against), along)
    line = temper_line(pairs.strata, along, *pairs.values)
    total = _contrast(pairs.response, row)
    difference = _contrast(pairs.hardness, row)
    adjusted = _adjusted(pairs, line, row, difference.estimate)
    own_confidence = confidence or response.confidence
    tempers = pairs.response.terms.variable(along).levels
    cells = cells_of(pairs, factor, (level, against), along, tempers)
    low, high = cells.common_range()
    if not low <= high:
        raise EstimabilityError(
            f"{capital(level_word(response, factor, level))} and "
            f"{level_word(response, factor, against)} never had the same hardness: by the means of "
            f"each temper they are {with_unit(number_text(low - high, 2), hardness.unit)} apart, "
            "and a temper line that bends would mislead there. Plan tempers that span the expected "
            "difference in hardness and 1 HRC more."
        )
    checks = [parallel_check(cells, line, factor, along), straight_check(pairs.strata, line, along)]
    variance = pairs.indent_variance if indent_variance is None else indent_variance
    return EqualHardness(
        pairs=pairs,
        factor=factor,
        along=along,
        level=level,
        against=against,
        total=total,
        hardness_difference=difference,
        slope=line.slope,
        adjusted=adjusted,
        common_range=(low, high),
        at=(low + high) / 2,
        values=arm_values(pairs, line, factor, (level, against), (low + high) / 2, own_confidence),
        ends=_ends(pairs, cells, line, factor, (level, against), (low, high), own_confidence),
        checks=tuple(check for check in checks if check is not None),
        own_slopes=tuple(cells.own_slopes().tolist()) if cells.combined else (),
        sensitivity=scatter_lines(pairs, along, row, line.unit, variance),
        confidence=own_confidence,
        notes=(
            *pairs.notes,
            *equal_hardness_notes(
                pairs, line, cells, factor, (level, against), planned_span, checks
            ),
            *_scatter_note(variance),
        ),
    )


def assumed_slopes(
    response: MixedModel,
    hardness: MixedModel,
    *,
    compare: Mapping[str, Sequence[Level]],
    slopes: Sequence[float],
) -> pd.DataFrame:
    """Contrast at equal hardness for slopes that are assumed, where there is no temper line.

    Parameters
    ----------
    response, hardness : MixedModel
    compare : mapping of factor to two levels
    slopes : sequence of float
        Change of the response (of its logarithm on the log scale) for one unit of hardness.

    Returns
    -------
    DataFrame
        ``slope, estimate, std_error, df, conf_low, conf_high, note``. The intervals hold if the
        slope does; they know nothing of the error of an assumption.
    """
    pairs = hardness_pairs(response, hardness)
    row = _row(pairs, *_compared(compare))
    energy, hard = pairs.values
    rows = []
    for slope in slopes:
        own = _contrast(pairs.model_of(energy - slope * hard), row)
        low, high = own.limits(response.confidence)
        rows.append((float(slope), own.estimate, own.std_error, own.df, low, high, "assumption"))
    columns = ["slope", "estimate", "std_error", "df", "conf_low", "conf_high", "note"]
    return pd.DataFrame(rows, columns=columns)


def arm_values(
    pairs: HardnessPairs,
    line: TemperLine,
    factor: str,
    levels: Sequence[Level],
    at: float,
    confidence: float,
) -> pd.DataFrame:
    """Response of each level at one hardness along the common line.

    Returns
    -------
    DataFrame
        ``level, estimate, conf_low, conf_high`` on the analysed scale; limits are nan where a
        stratum has no spare units.
    """
    both = Precision(pairs.strata, np.column_stack(pairs.values))
    rows = []
    for level in levels:
        (row,), _ = mean_rows(pairs.response.terms, [factor], {factor: (level,)})
        energy, hard = row @ both.coefficients
        # Less the hardness it is away from `at`: the noise of the slope grows with that distance.
        own = line_contrast(line, row, float(hard) - at)
        low, high = own.limits(confidence)
        rows.append((level, float(energy - line.slope.estimate * (hard - at)), low, high))
    table = pd.DataFrame(rows, columns=["level", "estimate", "conf_low", "conf_high"])
    shift = line.slope.estimate * at
    table[["conf_low", "conf_high"]] += shift
    return table


def _compared(compare: Mapping[str, Sequence[Level]]) -> tuple[str, Level, Level]:
    if len(compare) != 1 or len(next(iter(compare.values()))) != 2:
        raise EstimabilityError(
            'Compare two levels of one factor: compare={"cold_route": ["dry_ice", "none"]}.'
        )
    (factor, (level, against)), *_ = compare.items()
    return factor, level, against


def _row(pairs: HardnessPairs, factor: str, level: Level, against: Level) -> Array:
    model = pairs.response
    variable = model.terms.variable(factor)
    for own in (level, against):
        if own not in variable.levels and not variable.degree:
            names = ", ".join(map(str, variable.levels))
            raise EstimabilityError(f"{factor} {own!r} was not tried; levels are {names}.")
    rows, _ = mean_rows(model.terms, [factor], {factor: (level, against)})
    row = np.asarray(rows[0] - rows[1])
    if not np.any(np.abs(row) > 1e-12):
        raise EstimabilityError(
            f"{model.term_word(factor)} could not be estimated for {model.response}."
        )
    return row


def check_temper_plan(
    pairs: HardnessPairs, factor: str, arms: tuple[Level, Level], along: str
) -> None:
    """Refuse where the plan leaves no temper line; nothing here looks at a reading.

    Raises
    ------
    EstimabilityError
        With one temper in an arm, or without a spare temper batch.
    """
    model = pairs.response
    variables = {variable.name: variable for variable in model.data.terms.variables}
    if along not in variables:
        raise EstimabilityError(
            f"'{along}' is not in the analysis of {model.response}, so there is no line along "
            "which it moves the hardness. Put the temper into the fixed part, or assume a slope."
        )
    if along == factor:
        raise EstimabilityError(f"{along} gives the line; compare the levels of another factor.")
    planned = model.data.planned
    check_tempers(
        planned[variables[along].column].tolist(),
        planned[variables[factor].column].tolist(),
        arms,
        [level_word(model, factor, arm) for arm in arms],
    )
    if along not in model.terms.names:
        why = pairs.strata.dropped.get(along, "it could not be estimated")
        raise EstimabilityError(f"The line of the {model.term_word(along)} is not known: {why}.")
    unit = pairs.strata.term_stage[along]
    if not pairs.strata.stage(unit).df:
        batches = model.unit_word(unit, 2)
        raise EstimabilityError(
            f"All {batches} are needed to tell the tempers apart, so the noise of the temper line "
            f"is not known. Plan {batches} of their own for each of three furnace loads or more."
        )


def _contrast(model: MixedModel, row: Array) -> Estimate:
    """Contrast of a model by its own method, with the df of that method."""
    estimate, std_error, df = (float(own[0]) for own in model.estimates(row))
    units = model.precision.strata_of_row(row)
    return Estimate(estimate, {" + ".join(units): (std_error**2, df)}, std_error**2)


def _adjusted(pairs: HardnessPairs, line: TemperLine, row: Array, difference: float) -> Estimate:
    model = pairs.model_of(line.rest)
    names = [n for n, place in pairs.strata.slices.items() if np.any(np.abs(row[place]) > 1e-12)]
    if all(model.method_of(name) == "stratum" for name in names):
        return line_contrast(line, row, difference)
    # Batches too incomplete to judge it inside them alone: the rest is weighted over all strata,
    # and the slope adds its own part.
    own = _contrast(model, row)
    ((_, (inside, df)),) = own.parts.items()
    part = difference**2 * line.slope.variance
    parts = {"coupon": (inside, df), line.unit: (part, line.slope.df)}
    return Estimate(own.estimate, parts, inside + part, howe=line.spare < 2)


def _ends(
    pairs: HardnessPairs,
    cells: Cells,
    line: TemperLine,
    factor: str,
    arms: tuple[Level, Level],
    common: tuple[float, float],
    confidence: float,
) -> pd.DataFrame:
    """Contrast at both ends of the common range, each arm on its own line."""
    columns = ["hardness", "estimate", "std_error", "df", "conf_low", "conf_high"]
    slopes = cells.own_slopes()
    if not cells.combined or not np.isfinite(slopes).all():
        return pd.DataFrame(columns=columns)
    energy, hard = pairs.values
    variable = pairs.response.terms.variable(factor)
    own = pairs.response.data.planned[variable.column].to_numpy()
    steep = np.full(len(energy), line.slope.estimate)
    for arm, slope in zip(arms, slopes, strict=True):
        steep[own == arm] = slope
    precision = Precision(cells.strata, energy - steep * hard)
    rows = []
    for at in common:
        first, second = cells.values_at(at)
        weights = cells.value_rows(at)
        _, std_error, df = (
            float(x[0, 0]) for x in precision.of((weights[0] - weights[1])[None, :])
        )
        noise = Estimate(float(first - second), {"all": (std_error**2, df)}, std_error**2)
        low, high = noise.limits(confidence)
        rows.append((at, noise.estimate, std_error, df, low, high))
    return pd.DataFrame(rows, columns=columns)


def _scatter_note(indent_variance: float | None) -> tuple[str, ...]:
    if indent_variance is None:
        return (WARNING, "Error in variables is left out: the scatter of indents is not told.")
    return (WARNING,)
