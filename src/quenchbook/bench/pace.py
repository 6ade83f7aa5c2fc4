"""How long each step takes in whole minutes, and how far a minute lies outside working hours."""

from __future__ import annotations

import functools
import itertools
from dataclasses import dataclass
from typing import Final

from quenchbook.bench.timetable import DAY, whole
from quenchbook.bench.work_list import LoadWork, TemperWork
from quenchbook.study.hours import WorkHours

ROOM_C: Final = 20.0  # a furnace that was last used on another day has cooled to this


@dataclass(frozen=True)
class Pace:
    """Whole minutes of the steps that are alike for all work of a study."""

    hours: WorkHours

    @functools.cached_property
    def loading(self) -> int:
        """Time to put a load in."""
        return whole(self.hours.loading)

    @functools.cached_property
    def transfer(self) -> int:
        """Time to put a group into the cold."""
        return whole(self.hours.transfer)

    @functools.cached_property
    def take_out(self) -> int:
        """Time to take a group out of the cold."""
        return whole(self.hours.take_out)

    @functools.cached_property
    def tray(self) -> int:
        """Time to put a temper batch in, or to take it out."""
        return whole(self.hours.temper_loading)

    @functools.cached_property
    def cooling(self) -> int:
        """Time between two tempers of a batch."""
        return whole(self.hours.temper_cooling)

    def quench_start(self, work: LoadWork, start: int) -> int:
        """When the quench of a load begins that goes in at `start`."""
        return start + self.loading + whole(self.hours.coupon_heating) + work.soak

    def quench_end(self, work: LoadWork, start: int) -> int:
        """When the last coupon of a load is quenched."""
        return self.quench_start(work, start) + work.quench

    def temper_out(self, work: TemperWork, start: int) -> int:
        """When a temper batch begins to be taken out."""
        return start + self.tray + whole(self.hours.temper_heating) + work.hold

    def temper_end(self, work: TemperWork, start: int) -> int:
        """When a temper batch is out."""
        return self.temper_out(work, start) + self.tray

    def ramp(self, before: float | None, after: float) -> int:
        """Time the furnace needs from one setting to the next; `before` None: it is cold."""
        if before is not None and self.hours.between_loads is not None:
            return whole(self.hours.between_loads)
        change = after - (ROOM_C if before is None else before)
        speed = self.hours.heating_per_hour if change > 0 else self.hours.cooling_per_hour
        minutes = abs(change) / speed * 60
        return whole(minutes if before is None else max(minutes, self.hours.recovery))

    @functools.cached_property
    def _outside(self) -> tuple[int, ...]:
        """Distance of each minute of a day from working hours."""
        opens, closes = self.hours.opens, self.hours.closes
        return tuple(
            0 if opens <= own < closes else min((opens - own) % DAY, (own - closes) % DAY + 1)
            for own in range(DAY)
        )

    @functools.cached_property
    def has_rest(self) -> bool:
        """Whether there are days without work."""
        own = self.hours
        return own.first_day is not None and bool(own.rest_weekdays or own.rest_dates)

    @functools.cached_property
    def _resting(self) -> dict[int, bool]:
        return {}

    def rests(self, day: int) -> bool:
        """Whether nobody works on a day, the first is 1."""
        if not self.has_rest:
            return False
        if day not in self._resting:
            self._resting[day] = self.hours.rests(day)
        return self._resting[day]

    def on_rest_day(self, start: int, end: int) -> bool:
        """Whether a step begins or ends on a day without work."""
        return self.rests(start // DAY + 1) or self.rests(max(start, end - 1) // DAY + 1)

    def working_days(self, first: int, most: int) -> list[int]:
        """So many days with work from a day on."""
        own = (day for day in itertools.count(first) if not self.rests(day))
        return list(itertools.islice(own, most))

    @functools.cached_property
    def _midst(self) -> int:
        """Minute of a day that is farthest from working hours."""
        return max(range(DAY), key=self._outside.__getitem__)

    def outside(self, start: int, end: int) -> int:
        """How far any minute of a step lies outside working hours, to the nearest of them [min]."""
        last = max(start, end - 1)
        if not self.has_rest:
            table = self._outside
            most = max(table[start % DAY], table[last % DAY])
            # only across the midst of a night is a minute between farther out than both ends
            return table[self._midst] if (self._midst - start) % DAY < last - start else most
        one, other = self._known_far(start), self._known_far(last)
        night = DAY - self.hours.closes + self.hours.opens
        if abs(one - other) == last - start or (one == other == 0 and last - start <= night):
            return max(one, other)
        return max(map(self._known_far, range(start, last + 1)))

    def _known_far(self, minute: int) -> int:
        known = self._known
        if minute not in known:
            known[minute] = self._far(minute)
        return known[minute]

    @functools.cached_property
    def _known(self) -> dict[int, int]:
        """Distances that were worked out before: the same minutes are asked for often."""
        return {}

    def _far(self, minute: int) -> int:
        """Distance of a minute from working hours, days without work between."""
        day, own = minute // DAY + 1, minute % DAY
        opens, closes = self.hours.opens, self.hours.closes
        if not self.rests(day) and opens <= own < closes:
            return 0
        past = day if own >= closes else day - 1
        while self.rests(past):
            past -= 1
        (later,) = self.working_days(day if own < opens else day + 1, 1)
        closed, opened = (past - 1) * DAY + closes, (later - 1) * DAY + opens
        return min(minute - closed + 1, opened - minute)

    def cost(self, start: int, end: int) -> int:
        """Minutes outside working hours, and a day more where nobody works."""
        minutes = self.outside(start, end)
        return minutes + DAY if self.has_rest and self.on_rest_day(start, end) else minutes
