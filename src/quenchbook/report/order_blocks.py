"""Coupons in the order of the furnace loads, where that order is known."""

from __future__ import annotations

from quenchbook.findings.answers import Analysis
from quenchbook.fit.curves import furnace_order
from quenchbook.fit.mixed import MixedModel
from quenchbook.report.blocks import Block, Paragraph, from_drawing


def order_blocks(model: MixedModel, analysis: Analysis) -> list[Block]:
    """Figure of the furnace loads in time order; empty where there is no such order."""
    from quenchbook.plots.furnace_order import figure_furnace_order

    if _no_order(analysis):
        return []
    return [from_drawing(figure_furnace_order(furnace_order(model)))]


def report_furnace_order(analysis: Analysis, response: str = "") -> list[Block]:
    """Furnace loads in time order, or in words why they cannot be shown.

    Parameters
    ----------
    analysis : Analysis
    response : str
        Name of the response; the first one when left out.

    Returns
    -------
    list of Block
    """
    model = analysis.models[response or next(iter(analysis.models))]
    why = _no_order(analysis)
    return [Paragraph((why,))] if why else order_blocks(model, analysis)


def _no_order(analysis: Analysis) -> str:
    """Why the loads have no order in time; empty where they have."""
    study = analysis.study
    if not study.order_told:
        return "The order of the work is not told in this study, so no drift can be looked for."
    if analysis.records.matrix.unit_counts().get("furnace_load", 0) < 2:
        return f"There was one {study.unit_word('furnace_load')}: no order of them can be shown."
    return ""
