"""What published studies say together, kind by kind, with the own study beside them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from quenchbook.both_units import Printed, PrintedUnits
from quenchbook.errors import EstimabilityError
from quenchbook.findings.statements import (
    change_limits,
    change_text,
    interval_words,
    percent_text,
)
from quenchbook.findings.verdicts import MEANINGS, AnyAnswer, Finding, Verdict, verdict_of
from quenchbook.fit.evidence import SEED, Synthesis, syntheses
from quenchbook.fit.random_effects import FEWEST, RandomMean
from quenchbook.records.published_comparisons import KINDS, EvidenceTable, Kind
from quenchbook.shown import Shown, ShowsItself
from quenchbook.units import capital, listed

if TYPE_CHECKING:
    import pandas as pd

    from quenchbook.findings.answers import Analysis
    from quenchbook.records.published_comparisons import PublishedComparison
    from quenchbook.study.definition import Question
    from quenchbook.study.trade_questions import TradeQuestion

_BEYOND: Final[dict[Kind, str]] = {
    "equal hardness": " beyond hardness",
    "matched by temper": " where the temper matched the hardness",
    "total": "; hardness was not held equal",
    "unknown": "; whether hardness was equal is not told",
}
THIS_STUDY: Final = "this study"


@dataclass(frozen=True)
class OwnStudy:
    """The own study as a row beside the published ones; never pooled with them.

    Attributes
    ----------
    kind : str
    question : str
        Key of the question it answers.
    estimate, std_error, conf_low, conf_high : float
        Difference, or natural logarithm of the ratio.
    coupons, furnace_loads : int
        Of the two levels that are compared.
    margin : float or None
        As declared, on the scale of the estimate.
    """

    kind: Kind
    question: str
    estimate: float
    std_error: float
    conf_low: float
    conf_high: float
    coupons: int
    furnace_loads: int
    margin: float | None = None


@dataclass(frozen=True, eq=False, repr=False)
class EvidenceFinding(AnyAnswer):
    """What the studies of one kind say together.

    Attributes
    ----------
    key : str
        Kind.
    kind : str
    synthesis : Synthesis or None
        None where only the own study is of this kind.
    own : tuple of OwnStudy
    verdict : str
        Of the mean of the published studies; ``undecided`` where they are only listed.
    outcome : str
        ``listed`` where they are too few to pool; else empty, and the verdict says it.
    consistent : bool
        Whether the mean is a real difference and the range of a further study excludes zero too.
    sentence, remedy, change : str
    margin : float or None
    notes : tuple of str
    """

    key: str
    kind: Kind
    synthesis: Synthesis | None
    own: tuple[OwnStudy, ...]
    verdict: Verdict
    outcome: str
    consistent: bool
    sentence: str
    remedy: str = ""
    change: str = ""
    margin: float | None = None
    notes: tuple[str, ...] = ()

    @property
    def word(self) -> str:
        """``listed`` or the verdict."""
        return self.outcome or self.verdict

    @property
    def meaning(self) -> str:
        """What the verdict says of the mean of the studies."""
        return "" if self.outcome else f"on average {MEANINGS[self.verdict]}"


@dataclass(frozen=True, eq=False, repr=False)
class EvidenceAnswer(ShowsItself):
    """One comparison in the literature: a finding for each kind.

    Attributes
    ----------
    quantity, unit, level, against : str
    is_ratio : bool
    findings : tuple of EvidenceFinding
        In the order of `KINDS`.
    confidence : float
    notes : tuple of str
    units : str
        Units in print, as the own study publishes them.
    """

    quantity: str
    unit: str
    level: str
    against: str
    is_ratio: bool
    findings: tuple[EvidenceFinding, ...]
    confidence: float
    notes: tuple[str, ...] = field(default=())
    units: PrintedUnits = "metric"

    @property
    def printed(self) -> Printed:
        """How differences stand in print."""
        return Printed(self.unit, self.units)

    @property
    def title(self) -> str:
        """What is compared: ``impact energy, dry ice against no cold step``."""
        return f"{self.quantity}, {self.level} against {self.against}"

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each kind, columns as in the archive of open data."""
        from quenchbook.findings.result_tables import finding_frame

        return finding_frame(self.findings)

    def shown(self) -> Shown:
        """The kinds in words after what they compare."""
        import pandas as pd

        rows = [
            {"kind": own.kind, "verdict": own.word, "answer": own.sentence} for own in self.findings
        ]
        first = f"{capital(self.title)}: {self.findings[0].summary()}" if rows else self.title
        return Shown(first, pd.DataFrame(rows), self.notes)

    def __repr__(self) -> str:
        return f"<EvidenceAnswer {self.title}: {', '.join(own.kind for own in self.findings)}>"


def evidence_answers(
    evidence: EvidenceTable,
    analysis: Analysis | None = None,
    *,
    margin: float | None = None,
    confidence: float | None = None,
    seed: int = SEED,
) -> list[EvidenceAnswer]:
    """What the published comparisons say, one answer for each thing that was compared.

    Parameters
    ----------
    evidence : EvidenceTable
    analysis : Analysis, optional
        Of the own study. Its answer stands beside the published ones where a row of the table
        names its question and the scales agree.
    margin : float, optional
        Difference too small to matter, on the scale of the estimate; that of the own question
        where it is left out.
    confidence : float, optional
        That of the own study, else 0.95.
    seed : int
        Of the range for a further study.

    Returns
    -------
    list of EvidenceAnswer
    """
    level = confidence or (analysis.study.question_confidence if analysis else 0.95)
    return [
        _answer(rows, analysis, margin=margin, confidence=level, seed=seed)
        for rows in evidence.comparisons()
    ]


def _answer(
    rows: Sequence[PublishedComparison],
    analysis: Analysis | None,
    *,
    margin: float | None,
    confidence: float,
    seed: int,
) -> EvidenceAnswer:
    first = rows[0]
    units = analysis.study.publishing.units if analysis is not None else "metric"
    own, notes = _own_studies(rows, analysis)
    if margin is None:
        margin = next((study.margin for study in own if study.margin is not None), None)
    by_kind = {
        one.kind: one for one in syntheses(rows, confidence=confidence, seed=seed, units=units)
    }
    findings = tuple(
        _finding(kind, by_kind.get(kind), beside, first, margin, confidence, units)
        for kind in KINDS
        if (beside := tuple(study for study in own if study.kind == kind)) or kind in by_kind
    )
    if len(by_kind) > 1:
        notes.append("Studies of different kinds are never averaged together.")
    return EvidenceAnswer(
        quantity=first.quantity, unit=first.unit, level=first.level, against=first.against,
        is_ratio=first.effect == "ratio", findings=findings, confidence=confidence,
        notes=tuple(notes), units=units,
    )  # fmt: skip


def _finding(
    kind: Kind,
    found: Synthesis | None,
    own: tuple[OwnStudy, ...],
    first: PublishedComparison,
    margin: float | None,
    confidence: float,
    units: PrintedUnits,
) -> EvidenceFinding:
    words = _Words(first, confidence, units)
    verdict: Verdict = "undecided"
    consistent = False
    if found is None:
        sentence = f"{capital(KINDS[kind])}: no published study in the table."
    elif found.mean is None:
        sentence = words.listing(found)
    else:
        verdict = verdict_of(
            found.conf_low, found.conf_high, found.inner_low, found.inner_high, margin
        )
        real = verdict in ("exceeds", "differs", "slight")
        consistent = real and (found.further_low > 0 or found.further_high < 0)
        sentence = words.pooled(found, found.mean, verdict, margin, consistent)
    beside = [words.beside(study, found) for study in own]
    return EvidenceFinding(
        key=kind, kind=kind, synthesis=found, own=own, verdict=verdict,
        outcome="" if found is not None and found.mean is not None else "listed",
        consistent=consistent, sentence=" ".join([sentence, *beside]), margin=margin,
        notes=found.notes if found is not None else (),
    )  # fmt: skip


def _own_studies(
    rows: Sequence[PublishedComparison], analysis: Analysis | None
) -> tuple[list[OwnStudy], list[str]]:
    """Answers of the own study that the table names, and why one cannot stand beside it."""
    if analysis is None:
        return [], []
    found, notes = [], []
    for key in dict.fromkeys(own.question for own in rows if own.question):
        try:
            own = analysis.finding(key)
        except EstimabilityError:
            notes.append(f"The own study has no answer to the question '{key}'.")
            continue
        effect = rows[0].effect
        if not isinstance(own, Finding) or math.isnan(own.std_error):
            notes.append(f"The answer to '{key}' is no difference with a standard error.")
        elif (own.scale == "log") != (effect == "ratio"):
            asked = "log" if effect == "ratio" else "linear"
            notes.append(
                f"The own study does not stand beside the published {effect}s: for that "
                f'{own.response} needs scale = "{asked}" in its study file.'
            )
        elif effect == "difference" and own.unit != rows[0].unit:
            notes.append(f"The own study is in {own.unit}, the published ones in {rows[0].unit}.")
        else:
            found.append(_own_study(own, analysis))
    return found, notes


def _own_study(own: Finding, analysis: Analysis) -> OwnStudy:
    study, model = analysis.study, analysis.models[own.response]
    every: list[Question | TradeQuestion] = [*study.questions, *study.trade_questions]
    asked = next(question for question in every if question.key == own.key)
    planned = model.data.planned
    column = study.factor(asked.factor).column
    used = planned[planned["coupon"].isin(model.data.coupons["coupon"])]
    used = used[used[column].isin([asked.level, asked.against])]
    loads = int(used["furnace_load"].nunique()) if "furnace_load" in used else 0
    return OwnStudy(
        kind="equal hardness" if own.asks == "equal_hardness" else "total", question=own.key,
        estimate=own.estimate, std_error=own.std_error, conf_low=own.conf_low,
        conf_high=own.conf_high, coupons=len(used), furnace_loads=loads, margin=own.margin,
    )  # fmt: skip


# --- words ----------------------------------------------------------------------------------------


class _Words:
    """Writes the numbers and sentences of one comparison."""

    def __init__(self, first: PublishedComparison, confidence: float, units: PrintedUnits) -> None:
        self.is_ratio = first.effect == "ratio"
        self.unit, self.units = first.unit, units
        self.printed = Printed(first.unit, units)
        self.quantity = first.quantity
        self.level, self.against = first.level, first.against
        self.better = first.better
        self.confidence = confidence

    @property
    def _range(self) -> str:
        return interval_words(self.confidence).replace("interval", "range")

    def value(self, value: float, std_error: float) -> str:
        return change_text(
            value, std_error, is_ratio=self.is_ratio, unit=self.unit, units=self.units
        )

    def limits(self, low: float, high: float, std_error: float) -> str:
        return change_limits(
            low, high, std_error, is_ratio=self.is_ratio, unit=self.unit, units=self.units
        )

    def gain(self, sign: float) -> str:
        """What a difference of this sign is to the reader."""
        if not self.better:
            return "difference"
        return "gain" if (sign > 0) == (self.better == "higher") else "loss"

    def listing(self, found: Synthesis) -> str:
        count = len(found.comparisons)
        values = listed(
            [
                f"{self.value(effect, math.sqrt(variance))} ({own.study})"
                for own, effect, variance in zip(
                    found.comparisons, found.effects, found.variances, strict=True
                )
            ]
        )
        why = "too few to pool" if count < FEWEST else "not pooled: none tells its scatter"
        return f"{capital(KINDS[found.kind])}: {_studies(count)}, {why}: {values}."

    def pooled(
        self,
        found: Synthesis,
        own: RandomMean,
        verdict: Verdict,
        margin: float | None,
        consistent: bool,
    ) -> str:
        head = (
            f"{capital(KINDS[found.kind])}: {_studies(len(found.comparisons))}, {self.quantity} "
            f"{self.value(own.estimate, own.std_error)} on average "
            f"({interval_words(self.confidence)} "
            f"{self.limits(found.conf_low, found.conf_high, own.std_error)})"
        )
        parts = [f"{head}{self._judged(verdict, margin)}."]
        further = self.limits(found.further_low, found.further_high, own.std_error)
        parts.append(
            f"The true effect in a further study is expected from {further} ({self._range})."
        )
        parts.append(self._consistency(found.kind, own.estimate, consistent))
        return " ".join(parts)

    def _judged(self, verdict: Verdict, margin: float | None) -> str:
        words = {
            "exceeds": "more than the margin",
            "differs": "a real difference"
            + ("" if margin is None else "; more than the margin is not settled"),
            "slight": "a real difference, smaller than the margin",
            "equivalent": "any difference on average is smaller than the margin",
            "undecided": "neither a difference on average nor its absence was shown",
        }[verdict]
        shown = ""
        if margin is not None:
            shown = f"{margin:g} {self.unit}"
            if self.is_ratio:
                shown = percent_text(margin, sign=False)
            elif self.printed.other is not None:
                shown = self.printed.told(margin)
            shown = f" (margin {shown})"
        return f": {words}{shown}"

    def _consistency(self, kind: Kind, estimate: float, consistent: bool) -> str:
        beyond = _BEYOND[kind]
        if consistent:
            return f"This is a consistent {self.gain(estimate)}{beyond}."
        word = "gain" if self.better else "difference"
        return f"No consistent {word}{beyond}."

    def beside(self, own: OwnStudy, found: Synthesis | None) -> str:
        value = self.value(own.estimate, own.std_error)
        limits = self.limits(own.conf_low, own.conf_high, own.std_error)
        head = f"{capital(THIS_STUDY)}: {value} ({limits})"
        if found is None or found.mean is None:
            return f"{head}."
        if own.conf_low > found.further_high or own.conf_high < found.further_low:
            return f"{head}, outside what a further study was expected to find ({self._range})."
        inside = found.further_low <= own.estimate <= found.further_high
        where = "inside" if inside else "at the edge of"
        return f"{head}, {where} what a further study was expected to find ({self._range})."


def _studies(count: int) -> str:
    return "one study" if count == 1 else f"{count} studies"
