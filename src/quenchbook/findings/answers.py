"""Answer every declared question of a study from its records."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from quenchbook.errors import EstimabilityError
from quenchbook.findings.level_words import study_of, told_apart
from quenchbook.findings.statements import term_remedy, term_sentence
from quenchbook.findings.trade_answers import trade_answer
from quenchbook.findings.trade_findings import TradeFinding
from quenchbook.findings.verdicts import Finding, TermFinding, finding
from quenchbook.fit.fitting import mixed_model
from quenchbook.fit.means import differences_inside_loads, question_contrast
from quenchbook.fit.mixed import MixedModel
from quenchbook.made_by import made_from
from quenchbook.plan.declaration import change_of
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.definition import Question, Study
from quenchbook.study.trade_questions import TradeQuestion
from quenchbook.units import listed

if TYPE_CHECKING:
    import pandas as pd

    from quenchbook.records.reading import Records


AnyFinding = Finding | TermFinding | TradeFinding
AnyQuestion = Question | TradeQuestion


@dataclass(frozen=True, eq=False, repr=False)
class Analysis(ShowsItself):
    """Models of all responses and the answers to all declared questions.

    Attributes
    ----------
    study : Study
    records : Records
    models : mapping of response to MixedModel
    findings : tuple of Finding, TermFinding or TradeFinding
        Comparisons and terms in the order of the study file, then the questions about curves.
    unanswered : tuple of (Question, str)
        Questions the records cannot answer, with the reason.
    """

    study: Study
    records: Records
    models: Mapping[str, MixedModel]
    findings: tuple[AnyFinding, ...]
    unanswered: tuple[tuple[AnyQuestion, str], ...] = ()

    def finding(self, key: str) -> AnyFinding:
        """Return the answer to the question with this key."""
        for own in self.findings:
            if own.key == key:
                return own
        keys = ", ".join(own.key for own in self.findings)
        raise EstimabilityError(f"There is no finding '{key}'. There are {keys}.")

    def undecided(self) -> list[str]:
        """Keys of the questions that the records could not decide."""
        return [own.key for own in self.findings if own.verdict == "undecided"]

    def open_questions(self) -> list[str]:
        """Keys of the questions that are undecided, or whose margin is not settled."""
        return [
            own.key
            for own in self.findings
            if own.verdict == "undecided"
            or (own.verdict == "differs" and getattr(own, "margin", None) is not None)
        ]

    def comparisons(self, response: str) -> list[Finding]:
        """Findings of one response that compare levels (not tests of whole terms)."""
        return [
            own for own in self.findings if isinstance(own, Finding) and own.response == response
        ]

    def standing(self) -> str:
        """Say how many questions were declared before the data, and how many came after."""
        count = len(self.findings) + len(self.unanswered)
        if self.study.published:
            return "Questions of this analysis of published data; not declared before the data."
        if not self.findings:
            return "No declared question could be answered."
        records = self.records
        declared = sum(own.declared for own in self.findings) + sum(
            not change_of(records.matrix.declaration, self.study, question)
            for question, _ in self.unanswered
        )
        words = f"{declared} question{'' if declared == 1 else 's'} declared before the data"
        words += f", {count - declared} after" if declared < count else ""
        left = len(self.unanswered)
        return f"{words}; {left} not answered." if left else f"{words}."

    def in_file_order(self) -> list[AnyFinding | tuple[AnyQuestion, str]]:
        """Findings, and questions without an answer with the reason, as the study file has them."""
        keyed = {own.key: own for own in self.findings}
        rest = {question.key: (question, why) for question, why in self.unanswered}
        every: dict[str, AnyFinding | tuple[AnyQuestion, str]] = {**keyed, **rest}
        order = dict.fromkeys((*self.study.question_keys, *every))
        return [every[key] for key in order if key in every]

    def summary(self) -> str:
        """All answers in words; what was not declared before the data is marked exploratory."""
        lines = list(dict.fromkeys([self._counted(), self.standing()]))
        for own in self.findings:
            mark = "[exploratory] " if own.change else ""
            lines.append(f"{mark}{own.question} {own.summary()}")
        lines += [f"{question.words} Not answered: {why}" for question, why in self.unanswered]
        return "\n".join(lines)

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each answered question, columns as in the archive of open data."""
        from quenchbook.findings.result_tables import finding_frame

        return finding_frame(self.findings)

    def shown(self) -> Shown:
        """How many questions got which answer, then each question with its verdict and sentence."""
        import pandas as pd

        rows = [
            {
                "question": own.question,
                "verdict": f"{own.word}, exploratory" if own.change else own.word,
                "answer": " ".join(filter(None, (own.sentence, own.change))),
            }
            for own in self.findings
        ]
        rows += [
            {"question": question.words, "verdict": "not answered", "answer": why}
            for question, why in self.unanswered
        ]
        notes = (self.standing(),) if self.findings else ()
        return Shown(
            self._counted(), pd.DataFrame(rows), notes, listings={"Numbers": self.to_frame()}
        )

    def _counted(self) -> str:
        """How many questions got which answer."""
        words = Counter(own.word for own in self.findings)
        counts = listed([f"{count} {word}" for word, count in words.items()])
        many = len(self.findings)
        head = f"{many} question{'s' if many != 1 else ''} answered: {counts}."
        return head if counts else self.standing()

    def __repr__(self) -> str:
        return f"<Analysis of {self.study.key}: {len(self.findings)} findings>"


def analyse(records: Records) -> Analysis:
    """Fit every response that has readings and answer the declared questions.

    Parameters
    ----------
    records : Records

    Returns
    -------
    Analysis

    Raises
    ------
    EstimabilityError
        If no response has readings.
    """
    study = records.study
    models: dict[str, MixedModel] = {}
    reasons: dict[str, str] = {}
    for response in study.responses:
        try:
            models[response.name] = mixed_model(records, response.name, study)
        except EstimabilityError as error:
            reasons[response.name] = str(error)
    if not models:
        raise EstimabilityError("\n".join(reasons.values()))
    findings: list[AnyFinding] = []
    unanswered: list[tuple[AnyQuestion, str]] = []
    for question in study.questions:
        if question.response not in models:
            unanswered.append((question, reasons[question.response]))
            continue
        try:
            own = answer(models[question.response], question)
        except EstimabilityError as error:
            unanswered.append((question, str(error)))
            continue
        findings.append(with_standing(own, question, records))
    for about in study.trade_questions:
        if about.response not in models:
            unanswered.append((about, reasons[about.response]))
            continue
        try:
            findings.append(with_standing(trade_answer(models, about), about, records))
        except EstimabilityError as error:
            unanswered.append((about, str(error)))
    return Analysis(study, records, models, tuple(findings), tuple(unanswered))


def with_standing(own: AnyFinding, question: AnyQuestion, records: Records) -> AnyFinding:
    """Finding with the word on whether it was declared before the data.

    Parameters
    ----------
    own : Finding, TermFinding or TradeFinding
    question : Question or TradeQuestion
        As it is in the study file now.
    records : Records
        Their plan tells what was declared when it was made.
    """
    if records.study.published:
        return made_from(replace(own, declared=False, change=""), records)
    change = change_of(records.matrix.declaration, records.study, question)
    return made_from(replace(own, declared=not change, change=change), records)


def answer(model: MixedModel, question: Question) -> AnyFinding:
    """Answer one question of a study; whether it was declared in time, `analyse` tells.

    Parameters
    ----------
    model : MixedModel
        Of the response the question is about.
    question : Question

    Returns
    -------
    Finding, TermFinding or TradeFinding
    """
    study = study_of(model)
    if question.term:
        return _term_answer(model, question, study)
    contrast = replace(question_contrast(model, question), confidence=study.question_confidence)
    label, against = _labels(question, study)
    own = finding(
        contrast,
        margin=study.equivalence_margin(question.response),
        key=question.key,
        label=label,
        against=against,
    )
    inside = differences_inside_loads(model, question)
    return made_from(replace(own, question=question.words, inside=inside), model)


def _term_answer(model: MixedModel, question: Question, study: Study) -> TermFinding:
    wanted = set(question.term.split(":"))
    term = next((name for name in model.terms.names if set(name.split(":")) == wanted), None)
    if term is None:
        raise EstimabilityError(
            model.strata.dropped.get(question.term, "the term is not in the model")
        )
    row = next(r for r in model.tests().to_dict("records") if r["term"] == term)
    unit = model.strata.term_stage[term]
    label = " by ".join(study.factor(name).title for name in term.split(":"))
    p_value = float(row["p_value"])
    own = TermFinding(
        key=question.key,
        question=question.words,
        response=question.response,
        quantity=study.response(question.response).quantity,
        term=term,
        label=label,
        verdict="differs" if p_value < 1 - study.question_confidence else "undecided",
        statistic=float(row["statistic"]),
        df=float(row["df"]),
        df_error=float(row["df_error"]),
        p_value=p_value,
        stratum=model.unit_word(unit),
        confidence=study.question_confidence,
    )
    own = replace(own, sentence=term_sentence(own), remedy=term_remedy(own, unit != "coupon"))
    return made_from(own, model)


def _labels(question: Question, study: Study) -> tuple[str, str]:
    factor = study.factor(question.factor)
    label = told_apart(study, question.factor, question.level)
    against = factor.word(question.against)
    places = ", ".join(told_apart(study, name, level) for name, level in question.at.items())
    if question.change:
        (name, (first, second)), *_ = question.change.items()
        other = study.factor(name)
        gain = label if question.against == "none" else f"{label} over {against}"
        where = f" ({places})" if places else ""
        return (
            f"gain from {gain}{where}, {other.word(first)} compared with {other.word(second)}",
            "",
        )
    return label, f"{against} ({places})" if places else against
