"""Time until half of the gain of a cold step is lost, with what the data allow on both sides."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from quenchbook.errors import EstimabilityError
from quenchbook.fit.delay import delay_model
from quenchbook.fit.delay_rows import gain_rows
from quenchbook.fit.effective_delays import EffectiveDelays, effective_delays
from quenchbook.fit.half_loss_profile import (
    STEP,
    allowed_times,
    broken_lines,
    explained_squares,
    stepwise_bounds,
)
from quenchbook.fit.inversion import t_limit
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.stages import BatchStage, CouponStage
from quenchbook.fit.strata import Strata
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.duration_words import duration_text
from quenchbook.study.factors import Level, plural
from quenchbook.study.terms import Array

_SMALL = 1e-9


@dataclass(frozen=True, eq=False, repr=False)
class HalfLoss(ShowsItself):
    """When half of a gain is lost, counted from the quench until the coupons are cold.

    Attributes
    ----------
    gains : DataFrame
        ``delay_minutes, minutes_until_cold, estimate, std_error, df, conf_low, conf_high``: gain
        at each delay, from the shortest.
    profile : DataFrame
        ``minutes_until_cold`` (infinite: never), ``statistic`` (F against the best time),
        ``allowed``.
    estimate : float
        Best time [min]; infinite where it lies beyond the longest delay.
    conf_low, conf_high : float
        Ends of the set of allowed times [min]. Low is 0 where times down to the shortest delay
        are allowed, high is infinite where never is.
    step_low, step_high : float
        The same without any shape: only that the gain never rises. 0 and infinite where open.
    gain_shown : bool
        Whether there is a gain at the shortest delay.
    mean_square, df : float
        Pure error of a unit.
    factor : str
    level, against : float or str
        The gain is that of `level` over `against`.
    delays : EffectiveDelays
    model : MixedModel
    confidence : float
    stratum : str
        Unit whose noise it carries.
    notes : tuple of str
    """

    gains: pd.DataFrame
    profile: pd.DataFrame
    estimate: float
    conf_low: float
    conf_high: float
    step_low: float
    step_high: float
    gain_shown: bool
    mean_square: float
    df: float
    factor: str
    level: Level
    against: Level
    delays: EffectiveDelays
    model: MixedModel
    confidence: float
    stratum: str
    notes: tuple[str, ...] = ()

    @property
    def shortest(self) -> float:
        """Shortest time until cold that was run [min]."""
        return float(self.gains["minutes_until_cold"].iloc[0])

    @property
    def longest(self) -> float:
        """Longest time until cold that was run [min]."""
        return float(self.gains["minutes_until_cold"].iloc[-1])

    @property
    def has_lower(self) -> bool:
        """Whether times down to the shortest delay are excluded."""
        return self.conf_low > 0

    @property
    def has_upper(self) -> bool:
        """Whether there is an upper limit inside the tested delays."""
        return self.conf_high <= self.longest * (1 + _SMALL)

    def to_frame(self) -> pd.DataFrame:
        """Return the gains at full precision."""
        return self.gains.copy()

    def shown(self) -> Shown:
        """How long until half of the gain is lost, then the gains at each delay."""
        who = f"Half of the gain of {self.level} over {self.against}".replace("_", " ")
        ends = [
            duration_text(float(f"{end:.2g}"))
            for end in (self.estimate, self.conf_low, self.conf_high)
            if math.isfinite(end)
        ]  # fmt: skip
        if not self.gain_shown:
            finding = f"{who}: no gain is shown, so there is no time to tell."
        elif self.has_upper and math.isfinite(self.estimate):
            finding = f"{who} is lost after {ends[0]} ({ends[1]} to {ends[2]})."
        elif self.has_lower:
            low = duration_text(float(f"{self.conf_low:.2g}"))
            finding = f"{who} is lost after {low} or more; no upper limit was found."
        else:
            finding = f"{who}: the delays that were run set no limit to the time."
        return Shown(
            finding, self.gains, self.notes, (f"Judged on the noise of {self.stratum}.",),
            confidence=self.confidence,
        )  # fmt: skip

    def __repr__(self) -> str:
        return f"<HalfLoss of {self.level} over {self.against}, {self.model.response}>"


def half_loss_time(
    model: MixedModel,
    along: str = "delay",
    *,
    level: Level,
    against: Level = "none",
    factor: str = "cold_route",
    confidence: float | None = None,
) -> HalfLoss:
    """Time until half of the gain of one level over another is lost.

    Parameters
    ----------
    model : MixedModel
        Of a study.
    along : str
        The delay.
    level, against : float or str
        Levels of `factor`, one with a delay and one without.
    factor : str
        Factor in which the delay is nested.
    confidence : float, optional
        That of the model when left out.

    Returns
    -------
    HalfLoss

    Raises
    ------
    EstimabilityError
        If the records cannot tell it: one furnace load, no spare unit, gain and delay judged on
        different units.

    Notes
    -----
    The gain at the shortest delay is the whole gain; delays shorter than that are not known. On
    the log scale half of the logarithm of the ratio is meant. Likeliest misuse: reading the
    estimate without its interval, which is often a decade wide.
    """
    study = model.study
    if study is None:
        raise EstimabilityError("A half-loss time needs a study: it says which factor is a delay.")
    delays = effective_delays(study, along)
    used, by_line, notes = delay_model(model, delays)
    word = delays.factor.title
    if by_line:
        raise EstimabilityError(
            f"When half is lost needs two units at one {word}, to tell their noise: run the "
            f"{word}s in at least two furnace loads. The change for each tenfold {word} can be "
            "asked."
        )
    rows = gain_rows(used.terms, delays, factor, level, against)
    having = level if level in delays.routes else against
    order = np.argsort(delays.of(having), kind="stable")
    times = np.array(delays.of(having), dtype=float)[order]
    if len(set(times)) < 3:
        raise EstimabilityError(f"When half is lost needs three {word}s or more.")
    stage, rows, covariance = gain_stratum(used.strata, rows[order])
    if not stage.df:
        units = plural(used.unit_word(stage.unit))
        raise EstimabilityError(f"When half is lost cannot be judged: no {units} are spare.")
    precision = used.precision
    factor_of_noise = float(precision.stratum_factor(stage, rows_on_units(stage, rows))[0])
    square = factor_of_noise * float(precision.mean_squares[stage.unit][0])
    df = float(precision.df_error[stage.unit][0])
    level_of = confidence or model.confidence
    gains = (rows @ precision.coefficients)[:, 0]
    return _assembled(
        used, delays, (factor, level, against), order, times, gains, covariance, square, df,
        level_of, stage.unit, notes,
    )  # fmt: skip


def gain_stratum(strata: Strata, rows: Array) -> tuple[BatchStage | CouponStage, Array, Array]:
    """Stratum that all gains lie in, and their covariance for a unit variance of its units.

    Parameters
    ----------
    strata : Strata
    rows : ndarray, shape (delays, coefficients)

    Returns
    -------
    stage : BatchStage or CouponStage
    rows : ndarray, shape (delays, coefficients)
        Without rounding errors outside the stratum.
    covariance : ndarray, shape (delays, delays)

    Raises
    ------
    EstimabilityError
        If gains carry the noise of several strata, or cannot be told apart.
    """
    rows = np.where(np.abs(rows) > _SMALL, rows, 0.0)
    touched = set(np.flatnonzero(np.abs(rows).max(axis=0)).tolist())
    stage = next((s for s in strata.stages if touched and touched <= set(s.places.tolist())), None)
    if stage is None:
        raise EstimabilityError(
            "When half is lost cannot be judged: the gain and the delay are judged on different "
            "units, so there is no one noise to hold them against."
        )
    if isinstance(stage, CouponStage):
        inner = np.zeros((len(rows), len(stage.inverse)))
        inner[:, stage.inner_places] = rows[:, stage.places]
        covariance = inner @ stage.inverse @ inner.T
    else:
        weights = rows_on_units(stage, rows)
        covariance = weights @ weights.T
    if np.linalg.matrix_rank(covariance, hermitian=True) < len(rows):
        raise EstimabilityError(
            "When half is lost cannot be judged: not every delay has a gain of its own, because "
            "some were not run often enough with this route."
        )
    return stage, rows, covariance


def rows_on_units(stage: BatchStage | CouponStage, rows: Array) -> Array:
    """Weights of the unit values of a stratum in functions of its coefficients."""
    if isinstance(stage, CouponStage):
        return rows[:, stage.places]
    return np.asarray(rows[:, stage.places] @ stage.rows)


def _assembled(
    model: MixedModel,
    delays: EffectiveDelays,
    compared: tuple[str, Level, Level],
    order: np.ndarray,
    times: Array,
    gains: Array,
    covariance: Array,
    square: float,
    df: float,
    confidence: float,
    unit: str,
    notes: tuple[str, ...],
) -> HalfLoss:
    """Profile, bounds and table of the gains."""
    decades = np.round(np.log10(times / times[0]), 12)
    lines = broken_lines(tuple(decades.tolist()))
    squares = explained_squares(lines, gains, covariance)
    allowed = allowed_times(squares, np.array(square), np.array(df), confidence)
    minutes = times[0] * 10.0**lines.grid
    # Several times can fit alike; a rounding error must not choose between them.
    near = _SMALL * (float(squares.max()) + square)
    best = float(minutes[int(np.argmax(squares >= squares.max() - near))])
    inside = np.flatnonzero(allowed)
    low = 0.0 if lines.grid[inside[0]] <= STEP + _SMALL else float(minutes[inside[0]])
    step_low, step_high = stepwise_bounds(gains, covariance, square, df, confidence)
    errors = np.sqrt(square * np.diag(covariance))
    half = float(t_limit(df, confidence)) * errors
    levels = np.array([float(x) for x in delays.factor.levels])[order]
    table = pd.DataFrame(
        {
            "delay_minutes": levels,
            "minutes_until_cold": times,
            "estimate": gains,
            "std_error": errors,
            "df": df,
            "conf_low": gains - half,
            "conf_high": gains + half,
        }
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        statistic = (squares.max() - squares) / square
    profile = pd.DataFrame(
        {"minutes_until_cold": minutes, "statistic": statistic, "allowed": allowed}
    )
    longest = float(times[-1])
    factor, level, against = compared
    found = [*notes, *_same_loss(model, delays), *_mixed(model, delays), *delays.notes]
    if model.scale == "log":
        found.append("Half of the gain means half of the logarithm of the ratio.")
    return HalfLoss(
        gains=table,
        profile=profile,
        estimate=best if best <= longest * (1 + _SMALL) else math.inf,
        conf_low=low,
        conf_high=float(minutes[inside[-1]]),
        step_low=0.0 if step_low is None else float(times[step_low]),
        step_high=math.inf if step_high is None else float(times[step_high]),
        gain_shown=bool(gains[0] > half[0]),
        mean_square=square,
        df=df,
        factor=factor,
        level=level,
        against=against,
        delays=delays,
        model=model,
        confidence=confidence,
        stratum=unit,
        notes=tuple(found),
    )


def _same_loss(model: MixedModel, delays: EffectiveDelays) -> tuple[str, ...]:
    """Say where the loss is that of all routes together."""
    pair = {delays.factor.name, delays.factor.nested_in}
    if len(delays.routes) == 1 or any(pair == set(n.split(":")) for n in model.terms.names):
        return ()
    words = model.term_word(f"{delays.factor.name}:{delays.factor.nested_in}")
    return (f"The loss is the same for all routes by assumption: {words} was not analysed.",)


def _mixed(model: MixedModel, delays: EffectiveDelays) -> tuple[str, ...]:
    own = delays.factor
    held = {own.name, own.nested_in, *model.terms.blocks}
    mixed = [model.term_word(v.name) for v in model.terms.variables if v.name not in held]
    return (f"Over an even mix of {', '.join(mixed)}.",) if mixed else ()
