"""Check of what the steps of a timetable say: coupons, units, places and words of the plan."""

from __future__ import annotations

import functools
from collections.abc import Iterator
from typing import Any, Final

from quenchbook.bench.check_desk import Desk, breach, degrees_of
from quenchbook.bench.timetable import Breach, Step

_NEAR: Final = 0.5  # degC: words are rounded to a tenth of their own unit
_OF_COLD: Final = {"wait": "bench"}  # else in the bath


class PlanDesk(Desk):
    """Compares every step with the plan."""

    def steps_of_the_plan(self) -> Iterator[Breach]:
        """Each step has coupons of its unit, happens where it must, and says their level."""
        for step in self.steps:
            if step.minutes < 0:
                yield breach("plan", step, -step.minutes, "ends before it begins")
            foreign = [code for code in step.codes if not self._belongs(code, step)]
            if foreign or not step.codes:
                told = f"coupon {foreign[0]} is" if foreign else "its coupons are"
                yield breach("plan", step, 0, f"{told} not of this batch or load in the plan")
            if step.lane != (lane := self._lane(step)):
                yield breach("plan", step, 0, f"happens in the {step.lane}, expected the {lane}")
            if (wanted := self._wanted_level(step)) is not None:
                yield breach("plan", step, 0, f"says '{step.level}', the plan says {wanted}")

    @functools.cached_property
    def _row_of(self) -> dict[str, dict[str, Any]]:
        return {str(row["coupon"]): row for row in self.rows}

    def _belongs(self, code: str, step: Step) -> bool:
        row = self._row_of.get(code)
        if row is None:
            return False
        if step.unit != "cold_batch":
            return str(row.get(step.unit)) == step.which
        name = str(row.get("cold_batch", f"{row['furnace_load']}-1"))
        # a batch that is not alike in all its factors goes in by parts: 3-1, 3-1b
        return step.which == name or (step.which[:-1] == name and step.which[-1].isalpha())

    def _lane(self, step: Step) -> str:
        if step.unit == "cold_batch":
            return _OF_COLD.get(step.what, "bath")
        of_temper = step.what in ("temper in", "temper", "temper out")
        return self.hours.temper_in if of_temper else "furnace"

    def _wanted_level(self, step: Step) -> str | None:
        """Level of the plan where a step says another."""
        if step.unit == "cold_batch":
            if not self.study.has("cold_route"):
                return None
            column = self.study.factor("cold_route").column
            rows = (self._row_of.get(code) for code in step.codes)
            routes = {str(row[column]) for row in rows if row is not None}
            return None if routes <= {step.level} else " and ".join(sorted(routes))
        told, wanted = degrees_of(step.level), self.settings.get((step.unit, step.which))
        if told is None:
            return "a temperature"
        if wanted is None or abs(told - wanted) <= _NEAR:
            return None
        return f"{wanted:g}\u00a0\u00b0C"
