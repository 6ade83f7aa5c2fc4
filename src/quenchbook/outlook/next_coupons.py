"""Which coupons next: more of the same, to pin a peak, or to settle what stayed undecided."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
import pandas as pd

from quenchbook.errors import EstimabilityError, PlanError
from quenchbook.fit.mean_rows import question_row
from quenchbook.outlook.layouts import drawn_layout, furnace_settings
from quenchbook.outlook.noise import measured_noise
from quenchbook.outlook.peak import peak_rows
from quenchbook.outlook.questions import question_outlooks, same_term
from quenchbook.plan.best_plan import continued_arrangement
from quenchbook.plan.continuation import continued_matrix
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.plan.plan_model import noise_ratios, plan_terms, planned_precision
from quenchbook.plan.treatments import treatments
from quenchbook.study.definition import Noise, Question, Study
from quenchbook.study.factors import Factor
from quenchbook.study.terms import Array, Terms
from quenchbook.units import NO_BREAK, listed

if TYPE_CHECKING:
    from quenchbook.fit.mixed import MixedModel

Aim = Literal["same", "peak", "verdicts"]

_PEAK_DRAWS: Final = 400
_PEAK_PLACES: Final = 21  # places of the peak that the choice is averaged over
_MOST_SIZES: Final = 6  # steps from no more loads to twice as many
_MOST_TIMES: Final = 6  # a study is not imagined larger than so many times itself


def next_coupons(
    matrix: CouponMatrix,
    loads: int,
    *,
    aim: Aim = "same",
    models: Mapping[str, MixedModel] | None = None,
    questions: Sequence[str] = (),
    coupons_per_load: int = 0,
    seed: int,
    starts: int = 20,
) -> CouponMatrix:
    """Continue a plan with furnace loads that add most to what is there.

    Parameters
    ----------
    matrix : CouponMatrix
        Of the study so far; its rows never change.
    loads : int
        New furnace loads, on new days.
    aim : {"same", "peak", "verdicts"}
        ``same``: the model of the plan, as well as can be. ``peak``: the place of the peak, over
        all places where the data so far let it be. ``verdicts``: the questions named.
    models : mapping of response to MixedModel
        Of the records so far; needed for ``peak``.
    questions : sequence of str
        Keys, for ``verdicts``; all questions when left out. Those of the response that most of
        them are about are aimed at.
    coupons_per_load : int
        0: as in the layout.
    seed : int
    starts : int
        Random starts of the exchange.

    Returns
    -------
    CouponMatrix
        With one more continuation.

    Raises
    ------
    PlanError
        If the new loads cannot hold what is asked.
    EstimabilityError
        If there is no question or no curve to aim at.
    """
    study = matrix.study
    if loads < 1:
        raise PlanError(f"{loads} new furnace loads: write a whole number, 1 or more.")
    response, targets, words = "", None, "the same model, estimated as well as can be."
    if aim == "verdicts":
        response, targets, words = _verdict_targets(matrix, questions)
    elif aim == "peak":
        response, targets, words = _peak_targets(study, models or {})
    notes: list[str] = []
    rows = continued_arrangement(
        study,
        matrix.frame,
        loads,
        seed=seed,
        response=response,
        targets=targets,
        coupons_per_load=coupons_per_load,
        starts=starts,
        notes=notes,
    )
    return continued_matrix(matrix, rows, seed=seed, aim=words, notes=notes)


def _verdict_targets(
    matrix: CouponMatrix, keys: Sequence[str]
) -> tuple[str, tuple[Array, Array], str]:
    """Contrasts and terms of the questions; each counts by how much better it can be told."""
    study = matrix.study
    chosen = [own for own in study.questions if not keys or own.key in keys]
    if not chosen:
        raise EstimabilityError(
            'No question is declared, so there is nothing to aim at: use "same".'
        )
    response = _most_asked(chosen)
    own = [question for question in chosen if question.response == response]
    terms = plan_terms(study, response)
    blocks = [_question_rows(study, terms, question) for question in own]
    weights = [_weights_now(matrix, terms, rows) for rows in blocks]
    words = "; ".join(f"“{question.words}”" for question in own)
    return response, (np.vstack(blocks), np.concatenate(weights)), f"to settle {words}"


def _weights_now(matrix: CouponMatrix, terms: Terms, rows: Array) -> Array:
    """One over the variance of each row in the plan so far, so that noisy ones do not rule."""
    frame = matrix.analysed.reset_index(drop=True)
    columns = terms.matrix(frame)
    weight = planned_precision(frame, noise_ratios(matrix.study))
    inverse = np.linalg.pinv(columns.T @ weight @ columns)
    now = np.einsum("kp,pq,kq->k", rows, inverse, rows)
    return np.asarray(1.0 / (len(rows) * np.maximum(now, 1e-9)))


def _question_rows(study: Study, terms: Terms, question: Question) -> Array:
    """Weights of the coefficients that a question is about, shape (rows, coefficients)."""
    if not question.term:
        return question_row(terms, question)[None, :]
    places = terms.slices(treatments(study))
    name = same_term(question.term, terms.names)
    if not name:
        raise EstimabilityError(f"{question.term} is not in the model of {question.response}.")
    width = max(place.stop for place in places.values())
    return np.asarray(np.eye(width)[places[name]])


def _most_asked(questions: Sequence[Question]) -> str:
    names = [question.response for question in questions]
    return max(dict.fromkeys(names), key=names.count)


def _peak_targets(
    study: Study, models: Mapping[str, MixedModel]
) -> tuple[str, tuple[Array, Array], str]:
    """Slopes at the places where the peak may be, by the data or else over the whole range."""
    for response in study.responses:
        curve = next((f for f in study.factors if f.shape == "quadratic"), None)
        if curve is None or (models and response.name not in models):
            continue
        terms = plan_terms(study, response.name)
        places = possible_peaks(models[response.name], curve) if models else _whole_range(curve)
        rows = np.array([peak_rows(terms, curve.name, place)[0] for place in places])
        span = f"{curve.word(round(places.min()))} to {curve.word(round(places.max()))}"
        words = f"to locate the peak of {response.quantity}, which may lie at {span}"
        return response.name, (rows, np.full(len(places), 1.0 / len(places))), words
    raise EstimabilityError(
        "No factor is analysed as a quadratic curve, so there is no peak to locate. "
        'Write shape = "quadratic" for it.'
    )


def _whole_range(curve: Factor) -> Array:
    levels = [float(level) for level in curve.levels]
    return np.linspace(min(levels), max(levels), _PEAK_PLACES)


def possible_peaks(model: MixedModel, curve: Factor) -> Array:
    """Places where the peak may be, as quantiles of draws from the uncertainty of the curve.

    Parameters
    ----------
    model : MixedModel
    curve : Factor
        Analysed as a quadratic.

    Returns
    -------
    ndarray
        Places inside the tried range [storage unit]; evenly over it where the curvature is not
        established.
    """
    even = _whole_range(curve)
    middle = float(even.mean())
    slope, bend = peak_rows(model.terms, curve.name, middle)
    estimate, std_error, df = model.estimates(np.array([slope, bend, slope + bend]))
    covariance = (std_error[2] ** 2 - std_error[0] ** 2 - std_error[1] ** 2) / 2
    if not np.isfinite(std_error).all():
        return even
    rng = np.random.default_rng(0)
    matrix = np.array([[std_error[0] ** 2, covariance], [covariance, std_error[1] ** 2]])
    draws = rng.multivariate_normal(estimate[:2], matrix, _PEAK_DRAWS, check_valid="ignore")
    heavier = np.sqrt(df[0] / rng.chisquare(df[0], _PEAK_DRAWS))  # tails of few df
    draws = estimate[:2] + (draws - estimate[:2]) * heavier[:, None]
    bends_down = draws[:, 1] < 0
    if bends_down.mean() < 0.9:
        return even
    peaks = middle - draws[bends_down, 0] / draws[bends_down, 1]
    shares = (np.arange(_PEAK_PLACES) + 0.5) / _PEAK_PLACES
    return np.asarray(np.clip(np.quantile(peaks, shares), even.min(), even.max()))


@dataclass(frozen=True, eq=False, repr=False)
class Undecided:
    """What each undecided question still needs.

    Attributes
    ----------
    table : DataFrame
        ``key, question, goal, more_loads, more_coupons, power``; blank where not even a study
        several times as large would do.
    study : Study
    target : float
    notes : tuple of str
    """

    table: pd.DataFrame
    study: Study
    target: float
    notes: tuple[str, ...] = ()

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of the table."""
        return self.table.copy()

    def summary(self) -> str:
        """Say what each question needs."""
        if self.table.empty:
            return "No question is undecided."
        lines = []
        for row in self.table.to_dict("records"):
            goal = (
                "to find a difference of the margin"
                if row["goal"] == "difference"
                else "to show that any difference is smaller than the margin, if there is none"
            )
            if pd.isna(row["more_loads"]):
                lines.append(
                    f"{row['question']} Not even {_MOST_TIMES} times this study would do {goal}."
                )
                continue
            loads, coupons = int(row["more_loads"]), int(row["more_coupons"])
            more = f"{loads} more {self.study.unit_word('furnace_load', loads)}"
            pieces = f"{coupons} {self.study.unit_word('coupon', coupons)}"
            lines.append(
                f"{row['question']} About {more} with {pieces} {goal} "
                f"with {self.target * 100:.0f}{NO_BREAK}% power."
            )
        return "\n".join([*lines, *self.notes])

    def __repr__(self) -> str:
        return f"<Undecided: {self.table['key'].nunique()} questions>"

    def _repr_html_(self) -> str:
        from html import escape

        return "".join(f"<p>{escape(line)}</p>" for line in self.summary().split("\n"))


def undecided_needs(
    matrix: CouponMatrix,
    models: Mapping[str, MixedModel],
    questions: Sequence[str],
    *,
    power: float = 0.8,
) -> Undecided:
    """How many more furnace loads and coupons each undecided question needs.

    Only margin and noise count, never the estimate: the power to find a difference of the margin,
    and to show equivalence if there is none, of studies as the present one with more loads.

    Parameters
    ----------
    matrix : CouponMatrix
    models : mapping of response to MixedModel
        Of the records so far; their noise is used.
    questions : sequence of str
        Keys of the undecided questions.
    power : float

    Returns
    -------
    Undecided
    """
    study = matrix.study
    noise: dict[str, Noise] = {name: measured_noise(model) for name, model in models.items()}
    asked = [own for own in study.questions if own.key in questions and not own.term]
    asked = [own for own in asked if study.equivalence_margin(own.response) is not None]
    now = matrix.unit_counts()["furnace_load"]
    step = furnace_settings(study)
    step *= max(1, round(now / _MOST_SIZES / step))
    per_load = len(matrix.frame) / now
    found: dict[tuple[str, str], tuple[int, float]] = {}
    for more in range(step, (_MOST_TIMES - 1) * now + 1, step):
        left = [
            (own.key, goal)
            for own in asked
            for goal in ("difference", "equivalence")
            if (own.key, goal) not in found
        ]
        if not left:
            break
        size = (now + more, study.layout.coupons_per_load)
        drawn = {key: drawn_layout(study, study.question_of(key), *size, seed=1) for key, _ in left}
        for key, goal in left:
            own = question_outlooks(drawn[key].matrix, noise=noise).answer(key)
            assert own.margin is not None
            got = own.power(own.margin) if goal == "difference" else own.equivalence_power()
            if (got or 0.0) >= power:
                found[key, goal] = (more, got or 0.0)
    rows = []
    for question in asked:
        for goal in ("difference", "equivalence"):
            added, got = found.get((question.key, goal), (None, None))
            rows.append(
                {
                    "key": question.key,
                    "question": question.words,
                    "goal": goal,
                    "more_loads": added,
                    "more_coupons": round(added * per_load) if added is not None else None,
                    "power": got,
                }
            )
    columns = ["key", "question", "goal", "more_loads", "more_coupons", "power"]
    sources = listed(list(dict.fromkeys(own.source for own in noise.values())))
    notes = (f"Noise as measured: {sources}.",) if asked else ()
    return Undecided(pd.DataFrame(rows, columns=columns), study, power, notes)
