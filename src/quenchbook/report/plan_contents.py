"""What a plan says before any steel is cut, section by section, as blocks for the plan notebook.

A study that lacks something (prices, noise, questions, a known steel) gets a sentence that says
what is missing and where to write it, never an error.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Final

import pandas as pd

from quenchbook.errors import EstimabilityError, QuenchbookError
from quenchbook.outlook.certainty import certainty_costs
from quenchbook.outlook.comparison import against_crossed
from quenchbook.outlook.needed import units_needed
from quenchbook.outlook.peak_costs import peak_costs
from quenchbook.outlook.questions import PlanOutlook, QuestionOutlook, question_outlooks
from quenchbook.outlook.simulation import simulated_outlook
from quenchbook.outlook.steel import steel_prior
from quenchbook.outlook.trade_outlook import trade_outlook
from quenchbook.outlook.wording import GOAL_WORDS, chance_text
from quenchbook.plan.cost import plan_cost
from quenchbook.plan.fractions import alias_list
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.plan.quality import plan_quality
from quenchbook.report.blocks import Block, Bullets, Paragraph, TableBlock, from_drawing, table
from quenchbook.study.definition import Noise, Study
from quenchbook.study.factors import plural
from quenchbook.units import NO_BREAK, number_text

_CROSSED: Final = (
    "All combinations of levels, spread evenly where they do not fit into a load. For a curve or a "
    'tight budget write kind = "best" below [plan] in study.toml; for many factors of two levels '
    'kind = "fraction".'
)


def report_steel(study: Study) -> list[Block]:
    """What published equations expect of the steel, and whether the levels fit it."""
    from quenchbook.plots.steel_prior import figure_steel_prior

    try:
        prior = steel_prior(study)
        figure = from_drawing(figure_steel_prior(prior))
        figure = replace(figure, notes=tuple(n for n in figure.notes if n not in prior.warnings))
    except EstimabilityError as error:
        return [Paragraph((str(error),))]
    warnings = [Bullets(tuple((line,) for line in prior.warnings))] if prior.warnings else []
    return [figure, *warnings]


def report_outlook(
    matrix: CouponMatrix, *, noise: Mapping[str, Noise] | None = None
) -> list[Block]:
    """What the plan can tell about each question: interval, detectable difference, equivalence."""
    outlook = question_outlooks(matrix, noise=noise)
    curves = _curve_outlook(matrix, noise)
    if not outlook.answers:
        return [*curves, *(Paragraph((note,)) for note in outlook.notes)]
    return [outlook_table(outlook), *curves]


def _curve_outlook(matrix: CouponMatrix, noise: Mapping[str, Noise] | None) -> list[Block]:
    """What the plan can tell of declared questions about curves, a line for each; maybe none."""
    if not matrix.study.trade_questions:
        return []
    own = trade_outlook(matrix, noise=noise)
    rows = own.table[["question", "sentence"]]
    return [
        table(
            rows.rename(columns={"sentence": "what the plan can tell"}),
            key="curve_outlook",
            caption="What the plan can tell about each question about a curve, if everything goes "
            "as planned.",
            notes=own.notes,
        )
    ]


def outlook_table(outlook: PlanOutlook) -> TableBlock:
    """Questions and what the plan can tell about each, written for people."""
    found = f"found {number_text(outlook.target * 10, 0)} times in 10"
    rows = []
    reasons = []
    for own in outlook.answers:
        if own.planned is None:
            reasons.append(f"{own.question.words} {own.reason}")
        rows.append(_outlook_row(own, outlook.study, found))
    return table(
        pd.DataFrame(rows),
        key="outlook",
        caption="What the plan can tell about each question, if everything goes as planned.",
        notes=(*dict.fromkeys(reasons), *outlook.notes),
    )


def _outlook_row(own: QuestionOutlook, study: Study, found: str) -> dict[str, str]:
    half, detectable = own.half_width(), own.detectable_difference()
    at_margin = own.power(own.margin) if own.margin is not None else None
    equivalent = own.equivalence_power()
    units = " and ".join(study.unit_word(unit, 2) for unit in own.strata)
    whole = "whole term" if own.pattern is not None else "no answer"
    return {
        "question": own.question.words,
        "interval": f"±{own.size_text(half)}" if half is not None else whole,
        found: own.size_text(detectable) if detectable is not None else "none",
        "finds a difference of the margin": _chance(at_margin),
        "shows equivalence, if there is no difference": _chance(equivalent),
        "judged on": f"{units} ({number_text(own.df_error, 0)} df)" if units else "nothing",
    }


def _chance(share: float | None) -> str:
    return chance_text(share) if share is not None else "no margin"


def _half(own: QuestionOutlook, half: float | None) -> str:
    return f"±{own.size_text(half)}" if half is not None and half == half else "whole term"


def report_costs(matrix: CouponMatrix) -> list[Block]:
    """What the plan costs in money and hours, line by line."""
    cost = plan_cost(matrix)
    rows = [
        {
            "item": line.item,
            "amount": _amount(line.amount, line.unit),
            "price": "no price told" if line.price is None else number_text(line.price, 2),
            "total": "" if line.total is None else number_text(line.total, 2),
            "hours of work": number_text(line.hours, 1),
            "furnace hours": number_text(line.furnace_hours, 0) if line.furnace_hours else "",
        }
        for line in cost.lines
    ]
    if cost.prices.furnace_hour is None:  # assumed hours that nobody pays for would only puzzle
        rows = [{k: v for k, v in row.items() if k != "furnace hours"} for row in rows]
    currency = "" if math.isnan(cost.total) else f" Prices in {cost.prices.currency}."
    return [
        Paragraph((cost.sum_words(),)),
        table(
            pd.DataFrame(rows),
            key="costs",
            caption=f"What the plan needs.{currency}",
            notes=cost.notes(),
        ),
    ]


def _amount(amount: float, unit: str) -> str:
    """How many of what: ``96 coupons``, ``24 kg``."""
    word = unit if amount == 1 or unit == "kg" else plural(unit)
    return f"{amount:g}{NO_BREAK}{word}"


def report_certainty(
    study: Study, question: str | None = None, *, noise: Mapping[str, Noise] | None = None
) -> list[Block]:
    """What more or less money buys: other sizes of the study against the difference they find."""
    from quenchbook.plots.certainty import figure_certainty

    blocks: list[Block] = []
    try:
        asked = study.question_of(question) if question else study.questions[0]
        told = (noise or {}).get(asked.response)
        costs = certainty_costs(study, asked, noise=told)
        blocks.append(from_drawing(figure_certainty(costs)))
        blocks.append(Bullets(tuple((line,) for line in costs.sentences())))
    except IndexError:
        blocks.append(Paragraph(("No question is declared, so there is nothing to be sure of.",)))
    except QuenchbookError as error:
        blocks.append(Paragraph((str(error),)))
    if study.published or all(own.expected_peak is None for own in study.responses):
        return blocks
    try:
        (own,) = [r for r in study.responses if r.expected_peak is not None][:1]
        peaks = peak_costs(study, noise=(noise or {}).get(own.name))
    except QuenchbookError as error:
        return [*blocks, Paragraph((str(error),))]
    return [*blocks, Bullets(tuple((line,) for line in peaks.sentences() + peaks.notes))]


def report_matrix(matrix: CouponMatrix) -> list[Block]:
    """The coupon matrix as a table to print: every coupon in furnace order, with its code."""
    frame = matrix.frame
    wanted = ["furnace_load", "load_place", "coupon", *(f.column for f in matrix.study.factors)]
    wanted += [
        name for name in ("cold_batch", "temper_batch", "bar", "bar_position") if name in frame
    ]
    shown = frame[wanted].copy()
    for factor in matrix.study.factors:
        shown[factor.column] = [
            factor.word(level) if level == level and level != "" else ""
            for level in shown[factor.column]
        ]
    titles = {name: name.replace("_", " ") for name in wanted}
    titles |= {f.column: f.title for f in matrix.study.factors}
    return [
        table(
            shown,
            key="matrix",
            caption=f"All coupons in furnace order, plan {matrix.short_hash}.",
            titles={**titles, "load_place": "place"},
            decimals=0,
        )
    ]


def report_needed(
    study: Study, question: str | None = None, *, noise: Mapping[str, Noise] | None = None
) -> list[Block]:
    """How many furnace loads a question needs, to find a difference and to rule one out."""
    comparisons = [own for own in study.questions if not own.term]
    if not comparisons:
        return [Paragraph(("No question compares two levels, so there is no number to tell.",))]
    key = question or comparisons[0].key
    try:
        found = [units_needed(study, key, goal=goal, noise=noise) for goal in GOAL_WORDS]
    except QuenchbookError as error:
        return [Paragraph((str(error),))]
    return [Bullets(tuple((own.summary().split("\n")[0],) for own in found))]


def report_choice(matrix: CouponMatrix) -> list[Block]:
    """How the coupons were chosen: fractions with their aliases, best plans with their quality."""
    kind = matrix.study.plan.kind
    if matrix.study.published:
        return [Paragraph((note,)) for note in matrix.notes]
    if kind == "crossed":
        quality = plan_quality(matrix).summary().split("\n")
        return [Paragraph((_CROSSED,)), Bullets(tuple((line,) for line in quality))]
    if kind == "fraction":
        return [
            *(Paragraph((note,)) for note in matrix.notes),
            table(
                alias_list(matrix),
                key="aliases",
                caption="What cannot be told apart in this fraction.",
                titles={"alias": "cannot be told from", "stratum": "judged on"},
            ),
        ]
    lines = [*matrix.notes, *plan_quality(matrix).summary().split("\n")]
    lines += against_crossed(matrix)
    return [Bullets(tuple((line,) for line in lines))]


def report_confirmation(
    matrix: CouponMatrix,
    *,
    noise: Mapping[str, Noise] | None = None,
    studies: int = 20_000,
    seed: int = 1,
) -> list[Block]:
    """Power by simulated studies beside the formula."""
    try:
        own = simulated_outlook(matrix, noise=noise, studies=studies, seed=seed)
    except EstimabilityError as error:
        return [Paragraph((str(error),))]
    rows = [
        {
            "question": row["question"],
            "interval, by formula": _half(own.outlook.answer(row["key"]), row["half_width"]),
            "in simulated studies": _half(
                own.outlook.answer(row["key"]), row["simulated_half_width"]
            ),
            "difference": own.outlook.answer(row["key"]).size_text(row["difference"]),
            "found, by formula": chance_text(row["power"]),
            "found, in simulated studies": chance_text(row["simulated_power"]),
            "give or take": f"{200 * row['simulation_error']:.1f}{NO_BREAK}%",
        }
        for row in own.table.to_dict("records")
    ]
    return [
        table(
            pd.DataFrame(rows),
            key="confirmation",
            caption="Intervals and the chance of finding a difference, by formula and in "
            f"{studies:,} simulated studies.",
            notes=("Give or take: two standard errors of the simulated share.",),
        )
    ]
