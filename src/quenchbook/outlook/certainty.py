"""What certainty costs: sizes of a study by what they cost and the difference that they find."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from quenchbook.errors import EstimabilityError, PlanError
from quenchbook.outlook.certainty_table import Basis, CertaintyCosts, effort_name
from quenchbook.outlook.effort import INDENTS, Scatter, UnitCosts, even_coupons, even_indents
from quenchbook.outlook.layouts import DrawnLayout, drawn_layout, layout_sizes
from quenchbook.outlook.noise import assumed_noise, completed_noise, noise_words
from quenchbook.outlook.questions import QuestionOutlook
from quenchbook.plan.cost import cost_of
from quenchbook.progress import progress
from quenchbook.study.definition import Noise, Question, Response, Study
from quenchbook.study.prices import Prices, prices_of
from quenchbook.units import listed


def certainty_costs(
    study: Study,
    question: str | Question | None = None,
    *,
    loads: Sequence[int] | None = None,
    coupons: Sequence[int] | None = None,
    indents: Sequence[int] | None = None,
    noise: Noise | Mapping[str, float] | None = None,
    indent_correlation: float = 0.0,
    power: float = 0.8,
    seed: int = 1,
) -> CertaintyCosts:
    """Sizes of a study by cost and by the smallest difference that they find.

    Each size is drawn once as a real plan and judged with the error df of its own strata.

    Parameters
    ----------
    study : Study
    question : str or Question, optional
        Key of a declared question; the first one when left out.
    loads, coupons, indents : sequence of int, optional
        Furnace loads, coupons in each, indents on each coupon. When left out: whole repeats of the
        furnace settings, whole sets of the widest factor inside loads, and 1 to 10 indents.
    noise : Noise or mapping of unit to float, optional
        Standard deviations; those of the study file, or assumed, when left out.
    indent_correlation : float
        What nearby indents have in common beyond the noise of their coupon, 0 to 1. 0 is right
        for standard deviations from a noise budget: there the coupon holds all of it.
    power : float
        Chance with which the difference is to be found.
    seed : int
        Of the plans that are drawn.

    Returns
    -------
    CertaintyCosts

    Raises
    ------
    EstimabilityError
        If no question is declared, or no plan of any size can answer it.
    PlanError
        If the study was published: then there is nothing to plan.
    """
    _check(loads, coupons, indents, indent_correlation)
    asked = _asked(study, question)
    response = study.response(asked.response)
    own_noise = _noise(study, response, noise)
    prices = prices_of(study)
    drawn, left_out = _drawn(study, asked, layout_sizes(study, loads, coupons), seed)
    priced = [cost_of(own.counts, study, prices).total > 0 for own in drawn]
    basis: Basis = "money" if all(priced) else "hours"
    numbers, indent_note = _indents(response, own_noise, prices, basis, indents)
    own_size = (study.layout.furnace_loads, study.layout.coupons_per_load)
    rows: list[dict[str, Any]] = []
    margin = None
    for plan in drawn:
        planned = (plan.loads, plan.coupons_per_load) == own_size
        for number in sorted({*numbers, response.readings} if planned else numbers):
            judged = plan.outlook(
                own_noise, number, power=power, indent_correlation=indent_correlation
            )
            if judged.planned is None:
                left_out.setdefault(judged.reason, []).append(plan.size_text)
                break
            margin = judged.margin
            row = _row(judged, plan, number, study, prices)
            rows.append({**row, "own_plan": planned and number == response.readings})
    if not rows:
        raise EstimabilityError(
            f"“{asked.words}” cannot be answered by any of these plans. {' '.join(left_out)}"
        )
    frame = pd.DataFrame(rows).sort_values(
        [effort_name(basis), "detectable_difference", "indents"], ignore_index=True, kind="stable"
    )
    effort = frame[effort_name(basis)].to_numpy(dtype=float)
    best = unbeaten_plans(effort, frame["detectable_difference"].to_numpy(dtype=float))
    frame.insert(len(frame.columns) - 1, "unbeaten", best)
    cost = cost_of(drawn[-1].counts, study, prices)
    units = drawn[-1].units
    notes = [
        f"Noise of {response.quantity}: "
        f"{noise_words(own_noise, study, response, (*units, 'coupon'))}.",
        *_cost_notes(cost.unpriced, basis),
        *cost.notes(),
        *indent_note,
        *_split_note(study, asked, own_noise, prices, basis, indent_correlation),
        *_left_out_notes(left_out),
    ]
    return CertaintyCosts(
        study=study,
        question=asked,
        frame=frame,
        basis=basis,
        prices=prices,
        noise=own_noise,
        power=power,
        margin=margin,
        unpriced=cost.unpriced,
        notes=tuple(notes),
    )


def _left_out_notes(left_out: Mapping[str, Sequence[str]]) -> list[str]:
    """Sizes that cannot be run or judged, with the first sentence of the reason, each told once."""
    by_reason: dict[str, list[str]] = {}
    for why, sizes in left_out.items():
        first = re.sub(r"\d+", "…", why.split(". ")[0].split("\n")[0])
        by_reason.setdefault(first, []).extend(sizes)
    shown = {first: next(w for w in left_out if _same(w, first)) for first in by_reason}
    return [
        f"Left out, loads × coupons {listed(sizes)}: {shown[first].split('. ')[0].rstrip('.')}."
        for first, sizes in by_reason.items()
    ]


def _same(why: str, first: str) -> bool:
    return re.sub(r"\d+", "…", why.split(". ")[0].split("\n")[0]) == first


def _drawn(
    study: Study, question: Question, sizes: Sequence[tuple[int, int]], seed: int
) -> tuple[list[DrawnLayout], dict[str, list[str]]]:
    """Plans of these sizes, and the sizes that cannot be run, by the reason."""
    drawn: list[DrawnLayout] = []
    left_out: dict[str, list[str]] = {}
    for size in progress(sizes, "plans"):
        try:
            drawn.append(drawn_layout(study, question, *size, seed=seed))
        except PlanError as error:
            if study.published:
                raise
            left_out.setdefault(str(error), []).append(f"{size[0]} × {size[1]}")
    return drawn, left_out


def unbeaten_plans(
    effort: npt.NDArray[np.float64], difference: npt.NDArray[np.float64]
) -> npt.NDArray[np.bool_]:
    """Plans for which no other takes no more and finds no less, one of the two being better.

    Parameters
    ----------
    effort, difference : ndarray, shape (plans,)

    Returns
    -------
    ndarray of bool, shape (plans,)
    """
    order = np.lexsort((difference, effort))
    best = np.zeros(len(effort), dtype=bool)
    least, at = math.inf, math.nan
    for place in order:
        if difference[place] < least:
            least, at = float(difference[place]), float(effort[place])
            best[place] = True
        elif difference[place] == least and effort[place] == at:
            best[place] = True
    return best


def _check(
    loads: Sequence[int] | None,
    coupons: Sequence[int] | None,
    indents: Sequence[int] | None,
    indent_correlation: float,
) -> None:
    for name, values in (("loads", loads), ("coupons", coupons), ("indents", indents)):
        if values is not None and (not len(values) or any(int(x) != x or x < 1 for x in values)):
            raise EstimabilityError(
                f"{name} is {list(values)}. Write whole numbers from 1, such as [4, 8, 12]."
            )
    if not 0 <= indent_correlation <= 1:
        raise EstimabilityError(
            f"indent_correlation is {indent_correlation:g}. Write a number from 0 to 1."
        )


def _asked(study: Study, question: str | Question | None) -> Question:
    if isinstance(question, Question):
        return question
    if not study.questions:
        raise EstimabilityError(
            "The study declares no question, so there is nothing to be certain of. "
            "Add [[questions]] to study.toml."
        )
    return study.questions[0] if question is None else study.question_of(question)


def _noise(study: Study, response: Response, noise: Noise | Mapping[str, float] | None) -> Noise:
    if noise is None:
        return assumed_noise(study, response.name)
    own = noise if isinstance(noise, Noise) else Noise(dict(noise), "as given")
    if "coupon" not in own.sds:
        raise EstimabilityError(
            f"The noise of a {study.unit_word('coupon')} is not told. Give its standard deviation "
            'as "coupon".'
        )
    return completed_noise(own, study, response.name)


def _indents(
    response: Response,
    noise: Noise,
    prices: Prices,
    basis: Basis,
    indents: Sequence[int] | None,
) -> tuple[list[int], tuple[str, ...]]:
    """Numbers of indents to try, and why they are not varied where they are not."""
    if indents is not None:
        return sorted(set(indents)), ()
    if not noise.sds.get("indent"):
        return [response.readings], ()
    if response.kind != "hardness":
        return [response.readings], ()
    if basis == "money" and prices.indent is None and prices.own_hour is None:
        return [response.readings], (
            f"The number of indents stays at {response.readings}: no price of an indent or of an "
            "own hour is told, so more of them would look free.",
        )
    return list(INDENTS), ()


def _row(
    judged: QuestionOutlook, drawn: DrawnLayout, indents: int, study: Study, prices: Prices
) -> dict[str, Any]:
    tested = drawn.counts.readings[judged.response.name] // judged.response.readings
    counts = drawn.counts.with_readings(judged.response.name, indents * tested)
    cost = cost_of(counts, study, prices)
    half, equivalence = judged.half_width(), judged.equivalence_power()
    return {
        "furnace_loads": drawn.loads,
        "coupons_per_load": drawn.coupons_per_load,
        "indents": indents,
        "coupons": drawn.counts.coupons,
        "cost": cost.total,
        "hours": cost.hours,
        "df_error": judged.df_error,
        "half_width": math.nan if half is None else half,
        "detectable_difference": judged.detectable_difference(),
        "equivalence_power": math.nan if equivalence is None else equivalence,
    }


def _cost_notes(unpriced: Sequence[str], basis: Basis) -> tuple[str, ...]:
    if basis == "hours":
        return ("No price that these plans need is told, so they are compared by hours of work.",)
    return (f"Not in the cost, no price told: {listed(unpriced)}.",) if unpriced else ()


def _split_note(
    study: Study,
    question: Question,
    noise: Noise,
    prices: Prices,
    basis: Basis,
    indent_correlation: float,
) -> tuple[str, ...]:
    """Closed-form split of effort: a starting point, where all of its prices are told."""
    costs = unit_costs(prices, basis)
    sds = noise.sds
    if (
        costs is None
        or not sds.get("indent")
        or study.response(question.response).kind != "hardness"
    ):
        return ()
    scatter = Scatter(
        sds.get("furnace_load", 0.0), sds.get("coupon", 0.0), sds["indent"], indent_correlation
    )
    k, m = even_indents(scatter, costs), even_coupons(scatter, costs)
    if not math.isfinite(k):
        return ()
    words = f"about {k:.1f} indents a {study.unit_word('coupon')}"
    between = question.factor and study.factor(question.factor).set_for == "furnace_load"
    if between and math.isfinite(m):
        words += f" and {m:.1f} {study.unit_word('coupon', 2)} a {study.unit_word('furnace_load')}"
    what = "money" if basis == "money" else "work"
    return (f"In closed form, which knows no df, {words} tell most for the {what}.",)


def unit_costs(prices: Prices, basis: Basis) -> UnitCosts | None:
    """What one more load, coupon and indent costs; None where one of them has no price."""
    hours = UnitCosts(
        prices.hours_a_furnace_load, prices.hours_a_coupon, prices.minutes_an_indent / 60
    )
    if basis == "hours":
        return hours
    own = prices.own_hour
    heat = [prices.furnace_load]
    if prices.furnace_hour is not None:
        heat.append(prices.furnace_hour * prices.furnace_hours_a_load)
    if own is None and (prices.furnace_load is None or prices.coupon is None or not prices.indent):
        return None
    return UnitCosts(
        sum(price or 0.0 for price in heat) + (own or 0.0) * hours.load,
        (prices.coupon or 0.0) + (own or 0.0) * hours.coupon,
        (prices.indent or 0.0) + (own or 0.0) * hours.indent,
    )
