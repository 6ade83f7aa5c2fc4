"""How much was planned and how much was measured: coupons, furnace loads, readings, days."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from quenchbook.findings.answers import Analysis
from quenchbook.study.definition import Response
from quenchbook.study.factors import plural


def measured_coupons(analysis: Analysis, response: str = "") -> pd.DataFrame:
    """Coupons whose readings an answer rests on; lost and reference coupons are none of them.

    Parameters
    ----------
    analysis : Analysis
    response : str
        Whose coupons; those of any response when left out.

    Returns
    -------
    DataFrame
        A row for each coupon with its units: ``coupon, furnace_load, day`` where the study has
        them.
    """
    frames = [
        model.data.coupons for name, model in analysis.models.items() if response in ("", name)
    ]
    if not frames:
        return analysis.records.matrix.frame.iloc[:0]
    names = [name for name in ("coupon", "furnace_load", "day") if name in frames[0]]
    return pd.concat([frame[names] for frame in frames]).drop_duplicates("coupon")


def coupon_words(analysis: Analysis, response: str = "") -> str:
    """Count coupons: ``96 coupons``, or ``96 coupons planned, 95 measured`` where one was lost.

    Parameters
    ----------
    analysis : Analysis
    response : str
        Of a response that is measured on a part of the coupons, that part is what was planned.
    """
    measured = len(measured_coupons(analysis, response))
    if response:
        planned = measured + len(analysis.models[response].data.absent)
    else:
        frame = analysis.records.matrix.frame
        planned = len(frame)
        if "reference" in frame:
            planned -= int((frame["reference"].fillna("") != "").sum())
    words = f"{planned} {analysis.study.unit_word('coupon', planned)}"
    return words if measured == planned else f"{words} planned, {measured} measured"


def load_words(analysis: Analysis, response: str = "") -> str:
    """Count the furnace loads that measured coupons came from; empty where there are none."""
    coupons = measured_coupons(analysis, response)
    count = int(coupons["furnace_load"].nunique()) if "furnace_load" in coupons else 0
    return f"{count} {analysis.study.unit_word('furnace_load', count)}" if count else ""


def day_count(analysis: Analysis) -> int:
    """Days on which the measured coupons were in the furnace; 0 where that is not told."""
    coupons = measured_coupons(analysis)
    told = analysis.study.layout.loads_per_day and analysis.study.order_told
    return int(coupons["day"].nunique()) if told and "day" in coupons else 0


def counts_words(analysis: Analysis, response: str = "") -> str:
    """Count what was measured: ``96 coupons, 12 furnace loads, 480 indents``.

    Parameters
    ----------
    analysis : Analysis
    response : str
        Whose readings are counted; those of every response when left out.
    """
    own = (one for one in analysis.study.responses if response in ("", one.name))
    parts = [
        coupon_words(analysis, response),
        load_words(analysis, response),
        *_reading_words(analysis, own),
    ]
    return ", ".join(filter(None, parts))


def _reading_words(analysis: Analysis, responses: Iterable[Response]) -> list[str]:
    parts = []
    for own in responses:
        if own.name in analysis.models:
            count = len(analysis.models[own.name].data.readings)
            word = {"hardness": "indent", "impact": "impact test"}.get(own.kind, "reading")
            parts.append(f"{count} {word if count == 1 else plural(word)}")
    return parts
