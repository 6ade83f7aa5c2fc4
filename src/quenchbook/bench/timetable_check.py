"""Whether a timetable can be worked: checked from the plan, coupon by coupon.

Shares no code with what makes timetables; only the classes of steps and breaches are the same.
"""

from __future__ import annotations

import itertools
import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from quenchbook.bench.temper_sheets import temper_cycles
from quenchbook.bench.timetable import HANDS, Breach, Step, Timetable
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import Study
from quenchbook.study.hours import WorkHours

_MIDNIGHT: Final = 24 * 60
_ROOM_C: Final = 20.0
_UNITS: Final = {
    "furnace_load": "Furnace load", "cold_batch": "Cold batch", "temper_batch": "Temper batch",
}  # fmt: skip


def timetable_breaches(
    matrix: CouponMatrix, timetable: Timetable, *, hours: WorkHours | None = None
) -> tuple[Breach, ...]:
    """Everything in a timetable that a furnace, a bath, an oven or a person cannot do.

    Parameters
    ----------
    matrix : CouponMatrix
        The plan the timetable is for.
    timetable : Timetable
        Only its steps are looked at.
    hours : WorkHours, optional
        Those of the timetable when left out.

    Returns
    -------
    tuple of Breach
        One for each step and kind, with the most minutes found.
    """
    hours = timetable.hours if hours is None else hours
    desk = _Desk(matrix, hours, timetable.steps)
    found: dict[tuple[str, str, str, str], Breach] = {}
    for own in itertools.chain(
        desk.loads(), desk.furnace(), desk.colds(), desk.baths(), desk.tempers(), desk.hands(),
        desk.days(),
    ):  # fmt: skip
        key = (own.kind, own.unit, own.which, own.what)
        if key not in found or found[key].minutes < own.minutes:
            found[key] = own
    return tuple(found.values())


@dataclass(frozen=True)
class _Desk:
    """A plan, working hours and the steps that are checked against them."""

    matrix: CouponMatrix
    hours: WorkHours
    steps: tuple[Step, ...]

    @property
    def study(self) -> Study:
        return self.matrix.study

    def rows(self) -> list[dict[str, Any]]:
        """Coupons that go through the furnace, in furnace order."""
        frame = self.matrix.in_loads.sort_values(["furnace_load", "load_place"])
        return [{str(k): v for k, v in row.items()} for row in frame.to_dict("records")]

    def of(self, what: str, coupon: object) -> list[Step]:
        """Steps of a kind that a coupon takes part in, in time order."""
        own = [step for step in self.steps if step.what == what and str(coupon) in step.codes]
        return sorted(own, key=lambda step: step.start)

    # --- furnace ---------------------------------------------------------------------------------

    def loads(self) -> Iterator[Breach]:
        """Soak, quench and order of the loads."""
        for row in self.rows():
            coupon, load = row["coupon"], str(row["furnace_load"])
            parts = {what: self.of(what, coupon) for what in ("load", "soak", "quench")}
            if any(len(own) != 1 or own[0].which != load for own in parts.values()):
                yield self._missing("furnace_load", load, f"coupon {coupon} once in this load")
                continue
            into, soak, quench = (parts[what][0] for what in ("load", "soak", "quench"))
            wanted = self._time(row, "soak", self.hours.soak)
            yield from _off("soak", soak, soak.end - soak.start - math.ceil(wanted), "soak")
            warm = soak.start - into.end - self.hours.coupon_heating
            yield from _short("soak", into, -warm, "time to come to heat")
            if quench.start != soak.end:
                gap = abs(quench.start - soak.end)
                yield _breach("soak", quench, gap, f"the quench is {gap} min from the soak's end")
            coupons = sum(1 for own in self.rows() if str(own["furnace_load"]) == load)
            needed = coupons * self.hours.quench_coupon
            yield from _short("hands", quench, needed - quench.minutes, "quench")
            yield from _short("hands", into, self.hours.loading - into.minutes, "loading")
        first: dict[int, Step] = {}
        for step in self.steps:
            if step.what == "load":
                first[int(step.which)] = step
        for number, after in itertools.pairwise(sorted(first)):
            if (early := first[number].start - first[after].start) > 0:
                yield _breach(
                    "order", first[after], early,
                    f"runs {early} min before load {number}: the randomized order is changed",
                )  # fmt: skip

    def _uses(self) -> list[tuple[int, int, float, Step]]:
        """Start, end, setting and first step of each use of the furnace."""
        settings = self._settings()
        uses = []
        ends = {"load": "quench", "temper in": "temper out"}
        for step in self.steps:
            if step.lane == "furnace" and step.what in ends:
                last = [
                    own
                    for own in self.steps
                    if (own.unit, own.which, own.cycle) == (step.unit, step.which, step.cycle)
                    and own.what == ends[step.what]
                ]
                end = max((own.end for own in last), default=step.end)
                uses.append((step.start, end, settings[step.unit, step.which], step))
        return sorted(uses, key=lambda use: use[0])

    def furnace(self) -> Iterator[Breach]:
        """One use at a time, and time enough to reach each setting."""
        before: tuple[int, int, float, Step] | None = None
        for use in self._uses():
            start, end, setting, step = use
            if before is not None and start < before[1]:
                over = min(before[1], end) - start
                yield _breach(
                    "furnace", step, over,
                    f"is in the furnace {over} min together with {_name(before[3])}",
                )  # fmt: skip
            elif before is not None and start // _MIDNIGHT == before[1] // _MIDNIGHT:
                needed = self._ramp(before[2], setting)
                yield from _short("furnace", step, needed - (start - before[1]), "time to reach it")
            else:
                heat = [
                    own.start
                    for own in self.steps
                    if own.what == "heat" and own.which == step.which and own.end == start
                ]
                begun = min(heat, default=start)
                if before is not None:
                    begun = max(begun, before[1])
                needed = self._ramp(None, setting)
                yield from _short("furnace", step, needed - (start - begun), "time to heat up")
            before = use if before is None or end >= before[1] else before

    def _ramp(self, before: float | None, setting: float) -> float:
        hours = self.hours
        if before is None:
            return (setting - _ROOM_C) / hours.heating_per_hour * 60
        if hours.between_loads is not None:
            return hours.between_loads
        rate = hours.heating_per_hour if setting > before else hours.cooling_per_hour
        return max(hours.recovery, abs(setting - before) / rate * 60)

    def _settings(self) -> dict[tuple[str, str], float]:
        """Degrees of each load and temper batch, read from the words on their steps where held."""
        found: dict[tuple[str, str], float] = {}
        for step in self.steps:
            if step.unit != "cold_batch":
                found[step.unit, step.which] = float(step.level.split("\u00a0")[0])
        for row in self.rows():
            for unit, name in (("furnace_load", "austenitize"), ("temper_batch", "temper")):
                if self.study.has(name) and self.study.factor(name).set_for == unit:
                    value = row[self.study.factor(name).column]
                    if isinstance(value, float | int) and value == value:
                        found[unit, str(row.get(unit))] = float(value)
        return found

    def days(self) -> Iterator[Breach]:
        """Loads of one day of the plan on one day of work."""
        if not self.study.layout.loads_per_day or self.study.published:
            return
        first: dict[int, int] = {}
        loads = {int(step.which): step for step in self.steps if step.what == "load"}
        for row in self.rows():
            step = loads.get(int(row["furnace_load"]))
            if step is None:
                continue
            day = step.start // _MIDNIGHT
            late = day - first.setdefault(int(row["day"]), day)
            if late:
                minutes = abs(late) * _MIDNIGHT
                yield _breach("day", step, minutes, "is not on the day of its block")

    # --- cold ------------------------------------------------------------------------------------

    def colds(self) -> Iterator[Breach]:
        """Delay and stay of every coupon with a cold step."""
        if not self.study.has("cold_route"):
            return
        route_factor = self.study.factor("cold_route")
        for row in self.rows():
            route = row[route_factor.column]
            chilled = route in route_factor.levels and route != "none"
            into, stay, out = (self.of(w, row["coupon"]) for w in ("cold in", "cold", "cold out"))
            if not chilled:
                if into or stay or out:
                    yield _breach(
                        "missing", (into + stay + out)[0], 0, "has no cold step in the plan"
                    )
                continue
            if not len(into) == len(stay) == len(out) == 1:
                name = str(row.get("cold_batch", row["furnace_load"]))
                yield self._missing("cold_batch", name, f"coupon {row['coupon']} once in the cold")
                continue
            yield from self._delay(row, into[0])
            hold = self._time(row, "cold_hold", self.hours.cold_time)
            cooling = math.ceil(self.hours.cooling(str(route)))
            minutes = stay[0].minutes - cooling
            yield from _short("cold", stay[0], hold - minutes, "time in the cold")
            over = minutes - int(hold * self.hours.cold_at_most)
            if over > 0:
                yield _breach("cold", stay[0], over, f"stays {over} min longer than it may")
            yield from _short("hands", into[0], self.hours.transfer - into[0].minutes, "transfer")
            yield from _short("hands", out[0], self.hours.take_out - out[0].minutes, "taking out")
            if stay[0].start < into[0].end or out[0].start < stay[0].end:
                yield _breach("cold", stay[0], 0, "is in the cold before it was put in")

    def _delay(self, row: Mapping[str, Any], into: Step) -> Iterator[Breach]:
        start = self._cold_reference(row, into)
        if start is None:
            return
        waited = into.end - start
        if into.start < start:
            early = start - into.start
            yield _breach(
                "delay", into, early, f"goes into the cold {early} min before it is ready"
            )
        if not self.study.has("delay"):
            return
        wanted = row[self.study.factor("delay").column]
        if isinstance(wanted, str) or wanted != wanted:
            return
        tolerance = max(
            self.hours.delay_tolerance, wanted * self.hours.delay_tolerance_percent / 100
        )
        over = abs(waited - wanted) - int(tolerance)
        if over > 0:
            side = "late" if waited > wanted else "early"
            yield _breach(
                "delay", into, math.ceil(over),
                f"waits {waited} min, {wanted:g} are planned: {over:g} min too {side}",
            )  # fmt: skip

    def _cold_reference(self, row: Mapping[str, Any], into: Step) -> int | None:
        """Minute from which a coupon's delay counts."""
        if self._tempers_first(row):
            batches = {
                str(own["temper_batch"])
                for own in self.rows()
                if str(own["coupon"]) in into.codes and own.get("temper_batch", 0)
            }
            ends = [s.end for s in self.steps if s.what == "temper out" and s.which in batches]
            return max(ends) if ends else self._quenched(row)
        return self._quenched(row)

    def _tempers_first(self, row: Mapping[str, Any]) -> bool:
        if not self.study.has("step_order") or not row.get("temper_batch", 0):
            return False
        return bool(row[self.study.factor("step_order").column] == "temper_then_cold")

    def _quenched(self, row: Mapping[str, Any]) -> int | None:
        own = self.of("quench", row["coupon"])
        return own[-1].end if own else None

    def baths(self) -> Iterator[Breach]:
        """No more coupons in a bath than it holds; the group that comes last is named."""
        stays: dict[str, list[tuple[int, int, Step]]] = defaultdict(list)
        for step in self.steps:
            if step.what == "cold":
                out = [s.end for s in self.steps if s.what == "cold out" and s.which == step.which]
                stays[step.level].append((step.start, max([step.end, *out]), step))
        for route, own in stays.items():
            capacity = self.hours.capacity(route)
            over: dict[str, int] = defaultdict(int)
            marks = sorted({minute for start, end, _ in own for minute in (start, end)})
            for a, b in itertools.pairwise(marks):
                inside = [stay for stay in own if stay[0] <= a < stay[1]]
                if sum(len(stay[2].codes) for stay in inside) > capacity:
                    over[max(inside, key=lambda stay: stay[0])[2].which] += b - a
            for start_end_step in own:
                step = start_end_step[2]
                if minutes := over.pop(step.which, 0):
                    yield _breach(
                        "bath", step, minutes,
                        f"overfills the bath ({capacity} coupons) for {minutes} min",
                    )  # fmt: skip

    # --- tempers ---------------------------------------------------------------------------------

    def tempers(self) -> Iterator[Breach]:
        """Every coupon ready before its temper, held long enough, as often as planned."""
        for row in self.rows():
            batch = row.get("temper_batch", 0)
            if not batch:
                continue
            into, hold, out = (
                self.of(what, row["coupon"]) for what in ("temper in", "temper", "temper out")
            )
            cycles = len(temper_cycles(self.study, self._series(row)))
            if not len(into) == len(hold) == len(out) == cycles:
                yield self._missing(
                    "temper_batch", str(batch), f"coupon {row['coupon']} with {cycles} tempers"
                )
                continue
            ready = self._quenched(row) or 0
            if not self._tempers_first(row):
                ready = max([ready, *(step.end for step in self.of("cold out", row["coupon"]))])
            if (early := ready - into[0].start) > 0:
                yield _breach(
                    "temper", into[0], early,
                    f"begins {early} min before coupon {row['coupon']} is ready",
                )  # fmt: skip
            wanted = self._time(row, "temper_time", self.hours.temper_time)
            for own in hold:
                needed = wanted + self.hours.temper_heating
                yield from _short("temper", own, needed - own.minutes, "temper")
            for own in (*into, *out):
                yield from _short("hands", own, self.hours.temper_loading - own.minutes, own.what)
            for end, start in zip(out, into[1:], strict=False):
                rest = self.hours.temper_cooling - (start.start - end.end)
                yield from _short("temper", start, rest, "time to cool between tempers")
        yield from self._oven()

    def _oven(self) -> Iterator[Breach]:
        uses = []
        for step in self.steps:
            if step.what == "temper in" and step.lane == "oven":
                key = (step.which, step.cycle)
                ends = [
                    s.end
                    for s in self.steps
                    if s.what == "temper out" and (s.which, s.cycle) == key
                ]
                uses.append((step.start, max(ends, default=step.end), step))
        uses.sort(key=lambda use: use[0])
        for before, own in itertools.pairwise(uses):
            if (over := before[1] - own[0]) > 0:
                yield _breach(
                    "oven", own[2], over, f"is in the oven {over} min with {_name(before[2])}"
                )

    # --- hands -----------------------------------------------------------------------------------

    def hands(self) -> Iterator[Breach]:
        """One thing at a time, inside working hours."""
        own = sorted((s for s in self.steps if s.what in HANDS), key=lambda s: (s.start, s.end))
        latest: Step | None = None
        for step in own:
            if latest is not None and (over := min(latest.end, step.end) - step.start) > 0:
                yield _breach(
                    "hands", step, over,
                    f"needs you for {over} min while '{latest.what}' of {_name(latest)} does",
                )  # fmt: skip
            if latest is None or step.end > latest.end:
                latest = step
            if minutes := self._outside(step):
                yield _breach("hours", step, minutes, f"is {minutes} min outside working hours")

    def _outside(self, step: Step) -> int:
        """Distance of the minute farthest from working hours."""
        opens, closes = self.hours.opens, self.hours.closes
        most = 0
        for minute in {step.start, max(step.start, step.end - 1)}:
            open_minutes = [
                abs(day * _MIDNIGHT + edge - minute)
                for day in range(minute // _MIDNIGHT - 1, minute // _MIDNIGHT + 2)
                for edge in (opens, closes - 1)
            ]
            inside = opens <= minute % _MIDNIGHT < closes
            most = max(most, 0 if inside else min(open_minutes))
        return most

    # --- the plan --------------------------------------------------------------------------------

    def _time(self, row: Mapping[str, Any], name: str, otherwise: float) -> float:
        if not self.study.has(name):
            return otherwise
        value = row[self.study.factor(name).column]
        return otherwise if isinstance(value, str) or value != value else float(value)

    @staticmethod
    def _series(row: Mapping[str, Any]) -> Any:
        import pandas as pd

        return pd.Series(dict(row))

    @staticmethod
    def _missing(unit: str, which: str, what: str) -> Breach:
        words = f"{_UNITS[unit]} {which}: expected {what}."
        return Breach("missing", unit, which, "", 0, words, "Make the timetable again.")


def _breach(kind: str, step: Step, minutes: int, words: str) -> Breach:
    what = f"{_name(step)}, '{step.what}': {words}."
    return Breach(kind, step.unit, step.which, step.what, minutes, what)


def _short(kind: str, step: Step, lacking: float, what: str) -> Iterator[Breach]:
    if (minutes := math.ceil(lacking - 1e-9)) > 0:
        yield _breach(kind, step, minutes, f"{what} is {minutes} min too short")


def _off(kind: str, step: Step, more: int, what: str) -> Iterable[Breach]:
    if more:
        side = "long" if more > 0 else "short"
        yield _breach(kind, step, abs(more), f"{what} is {abs(more)} min too {side}")


def _name(step: Step) -> str:
    return f"{_UNITS[step.unit]} {step.which}"
