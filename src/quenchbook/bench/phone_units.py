"""Loads and temper batches on a bench page for a phone: clock times, coupons, waits, fields."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from math import isnan, nan
from typing import Final

import pandas as pd

from quenchbook.bench.load_sheets import CouponRow, LoadSheet, load_sheets, untreated_words
from quenchbook.bench.temper_sheets import TemperSheet, temper_sheets
from quenchbook.errors import UnitError
from quenchbook.plan.entry_tables import FARTHEST_DELTA_C, actual_column, logged_factors
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import Study
from quenchbook.study.factors import Factor, Unit
from quenchbook.units import parse_quantity, unit_text, with_unit

_HELD: Final = {"furnace_load": ("soak", "soak"), "temper_batch": ("hold", "temper_time")}


@dataclass(frozen=True)
class LogField:
    """A field for a level that was really run.

    Attributes
    ----------
    column : str
        Column of the log, such as ``austenitize_actual_degC``.
    title, unit, planned : str
        In print.
    kind : str
        ``temperature``, ``time``, ``number`` or ``words``.
    low, high : float or None
        Limits in the storage unit that the reader of the records holds to; None for none.
    choices : tuple of (str, str)
        Level and its word, where levels have names.
    from_clock : bool
        Whether the clock times of the unit give the level: a soak that is varied.
    """

    column: str
    title: str
    unit: str
    planned: str
    kind: str
    low: float | None = None
    high: float | None = None
    choices: tuple[tuple[str, str], ...] = ()
    from_clock: bool = False


@dataclass(frozen=True)
class PhoneCoupon:
    """One coupon on the page of a load or temper batch: code, route shape, treatment in words."""

    code: str
    place: str
    words: tuple[str, ...] = ()
    shape: str = ""


@dataclass(frozen=True)
class ColdGroup:
    """Coupons that go into the cold together.

    Attributes
    ----------
    what, label : str
        Unit of the plan, ``cold_batch`` or ``coupon``, and its label.
    words : tuple of str
        Route and wait.
    shape : str
    codes : tuple of str
    wait, cold : float or None
        Planned minutes from quench to cold and in the cold; None where nothing is planned.
    """

    what: str
    label: str
    words: tuple[str, ...]
    shape: str
    codes: tuple[str, ...]
    wait: float | None
    cold: float | None


@dataclass(frozen=True)
class PhoneUnit:
    """A furnace load or a temper batch.

    Attributes
    ----------
    what, label : str
        Unit of the plan and its label.
    title, line : str
    settings : tuple of str
        What the furnace or oven is set to.
    cycles : tuple of str
        Name of each heating; one empty name when there is one.
    stamps : tuple of str
        Labels of the three clock times of a heating.
    hold_word, hold : str, float or None
        ``soak`` or ``hold`` and its planned minutes.
    fields : tuple of LogField
    held, hint, reminder : str
    coupons : tuple of PhoneCoupon
        In quench order.
    colds : tuple of ColdGroup
    """

    what: str
    label: str
    title: str
    line: str
    settings: tuple[str, ...]
    cycles: tuple[str, ...]
    stamps: tuple[str, ...]
    hold_word: str
    hold: float | None
    fields: tuple[LogField, ...]
    held: str
    hint: str
    reminder: str
    coupons: tuple[PhoneCoupon, ...]
    colds: tuple[ColdGroup, ...] = ()


def phone_loads(matrix: CouponMatrix) -> tuple[PhoneUnit, ...]:
    """Furnace loads in furnace order, in the words of their sheets."""
    frame = matrix.in_loads
    sheets = groupby(load_sheets(matrix, ""), key=lambda sheet: sheet.title)
    units: list[PhoneUnit] = []
    for (load, rows), (_, own) in zip(
        frame.groupby("furnace_load", sort=True), sheets, strict=True
    ):
        parts = list(own)
        coupons = [(row, sheet) for sheet in parts for row in sheet.rows]
        units.append(
            _unit(
                matrix.study,
                "furnace_load",
                str(load),
                rows.iloc[0],
                parts[0],
                hint=_untreated(matrix) if not units else "",
                coupons=[_load_coupon(matrix.study, row, sheet) for row, sheet in coupons],
                colds=_colds(matrix.study, rows, coupons),
            )
        )
    return tuple(units)


def phone_tempers(matrix: CouponMatrix) -> tuple[PhoneUnit, ...]:
    """Temper batches, none if the plan has none."""
    study = matrix.study
    sheets = [list(own) for _, own in groupby(temper_sheets(matrix, ""), lambda own: own.title)]
    if not sheets:
        return ()
    frame = matrix.frame[matrix.frame["temper_batch"] != 0]
    load = study.unit_word("furnace_load").split()[-1]
    units = []
    for (batch, rows), parts in zip(frame.groupby("temper_batch", sort=True), sheets, strict=True):
        first = rows.sort_values(["furnace_load", "load_place"]).iloc[0]
        coupons = [
            PhoneCoupon(
                code=row.coupon,
                place="",
                words=tuple(filter(None, (f"{load} {row.furnace_load}", row.step_order))),
            )
            for sheet in parts
            for row in sheet.rows
        ]
        line = f"{len(rows)} {study.unit_word('coupon', len(rows))}."
        line = parts[0].line if len(parts) == 1 else line
        units.append(
            _unit(study, "temper_batch", str(batch), first, parts[0], coupons=coupons, line=line)
        )
    return tuple(units)


def _unit(
    study: Study,
    what: Unit,
    label: str,
    first: pd.Series,
    sheet: LoadSheet | TemperSheet,
    *,
    coupons: Sequence[PhoneCoupon],
    colds: Sequence[ColdGroup] = (),
    line: str = "",
    hint: str = "",
) -> PhoneUnit:
    word, key = _HELD[what]
    return PhoneUnit(
        what=what,
        label=label,
        title=sheet.title,
        line=line or sheet.line,
        settings=sheet.settings,
        cycles=sheet.cycles if isinstance(sheet, TemperSheet) else ("",),
        stamps=tuple(label for label, unit in sheet.times[:3] if unit == "h:min"),
        hold_word=word,
        hold=_planned_minutes(study, key, first),
        fields=tuple(_log_field(factor, first, key) for factor in logged_factors(study, what)),
        held=sheet.held,
        hint=hint,
        reminder=sheet.reminder,
        coupons=tuple(coupons),
        colds=tuple(colds),
    )


def _untreated(matrix: CouponMatrix) -> str:
    """Reference coupons that go into no load; empty if there are none."""
    own = matrix.frame[matrix.frame["furnace_load"] == 0]
    return f"{untreated_words(matrix.study, own)}." if len(own) else ""


def _load_coupon(study: Study, row: CouponRow, sheet: LoadSheet) -> PhoneCoupon:
    words = tuple(_treatment(study, row, sheet).values())
    return PhoneCoupon(row.coupon, str(row.place), words, _shape(row))


def _shape(row: CouponRow) -> str:
    return next((entry.shape for entry in row.entries if entry.shape), "")


def _treatment(study: Study, row: CouponRow, sheet: LoadSheet) -> dict[str, str]:
    """Heads of a load sheet to words of a coupon: ``temper`` to ``temper 175 °C (batch 4)``."""
    written = ("temperature", "length")  # numbers that stand without their unit on the sheet
    units = {own.title: unit_text(own.unit) for own in study.factors if own.dimension in written}
    words = {}
    for head, entry in zip(sheet.heads, row.entries, strict=True):
        name = head.partition(", ")[0]
        text = with_unit(entry.text, units.get(name, "")) if entry.text else ""
        text = f"{text} ({entry.under})" if entry.under and text else text or entry.under
        if text:
            words[name] = text if entry.shape or text.startswith(name) else f"{name} {text}"
    return words


def _colds(
    study: Study, rows: pd.DataFrame, coupons: Sequence[tuple[CouponRow, LoadSheet]]
) -> list[ColdGroup]:
    """Groups that go into the cold together, in the order in which they are due."""
    by_code = {str(row["coupon"]): row for _, row in rows.iterrows()}
    delay = study.factor("delay") if study.has("delay") else None
    singly = "cold_batch" not in rows or (delay is not None and delay.set_for == "coupon")
    groups: dict[str, list[tuple[CouponRow, LoadSheet]]] = {}
    for row, sheet in coupons:
        if row.is_cold:
            label = row.coupon if singly else str(by_code[row.coupon]["cold_batch"])
            groups.setdefault(label, []).append((row, sheet))
    heads = {"route", "wait", *(own.title for own in study.factors if own.set_for == "cold_batch")}
    found = []
    for label, own in groups.items():
        row, sheet = own[0]
        first = by_code[row.coupon]
        wait = float(first[delay.column]) if delay is not None else nan
        words = _treatment(study, row, sheet)
        found.append(
            ColdGroup(
                what="coupon" if singly else "cold_batch",
                label=label,
                words=tuple(text for head, text in words.items() if head in heads),
                shape=_shape(row),
                codes=tuple(row.coupon for row, _ in own),
                wait=None if isnan(wait) else wait,
                cold=_planned_minutes(study, "cold_time", first),
            )
        )
    return sorted(found, key=lambda group: group.wait or 0.0)


def _planned_minutes(study: Study, key: str, row: pd.Series) -> float | None:
    """Planned time: a level of the factor of this name, or what is held constant."""
    if study.has(key):
        factor = study.factor(key)
        level = row[factor.column]
        return float(level) if factor.dimension == "time" and level == level else None
    try:
        return parse_quantity(study.held_constant.get(key, ""), "time")
    except UnitError:
        return None


def _log_field(factor: Factor, row: pd.Series, hold_key: str) -> LogField:
    level = row[factor.column]
    kind = {"temperature": "temperature", "time": "time", "": "words"}.get(
        factor.dimension, "number"
    )
    low = None if kind == "words" else 0.0
    high = None
    if kind == "temperature":
        levels = [float(own) for own in factor.levels]
        low, high = min(levels) - FARTHEST_DELTA_C, max(levels) + FARTHEST_DELTA_C
    return LogField(
        column=actual_column(factor),
        title=factor.title,
        unit=unit_text(factor.unit),
        planned=factor.set_word(level),
        kind=kind,
        low=low,
        high=high,
        choices=()
        if factor.is_numeric
        else tuple((str(own), factor.set_word(own)) for own in factor.levels),
        from_clock=factor.name == hold_key and kind == "time",
    )
