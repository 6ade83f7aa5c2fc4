"""Answer questions about curves; each kind of question has a module of its own."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from importlib import import_module
from typing import Final

from quenchbook.errors import EstimabilityError
from quenchbook.findings.trade_findings import TradeFinding
from quenchbook.findings.verdicts import Finding
from quenchbook.fit.mixed import MixedModel
from quenchbook.study.trade_questions import Asks, TradeQuestion

Answer = Callable[[Mapping[str, MixedModel], TradeQuestion], "Finding | TradeFinding"]

_HOMES: Final[Mapping[Asks, tuple[str, str]]] = {
    "peak": ("peak_answers", "peak_answer"),
    "peak_shift": ("peak_answers", "shift_answer"),
    "curve_shift": ("peak_answers", "shift_answer"),
    "working_window": ("peak_answers", "working_window_answer"),
    "target_window": ("peak_answers", "target_window_answer"),
    "per_decade": ("delay_answers", "per_decade_answer"),
    "half_loss": ("delay_answers", "half_loss_answer"),
    "equal_hardness": ("equal_hardness_answers", "equal_hardness_answer"),
    "temper_for": ("temper_answers", "temper_answer"),
}
"""Module of `findings` and function for each kind of question."""


def trade_answer(
    models: Mapping[str, MixedModel], question: TradeQuestion
) -> Finding | TradeFinding:
    """Answer one question about a curve.

    Parameters
    ----------
    models : mapping of response to MixedModel
        Of all responses that have readings.
    question : TradeQuestion

    Returns
    -------
    Finding or TradeFinding

    Raises
    ------
    EstimabilityError
        If the records cannot answer it, with the reason.
    """
    module, name = _HOMES[question.asks]
    answer: Answer = getattr(import_module(f"quenchbook.findings.{module}"), name)
    if question.response not in models:
        raise EstimabilityError(f"There are no readings of {question.response} yet.")
    if question.factor and question.level == question.against:
        raise EstimabilityError(f"It compares a level of {question.factor} with itself.")
    if question.factor == question.along:
        raise EstimabilityError(f"It compares levels of {question.along} along {question.along}.")
    return answer(models, question)
