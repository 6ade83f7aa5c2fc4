"""Figures that answer questions about curves, one for each kind of question."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from importlib import import_module
from typing import TYPE_CHECKING, Final

from quenchbook.findings.answers import AnyFinding
from quenchbook.report.blocks import Block, from_drawing
from quenchbook.study.trade_questions import Asks

if TYPE_CHECKING:
    from quenchbook.plots.drawing import Drawing

_HOMES: Final[Mapping[Asks, tuple[str, str]]] = {
    "per_decade": ("delay", "figure_delay_findings"),
    "equal_hardness": ("equal_hardness", "figure_equal_hardness"),
    "temper_for": ("tempering", "figure_temper"),
}
"""Module of `plots` and function that draws the findings of one kind together."""


def trade_figures(findings: Iterable[AnyFinding]) -> list[Block]:
    """Figures of the findings of one response, kind by kind."""
    by_kind: dict[str, list[AnyFinding]] = {}
    for own in findings:
        by_kind.setdefault(getattr(own, "asks", ""), []).append(own)
    blocks: list[Block] = []
    for asks, (module, name) in _HOMES.items():
        if asks in by_kind:
            draw: Callable[[list[AnyFinding]], Drawing] = getattr(
                import_module(f"quenchbook.plots.{module}"), name
            )
            blocks.append(from_drawing(draw(by_kind[asks])))
    return blocks
