"""The first page of a report: question, answer, and a row for each question of the study."""

from __future__ import annotations

from quenchbook.findings.answers import Analysis, AnyFinding, AnyQuestion
from quenchbook.findings.counts import coupon_words, day_count, load_words
from quenchbook.findings.headlines import headline_answers, rest_words
from quenchbook.findings.statements import (
    estimate_text,
    f_text,
    interval_words,
    margin_words,
    p_text,
    shown_limits,
)
from quenchbook.findings.traces import trace_note
from quenchbook.findings.trade_findings import TradeFinding
from quenchbook.findings.verdicts import INNER_VERDICTS, Finding, TermFinding
from quenchbook.records.tester import checks_of_testers
from quenchbook.report.answer_blocks import question_link
from quenchbook.report.blocks import Block, FindingRow, FindingRows, Headline, Paragraph, Run, Runs
from quenchbook.units import listed


def report_answer(analysis: Analysis) -> list[Block]:
    """Question, what was fixed beforehand, answer in at most three sentences, a row a question."""
    study = analysis.study
    days = day_count(analysis)
    units = [coupon_words(analysis), load_words(analysis), f"{days} days" if days > 1 else ""]
    counted = ", ".join(filter(None, units))
    date = f", {_date_text(study.date)}" if study.date else ""
    alarm = checks_of_testers(analysis.records).alarm()
    return [
        Headline(
            question=study.question,
            byline=f"{study.author}{date}. {counted}. {_fixed_words(analysis)}",
            answer=_answer(analysis),
            invented=study.invented,
        ),
        *([Paragraph((Run(alarm, strong=True),))] if alarm else []),
        *([Paragraph((words,))] if (words := _late_words(analysis)) else []),
        FindingRows(_finding_rows(analysis), _how_to_read(analysis)),
    ]


def _fixed_words(analysis: Analysis) -> str:
    """What was fixed before the data, and by which plan that can be checked."""
    matrix = analysis.records.matrix
    words = analysis.standing()
    if analysis.study.published or not matrix.declaration:
        return words
    when = "before the data"
    return words.replace(when, f"{when} (plan {matrix.short_hash})", 1)


def _answer(analysis: Analysis) -> Runs:
    """At most three sentences, each with a note on where it comes from, and what stands below."""
    shown = headline_answers(analysis)
    if not shown:
        return ("No question could be answered.",)
    late = bool(shown[0].finding.change)
    parts: list[str | Run] = ["No question that was declared has an answer.\n"] if late else []
    for number, own in enumerate(shown):
        parts += ["\n"] if number else []
        note = trace_note(analysis, own.finding)
        strong = number == 0 and not late and own.finding.verdict != "undecided"
        parts.append(Run(own.sentence, strong=strong, note=note))
    rest = rest_words(analysis, shown)
    return (*parts, *([f"\n{rest}"] if rest else []))


def _late_words(analysis: Analysis) -> str:
    """What of the questions was not declared before the data."""
    return " ".join(dict.fromkeys(f.change for f in analysis.findings if f.change))


def _how_to_read(analysis: Analysis) -> str:
    """Which interval is which in the rows, and what the grey field is."""
    texts: list[str] = []
    own = [f for f in analysis.findings if isinstance(f, Finding)]
    if own:
        outer, inner = own[0].confidence, 2 * own[0].confidence - 1
        texts.append(f"At the right of a row: estimate and its {interval_words(outer)}.")
        if judged := [word for word in INNER_VERDICTS if any(f.verdict == word for f in own)]:
            texts.append(
                f"Short strokes in the band: the {interval_words(inner)}, by which "
                f"{listed(judged)} {'is' if len(judged) == 1 else 'are'} judged."
            )
    margins = dict.fromkeys(f"{f.quantity} {margin_words(f)}" for f in own if f.margin is not None)
    if margins:
        texts.append(
            "Grey field with dotted edges: the margin, inside which a difference is too small to "
            f"matter: {'; '.join(margins)}."
        )
    return " ".join(texts)


def _finding_rows(analysis: Analysis) -> tuple[FindingRow, ...]:
    """One row a question, answered or not; the gauges of one response share their scale."""
    from quenchbook.plots.gauges import gauge_limits

    limits = {
        name: gauge_limits(analysis.comparisons(name))
        for name in analysis.models
        if analysis.comparisons(name)
    }
    return tuple(
        _unanswered_row(own[0])
        if isinstance(own, tuple)
        else _finding_row(own, limits.get(own.response))
        for own in analysis.in_file_order()
    )


def _unanswered_row(question: AnyQuestion) -> FindingRow:
    """The row of a question that the records cannot answer; why stands under the limits."""
    return FindingRow(
        verdict="not answered",
        glyph_svg="",
        gauge_svg="",
        statement=question.words,
        estimate_text="",
        interval_text="",
        link=question_link(question.key),
    )


def _finding_row(own: AnyFinding, limits: tuple[float, float] | None) -> FindingRow:
    from quenchbook.plots.gauges import gauge_svg, glyph_svg

    if isinstance(own, TermFinding):
        return FindingRow(
            verdict=own.verdict,
            glyph_svg=glyph_svg(own.verdict, 1),
            gauge_svg="",
            statement=_statement(own),
            estimate_text=f_text(own.statistic, own.df, own.df_error),
            interval_text=p_text(own.p_value),
            link=question_link(own.key),
        )
    if isinstance(own, TradeFinding):
        return FindingRow(
            verdict=own.word,
            glyph_svg="" if own.outcome else glyph_svg(own.verdict, 1 if own.estimate >= 0 else -1),
            gauge_svg="",
            statement=_statement(own),
            estimate_text=own.estimate_words,
            interval_text=own.limits_words,
            link=question_link(own.key),
        )
    return FindingRow(
        verdict=own.verdict,
        glyph_svg=glyph_svg(own.verdict, 1 if own.estimate >= 0 else -1),
        gauge_svg=gauge_svg(own, limits=limits),
        statement=_statement(own),
        estimate_text=estimate_text(own),
        interval_text=shown_limits(own).replace("; ", "\n"),
        link=question_link(own.key),
    )


def _statement(own: AnyFinding) -> str:
    """The question of a row, marked if it is exploratory; why stands once above the rows."""
    words = own.question or own.label
    return f"{words}\nExploratory." if own.change else words


def _date_text(iso: str) -> str:
    import datetime

    try:
        day = datetime.date.fromisoformat(iso)
    except ValueError:
        return iso
    return f"{day.day} {day:%B} {day.year}"
