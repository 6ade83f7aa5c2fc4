"""Check of a timetable at the temper: ready before, long enough, as often as planned."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator

from quenchbook.bench.check_desk import Desk, breach, name_of, off, short
from quenchbook.bench.temper_sheets import temper_cycles
from quenchbook.bench.timetable import Breach


class TemperDesk(Desk):
    """Looks at temper batches."""

    def tempers(self) -> Iterator[Breach]:
        """Every coupon ready before its temper, held long enough, as often as planned."""
        for row in self.rows:
            batch = row.get("temper_batch", 0)
            if not batch:
                continue
            into, hold, out = (
                self.of(what, row["coupon"]) for what in ("temper in", "temper", "temper out")
            )
            cycles = len(temper_cycles(self.study, self.series(row)))
            if not len(into) == len(hold) == len(out) == cycles:
                yield self.missing(
                    "temper_batch", str(batch), f"coupon {row['coupon']} with {cycles} tempers"
                )
                continue
            ready = self.quenched(row) or 0
            if not self.tempers_first(row):
                ready = max([ready, *(step.end for step in self.of("cold out", row["coupon"]))])
            if (early := ready - into[0].start) > 0:
                yield breach(
                    "temper", into[0], early,
                    f"begins {early} min before coupon {row['coupon']} is ready",
                )  # fmt: skip
            wanted = self.time(row, "temper_time", self.hours.temper_time)
            needed = math.ceil(wanted) + math.ceil(self.hours.temper_heating)
            for begun, own, end in zip(into, hold, out, strict=True):
                yield from off("temper", own, own.minutes - needed, "temper")
                yield from off(
                    "temper", end, end.start - begun.end - needed, "time until taken out"
                )
                if (early := begun.end - own.start) > 0:
                    yield breach("temper", own, early, f"begins {early} min before it is put in")
            for own in (*into, *out):
                yield from short("hands", own, self.hours.temper_loading - own.minutes, own.what)
            for end, start in zip(out, into[1:], strict=False):
                rest = self.hours.temper_cooling - (start.start - end.end)
                yield from short("temper", start, rest, "time to cool between tempers")
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
                yield breach(
                    "oven", own[2], over, f"is in the oven {over} min with {name_of(before[2])}"
                )
