"""A plan and the steps that are checked against it: what belongs to a coupon, what is wrong."""

from __future__ import annotations

import functools
import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from quenchbook.bench.timetable import Breach, Step
from quenchbook.errors import UnitError
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import Study
from quenchbook.study.hours import WorkHours
from quenchbook.units import parse_quantity

_DEGREES: Final = "temperature"
UNITS: Final = {
    "furnace_load": "Furnace load", "cold_batch": "Cold batch", "temper_batch": "Temper batch",
}  # fmt: skip


@dataclass(frozen=True)
class Desk:
    """A plan, working hours and the steps that are checked against them."""

    matrix: CouponMatrix
    hours: WorkHours
    steps: tuple[Step, ...]

    @property
    def study(self) -> Study:
        """Study of the plan."""
        return self.matrix.study

    @functools.cached_property
    def rows(self) -> list[dict[str, Any]]:
        """Coupons that go through the furnace, in furnace order."""
        frame = self.matrix.in_loads.sort_values(["furnace_load", "load_place"])
        return [{str(k): v for k, v in row.items()} for row in frame.to_dict("records")]

    @functools.cached_property
    def _steps_of(self) -> dict[tuple[str, str], list[Step]]:
        found: dict[tuple[str, str], list[Step]] = defaultdict(list)
        for step in sorted(self.steps, key=lambda step: step.start):
            for code in step.codes:
                found[step.what, code].append(step)
        return found

    def of(self, what: str, coupon: object) -> list[Step]:
        """Steps of a kind that a coupon takes part in, in time order."""
        return self._steps_of.get((what, str(coupon)), [])

    @functools.cached_property
    def settings(self) -> dict[tuple[str, str], float]:
        """Degrees of each load and temper batch of the plan [degC], where it tells them."""
        found: dict[tuple[str, str], float] = {}
        for unit, name in (("furnace_load", "austenitize"), ("temper_batch", "temper")):
            hot = [f for f in self.study.factors if f.set_for == unit and f.dimension == _DEGREES]
            factor = next((f for f in hot if f.name == name), hot[0] if hot else None)
            held = degrees_of(self.study.held_constant.get(name, ""))
            for row in self.rows:
                value = held if factor is None else row[factor.column]
                if isinstance(value, float | int) and value == value:
                    found[unit, str(row.get(unit))] = float(value)
        return found

    def tempers_first(self, row: Mapping[str, Any]) -> bool:
        """Whether a coupon is tempered before it goes into the cold."""
        if not self.study.has("step_order") or not row.get("temper_batch", 0):
            return False
        return bool(row[self.study.factor("step_order").column] == "temper_then_cold")

    def quenched(self, row: Mapping[str, Any]) -> int | None:
        """Minute at which the quench of a coupon's load ends."""
        own = self.of("quench", row["coupon"])
        return own[-1].end if own else None

    def time(self, row: Mapping[str, Any], name: str, otherwise: float) -> float:
        """Level of a factor that is a time [min]; else what is held constant."""
        if not self.study.has(name):
            return otherwise
        value = row[self.study.factor(name).column]
        return otherwise if isinstance(value, str) or value != value else float(value)

    @staticmethod
    def series(row: Mapping[str, Any]) -> Any:
        """Row of the plan as pandas gives it."""
        import pandas as pd

        return pd.Series(dict(row))

    @staticmethod
    def missing(unit: str, which: str, what: str) -> Breach:
        """Breach of a unit that is not worked as the plan says."""
        words = f"{UNITS[unit]} {which}: expected {what}."
        return Breach("missing", unit, which, "", 0, words, "Make the timetable again.")


@functools.cache
def degrees_of(words: str) -> float | None:
    """Temperature that words tell [degC]; None if they tell none."""
    try:
        return parse_quantity(words, _DEGREES)
    except UnitError:
        return None


def breach(kind: str, step: Step, minutes: int, words: str) -> Breach:
    """Breach of a step, in words that begin with its name."""
    what = f"{name_of(step)}, '{step.what}': {words}."
    return Breach(kind, step.unit, step.which, step.what, minutes, what)


def short(kind: str, step: Step, lacking: float, what: str) -> Iterator[Breach]:
    """Breach of a step that is too short, if minutes are lacking."""
    if (minutes := math.ceil(lacking - 1e-9)) > 0:
        yield breach(kind, step, minutes, f"{what} is {minutes} min too short")


def off(kind: str, step: Step, more: int, what: str) -> Iterable[Breach]:
    """Breach of a step that must take exactly its time, if it does not."""
    if more:
        side = "long" if more > 0 else "short"
        yield breach(kind, step, abs(more), f"{what} is {abs(more)} min too {side}")


def name_of(step: Step) -> str:
    """Name of what a step is about: ``Furnace load 3``."""
    return f"{UNITS.get(step.unit, step.unit)} {step.which}"
