"""Check of a timetable against one pair of hands and the hours they work."""

from __future__ import annotations

from collections.abc import Iterator

from quenchbook.bench.check_desk import MIDNIGHT, Desk, breach, name_of
from quenchbook.bench.timetable import HANDS, Breach, Step


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
        opens, closes = self.hours.opens, self.hours.closes
        wide = 8 + len(self.hours.rest_dates)  # days on each side: one of them has work
        most = 0
        for minute in self._ends(step):
            today = minute // MIDNIGHT
            open_minutes = [
                abs(day * MIDNIGHT + edge - minute)
                for day in range(today - wide, today + wide + 1)
                if not self.hours.rests(day + 1)
                for edge in (opens, closes - 1)
            ]
            inside = opens <= minute % MIDNIGHT < closes and not self.hours.rests(today + 1)
            most = max(most, 0 if inside else min(open_minutes))
        return most

    def _rests(self, step: Step) -> bool:
        return any(self.hours.rests(minute // MIDNIGHT + 1) for minute in self._ends(step))

    @staticmethod
    def _ends(step: Step) -> set[int]:
        return {step.start, max(step.start, step.end - 1)}
