"""Coupons that wait before the cold though no delay was asked for: which, how long, what helps."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from quenchbook.bench.pace import Pace
from quenchbook.bench.timetable import DAY, Step, clock
from quenchbook.bench.work_list import ColdWork, WorkList
from quenchbook.units import NO_BREAK, minutes_text

LONGEST: Final = 60
"""Wait before the cold that needs no word [min]: common practice, no source."""


_MOST_NAMED: Final = 6
_SPARE: Final = 15  # minutes for hands that are busy at the end of a stay
_HALF_HOUR: Final = 30


def cold_wait_notes(work: WorkList, steps: Sequence[Step], pace: Pace) -> tuple[str, ...]:
    """Note of the cold batches without a planned delay that wait longer than `LONGEST`.

    The plan tells no delay for them, so that nothing of it is missed; but a wait can cost what the
    cold is to give, and hardened coupons lie untempered meanwhile.

    Parameters
    ----------
    work : WorkList
    steps : sequence of Step
    pace : Pace

    Returns
    -------
    tuple of str
        Empty if no coupon waits so long.
    """
    free = {own.batch: own for own in work.cold if own.delay is None and not own.after_tempers}
    held = [
        (step.minutes, step.start, free[step.which])
        for step in steps
        if step.what == "wait" and step.which in free and step.minutes > LONGEST
    ]
    if not held:
        return ()
    held.sort(key=lambda own: (-own[0], own[1]))
    named = [f"{own.batch} ({_hours(minutes)})" for minutes, _, own in held[:_MOST_NAMED]]
    more = len(held) - len(named)
    batches = ", ".join(named) + (f" and {more} more" if more else "")
    words = [
        f"{sum(own.coupons for _, _, own in held)} coupons wait up to {_hours(held[0][0])} between "
        "quench and cold: nobody asked for that, no delay is declared. Less of the austenite may "
        "turn then, and the coupons lie untempered. Longest wait by cold batch: "
        f"{batches}."
    ]
    apart = [(since, own) for _, since, own in held if _ends_at_night(own, since, pace)]
    if apart:
        words.append(_held_back(apart, pace))
    if len(apart) < len(held):
        words.append("For a full bath: a larger one (bath_capacity), or fewer loads a day.")
    return (" ".join(words),)


def _due(own: ColdWork, since: int, pace: Pace) -> int:
    """When a group may come out that goes in at once."""
    return since + pace.transfer + own.cooling + own.hold


def _ends_at_night(own: ColdWork, since: int, pace: Pace) -> bool:
    due = _due(own, since, pace)
    return bool(pace.outside(due, due + pace.take_out))


def _held_back(held: Sequence[tuple[int, ColdWork]], pace: Pace) -> str:
    """Why groups are held back, and times that would let them go in at once."""
    first = (
        "They are held back because their time in the cold, begun at once, would end when nobody "
        "is at work, and they may not stay much longer."
    )
    remedies = []
    over_night = [_until_opening(own, since, pace) for since, own in held]
    if len({own.hold for _, own in held}) == 1:
        same_day = [_until_closing(own, since, pace) for since, own in held]
        if (hours := min(same_day) // 60) >= 1:
            remedies.append(f'cold_time = "{hours} h" or less (out on the same day)')
        remedies.append(f'cold_time = "{min(over_night) // 60} h" (out the next morning)')
    ends = (_due(own, since, pace) + pace.take_out - since // DAY * DAY for since, own in held)
    until = -(-(max(ends) + _SPARE) // _HALF_HOUR) * _HALF_HOUR
    if until <= DAY:
        remedies.append(f"work_hours until {'24:00' if until == DAY else clock(until)}")
    most = max(minutes / own.hold for minutes, (_, own) in zip(over_night, held, strict=True))
    remedies.append(f"cold_at_most = {int(most * 10) / 10 + 0.1:.1f}, if a longer stay is harmless")
    return f"{first} What helps: {'; '.join(remedies)}. Or declare the wait as a delay."


def _until_opening(own: ColdWork, since: int, pace: Pace) -> int:
    """Minutes in the cold, at its temperature, until the next day of work begins."""
    (day,) = pace.working_days(since // DAY + 2, 1)
    return (day - 1) * DAY + pace.hours.opens - since - pace.transfer - own.cooling


def _until_closing(own: ColdWork, since: int, pace: Pace) -> int:
    """Minutes in the cold that still end on the same day."""
    closes = since // DAY * DAY + pace.hours.closes
    return closes - since - pace.transfer - own.cooling - pace.take_out


def _hours(minutes: int) -> str:
    return minutes_text(minutes) if minutes < 120 else f"{round(minutes / 60)}{NO_BREAK}h"
