"""The five verdicts, and findings that carry one with its numbers."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from quenchbook.both_units import Printed, PrintedUnits
from quenchbook.errors import EstimabilityError
from quenchbook.fit.means import MarginalMeans
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.definition import Scale
from quenchbook.study.terms import Array
from quenchbook.units import difference_unit

if TYPE_CHECKING:
    import pandas as pd

Verdict = Literal["exceeds", "differs", "slight", "equivalent", "undecided"]

VERDICTS: Final[tuple[Verdict, ...]] = ("exceeds", "differs", "slight", "equivalent", "undecided")

INNER_VERDICTS: Final[tuple[Verdict, ...]] = ("slight", "equivalent")  # judged on both intervals

MEANINGS: Final[dict[str, str]] = {
    "exceeds": "a real difference, larger than the margin",
    "differs": "a real difference; whether it is larger than the margin is not settled",
    "slight": "a real difference, smaller than the margin",
    "equivalent": "any difference is smaller than the margin",
    "undecided": "neither a difference nor its absence was shown",
}
TERM_MEANINGS: Final[dict[str, str]] = {
    "differs": "a real difference between levels",
    "undecided": MEANINGS["undecided"],
}


class AnyAnswer(ShowsItself):
    """What every answer to a question can say of itself."""

    key: str
    verdict: Verdict
    sentence: str
    remedy: str
    change: str

    @property
    def word(self) -> str:
        """What a reader sees in front of the sentence: the verdict."""
        return self.verdict

    def summary(self) -> str:
        """Return the verdict and the sentence."""
        return " ".join(filter(None, (f"{self.word}: {self.sentence}", self.remedy, self.change)))

    def methods_used(self) -> tuple[str, ...]:
        """Methods whose sources stand with it: those of the fitted result, if there is one."""
        result = getattr(self, "result", None)
        return (type(result).__name__,) if result is not None else ()

    def to_frame(self) -> pd.DataFrame:
        """Return one row at full precision, columns as in the archive of open data."""
        from quenchbook.findings.result_tables import finding_frame

        return finding_frame([self])

    def shown(self) -> Shown:
        """The verdict and the sentence, then the numbers."""
        wanted = ("estimate", "std_error", "df", "df_error", "statistic", "p_value", "conf_low",
                  "conf_high", "margin")  # fmt: skip
        own = self.to_frame()
        kept = [name for name in wanted if own[name].notna().any()]
        strata = getattr(self, "strata", None) or (getattr(self, "stratum", ""),)
        judged = " + ".join(filter(None, strata))
        return Shown(
            self.summary(), own[kept] if kept else None, tuple(getattr(self, "notes", ())),
            (f"Judged on the noise of {judged}.",) if judged else (),
            confidence=getattr(self, "confidence", None),
        )  # fmt: skip

    def __repr__(self) -> str:
        return f"<{type(self).__name__} {self.key}: {self.word}>"


@dataclass(frozen=True, eq=False, repr=False)
class Finding(AnyAnswer):
    """A comparison with its verdict.

    Attributes
    ----------
    key : str
        Key of the declared question, or a short name.
    question : str
        The question in words; empty for one that was not declared.
    label, against : str
        What was compared with what, in print.
    response, quantity, unit : str
    scale : str
        On the log scale all numbers here are natural logarithms of ratios.
    verdict : str
    estimate, std_error, df : float
    conf_low, conf_high : float
        Interval at `confidence`.
    inner_low, inner_high : float
        Interval of the two one-sided tests, at 1 - 2 (1 - `confidence`).
    margin : float or None
        Equivalence margin on the scale of the estimate.
    p_value : float
    strata : tuple of str
        Units whose noise the estimate carries, in print.
    inside : ndarray
        Differences inside single furnace loads; empty when a load holds only one of the two.
    confidence : float
    sentence : str
        The answer, saying no more than the verdict.
    remedy : str
        What would decide it, for `undecided`.
    declared : bool
        Whether the question and the margin of its response are as they were when the plan was
        made. Never for published data.
    change : str
        Why the finding is exploratory; empty when it is declared or the data were published.
    notes : tuple of str
    asks : str
        What was asked of a curve, one of `ASKS`; empty for a plain comparison.
    result : object
        The fitted result behind an answer about a curve, for tables and figures.
    units : str
        Units in print, as the study publishes them: ``metric`` or ``both``.
    """

    key: str
    label: str
    against: str
    response: str
    quantity: str
    unit: str
    scale: Scale
    verdict: Verdict
    estimate: float
    std_error: float
    df: float
    conf_low: float
    conf_high: float
    inner_low: float
    inner_high: float
    margin: float | None
    p_value: float
    strata: tuple[str, ...]
    question: str = ""
    inside: Array = field(default_factory=lambda: np.zeros(0))
    confidence: float = 0.95
    sentence: str = ""
    remedy: str = ""
    declared: bool = False
    change: str = ""
    notes: tuple[str, ...] = ()
    asks: str = ""
    result: object = None
    units: PrintedUnits = "metric"

    @property
    def printed(self) -> Printed:
        """How differences stand in print."""
        return Printed(difference_unit(self.unit), self.units)

    @property
    def meaning(self) -> str:
        """What the verdict says here, in words."""
        if self.verdict == "differs" and self.margin is None:
            return "a real difference; no margin was declared"
        return MEANINGS[self.verdict]


@dataclass(frozen=True, eq=False, repr=False)
class TermFinding(AnyAnswer):
    """A test of a whole term with its verdict: `differs` or `undecided`.

    Attributes
    ----------
    key, question, response, quantity : str
    term : str
        Term in the model.
    label : str
        Term in print.
    verdict : str
    statistic, df, df_error, p_value : float
    stratum : str
        Unit the term was judged on, in print.
    confidence : float
    sentence, remedy : str
    declared : bool
    change : str
        Why the finding is exploratory; empty when it is declared or the data were published.
    notes : tuple of str
    """

    key: str
    question: str
    response: str
    quantity: str
    term: str
    label: str
    verdict: Verdict
    statistic: float
    df: float
    df_error: float
    p_value: float
    stratum: str
    confidence: float = 0.95
    sentence: str = ""
    remedy: str = ""
    declared: bool = False
    change: str = ""
    notes: tuple[str, ...] = ()

    @property
    def meaning(self) -> str:
        """What the verdict says here, in words."""
        return TERM_MEANINGS[self.verdict]


def verdict_of(
    conf_low: float, conf_high: float, inner_low: float, inner_high: float, margin: float | None
) -> Verdict:
    """Verdict of an interval against a margin.

    Parameters
    ----------
    conf_low, conf_high : float
        Interval at the confidence of the study (95 %).
    inner_low, inner_high : float
        Interval of the two one-sided tests (90 %).
    margin : float or None
        Equivalence margin, above zero; None when none was declared.

    >>> verdict_of(0.69, 1.19, 0.73, 1.15, 0.5)
    'exceeds'
    >>> verdict_of(-0.29, 0.22, -0.25, 0.18, 0.5)
    'equivalent'
    """
    differs = conf_low > 0 or conf_high < 0
    if margin is None:
        return "differs" if differs else "undecided"
    inside = -margin < inner_low and inner_high < margin
    if conf_low > margin or conf_high < -margin:
        return "exceeds"
    if differs:
        return "slight" if inside else "differs"
    return "equivalent" if inside else "undecided"


def _judging(contrast: MarginalMeans, std_error: float) -> list[str]:
    """Units a contrast is judged on; without a test, those of them that none is spare of."""
    units = [str(unit) for unit in contrast.strata()[0]]
    if std_error == std_error:
        return units
    strata = contrast.model.strata
    return [unit for unit in units if not strata.stage(unit).df > 0] or units


def finding(
    contrast: MarginalMeans,
    *,
    margin: float | None,
    key: str = "",
    label: str = "",
    against: str = "",
) -> Finding:
    """Judge a contrast against an equivalence margin.

    Parameters
    ----------
    contrast : MarginalMeans
        With one row, such as ``means.contrast({"dry_ice - none": [-1, 0, 1]})``.
    margin : float or None
        As declared in the study: in the unit of the response, or a fraction on the log scale (0.15
        for 15 %).
    key, label, against : str
        Texts for print; taken from the contrast when left out.

    Returns
    -------
    Finding

    Raises
    ------
    EstimabilityError
        If `contrast` is not one difference, or the margin is not above zero.
    """
    from scipy import special

    from quenchbook.findings.statements import (
        comparison_sentence,
        comparison_title,
        what_would_decide,
    )

    _check_contrast(contrast)
    if margin is not None and not 0 < margin < math.inf:
        raise EstimabilityError(
            f"The margin is {margin:g}. Give a difference above zero, or None for no margin."
        )
    model = contrast.model
    row = contrast.to_frame().iloc[0]
    confidence = contrast.confidence
    estimate, std_error, df = float(row["estimate"]), float(row["std_error"]), float(row["df"])
    half = float(special.stdtrit(df, confidence)) * std_error
    on_scale = math.log1p(margin) if margin is not None and model.scale == "log" else margin
    low, high = float(row["conf_low"]), float(row["conf_high"])
    name = str(contrast.grid.iloc[0, 0])
    quantity = model.study.response(model.response).quantity if model.study else model.response
    own = Finding(
        key=key or name,
        label=label or name,
        against=against,
        response=model.response,
        quantity=quantity,
        unit=model.unit,
        scale=model.scale,
        verdict=verdict_of(low, high, estimate - half, estimate + half, on_scale),
        estimate=estimate,
        std_error=std_error,
        df=df,
        conf_low=low,
        conf_high=high,
        inner_low=estimate - half,
        inner_high=estimate + half,
        margin=on_scale,
        p_value=float(2 * special.stdtr(df, -abs(estimate / std_error)))
        if std_error > 0
        else math.nan,
        strata=tuple(model.unit_word(unit) for unit in _judging(contrast, std_error)),
        confidence=confidence,
        notes=contrast.notes,
        units=model.study.publishing.units if model.study else "metric",
    )
    title = comparison_title(own)
    return replace(own, sentence=comparison_sentence(own, title), remedy=what_would_decide(own))


def _check_contrast(contrast: MarginalMeans) -> None:
    """Refuse what is not one difference: several rows, or weights that leave a mean in it."""
    count = len(contrast.linear)
    if count != 1:
        raise EstimabilityError(
            f"A finding judges one difference; this has {count} rows. Name one with "
            'contrast({"a - b": [1, -1, ...]}).'
        )
    row = contrast.linear[0]
    if abs(float(row[0])) > 1e-8 * max(1.0, float(np.abs(row).max())):
        raise EstimabilityError(
            f"The weights of '{contrast.grid.iloc[0, 0]!s}' do not sum to zero, so it is a mean "
            "and not a difference. Subtract what it is compared with."
        )
