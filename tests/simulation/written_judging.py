"""Whether what a sentence claims is so."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from tests.simulation.written_claims import (
    Difference,
    Span,
    claimed_difference,
    claimed_ends,
    claimed_half_loss,
    claimed_height,
    claimed_peak,
    claimed_shift,
    claimed_temper,
    claimed_term,
    claimed_window,
    total_limits,
)
from tests.simulation.written_truths import TINY, Truth, grid_of, true_difference, true_means

from quenchbook.findings.answers import AnyFinding
from quenchbook.findings.trade_findings import TradeFinding
from quenchbook.findings.verdicts import Finding, TermFinding
from quenchbook.fit.effective_delays import effective_delays
from quenchbook.study.definition import Question, Study
from quenchbook.study.trade_questions import TradeQuestion

AnyQuestion = Question | TradeQuestion


@dataclass(frozen=True)
class Judged:
    """What one sentence claims, and whether that is so.

    Attributes
    ----------
    key, kind : str
    difference, equivalence, place : bool
        Whether a false statement of that kind was made.
    claims_difference, claims_equivalence, claims_place : bool
        Whether a statement of that kind was made.
    is_none, is_over : bool
        Whether the true difference is zero, or at or over the margin; false for a place.
    direction : bool
        Whether a real difference is told with the wrong sign.
    missed : bool or None
        Whether the printed interval misses the truth; None for a test without one.
    second_missed : bool or None
        The same for a further interval in the same sentence; None where there is none.
    """

    key: str
    kind: str
    difference: bool = False
    equivalence: bool = False
    place: bool = False
    claims_difference: bool = False
    claims_equivalence: bool = False
    claims_place: bool = False
    is_none: bool = False
    is_over: bool = False
    direction: bool = False
    missed: bool | None = None
    second_missed: bool | None = None

    @property
    def any_false(self) -> bool:
        return self.difference or self.equivalence or self.place


def _outside(truth: float, limits: Span) -> bool:
    """Whether printed limits miss the truth; limits that are not printed miss nothing."""
    return truth < limits[0] - TINY or truth > limits[1] + TINY


def _judged_difference(
    key: str, kind: str, claim: Difference, truth: float, margin: float, missed: bool | None
) -> Judged:
    size = abs(truth)
    is_none = size <= TINY
    wrong_way = claim.real and not is_none and claim.sign * truth < 0
    return Judged(
        key,
        kind,
        difference=(claim.real and (is_none or wrong_way))
        or (claim.beyond and size <= margin + TINY),
        equivalence=claim.smaller and size >= margin - TINY,
        claims_difference=claim.real,
        claims_equivalence=claim.smaller,
        is_none=is_none,
        is_over=size >= margin - TINY,
        direction=wrong_way,
        missed=missed,
    )


def _in_print(value: float, scale: str) -> float:
    return math.expm1(value) * 100 if scale == "log" else value


def judged(study: Study, truth: Truth, question: AnyQuestion, own: AnyFinding) -> Judged:
    """Judge the sentence of one answer against the truth."""
    kind = question.asks if isinstance(question, TradeQuestion) else "comparison"
    if isinstance(own, TermFinding):
        claim = claimed_term(own.sentence)
        assert claim.real == (own.word == "differs"), own.sentence
        return _judged_difference(
            own.key, "term", claim, _term_size(study, truth, own), math.inf, None
        )
    if isinstance(own, Finding):
        return _judged_comparison(study, truth, question, own, kind)
    assert isinstance(own, TradeFinding)
    return _PLACES[kind](study, truth, question, own)


def _term_size(study: Study, truth: Truth, own: TermFinding) -> float:
    """Largest departure of the true means that the term stands for."""
    grid, weights = grid_of(study)
    grid = grid.assign(y=true_means(study, truth, own.response, grid), w=weights)
    columns = [study.factor(name).column for name in own.term.split(":")]
    grid["wy"] = grid["y"] * grid["w"]
    sums = grid.groupby(columns)[["wy", "w"]].sum()
    table = (sums["wy"] / sums["w"]).to_frame("y")
    if len(columns) == 1:
        return float(np.ptp(table["y"]))
    cells = table["y"].unstack()
    rest = (
        cells.sub(cells.mean(axis=1), axis=0).sub(cells.mean(axis=0), axis=1)
        + cells.to_numpy().mean()
    )
    return float(np.abs(rest.to_numpy()).max())


def _judged_comparison(
    study: Study, truth: Truth, question: AnyQuestion, own: Finding, kind: str
) -> Judged:
    value = true_value(study, truth, question)
    claim = claimed_difference(own.sentence)
    said = (claim.real, claim.beyond, claim.smaller)
    assert said == {
        "exceeds": (True, True, False), "differs": (True, False, False),
        "slight": (True, False, True), "equivalent": (False, False, True),
        "undecided": (False, False, False),
    }[own.word], own.sentence  # fmt: skip
    printed = _in_print(value, own.scale)
    limits = claim.limits
    if math.isnan(
        limits[0]
    ):  # only the inner interval is printed; tables and figures show the other
        limits = (_in_print(own.conf_low, own.scale), _in_print(own.conf_high, own.scale))
    margin = own.margin if own.margin is not None else math.inf
    found = _judged_difference(own.key, kind, claim, value, margin, _outside(printed, limits))
    if kind == "equal_hardness":
        total = _in_print(true_difference(study, truth, question), own.scale)
        return dataclasses.replace(found, second_missed=_outside(total, total_limits(own.sentence)))
    return found


def true_value(study: Study, truth: Truth, question: AnyQuestion) -> float:
    """True difference of a comparison, of ten times the delay, or at equal hardness."""
    kind = question.asks if isinstance(question, TradeQuestion) else "comparison"
    if kind == "per_decade":
        return truth.decade
    if kind == "equal_hardness":
        hardness = dataclasses.replace(question, response="hardness_hrc")
        harder = true_difference(study, truth, hardness)
        return true_difference(study, truth, question) - truth.follows_hardness * harder
    return true_difference(study, truth, question)


def _judged_peak(study: Study, truth: Truth, question: TradeQuestion, own: TradeFinding) -> Judged:
    claim = claimed_peak(own.sentence)
    place = truth.peaks[str(question.at["cold_route"])]
    levels = [float(level) for level in study.factor("austenitize").levels]
    missed = _outside(place, claim.limits)
    side = place <= claim.rises_at or place >= claim.falls_from or _outside(place, claim.inside)
    best = min(max(place, levels[0]), levels[-1])
    frame = pd.DataFrame({"cold_route": [question.at["cold_route"]], "austenitize_c": [best]})
    height = float(true_means(study, truth, question.response, frame)[0])
    return Judged(
        own.key, "peak", place=missed or side, claims_place=claim.says_something, missed=missed,
        second_missed=_outside(height, claimed_height(own.sentence)),
    )  # fmt: skip


def _judged_shift(study: Study, truth: Truth, question: TradeQuestion, own: TradeFinding) -> Judged:
    claim = claimed_shift(own.sentence)
    value = truth.peaks[str(question.level)] - truth.peaks[str(question.against)]
    margin = question.margin or math.inf
    found = _judged_difference(
        own.key, "peak_shift", claim.verdict, value, margin, _outside(value, claim.limits)
    )
    return dataclasses.replace(found, second_missed=_outside(value, claim.free))


def _judged_window(
    study: Study, truth: Truth, question: TradeQuestion, own: TradeFinding
) -> Judged:
    levels = [float(level) for level in study.factor("austenitize").levels]
    half = (levels[-1] - levels[0]) / 2
    place = truth.peaks[str(question.at["cold_route"])]
    if question.asks == "working_window":
        away = half * math.sqrt((question.within or 0.0) / -truth.bend)
        window = (place - away, place + away)
    else:
        window = _reaching(study, truth, question)
    return _window_judged(own, question.asks, window, levels)


def _reaching(study: Study, truth: Truth, question: TradeQuestion) -> Span:
    """Settings at which nine in ten new coupons of a new load reach the target."""
    from scipy import special

    sd = truth.noise[question.response]
    used = [sd["furnace_load"], sd["coupon"]]
    used += [sd["cold_batch"]] if study.factor("cold_route").set_for == "cold_batch" else []
    indents = study.response(question.response).readings
    total = math.sqrt(sum(x * x for x in used) + sd["indent"] ** 2 / indents)
    wanted = (question.target or 0.0) + float(special.ndtri(0.9)) * total
    places = np.linspace(840.0, 1240.0, 40_001)
    frame = pd.DataFrame({"cold_route": question.at["cold_route"], "austenitize_c": places})
    there = places[true_means(study, truth, question.response, frame) >= wanted]
    return (float(there[0]), float(there[-1])) if len(there) else (math.nan, math.nan)


def _window_judged(own: TradeFinding, kind: str, window: Span, levels: list[float]) -> Judged:
    """False where something certain is outside, or something inside is called impossible."""
    claim = claimed_window(own.sentence)
    low, high = max(window[0], levels[0]), min(window[1], levels[-1])
    is_there = low <= high  # false for nan, too
    certain = any(not is_there or a < low - TINY or b > high + TINY for a, b in claim.certain)
    first, last = claim.possible
    excluded = is_there and not (first <= low + TINY and high <= last + TINY)
    edges = (levels[0], levels[-1])
    return Judged(
        own.key, kind, place=certain or excluded, missed=certain or excluded,
        claims_place=bool(claim.certain) or claim.possible != edges,
    )  # fmt: skip


def _judged_half_loss(
    study: Study, truth: Truth, question: TradeQuestion, own: TradeFinding
) -> Judged:
    delays = effective_delays(study, question.along)
    times = delays.of(question.level)
    gain = _gain_at_first(study, truth, question)
    shaped, free = claimed_half_loss(own.sentence)
    margin = study.equivalence_margin(question.response) or math.inf
    is_over = gain >= margin - TINY
    if own.sentence.startswith("There is no gain"):  # that matters, or else a loss
        smaller = "to lose that matters" in own.sentence
        return Judged(
            own.key, "half_loss", difference=not smaller and gain >= -TINY,
            equivalence=smaller and is_over, claims_difference=not smaller,
            claims_equivalence=smaller, is_over=is_over,
        )  # fmt: skip
    if own.sentence.startswith("No gain"):  # not shown: the times are told for the case of one
        return Judged(own.key, "half_loss", is_over=is_over)
    if gain <= TINY:  # half of nothing is not defined: the sentence must not name an upper limit
        named = math.isfinite(shaped[1])
        return Judged(own.key, "half_loss", place=named, claims_place=named, missed=named)
    # the last delay is the longest that was tried: beyond it only "not yet lost" is claimed
    lost = gain / 2 / -truth.decade if truth.decade else math.inf
    half = times[0] * 10.0 ** min(lost, 300.0)
    missed = _outside(half, shaped)
    return Judged(
        own.key, "half_loss", place=missed, claims_place=shaped != (-math.inf, math.inf),
        is_over=is_over, missed=missed, second_missed=_outside(half, free),
    )  # fmt: skip


def _gain_at_first(study: Study, truth: Truth, question: TradeQuestion) -> float:
    first = float(study.factor(question.along).levels[0])
    frame = pd.DataFrame(
        {"cold_route": [question.level, question.against], "delay_minutes": [first, math.nan]}
    )
    means = true_means(study, truth, question.response, frame)
    return float(means[0] - means[1])


def _judged_temper(
    study: Study, truth: Truth, question: TradeQuestion, own: TradeFinding
) -> Judged:
    claim = claimed_temper(own.sentence)
    grid, weights = grid_of(study)
    for name, level in question.at.items():
        kept = (grid[study.factor(name).column] == level).to_numpy()
        grid, weights = grid[kept], weights[kept]
    means = true_means(study, truth, question.response, grid)
    levels = sorted(float(level) for level in study.factor(question.along).levels)
    column = study.factor(question.along).column
    first, last = (
        float(np.average(means[own_rows], weights=weights[own_rows]))
        for own_rows in ((grid[column] == level).to_numpy() for level in (levels[0], levels[-1]))
    )
    slope = (last - first) / (levels[-1] - levels[0])
    place = levels[0] + ((question.target or 0.0) - first) / slope
    inside = levels[0] <= place <= levels[-1]
    missed = (claim.nowhere and inside) or (_outside(place, claim.limits) if inside else False)
    return Judged(own.key, "temper_for", place=missed, missed=missed,
                  claims_place=claim.says_something)  # fmt: skip


def _judged_two_ended(
    study: Study, truth: Truth, question: TradeQuestion, own: TradeFinding
) -> Judged:
    """No single number is given; the intervals at both ends of the common range are claims."""
    ends = claimed_ends(own.sentence)
    assert ends, own.sentence
    value = _in_print(true_value(study, truth, question), "log")
    return Judged(
        own.key, "equal_hardness", second_missed=any(_outside(value, limits) for limits in ends)
    )


_PLACES: Final = {
    "peak": _judged_peak,
    "peak_shift": _judged_shift,
    "working_window": _judged_window,
    "target_window": _judged_window,
    "half_loss": _judged_half_loss,
    "temper_for": _judged_temper,
    "equal_hardness": _judged_two_ended,
}
