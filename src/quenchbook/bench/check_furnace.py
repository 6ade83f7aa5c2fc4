"""Check of a timetable at the furnace: soak, order, one use at a time, time to reach a setting."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from typing import Final

from quenchbook.bench.check_desk import MIDNIGHT, Desk, breach, name_of, off, short
from quenchbook.bench.timetable import Breach, Step

_ROOM_C: Final = 20.0


class FurnaceDesk(Desk):
    """Looks at loads and at every use of the furnace."""

    def loads(self) -> Iterator[Breach]:
        """Soak, quench and order of the loads."""
        for row in self.rows():
            coupon, load = row["coupon"], str(row["furnace_load"])
            parts = {what: self.of(what, coupon) for what in ("load", "soak", "quench")}
            if any(len(own) != 1 or own[0].which != load for own in parts.values()):
                yield self.missing("furnace_load", load, f"coupon {coupon} once in this load")
                continue
            into, soak, quench = (parts[what][0] for what in ("load", "soak", "quench"))
            wanted = self.time(row, "soak", self.hours.soak)
            yield from off("soak", soak, soak.end - soak.start - math.ceil(wanted), "soak")
            warm = soak.start - into.end - self.hours.coupon_heating
            yield from short("soak", into, -warm, "time to come to heat")
            if quench.start != soak.end:
                gap = abs(quench.start - soak.end)
                yield breach("soak", quench, gap, f"the quench is {gap} min from the soak's end")
            coupons = sum(1 for own in self.rows() if str(own["furnace_load"]) == load)
            needed = coupons * self.hours.quench_coupon
            yield from short("hands", quench, needed - quench.minutes, "quench")
            yield from short("hands", into, self.hours.loading - into.minutes, "loading")
        first: dict[int, Step] = {}
        for step in self.steps:
            if step.what == "load":
                first[int(step.which)] = step
        for number, after in itertools.pairwise(sorted(first)):
            if (early := first[number].start - first[after].start) > 0:
                yield breach(
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
                yield breach(
                    "furnace", step, over,
                    f"is in the furnace {over} min together with {name_of(before[3])}",
                )  # fmt: skip
            elif before is not None and start // MIDNIGHT == before[1] // MIDNIGHT:
                needed = self._ramp(before[2], setting)
                yield from short("furnace", step, needed - (start - before[1]), "time to reach it")
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
                yield from short("furnace", step, needed - (start - begun), "time to heat up")
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
            day = step.start // MIDNIGHT
            late = day - first.setdefault(int(row["day"]), day)
            if late:
                minutes = abs(late) * MIDNIGHT
                yield breach("day", step, minutes, "is not on the day of its block")
