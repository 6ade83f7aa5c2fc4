"""What certainty costs: sizes of a study by what they cost and the difference that they find."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from quenchbook.errors import EstimabilityError, PlanError
from quenchbook.outlook.effort import INDENTS, Scatter, UnitCosts, even_coupons, even_indents
from quenchbook.outlook.layouts import DrawnLayout, drawn_layout, layout_sizes
from quenchbook.outlook.noise import assumed_noise, noise_words
from quenchbook.outlook.questions import QuestionOutlook, times_in
from quenchbook.plan.cost import cost_of
from quenchbook.progress import progress
from quenchbook.study.definition import Noise, Question, Response, Study
from quenchbook.study.prices import Prices, prices_of
from quenchbook.units import NO_BREAK, capital, decimals_for, listed, number_text, with_unit

Basis = Literal["money", "hours"]

_SHARPER: Final = 0.9
"""A dearer plan is worth a sentence when its difference is this share of the plan's or less."""
_CHEAPER: Final = 0.75
"""A cheaper plan is worth a sentence when it costs this share of the plan or less."""


@dataclass(frozen=True, eq=False, repr=False)
class CertaintyCosts:
    """Sizes of a study, what each costs, and what it finds about one question.

    Attributes
    ----------
    study : Study
    question : Question
    frame : DataFrame
        One row for each plan, cheapest first: ``furnace_loads, coupons_per_load, indents, coupons,
        cost, hours, df_error, half_width, detectable_difference, equivalence_power, unbeaten,
        own_plan``. Differences are on the analysed scale.
    basis : str
        ``money``, or ``hours`` of work where no price is told: what plans are compared by.
    prices : Prices
    noise : Noise
    power : float
        Chance with which `detectable_difference` is found.
    margin : float or None
        Difference too small to matter, on the analysed scale.
    unpriced : tuple of str
        What is not in the cost, for no price is told.
    notes : tuple of str
        Noise with its source, what is not in the cost, what was assumed, plans left out.
    """

    study: Study
    question: Question
    frame: pd.DataFrame
    basis: Basis
    prices: Prices
    noise: Noise
    power: float
    margin: float | None = None
    unpriced: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def response(self) -> Response:
        """What the question is about."""
        return self.study.response(self.question.response)

    @property
    def effort(self) -> pd.Series:
        """What plans are compared by: ``cost`` or ``hours``."""
        return self.frame["cost" if self.basis == "money" else "hours"]

    @property
    def own(self) -> dict[str, Any] | None:
        """Row of the plan as the study has it; None where it cannot answer the question."""
        rows = self.frame[self.frame["own_plan"]].to_dict("records")
        return {str(key): value for key, value in rows[0].items()} if rows else None

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of the table."""
        return self.frame.copy()

    def unbeaten(self) -> pd.DataFrame:
        """Plans that no other plan beats: none is at least as sharp for no more."""
        return self.frame[self.frame["unbeaten"]].reset_index(drop=True)

    # --- words -----------------------------------------------------------------------------------

    def effort_text(self, amount: float) -> str:
        """Money or hours in print."""
        if self.basis == "money":
            return self.prices.money(float(f"{amount:.3g}"))
        return f"{amount:.0f}{NO_BREAK}hours of work"

    def size_text(self, size: float, *, unit: bool = True) -> str:
        """A difference in print: ``0.42 HRC``, or ``12 %`` on the log scale."""
        if self.response.scale == "log":
            shown, name = 100 * math.expm1(size), "%"
            text = number_text(shown, 0 if shown >= 10 else 1)
        else:
            name = self.response.unit
            text = number_text(size, decimals_for(size / 4, name))
        return with_unit(text, name) if unit else text

    def plan_text(self, row: Mapping[str, Any]) -> str:
        """A plan in print: ``12 furnace loads of 8 coupons, 5 indents each``."""
        loads, coupons, indents = (
            int(row[name]) for name in ("furnace_loads", "coupons_per_load", "indents")
        )
        reading = "indent" if self.response.kind == "hardness" else "reading"
        return (
            f"{loads} {self.study.unit_word('furnace_load', loads)} of {coupons} "
            f"{self.study.unit_word('coupon', coupons)}, {indents} "
            f"{reading}{'s' if indents > 1 else ''} each"
        )

    def sentences(self) -> tuple[str, ...]:
        """What more money or work buys, and what less would lose, from the plan of the study."""
        lines = []
        own, best = self.own, self.unbeaten()
        effort = best["cost" if self.basis == "money" else "hours"].to_numpy(dtype=float)
        sharp = best["detectable_difference"].to_numpy(dtype=float)
        rows = best.to_dict("records")
        often = times_in(self.power)
        if own is not None:
            at, found = float(own[effort_name(self.basis)]), float(own["detectable_difference"])
            lines.append(
                f"The plan, {self.plan_text(own)}, takes about {self.effort_text(at)} and finds a "
                f"difference of {self.size_text(found)} {often}."
            )
            same = np.flatnonzero((effort <= at) & (sharp < found))
            if not own["unbeaten"] and same.size:
                row = rows[int(same[-1])]
                lines.append(
                    f"For no more, {self.plan_text(row)}: {self._instead(row, found)}."
                )
            targets = [_SHARPER * found]
            if self.margin is not None and self.margin < _SHARPER * found:
                targets.append(self.margin)
            lines += self._dearer(rows, effort, sharp, at, found, targets)
            less = np.flatnonzero(effort <= _CHEAPER * at)
            if less.size:
                row = rows[int(less[-1])]
                saved = self.effort_text(at - float(effort[less[-1]]))
                lines.append(
                    f"{saved} less leaves: {self._instead(row, found)} ({self.plan_text(row)})."
                )
        elif len(rows):
            lines.append("The plan as it stands cannot answer the question.")
        return (*lines, *self._margin_sentences(rows, sharp))

    def _instead(self, row: Mapping[str, Any], found: float) -> str:
        now = self.size_text(float(row["detectable_difference"]), unit=False)
        return (
            f"a difference of {now} instead of {self.size_text(found)} found {times_in(self.power)}"
        )

    def _dearer(
        self,
        rows: Sequence[Mapping[Any, Any]],
        effort: npt.NDArray[np.float64],
        sharp: npt.NDArray[np.float64],
        at: float,
        found: float,
        targets: Sequence[float],
    ) -> list[str]:
        """What more money or work buys: the cheapest plan for each difference aimed at."""
        lines = []
        for place in dict.fromkeys(
            int(hits[0])
            for target in targets
            if (hits := np.flatnonzero((effort > at) & (sharp <= target))).size
        ):
            more = self.effort_text(float(effort[place]) - at)
            more = more.replace(NO_BREAK, f"{NO_BREAK}more{NO_BREAK}", 1)
            row = rows[place]
            lines.append(f"{more} buys: {self._instead(row, found)} ({self.plan_text(row)}).")
        return lines

    def _margin_sentences(
        self, rows: Sequence[Mapping[Any, Any]], sharp: npt.NDArray[np.float64]
    ) -> list[str]:
        if self.margin is None:
            return []
        margin, often = self.size_text(self.margin), times_in(self.power)
        enough = [row for row, found in zip(rows, sharp, strict=True) if found <= self.margin]
        if not enough:
            return [f"No plan here finds a difference as small as the margin, {margin}, {often}."]
        first = enough[0]
        lines = [
            f"The cheapest plan here that finds a difference of the margin, {margin}, {often}: "
            f"{self.plan_text(first)}, about {self.effort_text(float(first[effort_name(self.basis)]))}."
        ]
        same = [row for row in rows if float(row["equivalence_power"]) >= self.power]
        if same:
            lines.append(
                "The cheapest of them that shows a difference to be inside the margin "
                f"{often}, if there is none: {self.plan_text(same[0])}, about "
                f"{self.effort_text(float(same[0][effort_name(self.basis)]))}."
            )
        else:
            lines.append(
                f"No plan here shows a difference to be inside the margin {often}, even if there "
                "is none."
            )
        return lines

    def summary(self) -> str:
        """The question, the sentences and the notes."""
        return "\n".join([self.question.words, *self.sentences(), *self.notes])

    def __repr__(self) -> str:
        count = int(self.frame["unbeaten"].sum())
        return (
            f"<CertaintyCosts of {self.study.key}, {self.question.key}: {len(self.frame)} plans, "
            f"{count} unbeaten>"
        )

    def _repr_html_(self) -> str:
        from html import escape

        heads = (
            "plan", "cost" if self.basis == "money" else "hours of work",
            f"difference found {times_in(self.power)}", "half width of the interval",
        )  # fmt: skip
        left = 'style="text-align:left"'
        rows = []
        for row in self.frame[self.frame["unbeaten"] | self.frame["own_plan"]].to_dict("records"):
            mark = " (the plan)" if row["own_plan"] else ""
            cells = (
                capital(self.plan_text({str(k): v for k, v in row.items()})) + mark,
                self.effort_text(float(row[effort_name(self.basis)])),
                self.size_text(float(row["detectable_difference"])),
                f"±{self.size_text(float(row['half_width']))}",
            )
            rows.append("".join(f"<td {left}>{escape(cell)}</td>" for cell in cells))
        head = "".join(f'<th scope="col" {left}>{escape(name)}</th>' for name in heads)
        body = "".join(f"<tr>{row}</tr>" for row in rows)
        words = "".join(f"<p>{escape(line)}</p>" for line in self.summary().split("\n"))
        return f"{words}<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def effort_name(basis: Basis) -> str:
    """Column that plans are compared by."""
    return "cost" if basis == "money" else "hours"


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
    asked = _asked(study, question)
    response = study.response(asked.response)
    own_noise = _noise(study, response, noise)
    prices = prices_of(study)
    basis: Basis = "money" if prices.any_told else "hours"
    numbers, indent_note = _indents(response, own_noise, prices, basis, indents)
    own_size = (study.layout.furnace_loads, study.layout.coupons_per_load)
    rows: list[dict[str, Any]] = []
    left_out: dict[str, list[str]] = {}
    judged: QuestionOutlook | None = None
    drawn: DrawnLayout | None = None
    for size in progress(layout_sizes(study, loads, coupons), "plans"):
        own = size == own_size
        try:
            drawn = drawn_layout(study, asked, *size, seed=seed)
        except PlanError as error:
            if study.published:
                raise
            left_out.setdefault(str(error), []).append(f"{size[0]} × {size[1]}")
            continue
        for number in sorted({*numbers, response.readings} if own else numbers):
            judged = drawn.outlook(
                own_noise, number, power=power, indent_correlation=indent_correlation
            )
            if judged.planned is None:
                left_out.setdefault(judged.reason, []).append(f"{size[0]} × {size[1]}")
                break
            row = _row(judged, drawn, number, study, prices)
            rows.append({**row, "own_plan": own and number == response.readings})
    if not rows or judged is None or drawn is None:
        raise EstimabilityError(
            f"“{asked.words}” cannot be answered by any of these plans. "
            f"{' '.join(left_out) or 'Name other numbers of loads or coupons.'}"
        )
    frame = pd.DataFrame(rows).sort_values(
        [effort_name(basis), "detectable_difference", "indents"], ignore_index=True, kind="stable"
    )
    effort = frame[effort_name(basis)].to_numpy(dtype=float)
    best = unbeaten_plans(effort, frame["detectable_difference"].to_numpy(dtype=float))
    frame.insert(frame.columns.get_loc("own_plan"), "unbeaten", best)
    cost = cost_of(drawn.counts, study, prices)
    units = [unit for unit in ("furnace_load", "cold_batch", "temper_batch") if unit in drawn.units]
    notes = [
        f"Noise of {response.quantity}: "
        f"{noise_words(own_noise, study, response, (*units, 'coupon'))}.",
        *_cost_notes(cost.unpriced, basis),
        *cost.notes(),
        *indent_note,
        *_split_note(study, asked, own_noise, prices, basis, indent_correlation),
        *(f"Left out, loads × coupons {listed(sizes)}: {why}" for why, sizes in left_out.items()),
    ]
    return CertaintyCosts(
        study=study,
        question=asked,
        frame=frame,
        basis=basis,
        prices=prices,
        noise=own_noise,
        power=power,
        margin=judged.margin,
        unpriced=cost.unpriced,
        notes=tuple(notes),
    )


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


def _asked(study: Study, question: str | Question | None) -> Question:
    if isinstance(question, Question):
        return question
    if not study.questions:
        raise EstimabilityError(
            "The study declares no question, so there is nothing to be certain of. "
            "Add [[questions]] to study.toml."
        )
    for own in study.questions:
        if question is None or own.key == question:
            return own
    keys = ", ".join(own.key for own in study.questions)
    raise EstimabilityError(f"There is no question '{question}'. There are {keys}.")


def _noise(
    study: Study, response: Response, noise: Noise | Mapping[str, float] | None
) -> Noise:
    if noise is None:
        return assumed_noise(study, response.name)
    return noise if isinstance(noise, Noise) else Noise(dict(noise), "as given")


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
        return ("No price is told in study.toml, so plans are compared by hours of work.",)
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
    if costs is None or not sds.get("indent") or study.response(question.response).kind != "hardness":
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
        words += (
            f" and {m:.1f} {study.unit_word('coupon', 2)} a {study.unit_word('furnace_load')}"
        )
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
