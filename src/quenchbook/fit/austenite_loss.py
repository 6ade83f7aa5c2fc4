"""What measured hardness and length say of the retained austenite that each cold route removed.

Hardness is compared as a share: how much of the gain of the coldest route another route has. While
martensite of one carbon forms, gain is in proportion to the austenite that is lost, and then the
share does not depend on how much austenite there was; Koistinen and Marburger's equation expects a
range for it. Per cent of austenite come from lengths where they were read, and otherwise only as
the wide range that the hardness cost of austenite allows. The share of austenite itself is never
told: only what was lost can be seen.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from quenchbook.errors import EstimabilityError
from quenchbook.fit.inversion import Piece, excess_runs, hull, t_limit, with_open_ends
from quenchbook.fit.mean_rows import mean_rows
from quenchbook.fit.mixed import MixedModel, interval_frame
from quenchbook.made_by import made_from
from quenchbook.metallurgy.cooling import DRY_ICE_C, NITROGEN_C
from quenchbook.metallurgy.cooling_times import FREEZER_C
from quenchbook.metallurgy.martensite import RATIO_RATE_RANGE, ROOM_C, retained_fraction
from quenchbook.metallurgy.quenched_hardness import COST_HRC
from quenchbook.records.lengths import length_changes
from quenchbook.records.reading import Records
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.definition import Study
from quenchbook.study.factors import Level, route_key
from quenchbook.study.terms import Array
from quenchbook.units import interval_text, listed, number_text, with_unit

ROUTE_C: Final[Mapping[str, float]] = {
    "freezer": FREEZER_C, "dry_ice": DRY_ICE_C, "liquid_nitrogen": NITROGEN_C,
}  # fmt: skip
LOSS_FRAME: Final = (
    "cold_route", "gain", "gain_low", "gain_high", "gain_share", "gain_share_low",
    "gain_share_high", "expected_share_low", "expected_share_high", "lost_by_hardness_low",
    "lost_by_hardness_high", "coupons_with_lengths", "lost_by_length", "lost_by_length_low",
    "lost_by_length_high",
)  # fmt: skip
_SHOWN: Final = (
    ("gain, HRC", "gain", 2), ("share of the gain", "gain_share", 2),
    ("share expected", "expected_share", 2),
    ("austenite lost by hardness, %", "lost_by_hardness", 0),
    ("austenite lost by length, %", "lost_by_length", 1),
)  # fmt: skip
_SHARES: Final = np.linspace(-1.0, 3.0, 101)


@dataclass(frozen=True, eq=False, repr=False)
class AusteniteLosses(ShowsItself):
    """Austenite that became martensite in each cold route, as far as the records tell.

    Attributes
    ----------
    frame : DataFrame
        One row for each route, columns `LOSS_FRAME`: gain over no cold step [HRC]; its share of the
        gain of the coldest route, with the range expected of it; austenite lost [% of the steel] by
        hardness (a range from a prior) and by length (measured). Blank is not known; infinite is no
        limit.
    notes : tuple of str
    """

    frame: pd.DataFrame
    notes: tuple[str, ...] = ()

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of the table."""
        return self.frame.copy()

    def shown(self) -> Shown:
        """Which route removes most, then the table."""
        gains = self.frame.dropna(subset=["gain"])
        if gains.empty:
            return Shown("What a cold step removes is not known.", notes=self.notes)
        row = gains.iloc[int(gains["gain"].to_numpy().argmax())]
        route = str(row["cold_route"]).replace("_", " ")
        gain = number_text(float(row["gain"]), 2, sign=True)
        limits = interval_text(float(row["gain_low"]), float(row["gain_high"]), 2, sign=True)
        finding = f"The most is gained with {route}: {with_unit(gain, 'HRC')} ({limits})."
        return Shown(finding, self._written(), self.notes)

    def __repr__(self) -> str:
        return f"<AusteniteLosses: {len(self.frame)} routes>"

    def _written(self) -> pd.DataFrame:
        """Table for people: each value with its interval in one cell, blank where not known."""
        own = self.frame
        told = pd.DataFrame({"cold_route": own["cold_route"]})
        for title, name, decimals in _SHOWN:
            ends = own[[f"{name}_low", f"{name}_high"]].itertuples(index=False)
            middles = own[name] if name in own else [np.nan] * len(own)
            told[title] = [
                "" if low != low
                else interval_text(low, high, decimals) if middle != middle
                else f"{number_text(middle, decimals)} ({interval_text(low, high, decimals)})"
                for middle, (low, high) in zip(middles, ends, strict=True)
            ]  # fmt: skip
        return told.loc[:, (told != "").any()]


def expected_share(cold_c: float, coldest_c: float) -> tuple[float, float]:
    """Share of the austenite that the coldest route removes, expected of a warmer one.

    (1 - exp(-rate (20 - T))) / (1 - exp(-rate (20 - Tc))) for rates of 0.008 to 0.020 1/K.

    Parameters
    ----------
    cold_c, coldest_c : float
        [degC], below room temperature.

    Returns
    -------
    low, high : float

    References
    ----------
    Koistinen and Marburger, Acta Metall. 7 (1959) 59. No delay before the cold step.

    Examples
    --------
    >>> low, high = expected_share(-18.0, -78.0)
    >>> round(low, 2), round(high, 2)
    (0.48, 0.62)
    """
    rates = np.array(RATIO_RATE_RANGE)
    lost, most = (1.0 - retained_fraction(ROOM_C, own, rates) for own in (cold_c, coldest_c))
    share = lost / most
    return float(share.min()), float(share.max())


def austenite_losses(
    records: Records, model: MixedModel, *, at: Mapping[str, Level] | None = None
) -> AusteniteLosses:
    """Compare the cold routes by hardness and by length.

    Parameters
    ----------
    records : Records
    model : MixedModel
        Of a Rockwell hardness with the factor ``cold_route``.
    at : mapping of factor to level, optional
        Where it is asked, of hardness and of lengths; other factors are averaged evenly for the
        hardness, and over the coupons that were measured for the lengths.

    Returns
    -------
    AusteniteLosses

    Raises
    ------
    EstimabilityError
        If hardness was not measured in HRC, or no coupon went without a cold step: then nothing
        tells what a route removed.
    """
    levels = next((v.levels for v in model.terms.variables if v.name == "cold_route"), ())
    routes = [str(own) for key in ROUTE_C for own in levels if route_key(own) == key]
    if model.unit != "HRC" or model.scale == "log":
        raise EstimabilityError(
            f"{model.response} is not a Rockwell hardness in HRC; only that is compared with the "
            "cost of retained austenite."
        )
    if "none" not in levels or not routes or "cold_route" not in model.terms.names:
        raise EstimabilityError(
            "What a cold route removed is seen against coupons without a cold step; the study has "
            "none, or none of freezer, dry ice and liquid nitrogen."
        )
    held = {name: (level,) for name, level in (at or {}).items()}
    rows, first = mean_rows(model.terms, ["cold_route"], {**held, "cold_route": ("none", *routes)})
    place = {route: number for number, route in enumerate(first["cold_route"])}
    gains = np.array([rows[place[route]] - rows[place["none"]] for route in routes])
    table = interval_frame(model, gains, model.confidence)
    coldest = routes[-1]
    cheap, dear = COST_HRC
    lengths, short = _lost_by_length(records, model, at or {})
    found, gaps = [], []
    for number, route in enumerate(routes):
        own = table.iloc[number]
        share: tuple[float, float, float] = (np.nan, np.nan, np.nan)
        expected = (np.nan, np.nan)
        if route != coldest:
            value, pieces = gain_share(model, gains[number], gains[-1])
            share = (value, *hull(pieces))
            if len(pieces) > 1:
                gaps.append(gap_words(_route_word(records, route), pieces))
            expected = expected_share(ROUTE_C[route_key(route)], ROUTE_C[route_key(coldest)])
        found.append(
            (route, own["estimate"], own["conf_low"], own["conf_high"], *share, *expected,
             max(own["conf_low"], 0.0) / dear, max(own["conf_high"], 0.0) / cheap,
             *lengths.get(route, (0, np.nan, np.nan, np.nan)))
        )  # fmt: skip
    frame = pd.DataFrame(found, columns=list(LOSS_FRAME))
    found_notes = (*_notes(frame, coldest, records, short), *gaps)
    return made_from(AusteniteLosses(frame, found_notes), records)


def gain_share(model: MixedModel, gain: Array, coldest: Array) -> tuple[float, list[Piece]]:
    """Ratio of two gains, and every ratio whose contrast gain - ratio x coldest may be 0.

    Parameters
    ----------
    model : MixedModel
    gain, coldest : ndarray, shape (coefficients,)
        Weights of the coefficients in the two gains.

    Returns
    -------
    float, list of (float, float)
        The set by inverting the t test of that contrast, in pieces; ends beyond -1 or 3 are
        infinite.
    """
    both = model.precision.coefficients[:, 0]
    value = float(gain @ both) / float(coldest @ both)

    def excess(share: Array) -> Array:
        table = interval_frame(model, gain - share[:, None] * coldest, model.confidence)
        return np.asarray(np.maximum(table["conf_low"].to_numpy(), -table["conf_high"].to_numpy()))

    low, high = float(_SHARES[0]), float(_SHARES[-1])
    return value, with_open_ends(excess_runs(excess, _SHARES, known=[value]), low, high)


def gap_words(word: str, pieces: list[Piece]) -> str:
    """Say that a share lies in one of several pieces, which its two ends alone would hide."""
    told = [
        f"at most {number_text(high, 2)}" if np.isinf(low)
        else f"at least {number_text(low, 2)}" if np.isinf(high)
        else interval_text(low, high, 2)
        for low, high in pieces
    ]  # fmt: skip
    return (
        f"{word}: the share is {' or '.join(told)}; what lies between is excluded. The gain of the "
        "coldest route is too unsure for two limits."
    )


def _route_word(records: Records, route: str) -> str:
    return records.study.factor("cold_route").word(route)


def _lost_by_length(
    records: Records, model: MixedModel, at: Mapping[str, Level]
) -> tuple[dict[str, tuple[int, float, float, float]], dict[str, tuple[str, ...]]]:
    """What lengths say of each route, and which factors they do not cover.

    Returns
    -------
    lost : mapping of route to (coupons, per cent lost, low, high)
        The range of the readings and of the carbon, and beyond it the scatter of batches.
    short : mapping of route to names of factors
        Averaged for the hardness over levels at which no length was read.
    """
    study, frame = records.study, records.matrix.frame
    lengths = length_changes(records).to_frame()
    for name, level in at.items():
        frame = frame[frame[study.factor(name).column] == level]
    table = lengths.merge(frame, on="coupon")
    # a temper comes after the lengths, so these are the same whatever it is
    averaged = [
        study.factor(v.name) for v in model.terms.variables
        if study.has(v.name) and v.name not in {*at, "cold_route"}
        and study.factor(v.name).set_for != "temper_batch"
    ]  # fmt: skip
    unit = "cold_batch" if "cold_batch" in table else "coupon"
    found: dict[str, tuple[int, float, float, float]] = {}
    short: dict[str, tuple[str, ...]] = {}
    for label, own in table.groupby("cold_route"):
        route = str(label)
        means = own.groupby(unit)["transformed"].mean().to_numpy()
        value = float(means.mean())
        low, high = float(own["transformed_low"].mean()), float(own["transformed_high"].mean())
        if len(means) > 1:
            half = t_limit(len(means) - 1, model.confidence)
            noise = float(half * means.std(ddof=1) / np.sqrt(len(means)))
            low, high = low - noise, high + noise
        found[route] = (len(own), value, low, high)
        planned = frame[frame["cold_route"] == route]
        short[route] = tuple(
            factor.title for factor in averaged
            if set(own[factor.column].dropna()) != set(planned[factor.column].dropna())
        )  # fmt: skip
    return found, short


def _notes(
    frame: pd.DataFrame, coldest: str, records: Records, short: Mapping[str, tuple[str, ...]]
) -> tuple[str, ...]:
    study = records.study
    word = study.factor("cold_route").word(coldest)
    cheap, dear = COST_HRC
    notes = [
        f"Share: of the gain with {word}, by test inversion over the strata of the contrast. "
        "Expected: Koistinen and Marburger, rates of 0.008 to 0.020 per K, no delay (a prior).",
        f"Lost by hardness: a prior of {cheap:g} to {dear:g} HRC for 1 % of austenite, as "
        "quenched.",
    ]
    if _is_tempered(study):
        notes.append(
            "The coupons were tempered: that softens martensite and may turn austenite too, so per "
            "cent by hardness can be off by more than its range."
        )
    both = frame.dropna(subset=["lost_by_length"])
    if both.empty:
        notes.append("No lengths before and after the cold step: per cent rest on the prior only.")
    for _, row in both.iterrows():
        if missing := short.get(row["cold_route"]):
            notes.append(
                f"{study.factor('cold_route').word(row['cold_route'])}: lengths were not read at "
                f"every level of {listed(missing)}, so they are not compared with the hardness. "
                "Name the level with at."
            )
            continue
        apart = (
            row["lost_by_length_low"] > row["lost_by_hardness_high"]
            or row["lost_by_length_high"] < row["lost_by_hardness_low"]
        )
        if apart:
            notes.append(
                f"{_route_word(records, row['cold_route'])}: length and hardness "
                "disagree. Was a temper between the readings, or a soft skin on the coupon?"
            )
    for _, row in frame.dropna(subset=["gain_share_low"]).iterrows():
        if (
            row["gain_share_low"] > row["expected_share_high"]
            or row["gain_share_high"] < row["expected_share_low"]
        ):
            notes.append(
                f"{_route_word(records, row['cold_route'])}: the share lies outside "
                "what the equation expects. A delay before the cold step, or martensite that forms "
                "with time, can do that."
            )
    return tuple(notes)


def _is_tempered(study: Study) -> bool:
    """Whether the study tells a temper, varied or held constant."""
    varied = any(factor.set_for == "temper_batch" for factor in study.factors)
    return varied or any("temper" in name.split("_") for name in study.held_constant)
