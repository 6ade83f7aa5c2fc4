"""Several comparisons at once: all pairs, against one reference, or a free list.

p values and intervals belong together, so that no interval disagrees with its p value. Holm alone
has no intervals; Bonferroni's, which can be a little wider than its p value, are shown with it.

References
----------
Tukey (1953) and Kramer (1956) for all pairs; Dunnett (1955), JASA 50:1096, against a reference;
Holm (1979), Scandinavian Journal of Statistics 6:65, for free lists (all from memory).
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import pandas as pd

from quenchbook.errors import EstimabilityError, with_suggestion
from quenchbook.fit.estimate_words import difference_words
from quenchbook.fit.means import MarginalMeans
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.terms import Array

Adjustment = Literal["tukey", "dunnett", "bonferroni", "holm", "none"]

ADJUSTMENTS: Final[tuple[Adjustment, ...]] = ("tukey", "dunnett", "bonferroni", "holm", "none")


@dataclass(frozen=True, eq=False, repr=False)
class Comparisons(ShowsItself):
    """A family of comparisons with adjusted p values and simultaneous intervals.

    Attributes
    ----------
    contrasts : MarginalMeans
        One row for each comparison.
    adjustment : str
        ``tukey``, ``dunnett``, ``bonferroni``, ``holm`` or ``none``.
    size : int
        Number of means compared (tukey), of comparisons with the reference (dunnett), or of
        comparisons.
    notes : tuple of str
    """

    contrasts: MarginalMeans
    adjustment: Adjustment
    size: int
    notes: tuple[str, ...] = ()

    def to_frame(self) -> pd.DataFrame:
        """Return the comparisons at full precision.

        Returns
        -------
        DataFrame
            ``contrast, estimate, std_error, df, conf_low, conf_high, statistic, p_value``; limits
            and p values are adjusted. Holm has no intervals of its own: Bonferroni's are shown.
        """
        table = self.contrasts.to_frame()
        statistic = table["estimate"] / table["std_error"]
        confidence = self.contrasts.confidence
        df = table["df"].to_numpy(dtype=float)
        critical = np.array([self._critical(confidence, value) for value in df])
        p_values = [self._single_p(t, value) for t, value in zip(statistic, df, strict=True)]
        if self.adjustment == "holm":
            p_values = holm(np.array(p_values)).tolist()
        half = critical * table["std_error"]
        return table.assign(
            conf_low=table["estimate"] - half,
            conf_high=table["estimate"] + half,
            statistic=statistic,
            p_value=p_values,
        )

    def _critical(self, confidence: float, df: float) -> float:
        from scipy import special

        if self.adjustment == "tukey":
            return studentized_range_quantile(confidence, self.size, df) / math.sqrt(2)
        if self.adjustment == "dunnett":
            return dunnett_quantile(confidence, self.size, df)
        share = self.size if self.adjustment in ("bonferroni", "holm") else 1
        return float(special.stdtrit(df, 1 - (1 - confidence) / (2 * share)))

    def _single_p(self, statistic: float, df: float) -> float:
        from scipy import special, stats

        size = abs(statistic)
        if self.adjustment == "tukey":
            return float(stats.studentized_range.sf(size * math.sqrt(2), self.size, df))
        if self.adjustment == "dunnett":
            return 1 - dunnett_probability(size, self.size, df)
        p_value = float(2 * special.stdtr(df, -size))
        return min(1.0, p_value * self.size) if self.adjustment == "bonferroni" else p_value

    def shown(self) -> Shown:
        """How many comparisons leave out zero and the largest of them, then the table."""
        table, model = self.to_frame(), self.contrasts.model
        is_told = table["p_value"] < 1 - self.contrasts.confidence
        words = f"{int(is_told.sum())} of {len(table)} differences are told from zero"
        if is_told.any():
            row = table.iloc[int(table["estimate"].where(is_told, 0.0).abs().to_numpy().argmax())]
            words += f"; the largest, {row['contrast']}, is {difference_words(model, row)}"
        return Shown(
            f"{model.quantity_word}: {words}.", table, (*self.contrasts.notes, *self.notes),
            (f"Adjusted for several comparisons: {self.adjustment}.",),
            confidence=self.contrasts.confidence,
            unit="" if model.scale == "log" else model.unit,
        )  # fmt: skip

    def __repr__(self) -> str:
        return f"<Comparisons: {len(self.contrasts.grid)}, {self.adjustment}>"


def pairs(means: MarginalMeans, *, adjustment: Adjustment = "tukey") -> Comparisons:
    """All pairwise differences of means.

    Parameters
    ----------
    means : MarginalMeans
    adjustment : str
        ``tukey`` (default), ``bonferroni``, ``holm`` or ``none``.

    Returns
    -------
    Comparisons
    """
    names = _row_names(means)
    if len(names) < 2:
        raise EstimabilityError(
            "One mean cannot be compared with itself: name a factor with levels."
        )
    weights = {}
    for first in range(len(names)):
        for second in range(first + 1, len(names)):
            row = np.zeros(len(names))
            row[first], row[second] = 1.0, -1.0
            weights[f"{names[first]} - {names[second]}"] = row.tolist()
    if adjustment == "dunnett":
        raise EstimabilityError("dunnett is not for all pairs. Use against(means, reference).")
    size = len(names) if adjustment == "tukey" else len(weights)
    return _family(means.contrast(weights), adjustment, size)


def against(
    means: MarginalMeans, reference: object, *, adjustment: Adjustment = "dunnett"
) -> Comparisons:
    """Each mean less that of one reference level.

    Parameters
    ----------
    means : MarginalMeans
        By one factor.
    reference : float or str
        Level of that factor.
    adjustment : str
        ``dunnett`` (default), ``bonferroni``, ``holm`` or ``none``.
    """
    levels = means.grid.iloc[:, 0].tolist()
    if reference not in levels:
        words = f"{reference!r} is not among {', '.join(map(str, levels))}."
        raise EstimabilityError(with_suggestion(words, reference, levels))
    if adjustment == "tukey":
        raise EstimabilityError("tukey is for all pairs. Use pairs(means), or dunnett here.")
    base = levels.index(reference)
    names = _row_names(means)
    weights = {}
    for place, name in enumerate(names):
        if place != base:
            row = np.zeros(len(names))
            row[place], row[base] = 1.0, -1.0
            weights[f"{name} - {names[base]}"] = row.tolist()
    return _family(means.contrast(weights), adjustment, len(weights))


def free_list(contrasts: MarginalMeans, *, adjustment: Adjustment = "holm") -> Comparisons:
    """A list of contrasts taken as one family."""
    if adjustment in ("tukey", "dunnett"):
        raise EstimabilityError(f"{adjustment} is not for a free list. Use holm or bonferroni.")
    return _family(contrasts, adjustment, len(contrasts.grid))


def _family(contrasts: MarginalMeans, adjustment: Adjustment, size: int) -> Comparisons:
    if adjustment not in ADJUSTMENTS:
        words = f"'{adjustment}' is not known. Known: {', '.join(ADJUSTMENTS)}."
        raise EstimabilityError(with_suggestion(words, adjustment, ADJUSTMENTS))
    notes = {
        "tukey": f"Intervals hold together for all pairs of {size} means (Tukey and Kramer).",
        "dunnett": f"Intervals hold together for {size} comparisons with the reference "
        "(Dunnett, equal sizes).",
        "bonferroni": f"Intervals hold together for {size} comparisons (Bonferroni).",
        "holm": f"p values for {size} comparisons by Holm; intervals by Bonferroni, which are a "
        "little wider.",
        "none": "Each comparison on its own; nothing is adjusted.",
    }
    return Comparisons(contrasts, adjustment, size, (notes[adjustment],))


def _row_names(means: MarginalMeans) -> list[str]:
    return [
        ", ".join(f"{value:g}" if isinstance(value, float) else str(value) for value in row)
        for row in means.grid.itertuples(index=False)
    ]


def holm(p_values: Array) -> Array:
    """Holm's adjusted p values.

    Parameters
    ----------
    p_values : ndarray, shape (comparisons,)
    """
    order = np.argsort(p_values)
    count = len(p_values)
    stepped = np.maximum.accumulate((count - np.arange(count)) * p_values[order])
    adjusted = np.empty(count)
    adjusted[order] = np.minimum(stepped, 1.0)
    return adjusted


@functools.lru_cache(maxsize=512)
def studentized_range_quantile(confidence: float, means: int, df: float) -> float:
    """Quantile of the studentized range for a number of means and error df."""
    from scipy import stats

    return float(stats.studentized_range.ppf(confidence, means, df))


@functools.lru_cache(maxsize=4)
def _quadrature(points: int) -> tuple[Array, Array]:
    nodes, weights = np.polynomial.legendre.leggauss(points)
    return nodes, weights


def dunnett_probability(bound: float, comparisons: int, df: float) -> float:
    """Probability that no |t| of Dunnett's comparisons exceeds a bound (equal sizes).

    Two-sided, with correlation one half between comparisons, by Gauss-Legendre quadrature over the
    common part and over the standard deviation.
    """
    from scipy import special

    nodes, weights = _quadrature(160)
    common = 8.0 * nodes
    common_weight = 8.0 * weights * np.exp(-(common**2) / 2) / math.sqrt(2 * math.pi)
    low = math.sqrt(float(special.chdtri(df, 1 - 1e-14)) / df)
    high = math.sqrt(float(special.chdtri(df, 1e-14)) / df)
    sd = 0.5 * (high - low) * nodes + 0.5 * (high + low)
    log_density = (
        (df / 2) * math.log(df) - (df / 2 - 1) * math.log(2) - special.gammaln(df / 2)
        + (df - 1) * np.log(sd) - df * sd**2 / 2
    )  # fmt: skip
    sd_weight = 0.5 * (high - low) * weights * np.exp(log_density)
    root = math.sqrt(2.0)
    spread = root * bound * sd[:, None]
    inside = special.ndtr(spread + common[None, :]) - special.ndtr(-spread + common[None, :])
    return float(sd_weight @ (inside**comparisons) @ common_weight)


@functools.lru_cache(maxsize=512)
def dunnett_quantile(confidence: float, comparisons: int, df: float) -> float:
    """Two-sided critical value of Dunnett's comparisons (equal sizes)."""
    from scipy import optimize, special

    start = float(special.stdtrit(df, (1 + confidence) / 2))
    most = float(special.stdtrit(df, 1 - (1 - confidence) / (2 * comparisons))) + 1e-6
    if comparisons == 1:
        return start
    found = optimize.brentq(
        lambda bound: dunnett_probability(bound, comparisons, df) - confidence,
        start,
        most,
        xtol=1e-10,
    )
    return float(found)
