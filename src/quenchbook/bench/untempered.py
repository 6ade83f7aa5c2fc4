"""Hardened coupons that lie untempered for longer than a night: which, how long, what helps."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from quenchbook.bench.timetable import DAY, Step
from quenchbook.bench.work_list import WorkList
from quenchbook.units import NO_BREAK

LONGEST: Final = 16 * 60
"""A night and a little more [min]: common practice, no source."""


def untempered_notes(work: WorkList, steps: Sequence[Step]) -> tuple[str, ...]:
    """Note of the temper batches whose coupons wait longer than `LONGEST`, longest wait first.

    The wait counts from the quench, or from the end of the cold step where that comes first: a
    delay and a cold step of the plan are no wait, but the wait for other coupons of the batch is,
    whatever keeps those. A plan tells no longest wait, so that nothing of
    it is missed; therefore this is a note and no breach.

    Parameters
    ----------
    work : WorkList
    steps : sequence of Step

    Returns
    -------
    tuple of str
        Empty if no coupon waits so long.
    """
    ready: dict[str, int] = {}
    begun = {s.which: s.start for s in steps if s.what == "temper in" and s.cycle == 1}
    quenched: dict[str, int] = {}
    for step in steps:
        if step.what == "quench":
            quenched.update(dict.fromkeys(step.codes, step.start // DAY))
            ready.update((code, max(step.end, ready.get(code, 0))) for code in step.codes)
    first_cold = {group.batch for group in work.cold if not group.after_tempers}
    for step in steps:
        if step.what == "cold out" and step.which in first_cold:
            ready.update((code, max(step.end, ready.get(code, 0))) for code in step.codes)
    waits: list[tuple[int, int]] = []
    apart = mixed = queued = False
    for own in work.tempers:
        start, times = begun[str(own.batch)], [ready[code] for code in own.codes]
        if start - min(times) > LONGEST:
            waits.append((start - min(times), own.batch))
            differ = max(times) - min(times) > LONGEST
            apart = apart or differ
            mixed = mixed or (differ and len({quenched[code] for code in own.codes}) > 1)
            queued = queued or start - max(times) > LONGEST // 2
    if not waits:
        return ()
    waits.sort(key=lambda wait: (-wait[0], wait[1]))
    named = [f"{batch} ({round(minutes / 60)}{NO_BREAK}h)" for minutes, batch in waits]
    words = [
        f"Hardened coupons lie untempered for more than {LONGEST // 60}{NO_BREAK}h (about a night; "
        "common practice, no source) and can crack by themselves, see the cautions. Longest wait "
        f"by temper batch: {', '.join(named)}."
    ]
    if queued:
        words.append("A longer day, the oven in the evening, or larger temper batches help.")
    if apart:
        words.append(f"Coupons of one batch are ready on different days: {_remedy(work, mixed)}.")
    return (" ".join(words),)


def _remedy(work: WorkList, mixed: bool) -> str:
    """What helps in this plan: only what it has, and has not yet done."""
    if any(own.delay for own in work.cold):
        return "temper batches from loads of one day, or shorter delays, help"
    shorter = "a shorter time in the cold" if work.cold else ""
    if mixed:
        own_day = "temper batches from loads of one day"
        return f"{own_day}, or {shorter}, help" if shorter else f"{own_day} help"
    return f"{shorter} helps, so that all are ready on the day of their quench"
