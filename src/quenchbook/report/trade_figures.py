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
    "peak": ("peaks", "figure_peaks"),
    "per_decade": ("delay", "figure_delay_findings"),
    "equal_hardness": ("equal_hardness", "figure_equal_hardness"),
    "temper_for": ("tempering", "figure_temper"),
}
"""Module of `plots` and function that draws the findings of one kind together."""

_DRAWN_WITH: Final[Mapping[str, str]] = {
    "working_window": "peak",
    "target_window": "peak",
    "peak_shift": "peak",
    "curve_shift": "peak",
    "half_loss": "per_decade",
}
"""Kinds that are drawn in the figure of another kind."""


def drawn_together(findings: Iterable[AnyFinding]) -> list[list[AnyFinding]]:
    """Findings in groups that share a figure; comparisons and terms, each its own, go first."""
    groups: dict[str, list[AnyFinding]] = {}
    for own in findings:
        asks = getattr(own, "asks", "")
        groups.setdefault(_DRAWN_WITH.get(asks, asks), []).append(own)
    first = groups.pop("", [])
    return [group for group in (first, *groups.values()) if group]


def trade_figures(findings: Iterable[AnyFinding]) -> list[Block]:
    """Figures of the findings of one response, kind by kind."""
    by_kind: dict[str, list[AnyFinding]] = {}
    for own in findings:
        asks = getattr(own, "asks", "")
        by_kind.setdefault(_DRAWN_WITH.get(asks, asks), []).append(own)
    blocks: list[Block] = []
    for kind, (module, name) in _HOMES.items():
        if kind in by_kind:
            draw: Callable[[list[AnyFinding]], Drawing] = getattr(
                import_module(f"quenchbook.plots.{module}"), name
            )
            blocks.append(from_drawing(draw(by_kind[kind])))
    return blocks
