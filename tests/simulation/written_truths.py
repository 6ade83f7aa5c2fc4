"""What simulated studies are made of: drawn truths, true means and true answers.

All truths are invented for this measurement. Sizes of noise and of effects are of the order that
the demonstration has (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import pandas as pd

from quenchbook.fit.effective_delays import effective_delays
from quenchbook.study.definition import Question, Study
from quenchbook.study.trade_questions import TradeQuestion

MARGIN: Final = 0.5  # of hardness [HRC]
RATIO_MARGIN: Final = float(np.log1p(0.15))  # of impact energy
TINY: Final = 1e-9


@dataclass(frozen=True)
class Truth:
    """What one simulated study is made of: even-mix offsets, curves, losses, noise.

    Attributes
    ----------
    offsets : mapping of response to mapping of route to float
        Mean of a route over the even mix of all other factors [analysed scale].
    temper : mapping of response to float
        Change from the coolest to the hottest temper; a straight line.
    peaks : mapping of route to float
        Where its curve is highest [degC]; empty for no curve.
    bend : float
        Coefficient of x^2 over the half range of the austenitize [HRC].
    tilt : mapping of response to mapping of route to float
        Change from the lowest to the highest austenitize; a straight line.
    decade : float
        Change for each tenfold time until cold [HRC].
    follows_hardness : float
        Change of the logarithm of impact energy with 1 HRC that the temper made.
    noise : mapping of response to mapping of unit to float
        Standard deviations.
    """

    offsets: Mapping[str, Mapping[str, float]]
    temper: Mapping[str, float]
    noise: Mapping[str, Mapping[str, float]]
    peaks: Mapping[str, float] = field(default_factory=dict)
    bend: float = 0.0
    tilt: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    decade: float = 0.0
    follows_hardness: float = 0.0


# --- drawn truths -------------------------------------------------------------------------------


def size(rng: np.random.Generator) -> float:
    """Effect in margins: none, exactly one, inside, or beyond; either sign."""
    kind = rng.choice(4, p=[0.35, 0.25, 0.15, 0.25])
    value = (0.0, 1.0, rng.uniform(0.2, 0.8), rng.uniform(1.2, 3.0))[int(kind)]
    return float(value * rng.choice([-1.0, 1.0]))


def nothing(_: np.random.Generator) -> float:
    return 0.0


def one_margin(rng: np.random.Generator) -> float:
    return float(rng.choice([-1.0, 1.0]))


def hardness_noise(rng: np.random.Generator) -> dict[str, float]:
    scale = float(rng.choice([0.35, 0.7, 1.0]))
    own = {
        "furnace_load": rng.choice([0.0, 0.2, 0.4]),
        "cold_batch": rng.choice([0.0, 0.1, 0.2]),
        "temper_batch": rng.choice([0.0, 0.1, 0.2]),
        "coupon": 0.3,
    }
    return {**{unit: float(sd) * scale for unit, sd in own.items()}, "indent": 0.4 * scale}


def impact_noise(rng: np.random.Generator) -> dict[str, float]:
    scale = float(rng.choice([0.35, 0.7, 1.0]))
    own = {"furnace_load": 0.05, "cold_batch": 0.03, "temper_batch": 0.03, "coupon": 0.10}
    return {**{unit: sd * scale for unit, sd in own.items()}, "indent": 0.0}


def noises(rng: np.random.Generator) -> dict[str, dict[str, float]]:
    return {"hardness_hrc": hardness_noise(rng), "impact_j": impact_noise(rng)}


Size = Callable[[np.random.Generator], float]


def plain(of: Size, *routes: str) -> Callable[[np.random.Generator], Truth]:
    """Routes and tempers that differ by drawn sizes; the last route acts otherwise when hot."""
    margins = {"hardness_hrc": MARGIN, "impact_j": RATIO_MARGIN}

    def draw(rng: np.random.Generator) -> Truth:
        offsets, temper, tilt = {}, {}, {}
        for name, margin in margins.items():
            offsets[name] = {"none": 0.0, **{route: margin * of(rng) for route in routes}}
            temper[name] = margin * of(rng)
            common = margin * of(rng)
            tilt[name] = dict.fromkeys(offsets[name], common)
            tilt[name][routes[-1]] += margin * of(rng)
        return Truth(offsets=offsets, temper=temper, tilt=tilt, noise=noises(rng))

    return draw


def curved(rng: np.random.Generator) -> Truth:
    """Curves along the austenitize with peaks of their own, some beyond the range."""
    shift = float(rng.choice([0.0, 10.0, rng.uniform(2.0, 8.0), rng.uniform(14.0, 40.0)]))
    first = float(rng.choice([rng.uniform(955.0, 1000.0), 1030.0, 1040.0], p=[0.7, 0.1, 0.2]))
    return Truth(
        offsets={"hardness_hrc": {"none": 0.0, "dry_ice": MARGIN * size(rng)}},
        temper={"hardness_hrc": MARGIN * size(rng)},
        noise=noises(rng),
        peaks={"none": first, "dry_ice": first + shift},
        bend=float(rng.choice([-1.5, -0.8])),
    )


def fading(rng: np.random.Generator) -> Truth:
    """A gain that is lost with the logarithm of the time until cold."""
    gain = float(rng.choice([0.0, 1.0, 1.6]))
    return Truth(
        offsets={"hardness_hrc": {"none": 0.0, "dry_ice": gain}},
        temper={"hardness_hrc": 0.0},
        noise={"hardness_hrc": {**hardness_noise(rng), "temper_batch": 0.0}},
        decade=float(rng.choice([0.0, -MARGIN, -0.3])) if gain else 0.0,
    )


def tough(rng: np.random.Generator) -> Truth:
    """Impact energy that follows the hardness the temper made, and a route with an own part."""
    harder, slope = float(rng.uniform(0.3, 1.2)), -float(rng.uniform(0.05, 0.15))
    own = RATIO_MARGIN * size(rng)
    return Truth(
        offsets={
            "hardness_hrc": {"none": 0.0, "dry_ice": harder},
            "impact_j": {"none": 0.0, "dry_ice": own + slope * harder},
        },
        temper={"hardness_hrc": -2.5},
        noise=noises(rng),
        follows_hardness=slope,
    )


# --- true answers -------------------------------------------------------------------------------


def true_means(study: Study, truth: Truth, response: str, frame: pd.DataFrame) -> np.ndarray:
    """Mean of each coupon without noise [analysed scale]."""
    base = {"hardness_hrc": 62.0, "impact_j": float(np.log(20.0))}[response]
    route = frame["cold_route"]
    y = base + route.map(truth.offsets[response]).to_numpy(dtype=float)
    if study.has("temper"):
        levels = [float(level) for level in study.factor("temper").levels]
        x = (frame["temper_c"].to_numpy(dtype=float) - np.mean(levels)) / (levels[-1] - levels[0])
        change = truth.temper.get(response, 0.0)
        if response == "impact_j" and truth.follows_hardness:
            change = truth.follows_hardness * truth.temper["hardness_hrc"]
        y = y + change * x
    if study.has("austenitize"):
        levels = [float(level) for level in study.factor("austenitize").levels]
        place = frame["austenitize_c"].to_numpy(dtype=float)
        tilt = route.map(truth.tilt.get(response, {})).fillna(0.0).to_numpy(dtype=float)
        y = y + tilt * (place - np.mean(levels)) / (max(levels) - min(levels))
        if truth.peaks and response == "hardness_hrc":
            y = y + _curve(truth, route, place, levels)
    if study.has("delay") and truth.decade:
        y = y + _losses(study, truth, frame)
    return np.asarray(y)


def _curve(truth: Truth, route: pd.Series, place: np.ndarray, levels: list[float]) -> np.ndarray:
    """Curve of each route less its mean over the declared levels."""
    half = (max(levels) - min(levels)) / 2
    peak = route.map(truth.peaks).to_numpy(dtype=float)
    mean = np.mean([((level - peak) / half) ** 2 for level in levels], axis=0)
    return np.asarray(truth.bend * (((place - peak) / half) ** 2 - mean))


def _losses(study: Study, truth: Truth, frame: pd.DataFrame) -> np.ndarray:
    """What was lost until cold, from the shortest time on."""
    delays = effective_delays(study, "delay")
    lost = np.zeros(len(frame))
    levels = [float(level) for level in study.factor("delay").levels]
    for name in delays.routes:
        decades = dict(zip(levels, delays.decades(name) - delays.decades(name)[0], strict=True))
        own = (frame["cold_route"] == name).to_numpy()
        lost[own] = truth.decade * frame.loc[own, "delay_minutes"].map(decades)
    return lost


def grid_of(study: Study) -> tuple[pd.DataFrame, np.ndarray]:
    """Every combination of declared levels, and its weight in an even mix."""
    rows: list[dict[str, object]] = [{}]
    for factor in study.factors:
        if factor.nested_in:
            continue
        rows = [{**row, factor.column: level} for row in rows for level in factor.levels]
    weights = [1.0] * len(rows)
    for factor in study.factors:
        if not factor.nested_in:
            continue
        spread: list[dict[str, object]] = []
        shares: list[float] = []
        parent = study.factor(factor.nested_in).column
        for row, weight in zip(rows, weights, strict=True):
            levels = factor.levels if row[parent] in factor.exists_for else (np.nan,)
            spread += [{**row, factor.column: level} for level in levels]
            shares += [weight / len(levels)] * len(levels)
        rows, weights = spread, shares
    return pd.DataFrame(rows), np.array(weights)


def true_difference(study: Study, truth: Truth, question: Question | TradeQuestion) -> float:
    """Level less against over an even mix of the declared levels; with `change`, how it differs."""
    grid, weights = grid_of(study)
    means = true_means(study, truth, question.response, grid)

    def mean(level: object, at: Mapping[str, object]) -> float:
        chosen = np.ones(len(grid), dtype=bool)
        for name, wanted in {**at, question.factor: level}.items():
            chosen &= (grid[study.factor(name).column] == wanted).to_numpy()
        return float(np.average(means[chosen], weights=weights[chosen]))

    def difference(at: Mapping[str, object]) -> float:
        return mean(question.level, at) - mean(question.against, at)

    at = dict(question.at)
    if not question.change:
        return difference(at)
    (name, (first, second)), *_ = question.change.items()
    return difference({**at, name: first}) - difference({**at, name: second})
