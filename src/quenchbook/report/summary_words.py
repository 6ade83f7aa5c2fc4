"""A study in a few words: the answer in one line, where it holds, what it could not tell."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from quenchbook.findings.answers import Analysis, AnyFinding
from quenchbook.findings.counts import counts_words
from quenchbook.findings.headlines import headline_answers, is_shown_difference
from quenchbook.findings.peak_words import shift_text
from quenchbook.findings.plain_answers import few_units_words
from quenchbook.findings.statements import (
    estimate_text,
    f_text,
    interval_words,
    limits_text,
    margin_words,
    p_text,
)
from quenchbook.findings.trade_findings import TradeFinding
from quenchbook.findings.verdicts import Finding, TermFinding
from quenchbook.fit.peak_shift import PeakShift
from quenchbook.plots.share_words import ShareWords, ShortVerdict
from quenchbook.report.blocks import Block, Summary
from quenchbook.report.characters import shortened
from quenchbook.report.inference_space import inference_space
from quenchbook.report.share_picture import share_picture
from quenchbook.study.definition import Study
from quenchbook.units import capital, listed, unit_text

_MOST_VERDICTS = 3
_MOST_OPEN = 2
_MOST_NAMED = 8
_LONGEST_SOURCE = 80
_LOCATED = ("inside the range", "inside the tested delays", "window found")
"""Outcomes whose estimate may stand alone as the answer."""


def report_summary(analysis: Analysis) -> list[Block]:
    """What the one-page summary and the share pictures say; the report itself does not show it.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    list of Block
        One `Summary`.
    """
    study, matrix = analysis.study, analysis.records.matrix
    lead = lead_finding(analysis)
    words = ShareWords(
        question=study.question,
        headline=short_answer(lead) if lead else "No question could be answered",
        interval=short_interval(lead) if lead else "",
        verdicts=short_verdicts(analysis, lead),
        counts=counts_words(analysis, lead.response if lead else ""),
        source=source_words(study),
        picture=share_picture(analysis, lead) if lead else None,
    )
    return [
        Summary(
            words=words,
            counts=counts_words(analysis),
            holds_for=inference_space(analysis),
            not_told=open_words(analysis),
            plan=f"Study {study.key}, plan {matrix.plan_hash}",
        )
    ]


def lead_finding(analysis: Analysis) -> AnyFinding | None:
    """Answer that comes first, as at the top of the report."""
    first = headline_answers(analysis)[:1]
    return first[0].finding if first else None


def source_words(study: Study) -> str:
    """Which study it is, and whose data: ``Study springs, published data: Box and Bisgaard``."""
    if study.invented:
        return f"Study {study.key}, invented data"
    if not study.published:
        return f"Study {study.key}"
    told = [text.removeprefix("Data:").strip() for text in (study.author, *study.notes)
            if text.startswith("Data:")]  # fmt: skip
    of = f": {shortened(told[0].partition(';')[0], _LONGEST_SOURCE)}" if told else ""
    return f"Study {study.key}, published data{of}"


def short_answer(own: AnyFinding) -> str:
    """An answer in one line without its interval, with its verdict in words and not more."""
    text = _short_answer(own)
    return f"Exploratory: {text[:1].lower()}{text[1:]}" if own.change else text


def _short_answer(own: AnyFinding) -> str:
    if isinstance(own, TermFinding):
        if own.verdict == "undecided":
            return f"No effect of {own.label} on {own.quantity} was shown"
        if ":" in own.term:
            return f"{capital(own.label)}: the effect of one on {own.quantity} depends on the other"
        return f"{capital(own.quantity)} differs between levels of {own.label}"
    if isinstance(own, TradeFinding):
        return _short_place(own)
    title = f"{own.label} against {own.against}" if own.against else own.label
    if own.verdict == "undecided":
        return f"Not settled: {own.quantity}, {title}"
    margin = margin_words(own)
    if own.verdict == "equivalent":
        if not own.against:
            return (
                f"{capital(title)}: {own.quantity}, any difference smaller than the margin of "
                f"{margin}"
            )
        return f"{capital(own.label)} and {own.against}: {own.quantity} alike within {margin}"
    judged = _judged(own.verdict, margin)
    return f"{capital(title)}: {own.quantity} {estimate_text(own)}, {judged}"


def _short_place(own: TradeFinding) -> str:
    """An answer about a curve; what was not located is not given a place."""
    margin = ""
    if own.margin is not None and isinstance(own.result, PeakShift):
        margin = shift_text(own.result.curve, own.margin, sign=False)
    if own.verdict == "undecided":
        when = "when " if own.asks == "half_loss" else ""
        return f"Not settled: {when}{own.label}" + (f" ({own.outcome})" if own.outcome else "")
    if not own.outcome:  # a shift, with one of the five verdicts
        if own.verdict == "equivalent":
            return f"{capital(own.label)}: any shift smaller than the margin of {margin}"
        return f"{capital(own.label)}: {own.estimate_words}, {_judged(own.verdict, margin)}"
    if own.outcome in _LOCATED and own.estimate_words:
        return f"{capital(own.label)}: {own.estimate_words}"
    return f"{capital(own.label)}: {own.outcome}"


def _judged(verdict: str, margin: str) -> str:
    """What a verdict says of a difference that was shown."""
    if not margin:
        return "a real difference; no margin was declared"
    return {
        "exceeds": f"more than the margin of {margin}",
        "slight": f"a real difference, smaller than the margin of {margin}",
        "differs": f"a real difference; more than the margin of {margin} is not settled",
    }[verdict]


def short_interval(own: AnyFinding) -> str:
    """Interval that stands at once under the short answer; the test for a whole term."""
    few = few_units_words(own)
    return ", ".join(filter(None, (_short_interval(own), few)))


def _short_interval(own: AnyFinding) -> str:
    if isinstance(own, TermFinding):
        if math.isnan(own.p_value):
            return "no test is possible"
        return f"{f_text(own.statistic, own.df, own.df_error)}, {p_text(own.p_value)}"
    if isinstance(own, TradeFinding):
        return f"{interval_words(own.confidence)} {own.limits_words}" if own.limits_words else ""
    if math.isnan(own.std_error) or math.isnan(own.conf_low) or math.isnan(own.conf_high):
        return "limits not known"
    if own.verdict == "equivalent":
        inner = interval_words(2 * own.confidence - 1)
        return f"{inner} {limits_text(own, inner=True)}{_unit(own)}"
    return f"{interval_words(own.confidence)} {limits_text(own)}{_unit(own)}"


def _unit(own: Finding) -> str:
    """Unit after limits that do not name it."""
    if not own.unit or own.scale == "log" or own.printed.other is not None:
        return ""
    return f"\u00a0{unit_text(own.printed.unit)}"


def short_verdicts(analysis: Analysis, lead: AnyFinding | None) -> tuple[ShortVerdict, ...]:
    """At most three more: a difference of each response before what is alike, and one open one."""
    plain = sorted(analysis.findings, key=lambda own: (bool(own.change), _speaks_of_curve(own)))
    plain = [own for own in plain if own is not lead]
    shown = [own for own in plain if is_shown_difference(own)]
    chosen: list[AnyFinding] = shown[:1]
    told = {
        own.response for own in (*chosen, *([lead] if lead else [])) if is_shown_difference(own)
    }
    chosen += [own for own in shown if own.response not in told][:1]
    first: dict[str, AnyFinding] = {}
    for own in plain:
        first.setdefault(own.verdict, own)
    for verdict in ("undecided", "slight", "equivalent"):
        if verdict in first and len(chosen) < _MOST_VERDICTS:
            chosen.append(first[verdict])
    order = [own for own in analysis.findings if any(own is one for one in chosen)]
    known = lead.response if lead else ""
    beside = few_units_words(lead) if lead else ""
    return tuple(_short_verdict(own, known, beside) for own in order)


def _speaks_of_curve(own: AnyFinding) -> bool:
    """Whether an answer has an outcome of its own in place of one of the five verdicts."""
    return bool(getattr(own, "outcome", ""))


def _short_verdict(own: AnyFinding, known: str, beside: str) -> ShortVerdict:
    """Verdict with its number first: what comes last may be cut.

    `known` and `beside` are the response of the lead, and what it says of few spare units.
    """
    few = few_units_words(own)
    estimate = getattr(own, "estimate", 1.0)
    if isinstance(own, Finding):
        words = f"{own.label} against {own.against}" if own.against else own.label
        if own.verdict != "undecided":
            words = f"{estimate_text(own)}: {words}"
    elif isinstance(own, TradeFinding):
        told = own.estimate_words and (own.outcome in _LOCATED or not own.outcome)
        words = (
            f"{own.estimate_words}: {own.label}"
            if told and own.verdict != "undecided"
            else (own.label)
        )
    else:
        words = own.label
    if own.response != known:
        words = f"{own.quantity}, {words}"
    if own.verdict != "undecided" and few and few != beside:
        words = f"{words} ({few})"
    return ShortVerdict(
        word=f"{own.word}, exploratory" if own.change else own.word,
        verdict="" if getattr(own, "outcome", "") else own.verdict,
        sign=-1 if estimate < 0 else 1,
        words=words,
    )


def open_words(analysis: Analysis) -> str:
    """What could not be told, in a few sentences."""
    every = analysis.findings
    groups: Sequence[tuple[str, list[tuple[str, str]]]] = (
        ("Not settled", [(f.question or _named(f), _named(f)) for f in every
                         if f.verdict == "undecided"]),
        ("Not answered", [(own.words, own.words) for own, _ in analysis.unanswered]),
    )  # fmt: skip
    parts = []
    for name, words in groups:
        if words:
            parts.append(f"{name}: {' '.join(_stopped(own) for own, _ in words[:_MOST_OPEN])}")
        if rest := [label.rstrip(".?!") for _, label in words[_MOST_OPEN:]]:
            more = f"; and {len(rest) - _MOST_NAMED} more" if len(rest) > _MOST_NAMED else ""
            parts.append(f"Also: {'; '.join(rest[:_MOST_NAMED])}{more}.")
    margins = [
        f for f in every if f.verdict == "differs" and getattr(f, "margin", None) is not None
    ]
    if margins:
        named = [_named(f) for f in margins[:_MOST_NAMED]]
        more = "; and others" if len(margins) > _MOST_NAMED else ""
        parts.append(
            f"Real, but not settled whether more than the margin: {'; '.join(named)}{more}."
        )
    few = Counter(said for f in every if (said := few_units_words(f)))
    parts += [
        f"{count} of {len(every)} answers {'is' if count == 1 else 'are'} {said}."
        for said, count in few.items()
    ]
    parts.append(f"{capital(listed(_others(analysis.study)))} may behave differently.")
    return " ".join(parts)


def _named(own: AnyFinding) -> str:
    """What an answer is about, told apart from the others: ``hardness, freezer against none``."""
    against = getattr(own, "against", "")
    when = "when " if getattr(own, "asks", "") == "half_loss" else ""
    return f"{own.quantity}, {when}{own.label}{f' against {against}' if against else ''}"


def _stopped(text: str) -> str:
    """A text with a full stop, unless it ends with a mark of its own."""
    return text if text.endswith((".", "?", "!")) else f"{text}."


def _others(study: Study) -> list[str]:
    tester = ["tester"] if any(r.kind in ("hardness", "impact") for r in study.responses) else []
    names = ["another mill heat", "furnace", *tester]
    return [f"{', '.join(names[:-1])} or {names[-1]}"]
