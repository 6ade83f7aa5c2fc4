"""Checks that people act on: single coupons, single loads, spread, order, and the shape of a curve.

Nothing is removed by any of these. A flag starts a look at the coupon or the log; the analysis is
shown with and without.

References
----------
Grubbs (1950), Annals of Mathematical Statistics 21:27; Brown and Forsythe (1974), JASA 69:364 (both
from memory). Lack of fit against pure error: any text on regression.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from pandas.api.types import is_numeric_dtype

from quenchbook.errors import EstimabilityError, with_suggestion
from quenchbook.fit.coupon_data import CouponData
from quenchbook.fit.fitting import fitted_model
from quenchbook.fit.means import MarginalMeans
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.unit_codes import group_means
from quenchbook.made_by import made_from
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.terms import Array, Terms, Variable

SCREEN_LEVEL: Final = 0.05


@dataclass(frozen=True, eq=False, repr=False)
class Diagnostics(ShowsItself):
    """Tables of checks, with what to do about them in words.

    Attributes
    ----------
    coupons : DataFrame
        ``coupon, furnace_load, deviation, statistic, critical, flagged``: the most deviating first.
    spread : DataFrame
        ``term, statistic, p_value``: whether coupons scatter more at some levels (Brown-Forsythe).
    order : DataFrame
        ``term, stratum, estimate, p_value``: drift along furnace order and test order.
    shape : DataFrame
        ``term, df, df_error, statistic, p_value``: what a curve leaves over.
    notes : tuple of str
        What deserves a look.
    """

    coupons: pd.DataFrame
    spread: pd.DataFrame
    order: pd.DataFrame
    shape: pd.DataFrame
    notes: tuple[str, ...] = ()

    def to_frame(self) -> pd.DataFrame:
        """Return the screen of single coupons, the most deviating first."""
        return self.coupons.copy()

    def shown(self) -> Shown:
        """What deserves a look, then the checks."""
        count = len(self.notes)
        finding = f"{count} thing{'s deserve' if count > 1 else ' deserves'} a look."
        listings = {
            "Single coupons": self.coupons, "Spread": self.spread, "Order": self.order,
            "Shape of curves": self.shape,
        }  # fmt: skip
        words = finding if count else "Nothing unusual was found."
        return Shown(words, notes=self.notes, listings=listings)

    def __repr__(self) -> str:
        return f"<Diagnostics: {len(self.notes)} notes>"


def diagnostics(model: MixedModel) -> Diagnostics:
    """Check single coupons, spread, order effects and the shape of curves.

    Parameters
    ----------
    model : MixedModel

    Returns
    -------
    Diagnostics
    """
    coupons, spread = outlier_screen(model), spread_by_factor(model)
    order, shape = order_effects(model), lack_of_fit(model)
    notes = _stray_readings(model)
    for row in coupons[coupons["flagged"]].to_dict("records"):
        notes.append(
            f"Coupon {row['coupon']} lies {row['statistic']:.1f} standard deviations from what its "
            f"load and settings let expect (limit {row['critical']:.1f}). It stays. Look at the "
            "coupon "
            "and its log; leave it out only for a physical reason that is written down."
        )
    for row in spread[spread["p_value"] < SCREEN_LEVEL / max(len(spread), 1)].to_dict("records"):
        notes.append(
            f"Coupons scatter differently between the levels of {model.term_word(row['term'])} "
            f"(p {row['p_value']:.3f}): intervals are averages over both."
        )
    for row in order[order["p_value"] < SCREEN_LEVEL / max(len(order), 1)].to_dict("records"):
        notes.append(
            f"There is a drift along {row['term'].replace('_', ' ')} (p {row['p_value']:.3f}). "
            "The random order keeps it from favouring a setting, but it widens the intervals."
        )
    if model.study is not None and not model.study.order_told:
        notes.append("The order of the work is not told, so no drift was looked for.")
    for row in shape[shape["p_value"] < SCREEN_LEVEL].to_dict("records"):
        notes.append(
            f"The curve along {model.term_word(row['term'])} does not follow the means of its "
            "levels "
            f"(lack of fit, p {row['p_value']:.3f}): read the curve with care."
        )
    return made_from(Diagnostics(coupons, spread, order, shape, tuple(notes)), model)


def _stray_readings(model: MixedModel) -> list[str]:
    """Readings far from the others of their coupon, by the studentized limit of all readings."""
    groups = model.readings.groupby("coupon", sort=False)["value"]
    count = groups.transform("size").to_numpy()
    df = len(model.readings) - groups.ngroups
    if df < 3:
        return []
    distance = (model.readings["value"] - groups.transform("mean")).to_numpy()
    spread = math.sqrt(model.within_square / df)
    free = np.sqrt(1 - 1 / count)
    with np.errstate(divide="ignore", invalid="ignore"):
        statistic = np.where(free > 0, np.abs(distance) / (spread * free), 0.0)
    limit = studentized_critical(len(statistic), df)
    return [
        f"A reading of {model.readings['coupon'].iloc[place]} lies {statistic[place]:.1f} standard "
        f"deviations from the others of its coupon (limit {limit:.1f}). It stays. Look at it again."
        for place in np.flatnonzero(statistic > limit)
    ]


def grubbs_critical(count: int, *, confidence: float = 0.95) -> float:
    """Two-sided critical value of Grubbs' test for one outlier in a sample.

    Parameters
    ----------
    count : int
        Sample size, at least 3.
    confidence : float

    >>> round(grubbs_critical(8), 4)
    2.1266
    """
    return studentized_critical(count, count - 1, confidence=confidence) * math.sqrt(
        (count - 1) / count
    )


def studentized_critical(count: int, df: int, *, confidence: float = 0.95) -> float:
    """Two-sided critical value of the largest of several studentized residuals.

    Parameters
    ----------
    count : int
        Number of residuals.
    df : int
        Residual degrees of freedom, at least 2.
    """
    from scipy import special

    t = float(special.stdtrit(df - 1, 1 - (1 - confidence) / (2 * count)))
    return math.sqrt(df * t**2 / (df - 1 + t**2))


def outlier_screen(model: MixedModel) -> pd.DataFrame:
    """Studentized deviation of each coupon inside its batch, with Grubbs' limit for the largest.

    Returns
    -------
    DataFrame
        ``coupon, furnace_load, deviation, statistic, critical, flagged``, most deviating first.
    """
    stage = model.strata.coupon
    y = model.coupons["value"].to_numpy(dtype=float)
    inner, _, square = stage.solve((y - y.mean())[:, None])
    means = group_means(y[:, None], stage.finest)[:, 0]
    residuals = y - means[stage.finest] - stage.columns @ inner[:, 0]
    share = np.bincount(stage.finest)[stage.finest]
    leverage = 1.0 / share + np.einsum("ni,in->n", stage.columns, stage.rows)
    free = np.sqrt(np.maximum(1.0 - leverage, 0.0))
    spread = math.sqrt(float(square[0]) / stage.df) if stage.df else math.nan
    with np.errstate(divide="ignore", invalid="ignore"):
        statistic = np.where(free > 1e-6, np.abs(residuals) / (spread * free), np.nan)
    critical = studentized_critical(len(y), stage.df) if stage.df > 2 else math.nan
    table = pd.DataFrame(
        {
            "coupon": model.coupons["coupon"],
            "furnace_load": model.coupons.get("furnace_load", ""),
            "deviation": residuals,
            "statistic": statistic,
            "critical": critical,
            "flagged": statistic > critical,
        }
    )
    return table.sort_values("statistic", ascending=False, ignore_index=True)


def spread_by_factor(model: MixedModel, *, draws: int = 499, seed: int = 1) -> pd.DataFrame:
    """Brown-Forsythe statistic of the coupon residuals for each factor with levels.

    Residuals inside small batches mirror each other, so its usual F distribution is far too bold.
    The p value comes from normal draws sent through the same fit.

    Parameters
    ----------
    model : MixedModel
    draws : int
        Normal draws.
    seed : int

    Returns
    -------
    DataFrame
        ``term, statistic, p_value``.
    """
    stage = model.strata.coupon
    y = model.coupons["value"].to_numpy(dtype=float)
    noise = np.random.default_rng(seed).normal(size=(len(y), draws))
    values = np.column_stack([y - y.mean(), noise])
    inner, _, _ = stage.solve(values)
    residuals = values - group_means(values, stage.finest)[stage.finest] - stage.columns @ inner
    rows = []
    # with so few spare coupons the residuals mirror each other, and their spread is no news
    for variable in model.terms.variables if stage.df > 2 else ():
        if variable.name in model.terms.blocks or variable.name not in model.terms.names:
            continue
        levels = model.data.planned[variable.column]
        groups = [np.flatnonzero((levels == x).to_numpy()) for x in levels.dropna().unique()]
        groups = [group for group in groups if len(group) > 2]
        if len(groups) > 1:
            found = _brown_forsythe(residuals, groups)
            p_value = float((1 + np.sum(found[1:] >= found[0])) / (draws + 1))
            rows.append((variable.name, float(found[0]), p_value))
    return pd.DataFrame(rows, columns=["term", "statistic", "p_value"])


def _brown_forsythe(residuals: Array, groups: Sequence[npt.NDArray[np.int64]]) -> Array:
    """F of the distances from the median of each group, shape (columns,)."""
    distances = [np.abs(residuals[g] - np.median(residuals[g], axis=0)) for g in groups]
    whole = np.vstack(distances)
    between = sum(len(d) * (d.mean(axis=0) - whole.mean(axis=0)) ** 2 for d in distances)
    within = sum(((d - d.mean(axis=0)) ** 2).sum(axis=0) for d in distances)
    df = len(groups) - 1, len(whole) - len(groups)
    return np.asarray((between / df[0]) / (within / df[1]))


def _with_term(model: MixedModel, variable: Variable) -> MixedModel:
    """Refit with one more single term."""
    terms = Terms(
        (*model.terms.variables, variable),
        (
            *(n for n in model.terms.names if n not in model.terms.blocks),
            variable.name,
            *model.terms.blocks,
        ),
        model.terms.blocks,
    )
    return fitted_model(replace(model.data, terms=terms, notes=()))


def order_effects(model: MixedModel) -> pd.DataFrame:
    """Straight-line drift along the order of loads, of quenching, and of testing.

    Returns
    -------
    DataFrame
        ``term, stratum, estimate, p_value``; the estimate is the change for each step of the order.
    """
    rows = []
    told = model.study is None or model.study.order_told
    for column in ("furnace_load", "load_place", f"{model.response}_order") if told else ():
        if column not in model.coupons or not is_numeric_dtype(model.coupons[column]):
            continue
        if column == "furnace_load" and model.study is None:
            continue  # the codes of a plain data frame promise no order
        values = model.coupons[column]
        levels = tuple(sorted(values.dropna().unique().astype(float).tolist()))
        if len(levels) < 3 or values.isna().any():
            continue
        name = f"order_of_{column.removesuffix('_order')}"
        own = _with_term(model, Variable(name, column, levels, degree=1))
        if name not in own.terms.names:
            continue
        test = own.precision.test(name)
        if test is None:
            continue
        middle = sum(levels) / len(levels)
        half = max(max(levels) - middle, middle - min(levels))  # as the line is coded
        slope = float(own.precision.coefficients[own.strata.slices[name]][0, 0]) / half
        rows.append((name, own.stratum_name(test.unit), slope, float(test.p_value[0])))
    return pd.DataFrame(rows, columns=["term", "stratum", "estimate", "p_value"])


def lack_of_fit(model: MixedModel) -> pd.DataFrame:
    """What each curve leaves over, against the noise of its own unit.

    Returns
    -------
    DataFrame
        ``term, df, df_error, statistic, p_value``; empty where no curve has a spare level.
    """
    rows = []
    for variable in model.terms.variables:
        spare = len(variable.levels) - 1 - variable.degree
        if not variable.degree or spare < 1 or variable.name not in model.terms.names:
            continue
        name = f"{variable.name}_rest"
        rest = replace(
            variable, name=name, degree=variable.degree + spare, first_power=variable.degree + 1
        )
        own = _with_term(model, rest)
        test = own.precision.test(name) if name in own.terms.names else None
        if test is not None:
            numbers = (float(v[0]) for v in (test.df_error, test.statistic, test.p_value))
            rows.append((variable.name, test.df, *numbers))
    return pd.DataFrame(rows, columns=["term", "df", "df_error", "statistic", "p_value"])


def without(model: MixedModel, coupons: Sequence[str]) -> MixedModel:
    """Refit without some coupons: for a table with and without, never for silent removal.

    Parameters
    ----------
    model : MixedModel
    coupons : sequence of str
        Codes of coupons that are left out.
    """
    unknown = set(coupons) - set(model.coupons["coupon"])
    if unknown:
        names = sorted(map(str, unknown))
        words = f"{', '.join(names)} is not among the coupons."
        raise EstimabilityError(with_suggestion(words, names[0], model.coupons["coupon"]))
    data: CouponData = model.data
    keep = ~data.coupons["coupon"].isin(list(coupons))
    used = ~data.readings["coupon"].isin(list(coupons))
    words = ", ".join(str(coupon) for coupon in coupons)
    return fitted_model(
        replace(
            data,
            coupons=data.coupons[keep].reset_index(drop=True),
            planned=data.planned[keep].reset_index(drop=True),
            readings=data.readings[used].reset_index(drop=True),
            notes=(*data.notes, f"Left out for comparison: {words}."),
        ),
        df_method=model.df_method,
    )


def load_influence(contrast: MarginalMeans, *, unit: str = "furnace_load") -> pd.DataFrame:
    """How far one contrast moves when a single load is left out.

    Parameters
    ----------
    contrast : MarginalMeans
        One row.
    unit : str
        Unit that is left out, one after the other.

    Returns
    -------
    DataFrame
        ``furnace_load`` (or the unit), ``estimate, change, changes_in_se``: the change in units of
        the standard error with all loads. Loads without which it cannot be estimated have nan.
    """
    model = contrast.model
    if len(contrast.linear) != 1:
        raise EstimabilityError(f"One contrast at a time: this has {len(contrast.linear)} rows.")
    if unit not in model.coupons:
        words = f"There is no column {unit}. Units: {', '.join(model.units)}."
        raise EstimabilityError(with_suggestion(words, unit, model.units))
    whole = contrast.to_frame().iloc[0]
    rows = []
    for load, own in model.coupons.groupby(unit, sort=True):
        reduced = without(model, own["coupon"].tolist())
        if reduced.terms.names != model.terms.names:
            rows.append((load, math.nan, math.nan, math.nan))
            continue
        estimate = float(reduced.estimates(contrast.linear)[0][0])
        change = estimate - float(whole["estimate"])
        rows.append((load, estimate, change, change / float(whole["std_error"])))
    return pd.DataFrame(rows, columns=[unit, "estimate", "change", "changes_in_se"])
