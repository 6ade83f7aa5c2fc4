"""Check of a timetable at the furnace: soak, order, one use at a time, time to reach a setting."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Iterator
from typing import Final

from quenchbook.bench.check_desk import Desk, breach, degrees_of, name_of, off, short
from quenchbook.bench.timetable import DAY, Breach, Step

_ROOM_C: Final = 20.0


class FurnaceDesk(Desk):
    """Looks at loads and at every use of the furnace."""

    def loads(self) -> Iterator[Breach]:
        """Soak, quench and order of the loads."""
        coupons = Counter(str(row["furnace_load"]) for row in self.rows)
        for row in self.rows:
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
            needed = coupons[load] * self.hours.quench_coupon
            yield from short("hands", quench, needed - quench.minutes, "quench")
            yield from short("hands", into, self.hours.loading - into.minutes, "loading")
        first = self._load_steps()
        for number, after in itertools.pairwise(sorted(first)):
            if (early := first[number].start - first[after].start) > 0:
                yield breach(
                    "order", first[after], early,
                    f"runs {early} min before load {number}: the randomized order is changed",
                )  # fmt: skip

    def _load_steps(self) -> dict[int, Step]:
        """Loading of each load of the plan."""
        known = {str(row["furnace_load"]): int(row["furnace_load"]) for row in self.rows}
        own = (step for step in self.steps if step.what == "load" and step.which in known)
        return {known[step.which]: step for step in own}

    def _uses(self) -> list[tuple[int, int, float, Step]]:
        """Start, end, setting and first step of each use of the furnace."""
        uses = []
        ends = {"load": "quench", "temper in": "temper out"}
        for step in self.steps:
            if step.what in ends and (step.lane == "furnace" or step.what == "load"):
                last = [
                    own
                    for own in self.steps
                    if (own.unit, own.which, own.cycle) == (step.unit, step.which, step.cycle)
                    and own.what == ends[step.what]
                ]
                end = max((own.end for own in last), default=step.end)
                told = self.settings.get((step.unit, step.which), degrees_of(step.level))
                # a step without a temperature is named by the check of words
                uses.append((step.start, end, _ROOM_C if told is None else told, step))
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
            elif before is None or self._is_off(before[1], start, setting):
                yield from self._from_cold(step, -DAY if before is None else before[1], setting)
            else:
                needed = self._ramp(before[2], setting)
                yield from short("furnace", step, needed - (start - before[1]), "time to reach it")
            before = use if before is None or end >= before[1] else before

    def _is_off(self, last: int, start: int, setting: float) -> bool:
        """Whether the furnace is off between two uses: across midnight, with time to heat."""
        return start // DAY != last // DAY and self._ramp(None, setting) <= start - last

    def _from_cold(self, step: Step, last: int, setting: float) -> Iterator[Breach]:
        """A cold furnace is switched on and has time enough to reach the setting."""
        own = [
            other
            for other in self.steps
            if (other.unit, other.which) == (step.unit, step.which)
            and last <= other.start <= other.end <= step.start
        ]
        heat = [other.start for other in own if other.what == "heat" and other.end == step.start]
        begun = min(heat, default=step.start)
        needed = self._ramp(None, setting)
        yield from short("furnace", step, needed - (step.start - begun), "time to heat up")
        on = [other for other in own if other.what == "switch on" and other.start <= begun]
        if not on:
            yield breach("missing", step, 0, "nobody switches the furnace on before")
        else:
            lacking = min(self.hours.switch_on, math.floor(needed)) - on[-1].minutes
            yield from short("hands", on[-1], lacking, "switching on")

    def _ramp(self, before: float | None, setting: float) -> float:
        hours = self.hours
        if before is None:
            return (setting - _ROOM_C) / hours.heating_per_hour * 60
        if hours.between_loads is not None:
            return hours.between_loads
        rate = hours.heating_per_hour if setting > before else hours.cooling_per_hour
        return max(hours.recovery, abs(setting - before) / rate * 60)

    def days(self) -> Iterator[Breach]:
        """Loads of one day of the plan on one day of work."""
        if not self.study.layout.loads_per_day or self.study.published:
            return
        first: dict[int, int] = {}
        loads = self._load_steps()
        for row in self.rows:
            step = loads.get(int(row["furnace_load"]))
            if step is None:
                continue
            day = step.start // DAY
            late = day - first.setdefault(int(row["day"]), day)
            if late:
                minutes = abs(late) * DAY
                yield breach("day", step, minutes, "is not on the day of its block")
