"""Coupons that were run otherwise than planned, by more than a furnace usually wanders."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from quenchbook.study.definition import Study
from quenchbook.study.factors import UNITS, Factor

if TYPE_CHECKING:
    from quenchbook.records.reading import Records

FAR: Final = 0.25
"""Share of the distance to the nearest other level from which a number counts as another one."""

_MOST_TOLD: Final = 3


@dataclass(frozen=True, eq=False)
class RunOtherwise:
    """What was run otherwise than planned.

    Attributes
    ----------
    flags : DataFrame of bool
        A row for each coupon, with the index of the coupons asked for; a column for each factor.
    words : str
        ``furnace load 7 at 982 °C (planned 970 °C)``; empty if nothing was.
    """

    flags: pd.DataFrame
    words: str = ""

    def any_of(self, *, but: Collection[str] = ()) -> pd.Series[bool]:
        """Whether a coupon differs in any factor, some left aside."""
        left = [name for name in self.flags if name not in but]
        return self.flags[left].any(axis=1).astype(bool)


def run_otherwise(coupons: pd.DataFrame, records: Records) -> RunOtherwise:
    """Tell for each coupon and factor whether it was run at another level than planned.

    A word differs when it is another word; a number when it lies farther from its planned level
    than a quarter of the way to the nearest other level. A furnace that stands 2 degC high is not
    marked, one that overshot by 12 degC of 30 is. What counts is the value in the records, also
    where the analysis takes the nearest declared level for it.

    Parameters
    ----------
    coupons : DataFrame
        One row for each coupon, as `Records.frame` gives them.
    records : Records

    Returns
    -------
    RunOtherwise
    """
    study = records.study
    run = coupons.copy()
    for factor in study.factors:
        if factor.column in run and factor.is_numeric:
            run[factor.column] = run[factor.column].astype(float)
    rows = sorted(
        records.deviations.to_dict("records"), key=lambda row: UNITS.index(str(row["what"]))
    )
    for row in rows:
        if row["what"] in run and study.has(str(row["item"])):
            factor = study.factor(str(row["item"]))
            there = run[factor.column].notna() & (run[factor.column] != "")
            own = (run[row["what"]].astype(str) == row["which"]) & there
            run.loc[own, factor.column] = row["actual"]
    flags = pd.DataFrame(
        {factor.name: _differs(run, factor) for factor in study.factors}, index=run.index
    ).astype(bool)
    return RunOtherwise(flags, _words(run, flags, study))


def _words(run: pd.DataFrame, flags: pd.DataFrame, study: Study) -> str:
    parts: list[str] = []
    for factor in study.factors:
        own = run[flags[factor.name]]
        unit = factor.set_for if factor.set_for in run else "coupon"
        for label, group in own.groupby(unit, sort=False):
            first = group.iloc[0]
            actual, planned = first[factor.column], first[f"{factor.column}_planned"]
            where = f"{study.unit_word(unit)} {label}"
            run_at = f"{where} at {_word(factor, actual)}"
            as_planned = f"planned {_word(factor, planned)}"
            parts.append(factor.printed.with_limits(run_at, as_planned))
    told = parts[:_MOST_TOLD]
    more = len(parts) - len(told)
    return "; ".join([*told, f"{more} more"] if more else told)


def _differs(coupons: pd.DataFrame, factor: Factor) -> np.ndarray:
    if factor.column not in coupons or f"{factor.column}_planned" not in coupons:
        return np.zeros(len(coupons), dtype=bool)
    actual, planned = coupons[factor.column], coupons[f"{factor.column}_planned"]
    if not factor.is_numeric:
        return (actual.astype(str) != planned.astype(str)).to_numpy()
    away = (actual.astype(float) - planned.astype(float)).abs().to_numpy()
    levels = np.array([float(level) for level in factor.levels])
    others = np.abs(planned.to_numpy(dtype=float)[:, None] - levels[None, :])
    others[others == 0] = np.inf
    gap = others.min(axis=1, initial=np.inf)
    return np.asarray(np.nan_to_num(away) > FAR * np.where(np.isfinite(gap), gap, 0.0))


def _word(factor: Factor, level: Any) -> str:
    if level is None or level != level or level == "":
        return "none"
    return factor.word(round(float(level)) if factor.is_numeric else level)
