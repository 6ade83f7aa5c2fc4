"""Noise of single studies, pooled: standard deviations with their df and limits.

Each study gives, for each of its units, a variance and the mean squares it is the difference of.
Mean squares are averaged with the error df of their strata as weights, and their difference is cut
at zero once, at the end: cut study by study, the average would be too large however many studies
there are. Where one study alone tells a unit, its own estimate (restricted maximum likelihood)
stands, which readings that are missing move a little from the mean squares. The limits are those
of a difference of two pooled mean squares (modified large-sample limits, Burdick and Graybill 1992,
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
    """Noise of several studies for planning: mean squares averaged with their df as weights.

    Which study comes first changes nothing but the order of their names. A unit that no study can
    tell from another one has no noise of its own: it is in that of the other.

    Parameters
    ----------
    parts : sequence of NoisePart
        Of one response on one scale.

    Returns
    -------
    Noise
        Its source names the studies and how many units each standard deviation rests on.
    """
    told = _told(parts)
    words = {own.unit: own.word for own in reversed(parts)}
    rests = ", ".join(
        f"{words[unit]} {sum(part.df for part in own):.0f} df" for unit, own in told.items()
    )
    names = list(dict.fromkeys(own.study for own in parts))
    shown = listed(names) if len(names) <= _MOST_NAMED else f"{len(names)} studies"
    sds = {
        unit: math.sqrt(_pooled_variance(told[unit])) if unit in told else 0.0
        for unit in dict.fromkeys(own.unit for own in parts if own.inside or own.unit in told)
    }
    return Noise(sds, f"noise budget of {shown} ({rests})")


def _told(parts: Sequence[NoisePart]) -> dict[str, list[NoisePart]]:
    """Parts of each unit that at least one study can tell."""
    told: dict[str, list[NoisePart]] = {}
    for own in parts:
        if own.df > 0:
            told.setdefault(own.unit, []).append(own)
    return told


def _pooled_variance(told: Sequence[NoisePart]) -> float:
    """Variance of a unit in the studies that tell it; cut at zero once."""
    if len(told) == 1:
        return told[0].variance
    total = math.fsum(own.df for own in told)
    return max(math.fsum(own.df * (own.plus - own.minus) for own in told) / total, 0.0)


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
    for unit, told in _told(parts).items():
        total = math.fsum(own.df for own in told)
        variance = _pooled_variance(told)
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
        square = math.fsum(own.df / total * getattr(own, sign) for own in told)
        share = math.fsum((own.df / total) ** 2 * getattr(own, f"{sign}_share") for own in told)
        if share <= 0:
            pooled.append((0.0, 0.0, 0.0))
            continue
        df = max(square**2 / share - 2, 1e-3)
        shrink = 1 - df / float(special.chdtri(df, alpha / 2))
        stretch = df / float(special.chdtri(df, 1 - alpha / 2)) - 1
        pooled.append((square, shrink, stretch))
    (plus, plus_shrink, plus_stretch), (minus, minus_shrink, minus_stretch) = pooled
    middle = plus - minus
    below = math.hypot(plus * plus_shrink, minus * minus_stretch)
    above = math.hypot(plus * plus_stretch, minus * minus_shrink)
    return math.sqrt(max(middle - below, 0.0)), math.sqrt(max(middle + above, 0.0))
