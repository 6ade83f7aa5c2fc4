"""What a reader must know of a comparison at equal hardness."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from quenchbook.fit.hardness_cells import NOT_PARALLEL, UNEVEN, Cells, LineCheck, arm_sds
from quenchbook.fit.hardness_pairs import HardnessPairs
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.temper_line import SMALLEST_DF_OF_ONE_T, TemperLine
from quenchbook.study.factors import Level
from quenchbook.units import number_text, with_unit

LEAST_SPAN: Final = 1.5
"""Hardness [HRC] that the planned tempers should span; below it the slope is weak."""

NOT_TOTAL: Final = (
    "Adjusting for hardness that the treatment itself changed: this is not the total effect."
)


def response_word(model: MixedModel) -> str:
    """Response in print."""
    if model.study is None:
        return model.response
    return model.study.response(model.response).quantity


def level_word(model: MixedModel, factor: str, level: Level, *, alone: bool = True) -> str:
    """Level in print; with the name of a numeric factor unless it stood just before."""
    if model.study is not None and model.study.has(factor):
        own = model.study.factor(factor)
        return own.named_word(level) if alone else own.word(level)
    return str(level).replace("_", " ")


def equal_hardness_notes(
    pairs: HardnessPairs,
    line: TemperLine,
    cells: Cells,
    factor: str,
    arms: tuple[Level, Level],
    planned_span: float | None,
    checks: Sequence[LineCheck | None],
) -> tuple[str, ...]:
    """Notes on the slope, the checks and the noise, worst first.

    Parameters
    ----------
    pairs : HardnessPairs
    line : TemperLine
    cells : Cells
    factor : str
    arms : tuple
    planned_span : float or None
        Hardness the tempers were planned to span; what they really spanned when None.
    checks : sequence
        Parallel, then straight; None where it could not be told.
    """
    parallel, straight = checks
    found = [
        _parallel_words(parallel),
        _straight_words(straight, cells),
        _span_words(pairs, cells, planned_span),
        _df_words(pairs, line),
        _arm_words(pairs, line, factor, arms),
        _combination_words(pairs),
        _method_words(pairs, factor),
    ]
    return (NOT_TOTAL, *(words for words in found if words))


def _parallel_words(check: LineCheck | None) -> str:
    if check is None:
        return "Whether the temper line is equally steep in both could not be checked."
    p_value = f"p {check.p_value:.3f}"
    if check.p_value < NOT_PARALLEL:
        return (
            f"The temper lines of the two did not pass as parallel ({p_value}), so one number "
            "might mislead: the difference is given at both ends of the common range."
        )
    return f"The temper lines passed as parallel ({p_value}); that is no proof that they are."


def _straight_words(check: LineCheck | None, cells: Cells) -> str:
    if cells.hardness.shape[1] < 3:
        return "Two tempers cannot show whether the temper line is straight."
    if check is None:
        return "Whether the temper line is straight could not be checked."
    if check.p_value < 0.05:
        return (
            f"The tempers do not lie on one straight line (p {check.p_value:.3f}): the adjusted "
            "difference may change with the hardness it is taken at."
        )
    return f"The tempers passed as lying on one straight line (p {check.p_value:.3f})."


def _span_words(pairs: HardnessPairs, cells: Cells, planned: float | None) -> str:
    unit = pairs.hardness.unit
    if planned is None:
        span = float(np.ptp(cells.hardness.mean(axis=0)))
        words = "the tempers as they came out moved the hardness by"
    else:
        span, words = planned, "the tempers were planned to move the hardness by"
    if span >= LEAST_SPAN:
        return ""
    least = with_unit(number_text(LEAST_SPAN, 1), unit)
    return (
        f"Weak line: {words} {with_unit(number_text(span, 2), unit)} only; plan {least} or more, "
        "and at least the expected difference in hardness and 1 HRC more."
    )


def _df_words(pairs: HardnessPairs, line: TemperLine) -> str:
    if line.unit == "coupon" and pairs.response.data.lowest in ("coupon", "residual"):
        return (
            "No temper batches are told, so each coupon counts as tempered alone. If several were "
            "tempered together, name their batches, or the slope looks surer than it is."
        )
    if line.spare < SMALLEST_DF_OF_ONE_T:
        batch = pairs.response.unit_word(line.unit)
        return (
            f"The slope has one spare {batch} to be judged on: each part of the noise gets its own "
            "t (Howe), and the interval is about three times as wide as with more."
        )
    return ""


def _arm_words(
    pairs: HardnessPairs, line: TemperLine, factor: str, arms: tuple[Level, Level]
) -> str:
    model = pairs.response
    column = model.terms.variable(factor).column
    sds = arm_sds(pairs, line, arms, model.data.planned[column].to_numpy())
    low, high = float(sds.min()), float(sds.max())
    if not (low > 0 and high > UNEVEN * low):
        return ""
    parts = [
        f"{number_text(float(sd), 3)} for {level_word(model, factor, arm)}"
        for sd, arm in zip(sds, arms, strict=True)
    ]
    return f"The two scatter unequally (sd {' and '.join(parts)}): the interval is less certain."


def _combination_words(pairs: HardnessPairs) -> str:
    """Combinations that move the hardness and are not analysed count as noise."""
    missing = [name for name in pairs.left_out if set(name.split(":")) not in _sets(pairs)]
    if not missing:
        return ""
    names = ", ".join(pairs.response.term_word(name) for name in missing)
    return (
        f"Analysed for the hardness but not for {response_word(pairs.response)}, so they count as "
        f"noise here: {names}."
    )


def _sets(pairs: HardnessPairs) -> list[set[str]]:
    return [set(name.split(":")) for name in pairs.response.terms.names]


def _method_words(pairs: HardnessPairs, factor: str) -> str:
    own = [name for name in pairs.response.terms.names if factor in name.split(":")]
    if all(pairs.response.method_of(name) == "stratum" for name in own):
        return ""
    return (
        "Batches hold too little of this comparison, so each of the three numbers is weighted over "
        "all strata by its own noise: the adjusted one is not exactly the total less slope times "
        "difference."
    )
