"""The first word to a reader's question: yes, no or not settled, as far as a verdict carries it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from quenchbook.findings.peak_words import shift_text
from quenchbook.findings.statements import margin_words
from quenchbook.findings.trade_findings import TradeFinding
from quenchbook.findings.verdicts import Finding
from quenchbook.fit.peak_shift import PeakShift

if TYPE_CHECKING:
    from quenchbook.findings.answers import AnyFinding


def first_words(own: AnyFinding, yes_if: str = "") -> str:
    """First words of an answer to a question of readers.

    Parameters
    ----------
    own : Finding, TermFinding or TradeFinding
    yes_if : str
        For what the question is answered by yes: ``different``, ``higher``, ``lower`` (the first
        level against the second) or ``alike``. Empty where the author did not say: nobody but a
        person knows which way a question asks, so there is no yes and no no then.

    Returns
    -------
    str
        A sentence; empty for a place along a factor, which is neither yes nor no.
    """
    if own.verdict == "undecided":
        return "Not settled."
    if getattr(own, "outcome", ""):
        return ""
    margin, way = _margin(own), "higher" if getattr(own, "estimate", 0.0) > 0 else "lower"
    if not yes_if:
        return _without_yes(own.verdict, margin)
    if own.verdict == "equivalent":
        return f"{'Yes, within' if yes_if == 'alike' else 'No, not by more than'} {margin}."
    if yes_if == "alike":
        return _alike(own.verdict, margin)
    if yes_if != "different" and yes_if != way:
        return f"No, {way}."
    return {
        "exceeds": f"Yes, by more than {margin}.",
        "slight": f"Yes, but by less than {margin}.",
        "differs": f"Yes; whether by more than {margin} is not settled." if margin else "Yes.",
    }[own.verdict]


def _without_yes(verdict: str, margin: str) -> str:
    return {
        "exceeds": f"A difference of more than {margin}.",
        "differs": "A real difference.",
        "slight": f"A real difference, smaller than {margin}.",
        "equivalent": f"No difference of more than {margin}.",
    }[verdict]


def _alike(verdict: str, margin: str) -> str:
    """Whether two are alike, where a difference was shown."""
    if verdict == "slight":
        return f"Yes, within {margin}, though not equal."
    if verdict == "exceeds":
        return f"No, they differ by more than {margin}."
    if not margin:
        return "No, they differ."
    return f"They differ; whether by more than {margin} is not settled."


def _margin(own: AnyFinding) -> str:
    if isinstance(own, Finding):
        return margin_words(own)
    if isinstance(own, TradeFinding) and own.margin is not None:
        if isinstance(own.result, PeakShift):
            return shift_text(own.result.curve, own.margin, sign=False)
        return "the margin"
    return ""
