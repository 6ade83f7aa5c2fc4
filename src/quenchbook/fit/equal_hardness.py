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
from quenchbook.fit.estimate_words import difference_words
from quenchbook.fit.hardness_cells import (
    NOT_PARALLEL,
    LineCheck,
    cells_of,
    parallel_check,
    straight_check,
)
from quenchbook.fit.hardness_effects import (
    check_temper_plan,
    compared_levels,
    contrast_row,
    model_contrast,
)
from quenchbook.fit.hardness_lines import LINE_POINTS, ArmLines, pair_coupons
from quenchbook.fit.hardness_notes import NOT_TOTAL, equal_hardness_notes, level_word
from quenchbook.fit.hardness_pairs import HardnessPairs, hardness_pairs
from quenchbook.fit.hardness_scatter import WARNING, scatter_lines
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.temper_line import Estimate, TemperLine, line_contrast, temper_line
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.factors import Level
from quenchbook.study.terms import Array
from quenchbook.units import capital, number_text, with_unit


@dataclass(frozen=True, eq=False, repr=False)
class EqualHardness(ShowsItself):
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
        ``level, hardness, estimate, conf_low, conf_high``: response of each arm at `at`, on the
        analysed scale.
    ends : DataFrame
        ``hardness, estimate, std_error, df, conf_low, conf_high``: contrast at both ends of the
        common range, each arm on its own line. Empty where arms have no lines of their own.
    checks : tuple of LineCheck
    own_slopes : tuple of float
        Slope of each arm alone, level then against; empty like `ends`.
    lines : DataFrame
        ``level, hardness, estimate, conf_low, conf_high`` over the common range: the common line,
        or each arm's own where they are not parallel.
    coupons : DataFrame
        ``coupon, level, temper, hardness, value`` of the two arms, adjusted to an even mix of the
        other factors; on the analysed scale.
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
    lines: pd.DataFrame
    coupons: pd.DataFrame
    sensitivity: pd.DataFrame
    confidence: float
    notes: tuple[str, ...] = ()

    @property
    def one_number(self) -> bool:
        """Whether the arms passed as parallel; else the answer changes with the hardness."""
        return all(c.p_value >= NOT_PARALLEL for c in self.checks if c.check == "parallel")

    def contrast_words(self) -> str:
        """What is compared with what, in print."""
        model = self.pairs.response
        first = level_word(model, self.factor, self.level)
        return f"{first} against {level_word(model, self.factor, self.against, alone=False)}"

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
            for place in range(len(self.ends)):
                end = self.ends.iloc[place]
                at = {"line": f"at hardness {end['hardness']:.2f}", "note": NOT_TOTAL}
                rows.append({**dict(end), **at})
        for place in range(len(self.sensitivity)):
            rows.append({**dict(self.sensitivity.iloc[place]), "note": "sensitivity only"})
        columns = ["line", "estimate", "std_error", "df", "conf_low", "conf_high", "note"]
        return pd.DataFrame(rows, columns=columns)

    def _row(self, name: str, own: Estimate, note: str) -> dict[str, Any]:
        low, high = own.limits(self.confidence)
        numbers = {"estimate": own.estimate, "std_error": own.std_error, "df": own.df}
        return {"line": name, **numbers, "conf_low": low, "conf_high": high, "note": note}

    def shown(self) -> Shown:
        """The contrast at equal hardness and the total one, then the table and what was checked."""
        model, table = self.pairs.response, self.to_frame()
        total = difference_words(model, table.iloc[0])
        equal = "; ".join(
            f"{row['line']} {difference_words(model, row)}"
            for row in table.to_dict("records")
            if str(row["line"]).startswith("at ")
        )
        low, high = self.common_range
        common = f"Both had {low:.2f} to {high:.2f} in common; compared at {self.at:.2f}."
        checks = [
            f"{own.check}: F({own.df:.0f}, {own.df_error:.0f}) {own.statistic:.2f}, "
            f"p {own.p_value:.3f}"
            for own in self.checks
        ]
        return Shown(
            f"{model.quantity_word}, {self.contrast_words()}: {equal}; in total {total}.",
            table, (common, *self.notes), tuple(checks), confidence=self.confidence,
        )  # fmt: skip

    def __repr__(self) -> str:
        names = f"{self.level} - {self.against}"
        return f"<EqualHardness of {self.pairs.response.response}: {names}>"


def equal_hardness_contrast(
    response: MixedModel,
    hardness: MixedModel,
    *,
    compare: Mapping[str, Sequence[Level]],
    along: str = "temper",
    combinations: Sequence[str] = (),
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
    combinations : sequence of str
        Factors that act together, such as ``"austenitize:cold_route"``, beyond those analysed for
        the response. Choose them before the data: they help where they move the hardness, and cost
        df.
    confidence : float, optional
        That of the response when left out.
    indent_variance : float, optional
        Variance of the hardness of a coupon from its own indents, for error in variables; taken
        from the indents where the hardness has them.
    planned_span : float, optional
        Hardness that the tempers were planned to span [unit of hardness]. It only decides a
        warning. A study file does not tell it: what the tempers really spanned stands in, and the
        warning says so.

    Returns
    -------
    EqualHardness

    Raises
    ------
    EstimabilityError
        With fewer than two tempers in an arm, without a spare temper batch, or where the two never
        had the same hardness.
    """
    pairs = hardness_pairs(response, hardness, combinations=combinations)
    factor, level, against = compared_levels(compare)
    row = contrast_row(pairs, factor, level, against)
    check_temper_plan(pairs, factor, (level, against), along)
    line = temper_line(pairs.strata, along, *pairs.values)
    total = model_contrast(pairs.response, row)
    difference = model_contrast(pairs.hardness, row)
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
    lines = ArmLines(pairs, line, cells, factor, (level, against), own_confidence)
    parallel = checks[0] is None or checks[0].p_value >= NOT_PARALLEL
    grid = np.linspace(low, high, LINE_POINTS)
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
        values=lines.common([(low + high) / 2]),
        ends=lines.differences((low, high)),
        checks=tuple(check for check in checks if check is not None),
        own_slopes=tuple(cells.own_slopes().tolist()) if cells.combined else (),
        lines=lines.common(grid) if parallel else lines.own(grid),
        coupons=pair_coupons(pairs, factor, (level, against), along),
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


def _adjusted(pairs: HardnessPairs, line: TemperLine, row: Array, difference: float) -> Estimate:
    model = pairs.model_of(line.rest)
    names = [n for n, place in pairs.strata.slices.items() if np.any(np.abs(row[place]) > 1e-12)]
    if all(model.method_of(name) == "stratum" for name in names):
        return line_contrast(line, row, difference)
    # Batches too incomplete to judge it inside them alone: the rest is weighted over all strata,
    # and the slope adds its own part.
    own = model_contrast(model, row)
    ((units, (inside, df)),) = own.parts.items()
    part = difference**2 * line.slope.variance
    # both may be of coupons alone, and neither part may take the place of the other
    slope = line.unit if line.unit != units else f"{line.unit} + {line.unit}"
    parts = {units: (inside, df), slope: (part, line.slope.df)}
    return Estimate(own.estimate, parts, inside + part, howe=line.spare < 2)


def _scatter_note(indent_variance: float | None) -> tuple[str, ...]:
    if indent_variance is None:
        return (WARNING, "Error in variables is left out: the scatter of indents is not told.")
    return (WARNING,)
