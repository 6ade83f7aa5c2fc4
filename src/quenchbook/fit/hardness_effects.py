"""What is compared at equal hardness, what a plan allows, and answers without a temper line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from quenchbook.errors import EstimabilityError, with_suggestion
from quenchbook.fit.hardness_cells import check_tempers
from quenchbook.fit.hardness_notes import level_word
from quenchbook.fit.hardness_pairs import HardnessPairs, hardness_pairs
from quenchbook.fit.mean_rows import mean_rows
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.temper_line import Estimate
from quenchbook.study.factors import Level
from quenchbook.study.terms import Array


def assumed_slopes(
    response: MixedModel,
    hardness: MixedModel,
    *,
    compare: Mapping[str, Sequence[Level]],
    slopes: Sequence[float],
) -> pd.DataFrame:
    """Contrast at equal hardness for slopes that are assumed, where there is no temper line.

    Parameters
    ----------
    response, hardness : MixedModel
    compare : mapping of factor to two levels
    slopes : sequence of float
        Change of the response (of its logarithm on the log scale) for one unit of hardness.

    Returns
    -------
    DataFrame
        ``slope, estimate, std_error, df, conf_low, conf_high, note``. The intervals hold if the
        slope does; they know nothing of the error of an assumption.
    """
    pairs = hardness_pairs(response, hardness)
    row = contrast_row(pairs, *compared_levels(compare))
    energy, hard = pairs.values
    rows = []
    for slope in slopes:
        own = model_contrast(pairs.model_of(energy - slope * hard), row)
        low, high = own.limits(response.confidence)
        rows.append((float(slope), own.estimate, own.std_error, own.df, low, high, "assumption"))
    columns = ["slope", "estimate", "std_error", "df", "conf_low", "conf_high", "note"]
    return pd.DataFrame(rows, columns=columns)


def total_effects(
    response: MixedModel, hardness: MixedModel, *, compare: Mapping[str, Sequence[Level]]
) -> tuple[Estimate, Estimate]:
    """Total effect and difference in hardness on the coupons that carry both.

    Returns
    -------
    total, hardness_difference : Estimate
        First level less second.
    """
    pairs = hardness_pairs(response, hardness)
    row = contrast_row(pairs, *compared_levels(compare))
    return model_contrast(pairs.response, row), model_contrast(pairs.hardness, row)


def why_no_line(
    response: MixedModel,
    hardness: MixedModel,
    *,
    compare: Mapping[str, Sequence[Level]],
    along: str = "temper",
) -> str:
    """Why the plan leaves no temper line; empty where it does leave one."""
    factor, level, against = compared_levels(compare)
    try:
        check_temper_plan(hardness_pairs(response, hardness), factor, (level, against), along)
    except EstimabilityError as error:
        return str(error)
    return ""


def compared_levels(compare: Mapping[str, Sequence[Level]]) -> tuple[str, Level, Level]:
    """Factor and its two levels, first less second."""
    if len(compare) != 1 or len(next(iter(compare.values()))) != 2:
        raise EstimabilityError(
            'Compare two levels of one factor: compare={"cold_route": ["dry_ice", "none"]}.'
        )
    (factor, (level, against)), *_ = compare.items()
    return factor, level, against


def contrast_row(pairs: HardnessPairs, factor: str, level: Level, against: Level) -> Array:
    """Weights of the coefficients in the difference of two levels."""
    model = pairs.response
    variable = model.terms.variable(factor)
    for own in (level, against):
        if own not in variable.levels and not variable.degree:
            names = ", ".join(map(str, variable.levels))
            words = f"{factor} {own!r} was not tried; levels are {names}."
            raise EstimabilityError(with_suggestion(words, own, variable.levels))
    rows, _ = mean_rows(model.terms, [factor], {factor: (level, against)})
    row = np.asarray(rows[0] - rows[1])
    if not np.any(np.abs(row) > 1e-12):
        raise EstimabilityError(
            f"{model.term_word(factor)} could not be estimated for {model.response}."
        )
    return row


def check_temper_plan(
    pairs: HardnessPairs, factor: str, arms: tuple[Level, Level], along: str
) -> None:
    """Refuse where the plan leaves no temper line; nothing here looks at a reading.

    Raises
    ------
    EstimabilityError
        With one temper in an arm, or without a spare temper batch.
    """
    model = pairs.response
    variables = {variable.name: variable for variable in model.data.terms.variables}
    if along not in variables:
        raise EstimabilityError(
            f"'{along}' is not in the analysis of {model.response}, so there is no line along "
            "which it moves the hardness. Put the temper into the fixed part, or assume a slope."
        )
    if along == factor:
        raise EstimabilityError(f"{along} gives the line; compare the levels of another factor.")
    planned = model.data.planned
    check_tempers(
        planned[variables[along].column].tolist(),
        planned[variables[factor].column].tolist(),
        arms,
        [level_word(model, factor, arm) for arm in arms],
    )
    if along not in model.terms.names:
        why = pairs.strata.dropped.get(along, "it could not be estimated")
        raise EstimabilityError(f"The line of the {model.term_word(along)} is not known: {why}.")
    unit = pairs.strata.term_stage[along]
    if not pairs.strata.stage(unit).df:
        batches = model.unit_word(unit, 2)
        raise EstimabilityError(
            f"All {batches} are needed to tell the tempers apart, so the noise of the temper line "
            f"is not known. Plan {batches} of their own for each of three furnace loads or more."
        )


def model_contrast(model: MixedModel, row: Array) -> Estimate:
    """Contrast of a model by its own method, with the df of that method."""
    estimate, std_error, df = (float(own[0]) for own in model.estimates(row))
    units = model.precision.strata_of_row(row)
    return Estimate(estimate, {" + ".join(units): (std_error**2, df)}, std_error**2)
