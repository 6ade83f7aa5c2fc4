"""Confirm a plan's outlook by simulated studies: noise drawn unit by unit, analysed as always."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
import pandas as pd

from quenchbook.errors import EstimabilityError
from quenchbook.fit.inversion import t_limit
from quenchbook.fit.precision import Precision
from quenchbook.fit.strata import Strata
from quenchbook.made_by import made_from
from quenchbook.outlook.error_df import tested_coupons
from quenchbook.outlook.prepared import planned_precision_of, prepared, same_term
from quenchbook.outlook.questions import PlanOutlook, QuestionOutlook, question_outlooks
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.progress import progress
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.definition import Noise
from quenchbook.study.terms import Array

_CHUNK: Final = 2_500  # studies at once; keeps memory below some tens of megabytes


@dataclass(frozen=True, eq=False, repr=False)
class SimulatedOutlook(ShowsItself):
    """Power by simulation beside the formula.

    Attributes
    ----------
    table : DataFrame
        ``key, question, difference, half_width, simulated_half_width, power, simulated_power,
        simulation_error, equivalence_power, simulated_equivalence_power``. `simulation_error` is
        the standard error of a simulated power.
    studies, seed : int
    outlook : PlanOutlook
    """

    table: pd.DataFrame
    studies: int
    seed: int
    outlook: PlanOutlook

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of the table."""
        return self.table.copy()

    def shown(self) -> Shown:
        """How far simulation and formula differ, then the numbers of each question."""
        gap = (self.table["simulated_power"] - self.table["power"]).abs()
        lines = []
        for row, own in zip(self.table.to_dict("records"), gap, strict=True):
            errors = own / row["simulation_error"] if row["simulation_error"] else 0.0
            lines.append(
                f"{row['question']} found {row['simulated_power']:.1%}, by formula "
                f"{row['power']:.1%} ({errors:.1f} standard errors apart)"
            )
        finding = (
            f"{self.studies} simulated studies (seed {self.seed}): their power lies at most "
            f"{100 * float(gap.max()):.1f} points from the formula's."
        )
        return Shown(finding, self.table, (*lines, *self.outlook.notes))

    def __repr__(self) -> str:
        return f"<SimulatedOutlook: {self.studies} studies, {len(self.table)} questions>"


def simulated_outlook(
    matrix: CouponMatrix,
    *,
    noise: Mapping[str, Noise] | None = None,
    differences: Mapping[str, float] | None = None,
    studies: int = 20_000,
    seed: int = 1,
    power: float = 0.8,
) -> SimulatedOutlook:
    """Simulate whole studies of a plan and count what the declared questions find.

    Parameters
    ----------
    matrix : CouponMatrix
    noise : mapping of response to Noise, optional
        As for `question_outlooks`.
    differences : mapping of question key to float, optional
        True differences on the analysed scale; the detectable difference where left out.
    studies : int
    seed : int
    power : float
        Power that detectable differences are for.

    Returns
    -------
    SimulatedOutlook

    Raises
    ------
    EstimabilityError
        If the plan can answer no question.
    """
    if studies < 1:
        raise EstimabilityError(f"studies is {studies}. Write a whole number, such as 20000.")
    outlook = question_outlooks(matrix, noise=noise, power=power)
    answers = [own for own in outlook.answers if own.planned is not None]
    if not answers:
        raise EstimabilityError(
            "This plan can answer no question, so there is nothing to simulate."
        )
    given = dict(differences or {})
    true = {
        own.question.key: given.get(own.question.key, own.detectable_difference() or 0.0)
        for own in answers
    }
    found = dict.fromkeys(true, 0)
    equivalent = dict.fromkeys(true, 0)
    widths = dict.fromkeys(true, 0.0)
    ready = prepared(matrix)
    rng = np.random.default_rng(seed)
    sizes = [min(_CHUNK, studies - start) for start in range(0, studies, _CHUNK)]
    for size in progress(sizes, "parts of the simulation"):
        for response in dict.fromkeys(own.response.name for own in answers):
            strata = ready.strata[response]
            asked = [own for own in answers if own.response.name == response]
            assumed, _ = planned_precision_of(matrix, response, outlook.noise[response])
            variances = {unit: float(own[0]) for unit, own in assumed.components.items()}
            y = noise_values(strata, variances, size, rng)
            plain = Precision(strata, y)
            for own in asked:
                key = own.question.key
                if own.pattern is None:
                    hits = _contrast_hits(plain, ready.rows[key], true[key], own)
                else:
                    term = same_term(own.question.term, strata.terms.names)
                    columns = strata.terms.columns(tested_coupons(matrix, response), term)
                    effect = columns @ (true[key] * own.pattern)
                    hits = (_term_hits(strata, y + effect[:, None], term, own), 0, 0.0)
                found[key] += hits[0]
                equivalent[key] += hits[1]
                widths[key] += hits[2]
    rows = []
    for own in answers:
        key = own.question.key
        share = found[key] / studies
        has_margin = own.equivalence_power() is not None
        rows.append(
            {
                "key": key,
                "question": own.question.words,
                "difference": true[key],
                "half_width": own.half_width(),
                "simulated_half_width": widths[key] / studies if own.pattern is None else None,
                "power": own.power(true[key]),
                "simulated_power": share,
                "simulation_error": math.sqrt(max(share * (1 - share), 1 / studies) / studies),
                "equivalence_power": own.equivalence_power(),
                "simulated_equivalence_power": equivalent[key] / studies if has_margin else None,
            }
        )
    return made_from(SimulatedOutlook(pd.DataFrame(rows), studies, seed, outlook), matrix)


class NormalDraws(Protocol):
    """What draws noise: a numpy generator, or a stream of a plan."""

    def normal(self, mean: float, sd: float, size: tuple[int, int], /) -> Array:
        """Draw normal numbers."""


def noise_values(
    strata: Strata, variances: Mapping[str, float], studies: int, rng: NormalDraws
) -> Array:
    """Coupon values of studies without any effect, shape (coupons, studies)."""
    count = strata.coupon.count
    y = rng.normal(0.0, math.sqrt(variances["coupon"]), (count, studies))
    for unit, codes in strata.codes.items():
        if variance := variances[unit]:
            own = rng.normal(0.0, math.sqrt(variance), (int(codes.max()) + 1, studies))
            y += own[codes]
    return y


def _contrast_hits(
    precision: Precision, row: Array, difference: float, own: QuestionOutlook
) -> tuple[int, int, float]:
    """Studies that find the difference, those without one that show equivalence, sum of widths."""
    estimate, std_error, df = (part[0] for part in precision.of(row[None, :]))
    outer = t_limit(df, own.confidence) * std_error
    hits = int(np.sum(np.abs(estimate + difference) > outer))
    width = float(np.sum(outer))
    if own.margin is None:
        return hits, 0, width
    inner = t_limit(df, 2 * own.confidence - 1) * std_error
    return hits, int(np.sum(np.abs(estimate) + inner < own.margin)), width


def _term_hits(strata: Strata, y: Array, term: str, own: QuestionOutlook) -> int:
    """Studies whose test of a term finds something."""
    test = Precision(strata, y).test(term)
    assert test is not None  # a term without a test is not asked
    return int(np.sum(test.p_value < 1 - own.confidence))
