"""A study in a few words: the answer in one line, where it holds, what it could not tell."""

from __future__ import annotations

import math
from collections.abc import Sequence

from quenchbook.findings.answers import Analysis, AnyFinding
from quenchbook.findings.headlines import headline_answers
from quenchbook.findings.statements import (
    estimate_text,
    f_text,
    interval_words,
    limits_text,
    margin_text,
    p_text,
)
from quenchbook.findings.trade_findings import TradeFinding
from quenchbook.findings.verdicts import Finding, TermFinding
from quenchbook.plots.share_words import ShareWords, ShortVerdict
from quenchbook.report.blocks import Block, Summary
from quenchbook.report.share_picture import share_picture
from quenchbook.study.definition import Response, Study
from quenchbook.study.factors import plural
from quenchbook.units import capital, listed

_MOST_VERDICTS = 3
_MOST_OPEN = 2


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
    invented = ", invented data" if study.invented else ""
    words = ShareWords(
        question=study.question,
        headline=short_answer(lead) if lead else "No question could be answered",
        interval=short_interval(lead) if lead else "",
        verdicts=short_verdicts(analysis, lead),
        counts=counts_words(analysis, lead.response if lead else ""),
        source=f"Study {study.key}{invented}",
        picture=share_picture(analysis, lead) if lead else None,
    )
    return [
        Summary(
            words=words,
            counts=counts_words(analysis),
            holds_for=inference_words(analysis),
            not_told=open_words(analysis),
            plan=f"Study {study.key}, plan {matrix.plan_hash}",
        )
    ]


def lead_finding(analysis: Analysis) -> AnyFinding | None:
    """Answer that comes first, as at the top of the report."""
    first = headline_answers(analysis)[:1]
    return first[0].finding if first else None


def short_answer(own: AnyFinding) -> str:
    """An answer in one line without its interval, saying no more than its verdict."""
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
        if own.verdict == "undecided" or not own.estimate_words:
            return f"{capital(own.label)}: {own.word}"
        return f"{capital(own.label)}: {own.estimate_words}"
    title = f"{own.label} against {own.against}" if own.against else own.label
    if own.verdict == "undecided":
        return f"Not settled: {own.quantity}, {title}"
    if own.verdict == "equivalent":
        pair = f"{own.label} and {own.against}" if own.against else own.label
        return f"{capital(pair)}: {own.quantity} alike within {margin_text(own)}"
    return f"{capital(title)}: {own.quantity} {estimate_text(own)}"


def short_interval(own: AnyFinding) -> str:
    """Interval that stands at once under the short answer; the test for a whole term."""
    if isinstance(own, TermFinding):
        if math.isnan(own.p_value):
            return "no test is possible"
        return f"{f_text(own.statistic, own.df, own.df_error)}, {p_text(own.p_value)}"
    if isinstance(own, TradeFinding):
        return f"{interval_words(own.confidence)} {own.limits_words}" if own.limits_words else ""
    if math.isnan(own.std_error):
        return "limits not known"
    if own.verdict == "equivalent":
        inner = interval_words(2 * own.confidence - 1)
        return f"{inner} {limits_text(own, inner=True)}{_unit(own)}"
    return f"{interval_words(own.confidence)} {limits_text(own)}{_unit(own)}"


def _unit(own: Finding) -> str:
    return f"\u00a0{own.unit}" if own.unit and own.scale != "log" else ""


def short_verdicts(analysis: Analysis, lead: AnyFinding | None) -> tuple[ShortVerdict, ...]:
    """At most three more, the first of each kind, so that open ones are not left out."""
    chosen: dict[str, AnyFinding] = {}
    plain = sorted(analysis.findings, key=lambda own: (bool(own.change), _speaks_of_curve(own)))
    for own in plain:
        kind = "real" if own.verdict in ("exceeds", "differs", "slight") else own.verdict
        if own is not lead:
            chosen.setdefault(kind, own)
    order = [own for own in analysis.findings if any(own is one for one in chosen.values())]
    known = lead.response if lead else ""
    return tuple(_short_verdict(own, known) for own in order[:_MOST_VERDICTS])


def _speaks_of_curve(own: AnyFinding) -> bool:
    """Whether an answer has an outcome of its own in place of one of the five verdicts."""
    return bool(getattr(own, "outcome", ""))


def _short_verdict(own: AnyFinding, known: str) -> ShortVerdict:
    """Verdict with its number first: what comes last may be cut. `known`: response of the lead."""
    estimate = getattr(own, "estimate", 1.0)
    if isinstance(own, Finding):
        words = f"{own.label} against {own.against}" if own.against else own.label
        if own.verdict != "undecided":
            words = f"{estimate_text(own)}: {words}"
    elif isinstance(own, TradeFinding):
        words = f"{own.estimate_words}: {own.label}" if own.estimate_words else own.label
    else:
        words = own.label
    if own.response != known:
        words = f"{own.quantity}, {words}"
    return ShortVerdict(
        word=f"{own.word}, exploratory" if own.change else own.word,
        verdict="" if getattr(own, "outcome", "") else own.verdict,
        sign=-1 if estimate < 0 else 1,
        words=words,
    )


def counts_words(analysis: Analysis, response: str = "") -> str:
    """Count coupons, loads and readings: ``96 coupons, 12 furnace loads, 480 indents``.

    Parameters
    ----------
    analysis : Analysis
    response : str
        Whose readings are counted; those of every response when left out.
    """
    study, counts = analysis.study, analysis.records.matrix.unit_counts()
    parts = [
        f"{counts[unit]} {study.unit_word(unit, counts[unit])}"
        for unit in ("coupon", "furnace_load")
        if counts.get(unit)
    ]
    read = analysis.records.readings["response"].value_counts()
    for own in study.responses:
        count = int(read.get(own.name, 0)) if response in ("", own.name) else 0
        if count:
            word = _reading_word(own)
            parts.append(f"{count} {word if count == 1 else plural(word)}")
    return ", ".join(parts)


def _reading_word(response: Response) -> str:
    kinds = {"hardness": "indent", "impact": "impact test"}
    return kinds.get(response.kind, "reading")


def inference_words(analysis: Analysis) -> str:
    """Where the result holds, in one line: steel, furnace, loads; what is not told is said so."""
    study, matrix = analysis.study, analysis.records.matrix
    counts = matrix.unit_counts()
    steel = [str(study.steel[key]) for key in ("grade", "condition") if study.steel.get(key)]
    parts = [", ".join(steel) or "the steel used (not told)"]
    parts.append("one furnace" if study.equipment.get("furnace") else "the furnace used (not told)")
    if loads := counts.get("furnace_load", 0):
        days = int(matrix.in_loads["day"].nunique()) if study.order_told else 0
        on = f" on {days} days" if days > 1 else ""
        parts.append(f"{loads} {study.unit_word('furnace_load', loads)}{on}")
    return "; ".join(parts)


def open_words(analysis: Analysis) -> str:
    """What could not be told, in one line."""
    groups: Sequence[tuple[str, list[str]]] = (
        (
            "Not settled",
            [f.question or f.label for f in analysis.findings if f.verdict == "undecided"],
        ),
        ("Not answered", [question.words for question, _ in analysis.unanswered]),
    )
    parts = []
    for name, words in groups:
        if words:
            more = len(words) - _MOST_OPEN
            shown = " ".join(words[:_MOST_OPEN])
            parts.append(f"{name}: {shown}" + (f" And {more} more." if more > 0 else ""))
    margins = sum(
        f.verdict == "differs" and getattr(f, "margin", None) is not None for f in analysis.findings
    )
    if margins:
        them = "1 difference" if margins == 1 else f"{margins} differences"
        parts.append(f"For {them} it is open whether more than the margin.")
    parts.append(f"{capital(listed(_others(analysis.study)))} may behave differently.")
    return " ".join(parts)


def _others(study: Study) -> list[str]:
    tester = ["tester"] if any(r.kind in ("hardness", "impact") for r in study.responses) else []
    names = ["another mill heat", "furnace", *tester]
    return [f"{', '.join(names[:-1])} or {names[-1]}"]
