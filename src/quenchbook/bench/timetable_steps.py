"""From starts to steps: the furnace between loads, every step in time, and what is not met."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from quenchbook.bench.cold_waits import cold_wait_notes
from quenchbook.bench.pace import Pace
from quenchbook.bench.timetable import DAY, HANDS, Breach, Step, Timetable, clock, whole
from quenchbook.bench.untempered import untempered_notes
from quenchbook.bench.work_list import ColdWork, TemperWork, WorkList, delay_words
from quenchbook.made_by import made_from
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.hours import WorkHours
from quenchbook.units import minutes_text


@dataclass
class Placement:
    """When each piece of work starts [min after the midnight before the first day].

    Attributes
    ----------
    loads : dict of load to int
        When it goes into the furnace.
    cold : dict of batch to (int, int)
        When its transfer begins, and when it begins to be taken out.
    tempers : dict of (batch, cycle) to int
        When it begins to be put in.
    """

    loads: dict[int, int] = field(default_factory=dict)
    cold: dict[str, tuple[int, int]] = field(default_factory=dict)
    tempers: dict[tuple[int, int], int] = field(default_factory=dict)


@dataclass(frozen=True)
class Use:
    """One use of the furnace: from loading to the last coupon out, at a setting [degC]."""

    start: int
    end: int
    setting: float


def furnace_uses(work: WorkList, placed: Placement, pace: Pace) -> list[Use]:
    """All uses of the furnace in time order, tempers among them if they have no own oven."""
    uses = [
        Use(placed.loads[own.load], pace.quench_end(own, placed.loads[own.load]), own.setting)
        for own in work.loads
        if own.load in placed.loads
    ]
    if pace.hours.temper_in == "furnace":
        batches = {own.batch: own for own in work.tempers}
        uses += [
            Use(start, pace.temper_end(batches[batch], start), batches[batch].setting)
            for (batch, _), start in placed.tempers.items()
        ]
    return sorted(uses, key=lambda use: use.start)


def heat_start(before: Use | None, use: Use, pace: Pace) -> tuple[int, bool]:
    """When the furnace begins to go to its setting, and whether it is switched on for it.

    It is off between two days. Where the gap across midnight is too short to heat it from cold, it
    stays on, as within a day.
    """
    cold = use.start - pace.ramp(None, use.setting)
    if before is None or (before.end // DAY != use.start // DAY and before.end <= cold):
        return cold, True
    return before.end, False


def finished_timetable(
    matrix: CouponMatrix,
    work: WorkList,
    placed: Placement,
    hours: WorkHours,
    notes: Sequence[str] = (),
) -> Timetable:
    """Timetable of a placement, with everything it does not meet."""
    pace = Pace(hours)
    steps = [
        *_furnace_steps(work, placed, pace),
        *(step for own in work.cold for step in _cold_steps(own, work, placed, pace)),
        *(step for own in work.tempers for step in _temper_steps(own, placed, pace)),
    ]
    steps.sort(key=lambda step: (step.start, step.end, step.lane, step.which))
    waits = cold_wait_notes(work, steps, pace)
    made = Timetable(
        steps=tuple(steps),
        breaches=tuple(_breaches(work, placed, pace, steps)),
        hours=hours,
        title=matrix.study.title,
        plan=matrix.short_hash,
        has_days=work.has_days,
        held_back=bool(waits),
        notes=(*waits, *work.notes, *untempered_notes(work, steps), *notes),
    )
    return made_from(made, matrix)


def reference_time(own: ColdWork, work: WorkList, placed: Placement, pace: Pace) -> int:
    """When the delay of a group begins: its last coupon is quenched, or out of the temper."""
    if own.after_tempers:
        return max(
            pace.temper_end(batch, placed.tempers[batch.batch, batch.cycles])
            for batch in work.tempers
            if batch.batch in own.after_tempers
        )
    load = next(load for load in work.loads if load.load == own.load)
    return pace.quench_end(load, placed.loads[own.load])


def _furnace_steps(work: WorkList, placed: Placement, pace: Pace) -> Iterator[Step]:
    by_start = {placed.loads[own.load]: own for own in work.loads}
    before: Use | None = None
    for use in furnace_uses(work, placed, pace):
        own = by_start.get(use.start)
        if own is not None:
            which, unit, word = str(own.load), "furnace_load", own.word
        else:
            batch, _ = next(key for key, at in placed.tempers.items() if at == use.start)
            temper = next(temper for temper in work.tempers if temper.batch == batch)
            which, unit, word = str(batch), "temper_batch", temper.word
        start, switched = heat_start(before, use, pace)
        load = own.load if own is not None else 0
        codes = own.codes if own is not None else temper.codes
        if switched:
            on = min(start + whole(pace.hours.switch_on), use.start)
            yield Step("switch on", "furnace", unit, which, start, on, word, codes, load)
        yield Step("heat", "furnace", unit, which, start, use.start, word, codes, load)
        if own is not None:
            marks = [use.start, use.start + pace.loading, 0, pace.quench_start(own, use.start)]
            marks[2] = marks[3] - own.soak
            names = ("load", "come to heat", "soak", "quench")
            for name, begin, end in zip(names, marks, [*marks[1:], use.end], strict=True):
                yield Step(name, "furnace", unit, which, begin, end, word, codes, load)
        before = use


def _cold_steps(own: ColdWork, work: WorkList, placed: Placement, pace: Pace) -> Iterator[Step]:
    into, out = placed.cold[own.batch]
    since = reference_time(own, work, placed, pace)
    cold = into + pace.transfer
    for name, lane, start, end in (
        ("wait", "bench", since, into),
        ("cold in", "bath", into, cold),
        ("cold", "bath", cold, out),
        ("cold out", "bath", out, out + pace.take_out),
    ):
        if end > start or name != "wait":
            yield Step(
                name, lane, "cold_batch", own.batch, start, end, own.route, own.codes, own.load
            )


def _temper_steps(own: TemperWork, placed: Placement, pace: Pace) -> Iterator[Step]:
    lane = pace.hours.temper_in
    for cycle in range(1, own.cycles + 1):
        start = placed.tempers[own.batch, cycle]
        out, end = pace.temper_out(own, start), pace.temper_end(own, start)
        for name, begin, stop in (
            ("temper in", start, start + pace.tray),
            ("temper", start + pace.tray, out),
            ("temper out", out, end),
        ):
            yield Step(
                name, lane, "temper_batch", str(own.batch), begin, stop, own.word, own.codes, 0,
                cycle,
            )  # fmt: skip


def _breaches(
    work: WorkList, placed: Placement, pace: Pace, steps: Sequence[Step]
) -> Iterator[Breach]:
    yield from _day_breaches(work, placed)
    for own in work.cold:
        yield from _delay_breach(own, work, placed, pace)
        yield from _stay_breach(own, placed, pace)
        if own.coupons > own.capacity:
            into, out = placed.cold[own.batch]
            yield Breach(
                "bath", "cold_batch", own.batch, "cold", out + pace.take_out - into - pace.transfer,
                f"Cold batch {own.batch} has {own.coupons} coupons, {own.word} holds "
                f"{own.capacity}.",
                "A larger bath, or cold_batches_per_load.",
            )  # fmt: skip
    for step in steps:
        if step.what in HANDS and (minutes := pace.outside(step.start, step.end)):
            rest = ", a day without work," if pace.on_rest_day(step.start, step.end) else ""
            yield Breach(
                "hours", step.unit, step.which, step.what, minutes,
                f"{unit_words(step)}: '{step.what}' at {clock(step.start)} on day "
                f"{step.start // DAY + 1}{rest} is {minutes_text(minutes)} outside working hours.",
                "Longer hours or a helper, fewer loads a day, or a shorter delay or stay.",
            )  # fmt: skip


def _delay_breach(own: ColdWork, work: WorkList, placed: Placement, pace: Pace) -> Iterator[Breach]:
    if own.delay is None:
        return
    cold = placed.cold[own.batch][0] + pace.transfer
    off = cold - reference_time(own, work, placed, pace) - own.delay
    if abs(off) > own.tolerance:
        side = "late" if off > 0 else "early"
        yield Breach(
            "delay", "cold_batch", own.batch, "cold in", abs(off) - own.tolerance,
            f"Cold batch {own.batch} ({own.word}, {delay_words(own)}) goes into the cold "
            f"{minutes_text(abs(off))} too {side}, {minutes_text(abs(off) - own.tolerance)} more "
            f"than may be missed ({minutes_text(own.tolerance)}).",
            "A helper at the bath, longer hours, fewer groups with one delay in a load, or a wider "
            "delay_tolerance.",
        )  # fmt: skip


def _stay_breach(own: ColdWork, placed: Placement, pace: Pace) -> Iterator[Breach]:
    into, out = placed.cold[own.batch]
    stay = out - into - pace.transfer - own.cooling
    if stay > own.at_most:
        yield Breach(
            "cold", "cold_batch", own.batch, "cold", stay - own.at_most,
            f"Cold batch {own.batch} ({own.word}) stays {minutes_text(stay)} at temperature, "
            f"{minutes_text(stay - own.at_most)} more than the {minutes_text(own.at_most)} that it "
            "may.",
            "Longer hours, an earlier load, or a larger cold_at_most.",
        )  # fmt: skip


def _day_breaches(work: WorkList, placed: Placement) -> Iterator[Breach]:
    if not work.has_days:
        return
    first: dict[int, int] = {}
    for own in work.loads:
        day = placed.loads[own.load] // DAY
        if (late := day - first.setdefault(own.day, day)) > 0:
            yield Breach(
                "day", "furnace_load", str(own.load), "load", late * DAY,
                f"Furnace load {own.load} belongs to day {own.day} of the plan and runs "
                f"{minutes_text(late * DAY)} after the first load of it.",
                "Longer hours, or fewer loads_per_day when the plan is made.",
            )  # fmt: skip


def unit_words(step: Step) -> str:
    """Name of what a step is about: ``Furnace load 3``."""
    names = {"furnace_load": "Furnace load", "cold_batch": "Cold batch"}
    return f"{names.get(step.unit, 'Temper batch')} {step.which}"
