"""What a plan can tell about a delay: the change for each decade, and when half a gain is lost."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from quenchbook.errors import EstimabilityError
from quenchbook.fit.coupon_data import random_units
from quenchbook.fit.delay_rows import decade_row, gain_rows
from quenchbook.fit.effective_delays import EffectiveDelays, effective_delays
from quenchbook.made_by import made_from
from quenchbook.outlook.error_df import tested_coupons
from quenchbook.outlook.half_loss_chances import COLUMNS, FALLS, half_loss_chances
from quenchbook.outlook.noise import noise_words
from quenchbook.outlook.prepared import planned_precision_of, prepared
from quenchbook.outlook.wording import chance_text, size_text
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.shown import ShowsItself
from quenchbook.study.definition import Noise, Response
from quenchbook.study.duration_words import duration_text
from quenchbook.study.factors import Level

_MARGINS: Final = (1.5, 3.0, 6.0)  # gains to guess at, in margins, where none are given


@dataclass(frozen=True, eq=False, repr=False)
class DelayOutlook(ShowsItself):
    """What a plan can tell about a delay.

    Attributes
    ----------
    table : DataFrame
        One row for each guess: ``gain`` (on the analysed scale), ``half_loss_minutes``, ``fall``,
        ``upper_limit`` (chance of an upper limit inside the tested delays), ``lower_limit``
        (chance that the shortest delay is excluded) and ``upper_any_shape`` (chance of an upper
        limit without assuming a shape). Empty where a half-loss time cannot be asked.
    half_width : float
        Expected half width of the interval of the change for each decade; nan where none.
    df_error : float
        Of the change for each decade.
    delays : EffectiveDelays
    level : float or str
        Level with the delay whose gain is meant.
    response : Response
    why_not : str
        Why a half-loss time cannot be asked; empty where it can.
    notes : tuple of str
    """

    table: pd.DataFrame
    half_width: float
    df_error: float
    delays: EffectiveDelays
    level: Level
    response: Response
    why_not: str = ""
    notes: tuple[str, ...] = ()

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of the table."""
        return self.table.copy()

    def sentences(self) -> list[str]:
        """What can be told, in words."""
        word = self.delays.factor.title
        if math.isnan(self.half_width):
            lines = [f"The change for each tenfold {word} cannot be judged: no unit is spare."]
        else:
            lines = [
                f"The change for each tenfold {word} is told within "
                f"±{size_text(self.response, self.half_width)}."
            ]
        if self.why_not:
            return [*lines, self.why_not]
        longest = max(self.delays.of(self.level))
        guesses = self.table[["gain", "half_loss_minutes"]].drop_duplicates()
        for gain, minutes in guesses.to_numpy(dtype=float).tolist():
            rows = (self.table["gain"] == gain) & (self.table["half_loss_minutes"] == minutes)
            size, half = size_text(self.response, gain), duration_text(minutes)
            if minutes > longest:
                lines.append(
                    f"If half of a gain of {size} is lost after {half}, past the longest {word}, "
                    "only a lower limit can come out."
                )
                continue
            chances = self.table[rows].set_index("fall")["upper_limit"]
            lines.append(
                f"If half of a gain of {size} is lost after {half}, an upper limit within the "
                f"tested {duration_text(longest)} comes out in "
                f"{chance_text(float(chances['steady']))} of such studies if it falls evenly, "
                f"{chance_text(float(chances['sudden']))} if it falls suddenly."
            )
        return lines

    def summary(self) -> str:
        """Say what the plan can tell."""
        return "\n".join([*self.sentences(), *self.notes])

    def listings(self) -> Mapping[str, pd.DataFrame]:
        """Long tables by their title."""
        return {"Guesses": self.table}

    def __repr__(self) -> str:
        return f"<DelayOutlook of {self.response.name}: {len(self.table)} guesses>"


def delay_outlook(
    matrix: CouponMatrix,
    response: str | None = None,
    *,
    level: Level,
    against: Level = "none",
    along: str = "delay",
    factor: str = "cold_route",
    gains: Sequence[float] = (),
    half_losses: Sequence[float] = (),
    noise: Noise | None = None,
    confidence: float | None = None,
) -> DelayOutlook:
    """What a plan can tell about a delay, for guessed gains and half-loss times.

    Parameters
    ----------
    matrix : CouponMatrix
    response : str, optional
        The first one when left out.
    level, against : float or str
        Levels of `factor`; the gain is that of the first.
    along, factor : str
        The delay, and the factor in which it is nested.
    gains : sequence of float
        Guesses of the gain at the shortest delay, on the analysed scale; 1.5, 3 and 6 margins when
        left out.
    half_losses : sequence of float
        Guesses of the half-loss time, from the quench until cold [min]; at one and two thirds of
        the tested decades when left out.
    noise : Noise, optional
    confidence : float, optional

    Returns
    -------
    DelayOutlook
        Chances of the broken-line set are counted over `DRAWS` simulated studies of a fixed seed;
        those without a shape are integrated.

    Raises
    ------
    EstimabilityError
        If the levels have no delay, or no gain is told and the response has no margin.
    """
    study = matrix.study
    own = study.response(response) if response is not None else study.responses[0]
    delays = effective_delays(study, along)
    strata = prepared(matrix).strata[own.name]
    if along not in strata.terms.names or strata.terms.variable(along).degree:
        raise EstimabilityError(
            strata.dropped.get(along) or f"Plan {delays.factor.title} as levels, not as a curve."
        )
    rows = gain_rows(strata.terms, delays, factor, level, against)
    precision, used = planned_precision_of(matrix, own.name, noise)
    confidence = confidence or study.question_confidence
    contrast = precision.contrast(decade_row(strata.terms, delays, {}))
    having = level if level in delays.routes else against
    sizes, times = _guesses(own, delays, having, gains, half_losses)
    table, why = pd.DataFrame(columns=COLUMNS), ""
    try:
        table = half_loss_chances(
            precision, rows, np.array(delays.of(having)), sizes, times, confidence
        )
    except EstimabilityError as error:
        why = str(error)
    units = (*random_units(study, tested_coupons(matrix, own.name)), "coupon")
    notes = (
        "Gains and half-loss times are guesses, not known. "
        + "; ".join(f"{name}: {words}" for name, words in FALLS.items())
        + ".",
        *delays.notes,
        f"Noise of {own.quantity}: {noise_words(used, study, own, units)}.",
    )
    made = DelayOutlook(
        table,
        math.nan if contrast is None else contrast.half_width(confidence),
        0.0 if contrast is None else contrast.df,
        delays, having, own, why, notes,
    )  # fmt: skip
    return made_from(made, matrix)


def _guesses(
    response: Response,
    delays: EffectiveDelays,
    route: Level,
    gains: Sequence[float],
    half_losses: Sequence[float],
) -> tuple[list[float], list[float]]:
    margin = response.equivalence_margin
    if not gains and margin is None:
        raise EstimabilityError(
            f"{response.quantity} has no margin to guess gains by. Give gains, such as "
            "gains=[1.0, 2.0]."
        )
    unit = 0.0 if margin is None else math.log1p(margin) if response.scale == "log" else margin
    sizes = [float(x) for x in gains] or [share * unit for share in _MARGINS]
    x = delays.decades(route)
    span = float(x.max() - x.min())
    times = [float(t) for t in half_losses]
    times = times or [float(10 ** (x.min() + share * span)) for share in (1 / 3, 2 / 3)]
    if min(sizes) <= 0 or min(times) <= 10 ** float(x.min()):
        raise EstimabilityError(
            f"Gains must be above zero and half-loss times longer than the shortest "
            f"{delays.factor.title}, {duration_text(float(10 ** x.min()))}."
        )
    return sizes, times
