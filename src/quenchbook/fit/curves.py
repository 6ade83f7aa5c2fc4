"""Response curves: hardness against austenitize temperature for each route, with all coupons."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from quenchbook.both_units import Printed
from quenchbook.errors import EstimabilityError
from quenchbook.fit.further import further_coupons
from quenchbook.fit.inversion import t_limit
from quenchbook.fit.means import adjusted_values, marginal_means
from quenchbook.fit.mixed import MixedModel
from quenchbook.made_by import made_from
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.definition import Study
from quenchbook.study.factors import Factor, Level
from quenchbook.units import listed

CURVE_POINTS = 61
MOST_PANELS = 8
_MOST_NAMED = 4  # coupons without a reading that a note names


@dataclass(frozen=True, eq=False, repr=False)
class ResponseCurves(ShowsItself):
    """Means along one factor, a curve for each level of another, and the coupons behind them.

    Attributes
    ----------
    curve : DataFrame
        ``group, x, estimate, conf_low, conf_high``, only over levels that were tried; with
        ``further_low, further_high`` where a further coupon was asked for.
    coupons : DataFrame
        ``group, x, value, furnace_load, coupon, otherwise``; `x` as run, `value` adjusted as the
        curve is, `otherwise` whether another factor than `x` was not run as planned.
    x_factor : Factor
    group_factor : Factor or None
    response_title, x_title, unit : str
        Texts for axes.
    is_curve : bool
        Whether the means along `x` are a fitted curve or single levels.
    finding : str
        What the curves show, in one sentence.
    study : Study
        Gives the words for coupons and loads.
    confidence : float
    effect_shown : bool or None
        Whether a test of `x`, alone or together with the groups, shows an effect.
    notes : tuple of str
    absent : DataFrame
        ``group, x, furnace_load, coupon`` of planned coupons without a reading.
    """

    curve: pd.DataFrame
    coupons: pd.DataFrame
    x_factor: Factor
    group_factor: Factor | None
    response_title: str
    x_title: str
    unit: str
    is_curve: bool
    finding: str
    study: Study
    confidence: float = 0.95
    effect_shown: bool | None = None
    notes: tuple[str, ...] = ()
    absent: pd.DataFrame = field(default_factory=pd.DataFrame)

    def to_frame(self) -> pd.DataFrame:
        """Return the curve at full precision."""
        return self.curve.copy()

    def shown(self) -> Shown:
        """What the curves show; the curve itself is long, so it is folded."""
        listings = {"Curve": self.curve, "Coupons": self.coupons}
        return Shown(self.finding, None, self.notes, (), listings, self.confidence)

    def __repr__(self) -> str:
        groups = self.curve["group"].nunique()
        count = len(self.coupons)
        return f"<ResponseCurves of {self.response_title}: {groups} curves, {count} coupons>"


def curve_factors(model: MixedModel) -> tuple[str | None, str | None]:
    """Factor along the axis of the response curves, and the factor of the panels.

    Returns
    -------
    x, group : str or None
        First numeric factor that is set for a furnace load, first named factor of at most eight
        levels.
    """
    if model.study is None:
        return None, None
    names = [variable.name for variable in model.terms.variables]
    own = [factor for factor in model.study.factors if factor.name in names]
    x = next((f.name for f in own if f.is_numeric and f.set_for == "furnace_load"), None)
    group = next((f.name for f in own if not f.is_numeric and len(f.levels) <= MOST_PANELS), None)
    return x, group


def response_curves(
    model: MixedModel, x: str, group: str | None = None, *, further: bool = False
) -> ResponseCurves:
    """Means along a numeric factor, for each level of a named one.

    Parameters
    ----------
    model : MixedModel
        Of a study.
    x : str
        Numeric factor along the axis.
    group : str, optional
        Named factor; each level gets its own curve.
    further : bool
        Whether to tell also where one further coupon is expected, see
        `quenchbook.fit.further.further_coupons`.

    Returns
    -------
    ResponseCurves
        On the log scale values are turned back to the unit of the response.
    """
    study = model.study
    if study is None:
        raise EstimabilityError("Response curves need a study: its factors name axes and panels.")
    x_factor = study.factor(x)
    group_factor = study.factor(group) if group else None
    is_curve = x_factor.shape != "levels"
    levels = [float(level) for level in x_factor.levels]
    points: list[Level] = list(levels)
    if is_curve:
        points = [float(point) for point in np.linspace(min(levels), max(levels), CURVE_POINTS)]
    by = [x, *([group] if group else [])]
    means = marginal_means(model, by, at={x: points})
    table = means.to_frame()
    curve = pd.DataFrame(
        {
            "group": table[group_factor.column] if group_factor else "",
            "x": table[x_factor.column],
            **{name: table[name] for name in ("estimate", "conf_low", "conf_high")},
        }
    )
    names = ["estimate", "conf_low", "conf_high"]
    if further:
        curve = curve.join(further_coupons(means))
        names += ["further_low", "further_high"]
    coupons = pd.DataFrame(
        {
            "group": model.coupons[group_factor.column] if group_factor else "",
            "x": model.coupons[x_factor.column],
            "value": adjusted_values(model, by),
            "furnace_load": model.coupons["furnace_load"],
            "coupon": model.coupons["coupon"],
            "otherwise": _otherwise(model, x),
        }
    )
    response = study.response(model.response)
    if model.scale == "log":
        curve[names] = np.exp(curve[names])
        coupons["value"] = np.exp(coupons["value"])
    band = f"Bands are {model.confidence:.0%} intervals at each single point."
    notes = [*means.notes, band.replace("%", "\u00a0%")]
    if further:
        load = study.unit_word("furnace_load")
        notes.append(
            f"A further {study.unit_word('coupon')} is one of a new {load}, read as often as the "
            "others; its range is expected, not tested."
        )
    if group and not any({x, group} <= set(name.split(":")) for name in model.terms.names):
        notes.append(
            f"The curves are parallel by assumption: {model.term_word(f'{x}:{group}')} was not "
            "analysed."
        )
    if is_curve:
        shape = "straight lines" if x_factor.shape == "linear" else "quadratic"
        notes.append(f"Curves are {shape}, fitted at the settings that were really run.")
    made = ResponseCurves(
        curve=curve.reset_index(drop=True),
        coupons=coupons.reset_index(drop=True),
        x_factor=x_factor,
        group_factor=group_factor,
        response_title=response.axis_title,
        x_title=x_factor.axis_title,
        unit=response.unit,
        is_curve=is_curve,
        finding=_finding(curve, response.quantity, x_factor, group_factor),
        study=study,
        confidence=model.confidence,
        effect_shown=_effect_shown(model, x, group),
        notes=(*notes, *state_notes(model)),
        absent=_absent(model, x_factor, group_factor),
    )
    return made_from(made, model)


def state_notes(model: MixedModel) -> tuple[str, ...]:
    """Which coupons have no reading, and what was run otherwise than planned."""
    if model.study is None:
        return ()
    notes = []
    if len(absent := model.data.absent):
        names = listed([str(coupon) for coupon in absent["coupon"]][:_MOST_NAMED])
        more = len(absent) - _MOST_NAMED
        notes.append(f"Without a reading: {names}{f' and {more} more' if more > 0 else ''}.")
    if (own := model.data.otherwise) is not None and own.words:
        notes.append(f"Run otherwise than planned: {own.words}.")
    return tuple(notes)


def _otherwise(model: MixedModel, *but: str) -> pd.Series[bool]:
    own = model.data.otherwise
    if own is None:
        return pd.Series(False, index=model.coupons.index)
    return own.any_of(but=but)


def _absent(model: MixedModel, x: Factor, group: Factor | None) -> pd.DataFrame:
    absent = model.data.absent
    if absent.empty:
        return pd.DataFrame(columns=["group", "x", "furnace_load", "coupon"])
    return pd.DataFrame(
        {
            "group": absent[group.column] if group else "",
            "x": absent[x.column],
            "furnace_load": absent["furnace_load"],
            "coupon": absent["coupon"],
        }
    )


def _effect_shown(model: MixedModel, x: str, group: str | None) -> bool | None:
    """Whether any test of x or of x by group is below the level, halved for two tests."""
    wanted = [{x}, {x, group}] if group else [{x}]
    tests = model.tests()
    own = tests[[set(str(term).split(":")) in wanted for term in tests["term"]]]["p_value"].dropna()
    if own.empty:
        return None
    return bool((own < (1 - model.confidence) / len(own)).any())


def _finding(curve: pd.DataFrame, quantity: str, x: Factor, group: Factor | None) -> str:
    """Say at which tried level each curve is highest, without a claim that it differs."""
    parts = []
    for name, own in curve.groupby("group", sort=False):
        place = int(np.argmax(own["estimate"].to_numpy()))
        at = x.word(float(round(own["x"].to_numpy()[place])))
        parts.append(f"{group.word(str(name))} at {at}" if group else at)
    title = quantity[:1].upper() + quantity[1:]
    return f"{title} is estimated highest for {', '.join(parts)}."


@dataclass(frozen=True, eq=False, repr=False)
class FurnaceOrder(ShowsItself):
    """Coupon deviations by furnace load in time order.

    Attributes
    ----------
    coupons : DataFrame
        ``furnace_load, day, coupon, deviation, otherwise``.
    loads : DataFrame
        ``furnace_load, day, level, mean, conf_low, conf_high, otherwise``; the last tells whether
        the load was not run at its planned level.
    load_sd : float
        Standard deviation between loads, by REML.
    quantity, unit : str
    study : Study
    notes : tuple of str
    absent : DataFrame
        ``furnace_load, coupon`` of planned coupons without a reading.
    """

    coupons: pd.DataFrame
    loads: pd.DataFrame
    load_sd: float
    quantity: str
    unit: str
    study: Study
    notes: tuple[str, ...] = ()
    absent: pd.DataFrame = field(default_factory=pd.DataFrame)

    def to_frame(self) -> pd.DataFrame:
        """Return the loads at full precision."""
        return self.loads.copy()

    def shown(self) -> Shown:
        """How much loads scatter, then each load."""
        sd = self.printed.difference(self.load_sd, 2)
        word = self.study.unit_word("furnace_load", 2)
        finding = f"Between {word} {self.quantity} scatters with a standard deviation of {sd}."
        return Shown(finding, self.loads, self.notes, (), {"Coupons": self.coupons})

    def __repr__(self) -> str:
        return f"<FurnaceOrder of {self.quantity}: {len(self.loads)} loads>"

    @property
    def printed(self) -> Printed:
        """How deviations stand in print."""
        return Printed(self.unit, self.study.publishing.units)


def furnace_order(model: MixedModel) -> FurnaceOrder:
    """Deviations from the fitted fixed part, load by load in the order they were run."""
    study = model.study
    if study is None:
        raise EstimabilityError("Furnace order needs a study with its coupon matrix.")
    setting = next((f for f in study.factors if f.set_for == "furnace_load"), None)
    table = model.coupons[["furnace_load", "day", "coupon"]].assign(
        deviation=model.residuals(), otherwise=_otherwise(model, setting.name if setting else "")
    )
    told = model.data.otherwise
    moved = told.flags[setting.name] if told is not None and setting else table["otherwise"] & False
    rows = []
    spread = float(np.sqrt(model.precision.components["coupon"][0]))
    for load, own in table.groupby("furnace_load"):
        mean, count = float(own["deviation"].mean()), len(own)
        df = float(model.precision.df_error["coupon"][0])
        half = float(t_limit(max(df, 1.0), model.confidence)) * spread / np.sqrt(count)
        first = model.coupons.loc[own.index[0]]
        level = (
            setting.set_word(first.get(f"{setting.column}_planned", first[setting.column]))
            if setting
            else ""
        )
        ends = (mean, mean - half, mean + half)
        rows.append((load, int(own["day"].iloc[0]), level, *ends, bool(moved[own.index].any())))
    columns = ["furnace_load", "day", "level", "mean", "conf_low", "conf_high", "otherwise"]
    response = study.response(model.response)
    quantity = f"logarithm of {response.quantity}" if model.scale == "log" else response.quantity
    made = FurnaceOrder(
        coupons=table.reset_index(drop=True),
        loads=pd.DataFrame(rows, columns=columns),
        load_sd=float(np.sqrt(model.variances.get("furnace_load", 0.0))),
        quantity=quantity,
        unit="" if model.scale == "log" else response.unit,
        study=study,
        notes=(
            "Deviations from the fitted means; the band of a load shows coupon noise only.",
            *state_notes(model),
        ),
        absent=model.data.absent.reindex(columns=["furnace_load", "coupon"]),
    )
    return made_from(made, model)
