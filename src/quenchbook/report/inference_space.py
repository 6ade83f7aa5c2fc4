"""Where a result holds, in one line: steel, bars, furnace, loads, days, as far as they are told."""

from __future__ import annotations

import re

from quenchbook.findings.answers import Analysis
from quenchbook.findings.counts import coupon_words, day_count, measured_coupons
from quenchbook.report.blocks import Block, Paragraph, Run, Section
from quenchbook.study.definition import Study, held_value


def report_where_it_holds(analysis: Analysis) -> list[Block]:
    """The steel, furnace, loads and days that the result was found with.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    list of Block
    """
    words = inference_space(analysis)
    last = " Another mill heat, furnace or tester may behave differently."
    return [
        Section("Where this holds"),
        Paragraph(("The result holds for: ", Run(words, strong=True), f".{last}")),
    ]


def inference_space(analysis: Analysis) -> str:
    """What the study was done with, in one line; what is not told is said to be not told.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    str
        ``A2 (annealed, one mill heat), 8 bars, one furnace, 12 furnace loads, 3 days``.
    """
    study, matrix = analysis.study, analysis.records.matrix
    condition = held_value(str(study.steel.get("condition", "")), study.publishing.units)
    parts = [_steel_words(study, condition), _heat_words(study, condition)]
    coupon = study.unit_word("coupon")
    if "bar" not in coupon and not re.search(r"\bbars?\b", condition):
        bars = int(matrix.frame["bar"].nunique()) if "bar" in matrix.frame else 0
        parts.append(_count(bars, study, "bar") if bars else "number of bars not told")
    parts.append("one furnace" if study.equipment.get("furnace") else "furnace not told")
    coupons = measured_coupons(analysis)
    if "furnace_load" in coupons:
        parts.append(_count(int(coupons["furnace_load"].nunique()), study, "furnace_load"))
    days = day_count(analysis)
    parts.append(_count(days, study, "day") if days else "days not told")
    parts.append(coupon_words(analysis))
    return ", ".join(filter(None, parts))


def _steel_words(study: Study, condition: str) -> str:
    grade = str(study.steel.get("grade", "")) or "steel not told"
    return f"{grade} ({condition})" if condition else grade


def _heat_words(study: Study, condition: str) -> str:
    """Number of mill heats where the study varies them; empty where the steel's condition says."""
    lots = [factor for factor in study.factors if factor.name == "heat_lot"]
    if lots:
        return f"{len(lots[0].levels)} heat lots"
    return "" if re.search(r"\b(heats?|lots?)\b", condition) else "mill heats not told"


def _count(count: int, study: Study, unit: str) -> str:
    """``one furnace load``, ``12 furnace loads``."""
    return f"{'one' if count == 1 else count} {study.unit_word(unit, count)}"
