"""How many furnace loads and coupons a question needs before it can be answered."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import pandas as pd

from quenchbook.errors import EstimabilityError, PlanError, with_suggestion
from quenchbook.outlook.layouts import drawn_layout, furnace_settings
from quenchbook.outlook.questions import QuestionOutlook, question_outlooks
from quenchbook.outlook.wording import GOAL_WORDS, Goal, times_in
from quenchbook.shown import ShowsItself
from quenchbook.study.definition import Noise, Study
from quenchbook.units import number_text


@dataclass(frozen=True, eq=False, repr=False)
class UnitsNeeded(ShowsItself):
    """Smallest plan of a kind that answers a question, and the plans that were tried.

    Attributes
    ----------
    study : Study
    question : str
        Key.
    goal : str
        ``difference``: a difference of the margin is found. ``equivalence``: no difference is
        shown to be inside the margin.
    target : float
        Power that was asked for.
    loads, coupons : int or None
        What it takes; None where not even the largest plan that was tried will do.
    table : DataFrame
        ``furnace_loads, coupons, power`` of the plans that were tried.
    notes : tuple of str
    """

    study: Study
    question: str
    goal: Goal
    target: float
    loads: int | None
    coupons: int | None
    table: pd.DataFrame
    notes: tuple[str, ...] = ()

    def summary(self) -> str:
        """Say what it takes."""
        asked = self.study.question_of(self.question)
        words = asked.words
        aim = GOAL_WORDS[self.goal]
        if self.table.empty:
            return "\n".join([f"{words} No plan can be made: {self.notes[-1]}", *self.notes[:-1]])
        if self.loads is None or self.coupons is None:
            most = int(self.table["furnace_loads"].max())
            best = number_text(100 * float(self.table["power"].max()), 0)
            verdict = (
                f"{most} {self.study.unit_word('furnace_load', most)} are not enough {aim}: they "
                f"do it {best} times in 100. A wider margin, or another way to set this factor, "
                "is needed."
            )
        else:
            verdict = (
                f"{self.loads} {self.study.unit_word('furnace_load', self.loads)} with "
                f"{self.coupons} {self.study.unit_word('coupon', self.coupons)} and "
                f"{self.study.response(asked.response).readings} readings on each {aim} "
                f"{times_in(self.target)}."
            )
        return "\n".join([f"{words} {verdict}", *self.notes])

    def to_frame(self) -> pd.DataFrame:
        """Return the plans that were tried."""
        return self.table.copy()

    def listings(self) -> Mapping[str, pd.DataFrame]:
        """Long tables by their title."""
        return {"Plans tried": self.table}

    def __repr__(self) -> str:
        return f"<UnitsNeeded {self.question}: {self.loads} furnace loads>"


def units_needed(
    study: Study,
    question: str,
    *,
    goal: Goal = "difference",
    power: float = 0.8,
    noise: Mapping[str, Noise] | None = None,
    most_loads: int = 96,
) -> UnitsNeeded:
    """How many furnace loads a question needs, with the coupons a load of the study file.

    Parameters
    ----------
    study : Study
    question : str
        Key of a declared comparison of a response with a margin.
    goal : {"difference", "equivalence"}
    power : float
        How often the study shall succeed.
    noise : mapping of response to Noise, optional
    most_loads : int
        Plans with more loads are not tried.

    Returns
    -------
    UnitsNeeded

    Raises
    ------
    EstimabilityError
        If the question has no margin, or is not about a comparison.
    """
    asked = study.question_of(question)
    if goal not in GOAL_WORDS:
        words = f"'{goal}' is not a goal. Goals are {', '.join(GOAL_WORDS)}."
        raise EstimabilityError(with_suggestion(words, goal, GOAL_WORDS))
    if not 0 < power < 1:
        raise EstimabilityError(f"power is {power:g}. Write a number such as 0.8.")
    settings = furnace_settings(study)
    by_response = {study.response(name).name: own for name, own in (noise or {}).items()}
    told = {name: own for name, own in by_response.items() if name == asked.response}
    tried: dict[int, tuple[int, float]] = {}
    notes: tuple[str, ...] = ()
    refusals: list[str] = []

    def reached(repeats: int) -> float:
        nonlocal notes
        loads = repeats * settings
        if loads not in tried:
            drawn = drawn_layout(study, asked, loads, study.layout.coupons_per_load, seed=1)
            outlook = question_outlooks(drawn.matrix, noise=told)
            notes = outlook.notes
            tried[loads] = (drawn.counts.coupons, _power(outlook.answer(question), goal))
        return tried[loads][1]

    found = _first_reaching(reached, power, max(1, most_loads // settings), refusals)
    loads = found * settings if found else None
    table = pd.DataFrame(
        [(loads, *own) for loads, own in sorted(tried.items())],
        columns=["furnace_loads", "coupons", "power"],
    )
    coupons = tried[loads][0] if loads else None
    if not tried:
        notes = tuple(refusals[-1:])
    return UnitsNeeded(study, question, goal, power, loads, coupons, table, notes)


def _power(own: QuestionOutlook, goal: Goal) -> float:
    if own.margin is None:
        raise EstimabilityError(
            f"{own.question.key}: no margin is declared for {own.response.quantity}, so there is "
            "no size to find or to rule out. Write equivalence_margin in the study file."
        )
    if own.planned is None:
        return 0.0
    found = own.power(own.margin) if goal == "difference" else own.equivalence_power()
    return found or 0.0


def _first_reaching(
    reached: Callable[[int], float], target: float, most: int, refusals: list[str]
) -> int | None:
    """Smallest number of repeats that reaches a power, by doubling and halving."""

    def good(repeats: int) -> bool:
        try:
            return reached(repeats) >= target
        except PlanError as error:  # too few loads for the levels or the terms
            refusals.append(str(error))
            return False

    low, high = 0, 1
    while not good(high):
        if high >= most:
            return None
        low, high = high, min(2 * high, most)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if good(middle) else (middle, high)
    return high
