"""Which answers stand at the top: at most three, the settled first, none of the same kind twice."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from quenchbook.findings.answers import Analysis, AnyFinding
from quenchbook.findings.plain_answers import openness, plain_answer, without_preface
from quenchbook.study.definition import Study
from quenchbook.units import capital, listed

MOST_ANSWERS: Final = 3

_NUMBERS: Final = (
    "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class HeadlineAnswer:
    """One sentence at the top.

    Attributes
    ----------
    finding : Finding, TermFinding or TradeFinding
    sentence : str
    """

    finding: AnyFinding
    sentence: str


def headline_answers(analysis: Analysis) -> tuple[HeadlineAnswer, ...]:
    """Answers for the top of a report.

    What is settled goes before what leaves the margin or a limit open, and that before what is
    undecided. Among equals the first of each response and each factor that was varied is taken, as
    the study file has them, and then whatever follows. A difference that was shown is not left out
    for a second equivalence: one of each response goes before it. A question that came after the
    data stands there only if no declared one has an answer, and is marked.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    tuple of HeadlineAnswer
        At most `MOST_ANSWERS`.
    """
    declared = [own for own in analysis.findings if not own.change]
    names = study_names(analysis.study)
    sentences: list[HeadlineAnswer] = []
    for own in chosen_findings(analysis.study, declared or analysis.findings):
        words = plain_answer(own, names)
        if any(without_preface(before.sentence) != before.sentence for before in sentences):
            words = without_preface(words)
        sentences.append(HeadlineAnswer(own, f"Exploratory: {words}" if own.change else words))
    return tuple(sentences)


def chosen_findings(study: Study, findings: Sequence[AnyFinding]) -> list[AnyFinding]:
    """The findings that `headline_answers` puts into sentences, in the order they stand."""
    order = {key: place for place, key in enumerate(study.question_keys)}
    ordered = sorted(findings, key=lambda own: (openness(own), order.get(own.key, len(order))))
    varied = _varied_factors(study)
    chosen: list[AnyFinding] = []
    while len(chosen) < min(MOST_ANSWERS, len(ordered)):
        rest = [own for own in ordered if own not in chosen]
        fewest = openness(rest[0])
        alike = [own for own in rest if openness(own) == fewest]
        responses = {own.response for own in chosen}
        factors = {varied.get(own.key, own.key) for own in chosen}
        new = [own for own in alike if own.response not in responses] or [
            own for own in alike if varied.get(own.key, own.key) not in factors
        ]
        best = (new or alike)[0]
        if best.verdict == "equivalent" and any(own.verdict == "equivalent" for own in chosen):
            told = {own.response for own in chosen if is_shown_difference(own)}
            left = [own for own in rest if is_shown_difference(own) and own.response not in told]
            best = left[0] if left else best
        chosen.append(best)
    first = next((own for own in ordered if own in chosen and own.verdict == "equivalent"), None)
    stand = [own for own in ordered if own in chosen]
    return sorted(stand, key=lambda own: own.verdict == "equivalent" and own is not first)


def is_shown_difference(own: AnyFinding) -> bool:
    """Whether an answer shows a difference that may matter: `exceeds` or `differs`."""
    return own.verdict in ("exceeds", "differs") and not getattr(own, "outcome", "")


def rest_words(analysis: Analysis, shown: Sequence[HeadlineAnswer]) -> str:
    """How many answers stand below, what the open ones say, how many questions have none."""
    named = [own.finding for own in shown]
    rest = [own for own in analysis.findings if own not in named]
    parts = []
    if rest:
        one = len(rest) == 1
        words = f"{len(rest)} more {'answer stands' if one else 'answers stand'} below"
        late = sum(bool(own.change) for own in rest)
        if opened := open_word_counts(rest):
            count = sum(opened.values())
            told = listed(
                [
                    f"{_number(many)} {'with ' if word.startswith(('no ', 'gain ')) else ''}{word}"
                    for word, many in opened.items()
                ]
            )
            if set(opened) == {"undecided"}:
                words += f", {'undecided' if one else f'{_number(count)} of them undecided'}"
            elif one:
                words += f", {next(iter(opened))}"
            else:
                words += f", {_number(count)} of them open ({told})"
        if late:
            words += f", {'exploratory' if one else f'{_number(late)} of them exploratory'}"
        parts.append(words)
    if left := len(analysis.unanswered):
        parts.append(f"{_number(left)} question{' was' if left == 1 else 's were'} not answered")
    return f"{capital('; '.join(parts))}." if parts else ""


def open_word_counts(findings: Iterable[AnyFinding]) -> dict[str, int]:
    """How often each word occurs among answers that settled nothing: ``undecided``, 2."""
    return dict(Counter(own.word for own in findings if own.verdict == "undecided"))


def study_names(study: Study) -> tuple[str, ...]:
    """Words of a study that stand in sentences: factors, levels, quantities, units of work."""
    words = [response.quantity for response in study.responses]
    for factor in study.factors:
        words += [factor.title, *map(factor.word, factor.levels)]
    return (*words, *study.unit_names.values())


def _varied_factors(study: Study) -> dict[str, str]:
    """Factor that each question is about, by its key; of a term all its factors."""
    found = {own.key: own.factor or own.term for own in study.questions}
    return found | {own.key: own.along for own in study.trade_questions}


def _number(count: int) -> str:
    return _NUMBERS[count] if count < len(_NUMBERS) else str(count)
