"""Which coupons next: more of the same, to pin a peak, or to settle what stayed undecided."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from quenchbook.errors import EstimabilityError, PlanError
from quenchbook.fit.mean_rows import question_row
from quenchbook.outlook.delay_questions import change_row
from quenchbook.outlook.noise import measured_noise
from quenchbook.outlook.peak import peak_rows
from quenchbook.outlook.prepared import same_term
from quenchbook.outlook.trade_outlook import ABOUT_PEAKS
from quenchbook.plan.best_plan import continued_arrangement
from quenchbook.plan.continuation import continued_matrix
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.plan.plan_model import noise_ratios, plan_terms, planned_precision
from quenchbook.plan.streams import Stream
from quenchbook.plan.treatments import treatments
from quenchbook.study.definition import Question, Study
from quenchbook.study.factors import Factor
from quenchbook.study.terms import Array, Terms
from quenchbook.study.trade_questions import TradeQuestion

if TYPE_CHECKING:
    from quenchbook.fit.mixed import MixedModel

Aim = Literal["same", "peak", "verdicts"]
AIMS: Final = ("same", "peak", "verdicts")

_PEAK_DRAWS: Final = 400
_PEAK_PLACES: Final = 21  # places of the peak that the choice is averaged over


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
        Of the records so far: their noise, and for ``peak`` where the peak may be. Without them
        the noise is that of the study file, and the peak may be anywhere in the tried range.
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
    if aim not in AIMS:
        raise EstimabilityError(f"'{aim}' is not an aim. Aims are {', '.join(AIMS)}.")
    if loads < 1:
        raise PlanError(f"{loads} new furnace loads: write a whole number, 1 or more.")
    response, targets, words = "", None, "the same model, estimated as well as can be."
    notes: list[str] = []
    if aim == "verdicts":
        response, targets, words = _verdict_targets(matrix, questions, models or {}, notes)
    elif aim == "peak":
        response, targets, words = _peak_targets(study, models or {})
    rows = continued_arrangement(
        _with_measured_ratios(study, response, models or {}),
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


def _with_measured_ratios(study: Study, response: str, models: Mapping[str, MixedModel]) -> Study:
    """Study whose noise ratios are those that were measured."""
    name = study.response(response).name if response else study.responses[0].name
    if name not in models:
        return study
    noise = measured_noise(models[name])
    responses = tuple(
        replace(own, noise=noise) if own.name == name else own for own in study.responses
    )
    return replace(study, responses=responses)


def _verdict_targets(
    matrix: CouponMatrix,
    keys: Sequence[str],
    models: Mapping[str, MixedModel],
    notes: list[str],
) -> tuple[str, tuple[Array, Array] | None, str]:
    """Contrasts and terms of the questions; each counts by how much better it can be told.

    Questions about curves cannot be weighed against differences: one about each decade is a
    difference like others; of the rest a peak is aimed at only where nothing else is open. What is
    not aimed at is noted.
    """
    study = matrix.study
    known = {own.key: own for own in study.trade_questions}
    chosen: list[Question | TradeQuestion] = [
        known[key] if key in known else study.question_of(key) for key in keys
    ] or list(study.questions)
    if not chosen:
        raise EstimabilityError(
            'No question is declared, so there is nothing to aim at: use "same".'
        )
    plain = [q for q in chosen if isinstance(q, Question) or q.asks == "per_decade"]
    curves = [q for q in chosen if q not in plain]
    if not plain:
        return _curve_targets(study, curves, models, notes)
    _note_left_out(curves, notes)
    response = _most_asked(plain)
    own = [question for question in plain if question.response == response]
    terms = plan_terms(study, response)
    blocks = [_question_rows(study, terms, question) for question in own]
    weights = [_weights_now(matrix, response, terms, rows) for rows in blocks]
    words = "; ".join(f"“{question.words}”" for question in own)
    return response, (np.vstack(blocks), np.concatenate(weights)), f"to settle {words}"


def _curve_targets(
    study: Study,
    curves: Sequence[Question | TradeQuestion],
    models: Mapping[str, MixedModel],
    notes: list[str],
) -> tuple[str, tuple[Array, Array] | None, str]:
    """Where only questions about curves are open: their peak, else the whole model."""
    about = [own for own in curves if isinstance(own, TradeQuestion) and own.asks in ABOUT_PEAKS]
    if about:
        response = _most_asked(about)
        some = {name: own for name, own in models.items() if name == response} or models
        _note_left_out([own for own in curves if own not in about], notes)
        return _peak_targets(study, some)
    _note_left_out(curves, notes)
    return "", None, "the same model, estimated as well as can be."


def _note_left_out(curves: Sequence[Question | TradeQuestion], notes: list[str]) -> None:
    if curves:
        words = " ".join(own.words for own in curves)
        notes.append(f"Not aimed at, for no rule is known for a question of this kind: {words}")


def _weights_now(matrix: CouponMatrix, response: str, terms: Terms, rows: Array) -> Array:
    """One over the variance of each row in the plan so far, so that noisy ones do not rule."""
    frame = matrix.analysed.reset_index(drop=True)
    columns = terms.matrix(frame)
    weight = planned_precision(frame, noise_ratios(matrix.study, response))
    inverse = np.linalg.pinv(columns.T @ weight @ columns)
    now = np.einsum("kp,pq,kq->k", rows, inverse, rows)
    return np.asarray(1.0 / (len(rows) * np.maximum(now, 1e-9)))


def _question_rows(study: Study, terms: Terms, question: Question | TradeQuestion) -> Array:
    """Weights of the coefficients that a question is about, shape (rows, coefficients)."""
    if isinstance(question, TradeQuestion):
        return change_row(study, terms, question)[None, :]
    if not question.term:
        return question_row(terms, question)[None, :]
    places = terms.slices(treatments(study))
    name = same_term(question.term, terms.names)
    if not name:
        raise EstimabilityError(f"{question.term} is not in the model of {question.response}.")
    width = max(place.stop for place in places.values())
    return np.asarray(np.eye(width)[places[name]])


def _most_asked(questions: Sequence[Question | TradeQuestion]) -> str:
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
    from scipy import special

    even = _whole_range(curve)
    middle = float(even.mean())
    slope, bend = peak_rows(model.terms, curve.name, middle)
    estimate, std_error, df = model.estimates(np.array([slope, bend, slope + bend]))
    covariance = (std_error[2] ** 2 - std_error[0] ** 2 - std_error[1] ** 2) / 2
    if not np.isfinite(std_error).all():
        return even
    matrix = np.array([[std_error[0] ** 2, covariance], [covariance, std_error[1] ** 2]])
    values, vectors = np.linalg.eigh(matrix)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    keys = Stream(0, "possible peaks").keys(_PEAK_DRAWS, 3)
    shares = (keys.astype(float) + 0.5) / 2.0**64
    heavier = np.sqrt(df[0] / special.chdtri(df[0], shares[:, 2]))  # tails of few df
    draws = estimate[:2] + (special.ndtri(shares[:, :2]) @ root.T) * heavier[:, None]
    bends_down = draws[:, 1] < 0
    if bends_down.mean() < 0.9:
        return even
    peaks = middle - draws[bends_down, 0] / draws[bends_down, 1]
    wanted = (np.arange(_PEAK_PLACES) + 0.5) / _PEAK_PLACES
    return np.asarray(np.clip(np.quantile(peaks, wanted), even.min(), even.max()))
