"""How to repeat a study: its steps with their settings, and what was not told."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from quenchbook.findings.answers import Analysis
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.report.blocks import Block, Bullets, Paragraph, Run, Runs, Section
from quenchbook.report.study_tables import told_text
from quenchbook.study.definition import Study
from quenchbook.study.factors import Factor
from quenchbook.units import capital, listed, number_text, with_unit

_NOT_TOLD: Final = "not told"

_SAID_BY_TITLE: Final = ("austenitize", "quench", "quenchant", "delay", "cold_route", "temper")
"""Names of factors and settings that the title of their step says."""


@dataclass(frozen=True)
class _Step:
    """One step at the furnace: how its settings are named in a study file.

    Attributes
    ----------
    title : str
    names : tuple of str
        Beginnings of factor names and of keys of ``[held_constant]``.
    equipment : tuple of str
        Keys of ``[equipment]``.
    needed : mapping of str to tuple of str
        What a reader must know to repeat it, and the beginnings of the names that tell it.
    """

    title: str
    names: tuple[str, ...]
    equipment: tuple[str, ...]
    needed: Mapping[str, tuple[str, ...]]


_FURNACE: Final = _Step(
    "Austenitize", ("austenitize", "soak"), ("furnace",),
    {"temperature": ("austenitize",), "soak": ("soak",), "furnace": ("furnace",)},
)  # fmt: skip
_QUENCH: Final = _Step("Quench", ("quench",), ("quench",), {"quench": ("quench",)})
_DELAY: Final = _Step("Wait before the cold", ("delay",), (), {"delay": ("delay",)})
_COLD: Final = _Step(
    "Cold step", ("cold", "step_order"), ("freezer", "dry_ice", "liquid_nitrogen"),
    {"route": ("cold_route",), "time in the cold": ("cold_time", "cold_hold", "cold_hours")},
)  # fmt: skip
_TEMPER: Final = _Step(
    "Temper", ("temper",), ("temper_oven",),
    {
        "temperature": ("temper_c", "temper"),
        "time": ("temper_time", "temper_hold", "temper_hours", "temper_soak"),
        "number of tempers": ("temper_cycles", "tempers"),
    },
)  # fmt: skip


def report_repeat(analysis: Analysis) -> list[Block]:
    """Steps to repeat the study, with levels, times, numbers, seed and plan.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    list of Block
        What the study file does not tell is said to be not told.
    """
    study, matrix = analysis.study, analysis.records.matrix
    used: set[str] = set()
    items: list[Runs] = [_item("Steel", _steel(study, matrix)), _item("Plan", _plan(study, matrix))]
    for step in _steps(study):
        items.append(_item(step.title, "; ".join(_settings(study, step, used))))
    if rest := [*_other_settings(study, used)]:
        items.append(_item("Also set", "; ".join(rest)))
    items.append(_item("Test", _tests(analysis)))
    blocks: list[Block] = [Section("How to repeat it"), Bullets(tuple(items), ordered=True)]
    last = "What was run differently stands under "
    link = Run("What went differently", link="#What-went-differently")
    if not any(_is_trade(factor.name) for factor in study.factors):
        last = f"Steps that are not in this list were not told. {last}"
    return [*blocks, Paragraph((last, link, "."))]


def _item(title: str, words: str) -> Runs:
    return (Run(f"{title}.", strong=True), f" {capital(words.rstrip('.'))}.")


def _steps(study: Study) -> Iterator[_Step]:
    """Steps the study knows of; of the trade's steps none is left out where it varies one."""
    names = [*(factor.name for factor in study.factors), *study.held_constant]
    is_trade = any(map(_is_trade, names))
    cold = any(name.startswith("cold") for name in names)
    for step in (_FURNACE, _QUENCH, _DELAY, _COLD, _TEMPER):
        only_with_cold = step in (_DELAY, _COLD)
        if any(name.startswith(step.names) for name in names) or (
            is_trade and (cold or not only_with_cold)
        ):
            yield step


def _is_trade(name: str) -> bool:
    return name.startswith(("austenitize", "cold", "temper"))


def _settings(study: Study, step: _Step, used: set[str]) -> list[str]:
    """Settings of one step: what was varied, what was held, with what, and what is not told."""
    found: list[str] = []
    known: set[str] = set()
    for factor in study.factors:
        if factor.name.startswith(step.names):
            found.append(_varied(study, factor))
            known.add(factor.name)
    for key, value in study.held_constant.items():
        if key.startswith(step.names):
            found.append(f"{_title(key)}{told_text(value, study.publishing.units)}")
            known.add(key)
    for key in step.equipment:
        if key in study.equipment:
            told = told_text(study.equipment[key], study.publishing.units)
            found.append(told if key in _SAID_BY_TITLE else f"{key.replace('_', ' ')}: {told}")
            known.add(key)
    missing = [
        what
        for what, names in step.needed.items()
        if not any(key == name or key.startswith(f"{name}_") for key in known for name in names)
    ]
    if step is _QUENCH and missing:
        missing = ["quenchant"]
    used |= known
    return [*found, *([f"{listed(missing)} {_NOT_TOLD}"] if missing else [])]


def _varied(study: Study, factor: Factor) -> str:
    """``cold route: freezer or dry ice, set for each cold batch``."""
    words = [factor.word(level) for level in factor.levels]
    levels = " or ".join(filter(None, [", ".join(words[:-1]), words[-1]]))
    only = ""
    if factor.nested_in:
        parent = study.factor(factor.nested_in)
        only = f", only with {listed([parent.word(level) for level in factor.exists_for])}"
    said = factor.name in _SAID_BY_TITLE or all(
        word.startswith(f"{factor.title} ") for word in words
    )
    title = "" if said else f"{factor.title} "
    return f"{title}{levels}, set for each {study.unit_word(factor.set_for)}{only}"


def _title(key: str) -> str:
    """Name of a setting before its value; empty where the title of its step says it."""
    return "" if key in _SAID_BY_TITLE else f"{key.replace('_', ' ')} "


def _other_settings(study: Study, used: set[str]) -> Iterator[str]:
    for factor in study.factors:
        if factor.name not in used:
            yield _varied(study, factor)
    for key, value in study.held_constant.items():
        if key not in used:
            yield f"{_title(key)}{told_text(value, study.publishing.units)}, the same for all"


def _steel(study: Study, matrix: CouponMatrix) -> str:
    units = study.publishing.units
    known = [
        study.steel[key] for key in ("grade", "condition", "thickness") if study.steel.get(key)
    ]
    told = [told_text(value, units) for value in known]
    words = [", ".join(told) or f"steel {_NOT_TOLD}"]
    coupons = _counted(study, "coupon", len(matrix.frame))
    bars = int(matrix.frame["bar"].nunique()) if "bar" in matrix.frame else 0
    words.append(f"{coupons} from {_counted(study, 'bar', bars)}" if bars else coupons)
    if study.stock is not None and study.stock.lengths_mm:
        words.append(
            "length "
            + listed(
                [
                    f"{with_unit(number_text(mm, 0), 'mm')} for {study.response(name).quantity}"
                    for name, mm in study.stock.lengths_mm.items()
                ]
            )
        )
    elif study.stock is not None:
        words.append(f"length {with_unit(f'{study.stock.coupon_length_mm:g}', 'mm')}")
    words += [
        f"beside the plan {_counted(study, 'coupon', extra.coupons)}: {extra.words}"
        for extra in study.extra_coupons
    ]
    return "; ".join(words)


def _plan(study: Study, matrix: CouponMatrix) -> str:
    """Order of the work, and what makes the same plan again."""
    layout, counts = study.layout, matrix.unit_counts()
    loads = counts.get("furnace_load", 0)
    words = [
        f"{_counted(study, 'furnace_load', loads)} of {layout.coupons_per_load} "
        f"{study.unit_word('coupon', layout.coupons_per_load)}"
    ] if loads else []  # fmt: skip
    if layout.loads_per_day:
        words.append(f"{layout.loads_per_day} on a day")
    without = matrix.batches_without_cold()
    apart = {"cold_batch": f", {without} of them without a cold step" if without else ""}
    words += [
        _counted(study, unit, counts[unit]) + apart.get(unit, "")
        for unit in ("cold_batch", "temper_batch") if counts.get(unit)
    ]  # fmt: skip
    if matrix.seed is None:
        order = "order as published" if study.order_told else f"order of the work {_NOT_TOLD}"
    else:
        made = f"quenchbook {matrix.versions.get('quenchbook', '')}".rstrip()
        order = f"order drawn by {made} with seed {matrix.seed}"
    words += [order, f"plan {matrix.short_hash}"]
    if matrix.continuations:
        seeds = listed([str(own.seed) for own in matrix.continuations])
        words.append(f"continued later with seed {seeds}")
    return "; ".join(words)


def _tests(analysis: Analysis) -> str:
    """What was measured, on how many coupons, how often, with what."""
    study = analysis.study
    parts = []
    for response in study.responses:
        number = response.coupons or len(analysis.records.matrix.frame)
        words = f"{response.quantity} on {_counted(study, 'coupon', number)}"
        if response.readings > 1:
            word = "indents" if response.kind == "hardness" else "readings"
            words += f", {response.readings} {word} on each"
        tester = study.equipment.get(f"{response.kind}_tester")
        if tester:
            words += f" ({told_text(tester, study.publishing.units)})"
        elif response.kind in ("hardness", "impact"):
            words += f" (tester {_NOT_TOLD})"
        parts.append(words)
    return "; ".join(parts)


def _counted(study: Study, unit: str, count: int) -> str:
    return f"{count} {study.unit_word(unit, count)}"
