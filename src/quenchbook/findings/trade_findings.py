"""Answers about curves: a place with its interval, open where the data set no limit."""

from __future__ import annotations

import math
from dataclasses import dataclass

from quenchbook.findings.verdicts import MEANINGS, AnyAnswer, Verdict
from quenchbook.study.trade_questions import Asks


@dataclass(frozen=True, eq=False, repr=False)
class TradeFinding(AnyAnswer):
    """A place along a factor (a peak, a time, a shift) with its interval.

    Attributes
    ----------
    key, question, response, quantity : str
        As for `Finding`.
    asks : str
        What was asked, one of `ASKS`.
    label : str
        What it is about, in print: ``peak with dry ice``.
    verdict : str
        One of the five for a shift, judged against its margin. For a place: ``differs`` where the
        data locate it, ``equivalent`` where there is no gain to lose, else ``undecided``; readers
        see `outcome`.
    outcome : str
        The outcome in a few words: ``inside the range``, ``still rising``, ``not located``,
        ``no upper limit``; empty where the verdict says it.
    unit : str
        Unit of the place or shift, in print.
    estimate : float
        nan where there is none.
    conf_low, conf_high : float
        Interval at `confidence` [unit]; infinite where the data set no limit inside the range that
        was tried, nan where it is settled that there is nothing to locate.
    confidence, df : float
    strata : tuple of str
        Units whose noise the answer carries, in print.
    estimate_words, limits_words : str
        Estimate and interval in print, with open ends in words.
    sentence, remedy : str
    margin : float or None
        Shift too small to matter [unit].
    declared : bool
    change : str
        Why the finding is exploratory; empty when it is declared or the data were published.
    notes : tuple of str
    result : object
        The fitted result, for tables and figures.
    """

    key: str
    question: str
    response: str
    quantity: str
    asks: Asks
    label: str
    verdict: Verdict
    outcome: str
    unit: str
    estimate: float
    conf_low: float
    conf_high: float
    confidence: float
    df: float
    strata: tuple[str, ...]
    estimate_words: str
    limits_words: str
    sentence: str
    remedy: str = ""
    margin: float | None = None
    declared: bool = False
    change: str = ""
    notes: tuple[str, ...] = ()
    result: object = None

    @property
    def word(self) -> str:
        """Outcome in a few words, or the verdict."""
        return self.outcome or self.verdict

    @property
    def meaning(self) -> str:
        """What the outcome says here, in words; empty where the outcome speaks for itself."""
        return "" if self.outcome else MEANINGS[self.verdict]

    @property
    def is_open(self) -> bool:
        """Whether the data set no limit on at least one side."""
        return math.isinf(self.conf_low) or math.isinf(self.conf_high)
