"""What a timetable has to place: furnace loads, groups that go into the cold, tempers."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, cast

import pandas as pd

from quenchbook.bench.temper_sheets import temper_cycles
from quenchbook.bench.timetable import whole
from quenchbook.errors import UnitError
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import Study
from quenchbook.study.factors import Factor
from quenchbook.study.hours import WorkHours
from quenchbook.units import minutes_text, parse_quantity

_AUSTENITIZE_C = 850.0  # where the study neither varies nor holds it; assumed, no source
_TEMPER_C = 200.0


@dataclass(frozen=True)
class LoadWork:
    """A furnace load; times in whole minutes.

    Attributes
    ----------
    load, day : int
        Number, day of the plan.
    setting : float
        Temperature of the furnace [degC].
    word : str
        The same in print.
    soak, quench : int
        Time at temperature, time of the operator to quench all coupons [min].
    codes : tuple of str
        Its coupons in quench order.
    """

    load: int
    day: int
    setting: float
    word: str
    soak: int
    quench: int
    codes: tuple[str, ...]


@dataclass(frozen=True)
class ColdWork:
    """Coupons of a load that go into the cold together; times in whole minutes.

    Attributes
    ----------
    batch : str
        As in the plan: ``3-1``.
    load : int
    route, word : str
        Route and its word in print.
    delay, tolerance : int or None
        End of quench to start of the cold step, and how far it may be missed; None: as soon as can
        be.
    cooling, hold, at_most : int
        Until the coupons are cold; planned time in the cold after that; longest time after it.
    codes : tuple of str
        Its coupons.
    capacity : int
        Coupons that the bath holds.
    after_tempers : tuple of int
        Temper batches that come first, where the temper comes before the cold: then the delay
        counts from the end of the last of them.
    """

    batch: str
    load: int
    route: str
    word: str
    delay: int | None
    tolerance: int
    cooling: int
    hold: int
    at_most: int
    codes: tuple[str, ...]
    capacity: int
    after_tempers: tuple[int, ...] = ()

    @property
    def coupons(self) -> int:
        """Number of its coupons."""
        return len(self.codes)


@dataclass(frozen=True)
class TemperWork:
    """A temper batch with all its cycles; times in whole minutes."""

    batch: int
    setting: float
    word: str
    hold: int
    cycles: int
    codes: tuple[str, ...]
    loads: tuple[int, ...]
    cold: tuple[str, ...]


@dataclass(frozen=True)
class WorkList:
    """All work of a plan.

    Attributes
    ----------
    loads : tuple of LoadWork
        In furnace order, which a timetable keeps.
    cold : tuple of ColdWork
    tempers : tuple of TemperWork
    has_days : bool
        Whether the days of the plan are blocks; else loads run on as many days as they need.
    notes : tuple of str
        What had to be assumed about the plan.
    """

    loads: tuple[LoadWork, ...]
    cold: tuple[ColdWork, ...]
    tempers: tuple[TemperWork, ...]
    has_days: bool
    notes: tuple[str, ...] = ()


def work_list(matrix: CouponMatrix, hours: WorkHours) -> WorkList:
    """All work of a plan, from its coupons.

    Parameters
    ----------
    matrix : CouponMatrix
    hours : WorkHours
    """
    study, frame = matrix.study, matrix.in_loads
    notes: list[str] = []
    hot = furnace_setting(study)
    held_hot = None if hot else _held_degrees(study, "austenitize", _AUSTENITIZE_C, notes)
    loads = []
    days = {day: rank for rank, day in enumerate(sorted(frame["day"].unique()), start=1)}
    for load, rows in frame.groupby("furnace_load", sort=True):
        first = rows.iloc[0]
        setting = float(first[hot.column]) if hot else cast(float, held_hot)
        soak = _level(first, _factor(study, "soak"), hours.soak)
        loads.append(
            LoadWork(
                load=int(cast(int, load)),
                day=days[first["day"]],
                setting=setting,
                word=hot.set_word(setting) if hot else f"{setting:g}\u00a0°C",
                soak=whole(soak),
                quench=whole(len(rows) * hours.quench_coupon),
                codes=_codes(rows.sort_values("load_place")),
            )
        )
    cold = _cold_work(study, frame, hours)
    if any(own.after_tempers for own in cold):
        notes.append(
            "Where the temper comes before the cold step, the delay is counted from the end of the "
            "temper."
        )
    return WorkList(
        loads=tuple(loads),
        cold=tuple(cold),
        tempers=tuple(_temper_work(study, frame, hours, cold, notes)),
        has_days=bool(study.layout.loads_per_day) and not study.published,
        notes=tuple(notes),
    )


def furnace_setting(study: Study) -> Factor | None:
    """Factor that sets the temperature of a furnace load."""
    return _setting(study, "austenitize", "furnace_load")


def temper_setting(study: Study) -> Factor | None:
    """Factor that sets the temperature of a temper batch."""
    return _setting(study, "temper", "temper_batch")


def is_cold(study: Study, frame: pd.DataFrame) -> pd.Series:
    """Which coupons have a cold step."""
    if not study.has("cold_route"):
        return pd.Series(False, index=frame.index)
    route = frame[study.factor("cold_route").column]
    return route.isin(study.factor("cold_route").levels) & (route != "none")


def _cold_work(study: Study, frame: pd.DataFrame, hours: WorkHours) -> list[ColdWork]:
    own = frame[is_cold(study, frame)]
    if own.empty:
        return []
    route = study.factor("cold_route")
    keys = ["furnace_load", route.column]
    keys += [
        study.factor(name).column
        for name in ("delay", "cold_hold", "step_order")
        if study.has(name)
    ]
    if "cold_batch" in own:
        keys.insert(1, "cold_batch")
    work: list[ColdWork] = []
    taken: dict[str, int] = {}
    for _, rows in own.groupby(keys, sort=True, dropna=False):
        first = rows.iloc[0]
        load, level = int(first["furnace_load"]), str(first[route.column])
        name = str(first["cold_batch"]) if "cold_batch" in own else f"{load}-1"
        taken[name] = taken.get(name, 0) + 1
        if taken[name] > 1:  # a batch that is not alike in all its factors goes in by parts
            name = f"{name}{chr(ord('a') + taken[name] - 1)}"
        delay = _level(first, _factor(study, "delay"), math.nan)
        hold = _level(first, _factor(study, "cold_hold"), hours.cold_time)
        order = _factor(study, "step_order")
        late = order is not None and first[order.column] == "temper_then_cold"
        tempers = rows["temper_batch"][rows["temper_batch"] != 0] if "temper_batch" in rows else ()
        work.append(
            ColdWork(
                batch=name,
                load=load,
                route=level,
                word=route.set_word(level),
                delay=None if math.isnan(delay) else whole(delay),
                tolerance=0 if math.isnan(delay) else int(hours.tolerance(delay)),
                cooling=whole(hours.cooling(level)),
                hold=whole(hold),
                at_most=int(hold * hours.cold_at_most),
                codes=_codes(rows),
                capacity=hours.capacity(level),
                after_tempers=tuple(sorted({int(t) for t in tempers})) if late else (),
            )
        )
    return work


def _temper_work(
    study: Study, frame: pd.DataFrame, hours: WorkHours, cold: list[ColdWork], notes: list[str]
) -> list[TemperWork]:
    if "temper_batch" not in frame:
        return []
    own = frame[frame["temper_batch"] != 0]
    hot = temper_setting(study)
    held = None if hot else _held_degrees(study, "temper", _TEMPER_C, notes)
    work = []
    for batch, rows in own.groupby("temper_batch", sort=True):
        first = rows.iloc[0]
        number = int(cast(int, batch))
        setting = float(first[hot.column]) if hot else cast(float, held)
        codes = _codes(rows)
        before = [g.batch for g in cold if not g.after_tempers and {*codes} & {*g.codes}]
        work.append(
            TemperWork(
                batch=number,
                setting=setting,
                word=hot.set_word(setting) if hot else f"{setting:g}\u00a0°C",
                hold=whole(_level(first, _factor(study, "temper_time"), hours.temper_time)),
                cycles=len(temper_cycles(study, first)),
                codes=codes,
                loads=tuple(sorted({int(load) for load in rows["furnace_load"]})),
                cold=tuple(before),
            )
        )
    return work


def _codes(rows: pd.DataFrame) -> tuple[str, ...]:
    return tuple(str(code) for code in rows["coupon"])


def _setting(study: Study, name: str, unit: str) -> Factor | None:
    fitting = [f for f in study.factors if f.set_for == unit and f.dimension == "temperature"]
    return next((f for f in fitting if f.name == name), fitting[0] if fitting else None)


def _factor(study: Study, name: str) -> Factor | None:
    return next((own for own in study.factors if own.name == name), None)


def _level(row: pd.Series, factor: Factor | None, otherwise: float) -> float:
    if factor is None:
        return otherwise
    level: Any = row[factor.column]
    return otherwise if isinstance(level, str) or level != level else float(level)


def _held_degrees(study: Study, key: str, default: float, notes: list[str]) -> float:
    text = study.held_constant.get(key, "")
    try:
        return parse_quantity(text, "temperature")
    except UnitError:
        notes.append(
            f"No {key} temperature is told: {default:g}\u00a0°C assumed (common practice, no "
            "source)."
        )
        return default


def delay_words(work: ColdWork) -> str:
    """Planned delay of a group in print: ``60 min``, ``no delay``."""
    if work.delay is None:
        return "no time told"
    return minutes_text(work.delay) if work.delay else "no delay"
