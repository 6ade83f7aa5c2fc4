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
                yield breach("hours", step, minutes, f"is {minutes} min outside working hours")

    def _outside(self, step: Step) -> int:
        """Distance of the minute farthest from working hours."""
        opens, closes = self.hours.opens, self.hours.closes
        most = 0
        for minute in {step.start, max(step.start, step.end - 1)}:
            open_minutes = [
                abs(day * MIDNIGHT + edge - minute)
                for day in range(minute // MIDNIGHT - 1, minute // MIDNIGHT + 2)
                for edge in (opens, closes - 1)
            ]
            inside = opens <= minute % MIDNIGHT < closes
            most = max(most, 0 if inside else min(open_minutes))
        return most
