"""Coupons in the order of the furnace loads, where that order is known."""

from __future__ import annotations

from quenchbook.errors import EstimabilityError
from quenchbook.findings.answers import Analysis
from quenchbook.fit.curves import furnace_order
from quenchbook.fit.mixed import MixedModel
from quenchbook.report.blocks import Block, Paragraph, from_drawing


def order_blocks(model: MixedModel, analysis: Analysis) -> list[Block]:
    """Figure of the furnace loads in time order; empty without such an order, or without noise."""
    from quenchbook.plots.furnace_order import figure_furnace_order

    if _no_order(analysis):
        return []
    try:
        order = furnace_order(model)
    except EstimabilityError:  # deviations of loads are shrunken by their noise
        return []
    return [from_drawing(figure_furnace_order(order))]


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
    if why:
        return [Paragraph((why,))]
    without = "No noise can be estimated, so furnace loads cannot be shown in their order."
    return order_blocks(model, analysis) or [Paragraph((without,))]


def _no_order(analysis: Analysis) -> str:
    """Why the loads have no order in time; empty where they have."""
    study = analysis.study
    if not study.order_told:
        return "The order of the work is not told in this study, so no drift can be looked for."
    if analysis.records.matrix.unit_counts().get("furnace_load", 0) < 2:
        return f"There was one {study.unit_word('furnace_load')}: no order of them can be shown."
    return ""
