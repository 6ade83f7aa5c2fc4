"""From a study to the best plan of its layout: what each load, batch and coupon gets."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from quenchbook.errors import PlanError
from quenchbook.plan.choice_space import ChoiceSpace, Part, choice_space, spare_codes
from quenchbook.plan.coordinates import (
    Array,
    ChoiceProblem,
    Codes,
    Coordinate,
    Criterion,
    LeastLevels,
)
from quenchbook.plan.exchange import ExchangedChoices, exchanged_choices
from quenchbook.plan.fixed_coupons import (
    extra_coupon_rows,
    held_load_choices,
    joined_coupons,
)
from quenchbook.plan.needed_units import missing_treatments, missing_units, term_words
from quenchbook.plan.plan_model import (
    column_terms,
    full_treatments,
    noise_ratios,
    not_estimable,
    plan_terms,
    planned_precision,
    prediction_region,
)
from quenchbook.plan.shared_units import shared_units
from quenchbook.plan.unit_numbers import numbered_units
from quenchbook.study.definition import Study
from quenchbook.study.factors import Factor
from quenchbook.study.terms import Terms
from quenchbook.units import NO_BREAK, capital

STARTS = 20
_DEGREES = {"linear": 1, "quadratic": 2}


def best_arrangement(
    study: Study, *, seed: int, notes: list[str] | None = None, starts: int = 0
) -> pd.DataFrame:
    """Units and treatments of a layout, chosen by coordinate exchange.

    Parameters
    ----------
    study : Study
        ``plan`` says the criterion, the response, the noise and whether a level is kept to spare.
    seed : int
    notes : list of str, optional
        How it was chosen is added in words.
    starts : int
        Random starts; 0: as the study wishes, or `STARTS`.

    Returns
    -------
    DataFrame
        One row for each coupon, not yet randomized: ``furnace_load``, ``day``, ``cold_batch`` and
        ``temper_batch`` as groups, and a column for each factor. Extra coupons with a level for
        every factor are there, in loads of their furnace setting.

    Raises
    ------
    PlanError
        If a term cannot be estimated; the message says what would make it possible.
    """
    space = choice_space(study)
    units = shared_units(study)
    fixed, loads = extra_coupon_rows(study, units)
    held = held_load_choices(space, loads, int(units["furnace_load"].max()))
    terms = plan_terms(study)
    _refuse_small_budget(study, space, terms, units, fixed)
    problem = _problem(study, space, terms, units, fixed, held=held)
    found = _exchanged(study, problem, study.plan.criterion, starts, seed)
    frame = joined_coupons(study, _chosen(space, units, problem, found), fixed)
    if notes is not None:
        notes += _notes(study, found, frame)
    return frame


def continued_arrangement(
    study: Study,
    old_frame: pd.DataFrame,
    loads: int,
    *,
    seed: int,
    criterion: Criterion | None = None,
    response: str = "",
    targets: tuple[Array, Array] | None = None,
    coupons_per_load: int = 0,
    starts: int = 0,
    notes: list[str] | None = None,
) -> pd.DataFrame:
    """Furnace loads that add most to coupons which are already there.

    Parameters
    ----------
    study : Study
    old_frame : DataFrame
        Coupons of the finished plan: units, ``day`` and factor columns. Levels may be those that
        were really run. The old rows are never changed; they count with their units,
        references (a factor left out) only in the numbers.
    loads : int
        New furnace loads, on new days.
    seed : int
    criterion : str, optional
        ``D`` or ``I``; by default as in the study, ``I`` with targets.
    response : str
        Whose terms; by default as in the study.
    targets : (rows, weights), optional
        What is to be told, in place of an average prediction: weights of the coefficients of
        `plan_terms`, shape (targets, p), and the weight of each target, shape (targets,). The
        weighted sum of their variances becomes as small as it can.
    coupons_per_load : int
        0: as in the layout.
    starts : int
        Random starts; 0: as the study wishes, or `STARTS`.
    notes : list of str, optional
        How it was chosen is added in words.

    Returns
    -------
    DataFrame
        The new rows only, in random furnace order, with numbers of days, loads and batches that
        go on after the old ones.
    """
    space = choice_space(study)
    units = shared_units(study, furnace_loads=loads, coupons_per_load=coupons_per_load)
    terms = plan_terms(study, response)
    old = _shifted(old_frame[full_treatments(study, old_frame)], units)
    region = None
    if targets is not None:
        rows, weights = targets
        region = rows.T @ (np.asarray(weights)[:, None] * rows)
    if study.plan.kind == "fraction":  # what the fraction mixes up stays out of the model
        every, terms = terms, terms.without(not_estimable(study, old, terms))
        if region is not None:
            kept = np.array([n in ("mean", *terms.names) for n in column_terms(every, space.frame)])
            region = region[np.ix_(kept, kept)]
    problem = _problem(study, space, terms, units, old, region=region, response=response)
    wanted = criterion or ("I" if targets is not None else study.plan.criterion)
    found = _exchanged(study, problem, wanted, starts, seed)
    new = _chosen(space, units, problem, found)
    if notes is not None:
        aimed = targets is not None
        notes += _notes(study, found, new, wanted=wanted, targets=aimed, response=response)
    return numbered_units(new, seed, after=old_frame)


def _exchanged(
    study: Study, problem: ChoiceProblem, criterion: Criterion, starts: int, seed: int
) -> ExchangedChoices:
    try:
        starts = starts or study.plan.starts or STARTS
        return exchanged_choices(problem, criterion=criterion, starts=starts, seed=seed)
    except PlanError as error:
        if not study.forbidden:
            raise
        raise PlanError(
            f"{error} Treatments are forbidden: a batch that mixes loads can only have what all of "
            "its loads may have, so smaller temper batches, or fewer loads a day, may help."
        ) from error


# --- the problem of the exchange
# --------------------------------------------------------------------


def _problem(
    study: Study,
    space: ChoiceSpace,
    terms: Terms,
    units: pd.DataFrame,
    fixed: pd.DataFrame,
    *,
    held: Mapping[int, Codes] | None = None,
    region: Array | None = None,
    response: str = "",
) -> ChoiceProblem:
    every = pd.concat([units, fixed[[name for name in units if name in fixed]]], ignore_index=True)
    coordinates = []
    for place, part in enumerate(space.parts):
        own = units[part.unit].to_numpy() - 1 if part.unit in units else np.arange(len(units))
        coordinates.append(
            Coordinate(
                name=" and ".join(factor.title for factor in part.factors),
                units=own.astype(np.int64),
                choices=len(part.choices),
                held=(held or {}).get(place),
                least=tuple(_least_levels(study, part, fixed, int(own.max()) + 1)),
            )
        )
    return ChoiceProblem(
        coordinates=tuple(coordinates),
        table=terms.matrix(space.frame),
        precision=planned_precision(every, noise_ratios(study, response)),
        allowed=space.allowed,
        fixed=terms.matrix(fixed) if len(fixed) else None,
        region=prediction_region(terms) if region is None else region,
        names=tuple(term_words(study, name) for name in column_terms(terms, space.frame)),
    )


def spare_levels(study: Study) -> dict[str, int]:
    """How many different levels each curve keeps in use, by factor; empty when switched off."""
    if not study.plan.spare_level:
        return {}
    return {
        factor.name: min(_DEGREES[factor.shape] + 2, len(factor.levels))
        for factor in study.factors
        if factor.shape in _DEGREES
    }


def _least_levels(
    study: Study, part: Part, fixed: pd.DataFrame, unit_count: int
) -> list[LeastLevels]:
    rules = []
    for factor in part.factors:
        least = spare_levels(study).get(factor.name, 0)
        if not least:
            continue
        codes = spare_codes(factor, part.levels(factor), least)
        present: Codes = np.array([], dtype=np.int64)
        if len(fixed):
            present = spare_codes(factor, fixed[factor.column].tolist(), least)
        there = frozenset(int(code) for code in present if code >= 0)
        if unit_count + len(there) < least:
            raise PlanError(
                f"{factor.title} as a {factor.shape} curve with a level to spare for lack of fit "
                f"needs {least} different levels, so at least {least} "
                f"{study.unit_word(part.unit, least)}; the layout has {unit_count}. Add "
                f"{study.unit_word(part.unit, 2)}. (spare_level = false in [plan] would leave none "
                "to judge the curve by.)"
            )
        rules.append(LeastLevels(codes, least, there))
    return rules


def _chosen(
    space: ChoiceSpace, units: pd.DataFrame, problem: ChoiceProblem, found: ExchangedChoices
) -> pd.DataFrame:
    rows = space.frame.iloc[problem.combinations(found.choices)].reset_index(drop=True)
    return pd.concat([units, rows], axis=1)


def _refuse_small_budget(
    study: Study, space: ChoiceSpace, terms: Terms, units: pd.DataFrame, fixed: pd.DataFrame
) -> None:
    every = pd.concat([units, fixed[[name for name in units if name in fixed]]], ignore_index=True)
    problems = missing_treatments(study, terms, space.frame[space.allowed])
    problems = problems or missing_units(study, terms, space.frame, every)
    if problems:
        raise PlanError(problems)


def _shifted(old_frame: pd.DataFrame, units: pd.DataFrame) -> pd.DataFrame:
    """Old coupons with unit codes and days that are none of the new ones."""
    old = old_frame.reset_index(drop=True).copy()
    for name in units:
        own = pd.factorize(old[name])[0] if name in old else np.arange(len(old))
        old[name] = own + 1 + int(units[name].max())
    return old


# --- words
# ------------------------------------------------------------------------------------------


def _notes(
    study: Study,
    found: ExchangedChoices,
    frame: pd.DataFrame,
    *,
    wanted: Criterion | None = None,
    targets: bool = False,
    response: str = "",
) -> list[str]:
    own = study.response(response or study.plan.response or study.responses[0].name)
    aim = {
        "D": "D (all coefficients together)",
        "I": "I (average variance of a prediction over an even mix of the levels)",
    }[wanted or found.criterion]
    if targets:
        aim = "least variance of what is to be told"
    units = [unit for unit in ("furnace_load", "cold_batch", "temper_batch") if unit in frame]
    ratios = noise_ratios(study, own.name)
    noise = ", ".join(f"{study.unit_word(unit)} {ratios[unit]:g}" for unit in units)
    found_how = f" ({found.reached} of them came within 0.1{NO_BREAK}% of it)"
    if not found.reached:
        found_how = ", parts of it drawn anew and improved"
    lines = [
        f"Chosen by coordinate exchange for {own.quantity}, criterion {aim}: the best of "
        f"{found.starts} random starts{found_how}.",
        f"Noise it was chosen for, as variance over that of a coupon: {noise}. A wrong guess costs "
        "little.",
    ]
    lines += [
        f"{capital(extra.words)}: {extra.coupons} {study.unit_word('coupon', extra.coupons)} "
        "beside the chosen ones; analysed like the others."
        for extra in study.extra_coupons
        if wanted is None and not study.is_reference(extra)
    ]
    sizes = [
        f"{int(frame[unit].nunique())} {study.unit_word(unit, int(frame[unit].nunique()))}"
        for unit in units
    ]
    lines.append(f"Units: {', '.join(sizes)}, {len(frame)} {study.unit_word('coupon', 2)}.")
    for factor in study.factors:
        if factor.shape in _DEGREES:
            lines.append(_levels_words(study, factor, frame))
    return lines


def _levels_words(study: Study, factor: Factor, frame: pd.DataFrame) -> str:
    unit = factor.set_for if factor.set_for in frame else "coupon"
    own = frame if unit == "coupon" else frame.drop_duplicates([unit, factor.column])
    levels, counts = np.unique(own[factor.column].dropna().to_numpy(float), return_counts=True)
    words = ", ".join(
        f"{factor.word(float(level))} ({count})"
        for level, count in zip(levels, counts, strict=True)
    )
    text = f"Levels of {factor.title} in use, and {study.unit_word(unit, 2)} at each: {words}."
    least = spare_levels(study).get(factor.name, 0)
    if not least:
        return f"{text} No level is kept to spare for lack of fit."
    if least < _DEGREES[factor.shape] + 2:
        return f"{text} Too few levels are declared to spare one for lack of fit."
    return text
