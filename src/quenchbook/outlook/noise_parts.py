"""Noise of single studies, pooled: standard deviations with their df and limits.

Each study gives, for each of its units, a variance and the mean squares it is the difference of.
Variances are averaged with the error df of their strata as weights. The limits are those of a
difference of two pooled mean squares (modified large-sample limits, Burdick and Graybill 1992,
Confidence Intervals on Variance Components; from memory), as for a single study in `fit.noise`.
The df of a pooled mean square follow Satterthwaite with the correction by two that makes them
right when all studies have the same variance (from memory; checked by simulation in the tests).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from quenchbook.study.definition import Noise
from quenchbook.units import listed

if TYPE_CHECKING:
    import pandas as pd

    from quenchbook.fit.mixed import MixedModel

_MOST_NAMED = 12  # studies in the source of a noise; more are counted


@dataclass(frozen=True)
class NoisePart:
    """What one study says of the noise of one unit, on the analysed scale.

    Attributes
    ----------
    study, response, scale, unit, word : str
        `unit` is the unit of the coupon matrix, `word` its name in print.
    variance, df : float
        Estimate, and error df of its stratum; zero where the study cannot tell.
    inside : bool
        It holds the same coupons as another unit, so its noise is in that of the other.
    plus, plus_share, minus, minus_share : float
        Mean squares, each with its weight: sum of those that are added, of squares over (df + 2);
        the same for those that are taken off.
    """

    study: str
    response: str
    scale: str
    unit: str
    word: str
    variance: float
    df: float
    inside: bool
    plus: float = 0.0
    plus_share: float = 0.0
    minus: float = 0.0
    minus_share: float = 0.0


def noise_parts(model: MixedModel) -> list[NoisePart]:
    """What a model says of the noise of each unit.

    Parameters
    ----------
    model : MixedModel
    """
    from quenchbook.fit.noise import stratum_equations

    spare = {stage.unit: float(stage.df) for stage in model.strata.stages}
    spare["indent"] = float(len(model.readings) - len(model.coupons))
    inside = [unit for unit in model.units if unit not in model.strata.codes]
    inside += [] if "indent" in model.variances else ["indent"]  # one reading a coupon
    names, weights, squares, dfs = stratum_equations(model)
    key = model.study.key if model.study else "a data frame"
    parts = []
    for unit in dict.fromkeys([*inside, *model.variances]):
        sums = dict.fromkeys(("plus", "plus_share", "minus", "minus_share"), 0.0)
        if unit in names:
            for weight, square, df in zip(weights[names.index(unit)], squares, dfs, strict=True):
                if abs(weight) > 1e-12:
                    sign = "plus" if weight > 0 else "minus"
                    part = abs(float(weight)) * float(square)
                    sums[sign] += part
                    sums[f"{sign}_share"] += part**2 / (float(df) + 2)
        variance = float(model.variances.get(unit, 0.0))
        parts.append(
            NoisePart(
                key, model.response, model.scale, unit, model.unit_word(unit), variance,
                spare.get(unit, 0.0) if unit in model.variances else 0.0, unit in inside, **sums,
            )
        )  # fmt: skip
    return parts


def pooled_noise(parts: Sequence[NoisePart]) -> Noise:
    """Noise of several studies for planning: variances averaged with their df as weights.

    Parameters
    ----------
    parts : sequence of NoisePart
        Of one response on one scale.

    Returns
    -------
    Noise
        Its source names the studies and how many units each standard deviation rests on.
    """
    sums: dict[str, float] = {}
    weights: dict[str, float] = {}
    words: dict[str, str] = {}
    for own in parts:
        if own.inside:
            sums.setdefault(own.unit, 0.0)
            weights.setdefault(own.unit, 1.0)
        if own.df > 0:
            sums[own.unit] = sums.get(own.unit, 0.0) + own.df * own.variance
            weights[own.unit] = weights.get(own.unit, 0.0) + own.df
        words.setdefault(own.unit, own.word)
    last = parts[-1].study
    inside = {own.unit for own in parts if own.inside and own.study == last}
    rests = ", ".join(
        f"{words[unit]} {weight:.0f} df"
        for unit, weight in weights.items()
        if sums[unit] or unit not in inside
    )
    names = list(dict.fromkeys(own.study for own in parts))
    shown = listed(names) if len(names) <= _MOST_NAMED else f"{len(names)} studies"
    sds = {unit: math.sqrt(total / weights[unit]) for unit, total in sums.items()}
    return Noise(sds, f"noise budget of {shown} ({rests})")


def noise_frame(parts: Sequence[NoisePart], *, confidence: float = 0.95) -> pd.DataFrame:
    """Pooled standard deviation of each unit with its df and limits.

    Parameters
    ----------
    parts : sequence of NoisePart
        Of one response on one scale.
    confidence : float

    Returns
    -------
    DataFrame
        ``stratum, studies, df, sd, conf_low, conf_high, sd_lowest, sd_highest``: error df of the
        stratum in all studies, and the lowest and highest standard deviation of a single one.
    """
    import pandas as pd

    rows = []
    for unit in dict.fromkeys(own.unit for own in parts):
        told = [own for own in parts if own.unit == unit and own.df > 0]
        if not told:
            continue
        total = sum(own.df for own in told)
        variance = sum(own.df * own.variance for own in told) / total
        low, high = _limits(told, total, confidence)
        single = [math.sqrt(own.variance) for own in told]
        rows.append((unit, len(told), total, math.sqrt(variance), low, high,
                     min(single), max(single)))  # fmt: skip
    return pd.DataFrame(
        rows,
        columns=[
            "stratum", "studies", "df", "sd", "conf_low", "conf_high", "sd_lowest", "sd_highest",
        ],
    )  # fmt: skip


def _limits(told: Sequence[NoisePart], total: float, confidence: float) -> tuple[float, float]:
    """Limits of a pooled standard deviation."""
    from scipy import special

    alpha = 1 - confidence
    pooled = []
    for sign in ("plus", "minus"):
        square = sum(own.df / total * getattr(own, sign) for own in told)
        share = sum((own.df / total) ** 2 * getattr(own, f"{sign}_share") for own in told)
        if share <= 0:
            pooled.append((0.0, 0.0, 0.0))
            continue
        df = max(square**2 / share - 2, 1e-3)
        shrink = 1 - df / special.chdtri(df, alpha / 2)
        stretch = df / special.chdtri(df, 1 - alpha / 2) - 1
        pooled.append((square, shrink, stretch))
    (plus, plus_shrink, plus_stretch), (minus, minus_shrink, minus_stretch) = pooled
    middle = plus - minus
    below = math.hypot(plus * plus_shrink, minus * minus_stretch)
    above = math.hypot(plus * plus_stretch, minus * minus_shrink)
    return math.sqrt(max(middle - below, 0.0)), math.sqrt(max(middle + above, 0.0))
