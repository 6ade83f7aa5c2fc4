"""Starts of loads and cold groups looked for by a constraint solver (optional: ortools).

The solver is the CP-SAT solver of Google OR-Tools (Apache-2.0). It begins from a placement by
earliest start and looks for one that misses fewer minutes, then for one that ends earlier. It has
one worker, a fixed seed and a limit in its own deterministic time, so that the same plan gets the
same timetable on a slow and on a fast machine, as long as the version of the solver is the same.
Loads keep their randomized order.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

from quenchbook.bench.pace import Pace
from quenchbook.bench.solver import solver_of_effort
from quenchbook.bench.timetable import DAY, whole
from quenchbook.bench.timetable_steps import Placement
from quenchbook.bench.work_list import ColdWork, LoadWork, WorkList
from quenchbook.study.hours import WorkHours

_EFFORT: Final = 8.0  # deterministic time, about as many seconds of a free processor
_MORE_DAYS: Final = 5  # days of work after the end of the placement it begins from


def searched_loads(
    work: WorkList, hours: WorkHours, first: Placement, *, effort: float = _EFFORT
) -> Placement | None:
    """Starts of loads, and of groups that go into the cold before their temper, by search.

    Minutes missed are counted alike, as the check of a timetable does: beyond the tolerance of a
    delay, beyond the longest stay in the cold, outside working hours, and days between loads of
    one day of the plan. Nothing is put on a day without work, and no step of the hands lies across
    midnight. Tempers and the groups after them are not placed here.

    Parameters
    ----------
    work : WorkList
    hours : WorkHours
    first : Placement
        Starts to begin from, for all loads and for these groups.
    effort : float, optional
        Limit in deterministic time of the solver, which counts its work and no clock: for the
        minutes missed, and half as much for the earlier end.

    Returns
    -------
    Placement or None
        None if nothing was found: within these rules, and within the effort.

    References
    ----------
    https://developers.google.com/optimization/cp/cp_solver : what the solver is. What is asked of
    it here follows no publication.
    """
    sheet = _Sheet.of(work, Pace(hours), first)
    if not work.loads:
        return None
    before: LoadWork | None = None
    for own in work.loads:
        sheet.add_load(own, before)
        before = own
    for group in work.cold:
        if not group.after_tempers:
            sheet.add_group(group)
    sheet.share_hands_and_baths()
    return sheet.solved(effort)


@dataclass
class _Sheet:
    """The model of the solver while it is written.

    Attributes
    ----------
    model : CpModel
    first : Placement
        Starts that the search begins from.
    days : list of int
        Days on which work is possible, the first is 0.
    at : dict of (what, which) to variable
        When each step of the hands begins.
    day : dict of (what, which) to variable
        On which day it is.
    hint : dict of (what, which) to int
        When it begins in the placement that the search begins from.
    hands, baths, missed : list, dict, list
        Intervals of the hands; intervals, coupons and room of each bath; minutes missed.
    """

    model: Any
    work: WorkList
    pace: Pace
    first: Placement
    days: list[int]
    at: dict[tuple[str, str], Any] = field(default_factory=dict)
    day: dict[tuple[str, str], Any] = field(default_factory=dict)
    hint: dict[tuple[str, str], int] = field(default_factory=dict)
    hands: list[Any] = field(default_factory=list)
    baths: dict[str, list[tuple[Any, int, int]]] = field(default_factory=dict)
    missed: list[Any] = field(default_factory=list)
    ends: list[Any] = field(default_factory=list)

    @classmethod
    def of(cls, work: WorkList, pace: Pace, first: Placement) -> _Sheet:
        """Empty model for a work list."""
        from ortools.sat.python import cp_model

        last = max([*first.loads.values(), *(out for _, out in first.cold.values())], default=0)
        until = pace.working_days(last // DAY + 1, _MORE_DAYS + 1)[-1]
        days = [day - 1 for day in range(1, until + 1) if not pace.rests(day)]
        return cls(cp_model.CpModel(), work, pace, first, days)

    @property
    def most(self) -> int:
        """Last minute of all that is planned."""
        return (self.days[-1] + 1) * DAY

    # --- what is placed --------------------------------------------------------------------------

    def add_load(self, own: LoadWork, before: LoadWork | None) -> None:
        """A load: in order, after the furnace can be at its setting, on its day of the plan."""
        model, pace, which = self.model, self.pace, str(own.load)
        start = self.first.loads[own.load]
        quench = pace.quench_start(own, start)
        into = self._task("load", which, pace.loading, start)
        out = self._task("quench", which, own.quench, quench)
        model.add(out == into + (quench - start))
        self.ends.append(out + own.quench)
        ramp = pace.ramp(None, own.setting)
        switched, cold = model.new_bool_var(""), start
        if before is None:
            model.add(switched == 1)
            model.add_hint(switched, 1)
        else:
            key = ("quench", str(before.load))
            last, free = self.day[key], self.at[key] + before.quench
            day = self.day["load", which]
            model.add(day == last).only_enforce_if(~switched)
            model.add(day > last).only_enforce_if(switched)
            gap = pace.ramp(before.setting, own.setting)
            model.add(into >= free + gap).only_enforce_if(~switched)
            model.add(into >= free + ramp).only_enforce_if(switched)
            cold = pace.quench_end(before, self.first.loads[before.load])
            model.add_hint(switched, int(start // DAY != cold // DAY))
            if self.work.has_days and own.day != before.day:
                model.add(switched == 1)
        self._switch_on(own, into, switched, ramp)
        self._same_day(own)

    def _switch_on(self, own: LoadWork, into: Any, switched: Any, ramp: int) -> None:
        """Hands that switch a cold furnace on, on the day of its load."""
        minutes = min(whole(self.pace.hours.switch_on), ramp)
        clock = into - DAY * self.day["load", str(own.load)] - ramp
        self.model.add(clock >= 0).only_enforce_if(switched)
        self._inside_hours(clock, minutes, self.first.loads[own.load] % DAY - ramp, switched)
        if minutes:
            interval = self.model.new_optional_fixed_size_interval_var
            self.hands.append(interval(into - ramp, minutes, switched, ""))

    def _same_day(self, own: LoadWork) -> None:
        """Loads of a day of the plan run on one day; each day between them is a day missed."""
        first = next(o for o in self.work.loads if o.day == own.day)
        if not self.work.has_days or first is own:
            return
        late = self.model.new_int_var(0, self.days[-1], "")
        self.model.add(late == self.day["load", str(own.load)] - self.day["load", str(first.load)])
        starts = self.first.loads
        self.model.add_hint(late, starts[own.load] // DAY - starts[first.load] // DAY)
        self.missed.append(DAY * late)

    def add_group(self, own: ColdWork) -> None:
        """A group that goes into the cold: after its quench, near its delay, as long as planned."""
        model, pace = self.model, self.pace
        load = next(load for load in self.work.loads if load.load == own.load)
        begin, end = self.first.cold[own.batch]
        into = self._task("cold in", own.batch, pace.transfer, begin)
        out = self._task("cold out", own.batch, pace.take_out, end)
        since = self.at["quench", str(own.load)] + load.quench
        cold = into + pace.transfer
        model.add(into >= since)
        if own.delay is not None:
            off = begin + pace.transfer - own.delay
            off -= pace.quench_end(load, self.first.loads[own.load])
            self._over(
                [
                    cold - since - own.delay - own.tolerance,
                    since + own.delay - cold - own.tolerance,
                ],
                abs(off) - own.tolerance,
            )
        least = own.cooling + own.hold
        model.add(out >= cold + least)
        longest = own.cooling + own.at_most
        self._over([out - cold - longest], end - begin - pace.transfer - longest)
        self.ends.append(out + pace.take_out)
        stay = model.new_int_var(0, self.most, "")
        model.add(stay == out + pace.take_out - cold)
        model.add_hint(stay, end + pace.take_out - begin - pace.transfer)
        interval = model.new_interval_var(cold, stay, out + pace.take_out, "")
        # a group larger than the bath goes in alone, as by earliest start
        coupons = min(own.coupons, own.capacity)
        self.baths.setdefault(own.route, []).append((interval, coupons, own.capacity))

    def share_hands_and_baths(self) -> None:
        """One thing at a time for the hands; no more coupons in a bath than it holds."""
        self.model.add_no_overlap(self.hands)
        for own in self.baths.values():
            intervals, coupons, room = zip(*own, strict=True)
            self.model.add_cumulative(intervals, coupons, room[0])

    def _task(self, what: str, which: str, minutes: int, hint: int) -> Any:
        """Start of a step that needs hands, on one day of work."""
        from ortools.sat.python import cp_model

        model = self.model
        start = model.new_int_var(0, self.most, "")
        day = model.new_int_var_from_domain(cp_model.Domain.from_values(self.days), "")
        clock = model.new_int_var(0, max(0, DAY - 1 - minutes), "")
        model.add(start == DAY * day + clock)
        for variable, value in ((start, hint), (day, hint // DAY), (clock, hint % DAY)):
            model.add_hint(variable, value)
        self.at[what, which], self.day[what, which] = start, day
        self.hint[what, which] = hint
        self._inside_hours(clock, minutes, hint % DAY, None)
        if minutes:
            self.hands.append(model.new_fixed_size_interval_var(start, minutes, ""))
        return start

    def _inside_hours(self, clock: Any, minutes: int, hint: int, only_if: Any) -> None:
        """Count how far a step of a day lies outside working hours."""
        opens, closes = self.pace.hours.opens, self.pace.hours.closes
        last = max(minutes, 1)
        told = max(opens - hint, hint + last - closes)
        self._over([opens - clock, clock + last - closes], told, only_if)

    def _over(self, amounts: list[Any], hint: int, only_if: Any = None) -> None:
        """Minutes missed: the largest of some amounts, if above zero."""
        missed = self.model.new_int_var(0, self.most, "")
        for amount in amounts:
            rule = self.model.add(missed >= amount)
            if only_if is not None:
                rule.only_enforce_if(only_if)
        self.model.add_hint(missed, max(0, hint))
        self.missed.append(missed)

    # --- the search ------------------------------------------------------------------------------

    def solved(self, effort: float) -> Placement | None:
        """Fewest minutes missed, then the earliest end with no more of them missed."""
        from ortools.sat.python import cp_model

        model = self.model
        end = model.new_int_var(0, self.most, "")
        model.add_max_equality(end, self.ends)
        missed = sum(self.missed)
        model.minimize(missed)
        solver = solver_of_effort(effort)
        if solver.solve(model) not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return None
        found = self._placement(solver)
        model.add(missed <= round(solver.objective_value))
        starts = [self.at["load", str(own.load)] for own in self.work.loads]
        # a minute of the whole counts like a minute of every load
        model.minimize(len(starts) * end + sum(starts))
        values = [(variable, solver.value(variable)) for variable in self._variables()]
        model.clear_hints()
        for variable, value in values:
            model.add_hint(variable, value)
        solver = solver_of_effort(effort / 2)
        if solver.solve(model) in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            found = self._placement(solver)
        return found

    def _variables(self) -> list[Any]:
        count = len(self.model.proto.variables)
        return [self.model.get_int_var_from_proto_index(place) for place in range(count)]

    def _placement(self, solver: Any) -> Placement:
        found = Placement()
        for own in self.work.loads:
            found.loads[own.load] = int(solver.value(self.at["load", str(own.load)]))
        for batch in (own.batch for own in self.work.cold if not own.after_tempers):
            into, out = (solver.value(self.at[what, batch]) for what in ("cold in", "cold out"))
            found.cold[batch] = (int(into), int(out))
        return found
