"""Check of a timetable against one pair of hands and the hours they work."""

from __future__ import annotations

from collections.abc import Iterator

from quenchbook.bench.check_desk import Desk, breach, name_of
from quenchbook.bench.timetable import DAY, HANDS, Breach, Step


class HandsDesk(Desk):
    """Looks at every step that needs hands."""

    def hands(self) -> Iterator[Breach]:
        """One thing at a time, inside working hours."""
        own = sorted((s for s in self.steps if s.what in HANDS), key=lambda s: (s.start, s.end))
        latest: Step | None = None
        for step in own:
            if latest is not None and (over := min(latest.end, step.end) - step.start) > 0:
                yield breach(
                    "hands", step, over,
                    f"needs you for {over} min while '{latest.what}' of {name_of(latest)} does",
                )  # fmt: skip
            if latest is None or step.end > latest.end:
                latest = step
            if minutes := self._outside(step):
                words = f"is {minutes} min outside working hours"
                if self._rests(step):
                    words = (
                        f"is on a day without work, {minutes} min from the nearest working hours"
                    )
                yield breach("hours", step, minutes, words)

    def _outside(self, step: Step) -> int:
        """Distance of the minute farthest from working hours."""
        return max(map(self._far, range(step.start, max(step.start + 1, step.end))))

    def _far(self, minute: int) -> int:
        """Distance of a minute from the nearest working hours."""
        opens, closes = self.hours.opens, self.hours.closes
        today, most = minute // DAY, 7 * (len(self.hours.rest_dates) + 1) + 1
        if opens <= minute % DAY < closes and not self.hours.rests(today + 1):
            return 0
        nearest = most * DAY
        for away in range(most):
            if (away - 2) * DAY > nearest:
                break
            for day in {today - away, today + away}:
                if not self.hours.rests(day + 1):
                    edges = (day * DAY + opens, day * DAY + closes - 1)
                    nearest = min(nearest, *(abs(edge - minute) for edge in edges))
        return nearest

    def _rests(self, step: Step) -> bool:
        return any(
            self.hours.rests(minute // DAY + 1)
            for minute in (step.start, max(step.start, step.end - 1))
        )
