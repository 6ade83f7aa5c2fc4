"""The temper line drawn through each arm, and the coupons around it."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from quenchbook.fit.hardness_cells import Cells
from quenchbook.fit.hardness_pairs import HardnessPairs
from quenchbook.fit.inversion import t_limit
from quenchbook.fit.mean_rows import mean_rows
from quenchbook.fit.means import adjusted_values
from quenchbook.fit.precision import Precision
from quenchbook.fit.temper_line import TemperLine, line_contrast
from quenchbook.study.factors import Level
from quenchbook.study.terms import Array

LINE_POINTS: Final = 13
"""Points at which a line is given over the common range."""

_LINE: Final = ["level", "hardness", "estimate", "conf_low", "conf_high"]
_ENDS: Final = ["hardness", "estimate", "std_error", "df", "conf_low", "conf_high"]


@dataclass(frozen=True, eq=False)
class ArmLines:
    """Lines of two arms: the common one through each arm's mean, and each arm's own."""

    pairs: HardnessPairs
    line: TemperLine
    cells: Cells
    factor: str
    arms: tuple[Level, Level]
    confidence: float

    def common(self, at: Sequence[float] | Array) -> pd.DataFrame:
        """Response of each arm along the common line.

        Parameters
        ----------
        at : sequence of float
            Hardness.

        Returns
        -------
        DataFrame
            ``level, hardness, estimate, conf_low, conf_high``; limits are nan where a stratum has
            no spare units.
        """
        both = Precision(self.pairs.strata, np.column_stack(self.pairs.values))
        slope = self.line.slope.estimate
        rows = []
        for arm in self.arms:
            (row,), _ = mean_rows(self.pairs.response.terms, [self.factor], {self.factor: (arm,)})
            energy, hard = row @ both.coefficients
            for place in at:
                # The noise of the slope grows with the distance from the mean of the arm.
                own = line_contrast(self.line, row, float(hard) - place)
                low, high = own.limits(self.confidence)
                value = float(energy) + slope * (place - float(hard))
                rows.append((arm, place, value, low + slope * place, high + slope * place))
        return pd.DataFrame(rows, columns=_LINE)

    def own(self, at: Sequence[float] | Array) -> pd.DataFrame:
        """Response of each arm along its own line; columns as of `common`."""
        rows = []
        for number, arm in enumerate(self.arms):
            for place in at:
                value = float(self.cells.values_at(place)[number])
                half = self._noise(self.cells.value_rows(place)[number])[2]
                rows.append((arm, place, value, value - half, value + half))
        return pd.DataFrame(rows, columns=_LINE)

    def differences(self, at: Sequence[float]) -> pd.DataFrame:
        """First arm less second, each on its own line.

        Returns
        -------
        DataFrame
            ``hardness, estimate, std_error, df, conf_low, conf_high``; empty where the arms have no
            lines of their own.
        """
        if not self.cells.combined or not np.isfinite(self.cells.own_slopes()).all():
            return pd.DataFrame(columns=_ENDS)
        rows = []
        for place in at:
            first, second = self.cells.values_at(place)
            weights = self.cells.value_rows(place)
            std_error, df, half = self._noise(weights[0] - weights[1])
            value = float(first - second)
            rows.append((place, value, std_error, df, value - half, value + half))
        return pd.DataFrame(rows, columns=_ENDS)

    def _noise(self, row: Array) -> tuple[float, float, float]:
        _, std_error, df = (float(own[0, 0]) for own in self._own_rest.of(row[None, :]))
        return std_error, df, float(t_limit(df, self.confidence)) * std_error

    @functools.cached_property
    def _own_rest(self) -> Precision:
        """Mean squares of the response less each arm's own slope times hardness."""
        energy, hard = self.pairs.values
        column = self.pairs.response.terms.variable(self.factor).column
        planned = self.pairs.response.data.planned[column].to_numpy()
        steep = np.full(len(energy), self.line.slope.estimate)
        for arm, slope in zip(self.arms, self.cells.own_slopes(), strict=True):
            steep[planned == arm] = slope
        return Precision(self.cells.strata, energy - steep * hard)


def pair_coupons(
    pairs: HardnessPairs, factor: str, arms: tuple[Level, Level], along: str
) -> pd.DataFrame:
    """Coupons of two arms, adjusted to an even mix of the factors other than route and temper.

    Returns
    -------
    DataFrame
        ``coupon, level, temper, hardness, value``.
    """
    model = pairs.response
    planned = model.data.planned
    table = pd.DataFrame(
        {
            "coupon": model.coupons["coupon"],
            "level": planned[model.terms.variable(factor).column],
            "temper": planned[model.terms.variable(along).column],
            "hardness": adjusted_values(pairs.hardness, [factor, along]),
            "value": adjusted_values(model, [factor, along]),
        }
    )
    return table[table["level"].isin(arms)].reset_index(drop=True)
