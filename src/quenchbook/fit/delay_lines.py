"""A line against the logarithm of the delay for each route, with the coupons behind it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from quenchbook.fit.delay_rows import decade_row, delay_rows
from quenchbook.fit.effective_delays import ANY_ROUTE, EffectiveDelays
from quenchbook.fit.means import adjusted_values, marginal_means
from quenchbook.fit.mixed import MixedModel, interval_frame
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.definition import Study
from quenchbook.study.factors import Level

_POINTS: Final = 31


@dataclass(frozen=True, eq=False, repr=False)
class DelayLines(ShowsItself):
    """Lines, coupons and changes for each decade, by route.

    Attributes
    ----------
    line : DataFrame
        ``group, minutes_until_cold, estimate, conf_low, conf_high``: from the shortest to the
        longest delay of each route.
    coupons : DataFrame
        ``group, delay_minutes, minutes_until_cold, value, furnace_load, cold_batch, coupon``;
        `value` is adjusted to an even mix of the other factors.
    changes : DataFrame
        ``group, estimate, std_error, df, conf_low, conf_high``: change for each decade.
    without : dict of level to float
        Means of the levels that have no delay.
    delays : EffectiveDelays
    study : Study
    response, unit, scale : str
    confidence : float
    tie : str
        Unit whose coupons are tied in a figure: the one the delay is set for.
    mixed : tuple of str
        Factors that were evened out, in print.
    """

    line: pd.DataFrame
    coupons: pd.DataFrame
    changes: pd.DataFrame
    without: dict[Level, float]
    delays: EffectiveDelays
    study: Study
    response: str
    unit: str
    scale: str
    confidence: float
    tie: str
    mixed: tuple[str, ...] = ()

    def to_frame(self) -> pd.DataFrame:
        """Return the changes for each decade at full precision."""
        return self.changes.copy()

    def shown(self) -> Shown:
        """How many lines fall, then the change of each."""
        falls = int((self.changes["conf_high"] < 0).sum())
        finding = f"The response falls along the delay in {falls} of {len(self.changes)} lines."
        return Shown(finding, self.changes, confidence=self.confidence)

    def __repr__(self) -> str:
        return f"<DelayLines of {self.response}: {len(self.changes)} lines>"


def delay_lines(
    model: MixedModel, delays: EffectiveDelays, *, confidence: float = 0.95
) -> DelayLines:
    """Line, coupons and change for each decade of every route that has a delay.

    Parameters
    ----------
    model : MixedModel
        Of a study, with the delays as levels (or as a line in decades).
    delays : EffectiveDelays
    confidence : float

    Returns
    -------
    DelayLines
        On the log scale lines and coupons are turned back to the unit of the response; changes
        stay natural logarithms.
    """
    study = model.study
    assert study is not None  # delays are those of a study
    factor = delays.factor
    lines, changes = [], []
    for route in delays.routes:
        at = {factor.nested_in: route} if route != ANY_ROUTE else {}
        slope = decade_row(model.terms, delays, at)
        x = delays.decades(route)
        places = np.linspace(x.min(), x.max(), _POINTS)
        if model.terms.variable(factor.name).degree:
            middle = delay_rows(model.terms, delays, route, at, levels=(float(x.mean()),))[0]
        else:
            middle = delay_rows(model.terms, delays, route, at).mean(axis=0)
        rows = middle + (places - x.mean())[:, None] * slope
        table = interval_frame(model, rows, confidence)
        own = table[["estimate", "conf_low", "conf_high"]]
        own.insert(0, "minutes_until_cold", 10.0**places)
        own.insert(0, "group", [route] * len(own))
        lines.append(own)
        found = interval_frame(model, slope[None, :], confidence)
        found.insert(0, "group", [route])
        changes.append(found)
    line = pd.concat(lines, ignore_index=True)
    coupons = _coupons(model, delays)
    without = _without(model, delays)
    if model.scale == "log":
        names = ["estimate", "conf_low", "conf_high"]
        line[names] = np.exp(line[names])
        coupons["value"] = np.exp(coupons["value"])
        without = {level: float(np.exp(value)) for level, value in without.items()}
    held = {factor.name, factor.nested_in, *model.terms.blocks}
    mixed = tuple(model.term_word(v.name) for v in model.terms.variables if v.name not in held)
    return DelayLines(
        line=line,
        coupons=coupons,
        changes=pd.concat(changes, ignore_index=True),
        without=without,
        delays=delays,
        study=study,
        response=model.response,
        unit=model.unit,
        scale=model.scale,
        confidence=confidence,
        tie=factor.set_for,
        mixed=mixed,
    )


def _coupons(model: MixedModel, delays: EffectiveDelays) -> pd.DataFrame:
    """Coupons with a delay, adjusted, with their time until cold."""
    factor, data = delays.factor, model.coupons
    parent = factor.nested_in
    by = [factor.name, *([parent] if parent else [])]
    planned = model.data.planned[factor.column]
    group = data[parent] if parent else pd.Series(ANY_ROUTE, index=data.index)
    minutes = pd.Series(np.nan, index=data.index)
    for route in delays.routes:
        known = dict(zip(map(float, factor.levels), delays.of(route), strict=True))
        minutes = minutes.where(group != route, planned.map(known))
    table = pd.DataFrame(
        {
            "group": group,
            "delay_minutes": planned,
            "minutes_until_cold": minutes,
            "value": adjusted_values(model, by),
            "furnace_load": data["furnace_load"],
            "cold_batch": data.get("cold_batch", data["furnace_load"]),
            "coupon": data["coupon"],
        }
    )
    return table.dropna(subset=["minutes_until_cold", "value"]).reset_index(drop=True)


def _without(model: MixedModel, delays: EffectiveDelays) -> dict[Level, float]:
    """Mean of each level that has no delay, such as no cold step."""
    parent = delays.factor.nested_in
    if not parent:
        return {}
    levels = [x for x in model.terms.variable(parent).levels if x not in delays.routes]
    if not levels:
        return {}
    means = marginal_means(model, parent, at={parent: levels})
    values = means.linear @ model.precision.coefficients[:, 0]
    return dict(zip(levels, map(float, values), strict=True))
