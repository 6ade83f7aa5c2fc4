"""The noise budget: how much of the scatter comes from indents, coupons, batches and loads."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from quenchbook.both_units import Printed, PrintedUnits
from quenchbook.errors import EstimabilityError
from quenchbook.fit.means import MarginalMeans
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.unit_codes import is_nested
from quenchbook.made_by import made_from
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.terms import Array
from quenchbook.units import listed


@dataclass(frozen=True, eq=False, repr=False)
class NoiseBudget(ShowsItself):
    """Standard deviation of each stratum with its interval, and the deviations behind it.

    Attributes
    ----------
    components : DataFrame
        ``stratum, count, variance, sd, conf_low, conf_high``, from slow to quick.
    deviations : mapping of stratum to ndarray
        Shrunken deviation of each load, batch and coupon; plain residuals of indents.
    quantity, unit : str
    stratum_words : mapping
        Word of each stratum in print.
    confidence : float
    notes : tuple of str
    units : str
        Units in print: ``metric`` or ``both``.
    """

    components: pd.DataFrame
    deviations: Mapping[str, Array]
    quantity: str
    unit: str
    stratum_words: Mapping[str, str]
    confidence: float = 0.95
    notes: tuple[str, ...] = ()
    units: PrintedUnits = "metric"

    @property
    def printed(self) -> Printed:
        """How standard deviations stand in print."""
        return Printed(self.unit, self.units)

    def to_frame(self) -> pd.DataFrame:
        """Return the table of components."""
        return self.components.copy()

    def shown(self) -> Shown:
        """The largest part of the scatter, then each standard deviation with its interval."""
        own = self.components
        words = []
        for row in own.to_dict("records"):
            sd = self.printed.difference(row["sd"], 2)
            limits = self.printed.limits(row["conf_low"], row["conf_high"], 2)
            words.append(f"{self.stratum_words[row['stratum']]} {sd} ({limits})")
        most = words[int(own["variance"].to_numpy().argmax())]
        return Shown(
            f"The scatter of {self.quantity} is largest between: {most}; in all: "
            f"{listed(words)}.",
            own, self.notes, ("Standard deviations by restricted maximum likelihood.",),
            confidence=self.confidence, unit=self.unit,
        )  # fmt: skip

    def __repr__(self) -> str:
        return f"<NoiseBudget of {self.quantity}: {', '.join(self.components['stratum'])}>"


def noise_budget(model: MixedModel) -> NoiseBudget:
    """Split the scatter of a response over its strata.

    Parameters
    ----------
    model : MixedModel

    Returns
    -------
    NoiseBudget
    """
    components = model.variance_components
    deviations = predicted_deviations(model)
    if "indent" in set(components["stratum"]):
        means = model.readings.groupby("coupon", sort=False)["value"].transform("mean")
        deviations["indent"] = (model.readings["value"] - means).to_numpy(dtype=float)
    notes = ["Deviations are shrunken estimates."]
    if "indent" in set(components["stratum"]):
        notes = ["Deviations are shrunken estimates; those of indents are plain residuals."]
    for row in components.itertuples():
        if row.variance == 0:
            units = model.unit_word(str(row.stratum), 2)
            notes.append(
                f"Variation between {units} is estimated as 0: {row.count} {units} cannot show "
                "it, which is "
                f"no proof that they agree. They stay in the tests."
            )
    response = model.study.response(model.response) if model.study else None
    unit = "" if model.scale == "log" else model.unit
    quantity = response.quantity if response else model.response
    if model.scale == "log":
        quantity = f"logarithm of {quantity}"
        notes.append("On the log scale: 0.10 is about 10 %.")
    made = NoiseBudget(
        components=components,
        deviations=deviations,
        quantity=quantity,
        unit=unit,
        stratum_words={u: model.unit_word(str(u)) for u in components["stratum"]},
        confidence=model.confidence,
        notes=tuple(notes),
        units=model.printed.units,
    )
    return made_from(made, model)


def error_shares(contrast: MarginalMeans) -> pd.DataFrame:
    """Where the error of a contrast comes from, and what would halve it.

    Parameters
    ----------
    contrast : MarginalMeans
        One row.

    Returns
    -------
    DataFrame
        ``stratum, share, times_to_halve``: share of the variance of the contrast by unit (REML
        components), and how many times as many of these units, with all that they hold, would
        halve its standard error; inf where no number of them would.
    """
    if len(contrast.linear) != 1:
        raise EstimabilityError(f"One contrast at a time: this has {len(contrast.linear)} rows.")
    model = contrast.model
    weights = model.strata.coupon_weights(contrast.linear[0])
    variances = model.variances
    parts: dict[str, float] = {}
    for unit, codes in model.estimable_codes().items():
        sums = np.bincount(codes, weights)
        parts[unit] = variances[unit] * float(sums @ sums)
    parts["coupon"] = variances["coupon"] * float(weights @ weights)
    if "indent" in variances:
        readings = model.coupons["readings"].to_numpy(dtype=float)
        parts["indent"] = variances["indent"] * float(weights**2 @ (1 / readings))
    total = sum(parts.values())
    rows = []
    for unit, part in parts.items():
        inside = sum(parts[other] for other in parts if _is_inside(model, other, unit))
        room = total / 4 - (total - inside)
        times = inside / room if room > 0 else math.inf
        share = part / total if total else math.nan
        rows.append((model.stratum_name(unit), 0.0 if share < 1e-12 else share, times))
    return pd.DataFrame(rows, columns=["stratum", "share", "times_to_halve"])


def _is_inside(model: MixedModel, inner: str, unit: str) -> bool:
    """Whether more of a unit bring more of another one: itself, what it holds, and readings."""
    order = {"coupon": 1, "indent": 2}
    if inner in order:
        return order[inner] >= order.get(unit, 0)
    if unit in order:
        return False
    codes = model.strata.codes
    return inner == unit or is_nested(codes[inner], codes[unit])


def predicted_deviations(model: MixedModel) -> dict[str, Array]:
    """Shrunken deviation of each load, batch and coupon (best linear prediction)."""
    state = model.reml.state
    found = {unit: values[0] for unit, values in model.reml.deviations().items()}
    effects = state.effects[0]
    values = model.coupons["value"].to_numpy(dtype=float)
    rest = values - values.mean() - model.fixed_matrix() @ effects[: state.data.fixed]
    start = state.data.fixed
    for codes in model.estimable_codes().values():
        rest = rest - effects[start : start + int(codes.max()) + 1][codes]
        start += int(codes.max()) + 1
    own = model.variances["coupon"]
    indent = model.variances.get("indent", 0.0) / model.coupons["readings"].to_numpy(dtype=float)
    found["coupon"] = rest * own / (own + indent)
    return found


def sd_limits(model: MixedModel) -> dict[str, tuple[float, float]]:
    """Limits of the standard deviation of each stratum.

    Modified large-sample limits from the strata's mean squares (Burdick and Graybill 1992,
    Confidence Intervals on Variance Components; from memory): exact for a single mean square, and
    close to their level for the difference of two, which a variance component is.

    Returns
    -------
    dict of stratum to (low, high)
        nan where a stratum has no error df.
    """
    from scipy import special

    names, weights, square, df = stratum_equations(model)
    alpha = 1 - model.confidence
    upper_quantile, lower_quantile = (
        special.chdtri(df, alpha / 2),
        special.chdtri(df, 1 - alpha / 2),
    )
    shrink, stretch = 1 - df / upper_quantile, df / lower_quantile - 1
    limits = dict.fromkeys(
        (*(stage.unit for stage in model.strata.stages), *names), (np.nan, np.nan)
    )
    for row, name in enumerate(names):
        own = np.where(np.abs(weights[row]) < 1e-12, 0.0, weights[row])
        middle = float(own @ square)
        size = (own * square) ** 2
        positive = own > 0
        below = float(np.sqrt(np.sum(size * np.where(positive, shrink, stretch) ** 2)))
        above = float(np.sqrt(np.sum(size * np.where(positive, stretch, shrink) ** 2)))
        limits[name] = (
            float(np.sqrt(max(middle - below, 0.0))),
            float(np.sqrt(max(middle + above, 0.0))),
        )
    return limits


def stratum_equations(model: MixedModel) -> tuple[list[str], Array, Array, Array]:
    """Mean squares of the strata, and how a variance component follows from them.

    Returns
    -------
    names : list of str
        Units whose stratum has error df.
    weights : ndarray, shape (units, units)
        A row for each unit: its component is ``weights @ squares``.
    squares, dfs : ndarray, shape (units,)
        Mean squares and their error df.
    """
    precision, strata = model.precision, model.strata
    names, squares, dfs = [], [], []
    for stage in strata.stages:
        names.append(stage.unit)
        squares.append(float(precision.mean_squares[stage.unit][0]))
        dfs.append(float(precision.df_error[stage.unit][0]))
    expectation = np.zeros((len(names), len(names)))
    expectation[names.index("coupon"), names.index("coupon")] = 1.0
    for stage in strata.batches:
        if stage.df:
            for other, weight in precision.expected_weights(stage).items():
                expectation[names.index(stage.unit), names.index(other)] = weight
    within_df = len(model.readings) - len(model.coupons)
    if within_df > 0:
        inverse_readings = float(np.mean(1.0 / model.coupons["readings"]))
        expectation = np.pad(expectation, ((0, 1), (0, 1)))
        expectation[:-1, -1] = expectation[:-1, 0] * inverse_readings
        expectation[-1, -1] = 1.0
        names, dfs = [*names, "indent"], [*dfs, float(within_df)]
        squares.append(model.within_square / within_df)
    usable = [place for place, df in enumerate(dfs) if df > 0]
    expectation = expectation[np.ix_(usable, usable)]
    weights = np.linalg.pinv(expectation)
    kept = [names[place] for place in usable]
    own_squares: Array = np.array(squares, dtype=float)[usable]
    own_dfs: Array = np.array(dfs, dtype=float)[usable]
    return kept, np.asarray(weights, dtype=float), own_squares, own_dfs
