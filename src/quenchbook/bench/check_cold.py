"""Check of a timetable in the cold: delay, stay, room in the bath, for every coupon."""

from __future__ import annotations

import functools
import itertools
import math
from collections import defaultdict
from collections.abc import Iterator, Mapping
from typing import Any

from quenchbook.bench.check_desk import Desk, breach, short
from quenchbook.bench.timetable import Breach, Step


class ColdDesk(Desk):
    """Looks at groups that go into the cold."""

    def colds(self) -> Iterator[Breach]:
        """Delay and stay of every coupon with a cold step."""
        if not self.study.has("cold_route"):
            return
        route_factor = self.study.factor("cold_route")
        for row in self.rows:
            route = row[route_factor.column]
            chilled = route in route_factor.levels and route != "none"
            into, stay, out = (self.of(w, row["coupon"]) for w in ("cold in", "cold", "cold out"))
            if not chilled:
                if into or stay or out:
                    yield breach(
                        "missing", (into + stay + out)[0], 0, "has no cold step in the plan"
                    )
                continue
            if not len(into) == len(stay) == len(out) == 1:
                name = str(row.get("cold_batch", row["furnace_load"]))
                yield self.missing("cold_batch", name, f"coupon {row['coupon']} once in the cold")
                continue
            yield from self._delay(row, into[0])
            hold = self.time(row, "cold_hold", self.hours.cold_time)
            cooling = math.ceil(self.hours.cooling(str(route)))
            minutes = out[0].start - into[0].end - cooling
            yield from short("cold", stay[0], hold - minutes, "time in the cold")
            over = minutes - int(hold * self.hours.cold_at_most)
            if over > 0:
                yield breach("cold", stay[0], over, f"stays {over} min longer than it may")
            yield from short("hands", into[0], self.hours.transfer - into[0].minutes, "transfer")
            yield from short("hands", out[0], self.hours.take_out - out[0].minutes, "taking out")
            if stay[0].start != into[0].end or out[0].start != stay[0].end:
                yield breach(
                    "cold", stay[0], 0, "is not in the cold from being put in to being taken out"
                )

    def _delay(self, row: Mapping[str, Any], into: Step) -> Iterator[Breach]:
        start = self._cold_reference(row, into)
        if start is None:
            return
        waited = into.end - start
        if into.start < start:
            early = start - into.start
            yield breach("delay", into, early, f"goes into the cold {early} min before it is ready")
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
            yield breach(
                "delay", into, math.ceil(over),
                f"waits {waited} min, {wanted:g} are planned: {over:g} min too {side}",
            )  # fmt: skip

    def _cold_reference(self, row: Mapping[str, Any], into: Step) -> int | None:
        """Minute from which a coupon's delay counts."""
        if self.tempers_first(row):
            batches = {
                str(own["temper_batch"])
                for own in self.rows
                if str(own["coupon"]) in into.codes and own.get("temper_batch", 0)
            }
            ends = [s.end for s in self.steps if s.what == "temper out" and s.which in batches]
            return max(ends) if ends else self.quenched(row)
        return self.quenched(row)

    @functools.cached_property
    def _routes(self) -> dict[str, str]:
        """Route of each coupon in the plan."""
        if not self.study.has("cold_route"):
            return {}
        column = self.study.factor("cold_route").column
        return {str(row["coupon"]): str(row[column]) for row in self.rows}

    def baths(self) -> Iterator[Breach]:
        """No more coupons in a bath than it holds; the group that comes last is named."""
        stays: dict[str, list[tuple[int, int, Step]]] = defaultdict(list)
        for step in self.steps:
            if step.what == "cold":
                out = [s.end for s in self.steps if s.what == "cold out" and s.which == step.which]
                # the bath is that of the plan, whatever the words of the step say
                routes = {self._routes.get(code, step.level) for code in step.codes}
                for route in routes or {step.level}:
                    stays[route].append((step.start, max([step.end, *out]), step))
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
                    yield breach(
                        "bath", step, minutes,
                        f"overfills the bath ({capacity} coupons) for {minutes} min",
                    )  # fmt: skip
