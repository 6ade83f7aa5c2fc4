"""Where a sentence comes from: method, degrees of freedom, noise, counts, row of the table."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

from quenchbook.findings.answers import Analysis, AnyFinding
from quenchbook.findings.counts import load_words, measured_coupons
from quenchbook.findings.statements import df_text, unit_list
from quenchbook.findings.trade_findings import TradeFinding
from quenchbook.findings.verdicts import INNER_VERDICTS, Finding, TermFinding
from quenchbook.units import NO_BREAK

TABLE: Final = "findings.csv"
"""Table of all findings, written by the analysis into the folder of the reports."""

_CURVES: Final[Mapping[str, str]] = {
    "peak": "settings whose slope a t test does not tell from zero",
    "peak_shift": "shifts that a t test of slopes, with one curvature, does not exclude",
    "curve_shift": "shifts that a t test of slopes, with one curvature, does not exclude",
    "working_window": "each end by inversion of a test of slope and curvature",
    "target_window": "one-sided tolerance limits at each setting, noncentral t",
    "half_loss": "times that a t test of the gain left does not exclude",
    "temper_for": "tempers at which a t test does not tell the mean from the target",
    "equal_hardness": "t intervals at both ends of the hardness that was shared",
}
"""How the interval of each kind of answer about a curve is made; more in `quenchbook.fit`."""


def trace_note(analysis: Analysis, own: AnyFinding) -> str:
    """Say what a sentence rests on, short enough for a footnote.

    Parameters
    ----------
    analysis : Analysis
    own : Finding, TermFinding or TradeFinding
        One of its findings.

    Returns
    -------
    str
        Test or interval, degrees of freedom, units whose noise it carries, counts, confidence, and
        the row of `TABLE`.
    """
    units = (own.stratum,) if isinstance(own, TermFinding) else tuple(dict.fromkeys(own.strata))
    noise = f"noise of {unit_list(units)}" if units else "noise of units not told"
    level = f"{round(own.confidence * 100, 2):g}{NO_BREAK}% confidence"
    count = len(measured_coupons(analysis, own.response))
    loads = load_words(analysis, own.response)
    counted = f"{count} {analysis.study.unit_word('coupon', count)}"
    counted += f" in {loads}" if loads else ""
    parts = (_method(own), noise, counted, level)
    return f"{'; '.join(parts)}. {TABLE}, row {own.key}."


def _method(own: AnyFinding) -> str:
    if isinstance(own, TermFinding):
        if math.isnan(own.p_value):
            return "No F test: no spare unit"
        return f"F test, {df_text(own.df)} and {df_text(own.df_error)} df"
    if isinstance(own, TradeFinding):
        df = f", {df_text(own.df)} df" if math.isfinite(own.df) else ""
        return f"Interval: {_CURVES.get(own.asks, own.asks)}{df}"
    return _comparison_method(own)


def _comparison_method(own: Finding) -> str:
    if math.isnan(own.std_error):
        return "No t test: no spare unit"
    what = {
        "per_decade": "Slope in log time",
        "equal_hardness": "Difference at equal hardness",
    }.get(own.asks, "Difference of means")
    df = f" with {df_text(own.df)} df" if math.isfinite(own.df) else ""
    if own.p_value != own.p_value:  # limits joined over strata, not those of one t
        return f"{what}, limits joined over strata{df}"
    if own.verdict in INNER_VERDICTS:
        rounded = ", sizes ruled out rounded up" if own.verdict == "equivalent" else ""
        return f"{what}, t and two one-sided t tests{df}{rounded}"
    return f"{what}, t{df}"
