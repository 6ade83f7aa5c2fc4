"""Sizes of a study by what they cost and the difference that they find, and that in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np
import pandas as pd

from quenchbook.outlook.wording import plan_text, size_text, times_in
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.definition import Noise, Question, Response, Study
from quenchbook.study.prices import Prices
from quenchbook.units import NO_BREAK, capital

Basis = Literal["money", "hours"]

_SHARPER: Final = 0.9
"""A dearer plan is worth a sentence when its difference is this share of the plan's or less."""
_CHEAPER: Final = 0.75
"""A cheaper plan is worth a sentence when it costs this share of the plan or less."""


@dataclass(frozen=True, eq=False, repr=False)
class CertaintyCosts(ShowsItself):
    """Sizes of a study, what each costs, and what it finds about one question.

    Attributes
    ----------
    study : Study
    question : Question
    frame : DataFrame
        One row for each plan, cheapest first: ``furnace_loads, coupons_per_load, indents, coupons,
        cost, hours, df_error, half_width, detectable_difference, equivalence_power, unbeaten,
        own_plan``. Differences are on the analysed scale.
    basis : str
        ``money``, or ``hours`` of work where no price is told: what plans are compared by.
    prices : Prices
    noise : Noise
    power : float
        Chance with which `detectable_difference` is found.
    margin : float or None
        Difference too small to matter, on the analysed scale.
    unpriced : tuple of str
        What is not in the cost, for no price is told.
    notes : tuple of str
        Noise with its source, what is not in the cost, what was assumed, plans left out.
    """

    study: Study
    question: Question
    frame: pd.DataFrame
    basis: Basis
    prices: Prices
    noise: Noise
    power: float
    margin: float | None = None
    unpriced: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def response(self) -> Response:
        """What the question is about."""
        return self.study.response(self.question.response)

    @property
    def effort(self) -> pd.Series:
        """What plans are compared by: ``cost`` or ``hours``."""
        return self.frame["cost" if self.basis == "money" else "hours"]

    @property
    def own(self) -> dict[str, Any] | None:
        """Row of the plan as the study has it; None where it cannot answer the question."""
        rows = records_of(self.frame[self.frame["own_plan"]])
        return rows[0] if rows else None

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of the table."""
        return self.frame.copy()

    def unbeaten(self) -> pd.DataFrame:
        """Plans that no other plan beats: none is at least as sharp for no more."""
        return self.frame[self.frame["unbeaten"]].reset_index(drop=True)

    # --- words -----------------------------------------------------------------------------------

    def effort_text(self, amount: float) -> str:
        """Money or hours in print."""
        if self.basis == "money":
            return self.prices.money(float(f"{amount:.3g}"))
        return f"{amount:.0f}{NO_BREAK}hours of work"

    def size_text(self, size: float, *, unit: bool = True) -> str:
        """A difference in print."""
        return size_text(self.response, size, unit=unit)

    def plan_text(self, row: Mapping[str, Any]) -> str:
        """A plan in print: ``12 furnace loads of 8 coupons, 5 indents each``."""
        return plan_text(self.study, self.response, row)

    def sentences(self) -> tuple[str, ...]:
        """What more money or work buys, and what less would lose, from the plan of the study."""
        own = self.own
        if own is None:
            lines = ["The plan as it stands cannot answer the question."]
        else:
            lines = [
                f"The plan, {self.plan_text(own)}, takes about {self._effort_of(own)} and finds a "
                f"difference of {self.size_text(own['detectable_difference'])} "
                f"{times_in(self.power)}.",
                *self._others(own),
            ]
        return (*lines, *self._margin_sentences())

    def _others(self, own: Mapping[str, Any]) -> list[str]:
        """Unbeaten plans beside that of the study: for no more, for more, for less."""
        best, effort = self.unbeaten(), effort_name(self.basis)
        rows, at, found = records_of(best), float(own[effort]), float(own["detectable_difference"])
        taken = best[effort].to_numpy(dtype=float)
        sharp = best["detectable_difference"].to_numpy(dtype=float)
        lines, reached = [], found
        if not own["unbeaten"]:
            row = rows[int(np.flatnonzero((taken <= at) & (sharp <= found))[-1])]
            lines.append(
                f"For no more, {self.plan_text(row)}: {self._instead(row, found)}"
                f"{self._hours_words(row, own)}."
            )
            reached = float(row["detectable_difference"])
        targets = [_SHARPER * reached]
        if self.margin is not None and self.margin < _SHARPER * reached:
            targets.append(self.margin)
        dearer = [np.flatnonzero((taken > at) & (sharp <= target))[:1] for target in targets]
        for place in dict.fromkeys(int(hit[0]) for hit in dearer if hit.size):
            row, more = rows[place], self.effort_text(float(taken[place]) - at)
            more = more.replace(NO_BREAK, f"{NO_BREAK}more{NO_BREAK}", 1)
            verb = "buys" if self.basis == "money" else "buy"
            plan = f"{self.plan_text(row)}{self._hours_words(row, own)}"
            lines.append(f"{more} {verb}: {self._instead(row, found)} ({plan}).")
        if (cheaper := np.flatnonzero(taken <= _CHEAPER * at)).size:
            row, less = rows[int(cheaper[-1])], self.effort_text(at - float(taken[cheaper[-1]]))
            verb = "leaves" if self.basis == "money" else "leave"
            lines.append(
                f"{less} less {verb}: {self._instead(row, found)} ({self.plan_text(row)})."
            )
        return lines

    def _hours_words(self, row: Mapping[str, Any], own: Mapping[str, Any]) -> str:
        """Hours of work that another plan takes beyond the study's, where money is compared."""
        more = round(float(row["hours"]) - float(own["hours"]))
        if self.basis == "hours" or more == 0:
            return ""
        hours = f"{abs(more)} {'hour' if abs(more) == 1 else 'hours'} of work"
        return f", {hours} {'more' if more > 0 else 'less'}"

    def _instead(self, row: Mapping[str, Any], found: float) -> str:
        now = self.size_text(float(row["detectable_difference"]), unit=False)
        return (
            f"a difference of {now} instead of {self.size_text(found)} found {times_in(self.power)}"
        )

    def _effort_of(self, row: Mapping[str, Any]) -> str:
        return self.effort_text(float(row[effort_name(self.basis)]))

    def _margin_sentences(self) -> list[str]:
        """The cheapest plans that find a difference of the margin, and that show equivalence."""
        if self.margin is None:
            return []
        rows, often = records_of(self.unbeaten()), times_in(self.power)
        margin = self.size_text(self.margin)
        finds = [row for row in rows if row["detectable_difference"] <= self.margin]
        shows = [row for row in rows if row["equivalence_power"] >= self.power]
        lines = [f"No plan here finds a difference as small as the margin, {margin}, {often}."]
        if finds:
            lines = [
                f"The cheapest plan here that finds a difference of the margin, {margin}, {often}: "
                f"{self.plan_text(finds[0])}, about {self._effort_of(finds[0])}."
            ]
        if shows:
            lines.append(
                "The cheapest of the unbeaten plans that shows a difference to be inside the "
                f"margin {often}, if there is none: {self.plan_text(shows[0])}, about "
                f"{self._effort_of(shows[0])}."
            )
        elif self.question.factor:
            lines.append(
                f"No unbeaten plan shows a difference to be inside the margin {often}, even if "
                "there is none."
            )
        return lines

    def shown(self) -> Shown:
        """What the plan finds and what more would buy, then the plans that nothing beats."""
        first, *rest = self.sentences()
        rows = []
        for row in records_of(self.frame[self.frame["unbeaten"] | self.frame["own_plan"]]):
            mark = " (the plan)" if row["own_plan"] else ""
            rows.append(
                {
                    "plan": capital(self.plan_text(row)) + mark,
                    effort_name(self.basis): self.effort_text(float(row[effort_name(self.basis)])),
                    f"found {times_in(self.power)}": self.size_text(
                        float(row["detectable_difference"])
                    ),
                    "half_width": f"±{self.size_text(float(row['half_width']))}",
                }
            )
        notes = (self.question.words, *rest, *self.notes)
        return Shown(first, pd.DataFrame(rows), notes, listings={"All plans": self.frame})

    def __repr__(self) -> str:
        count = int(self.frame["unbeaten"].sum())
        return (
            f"<CertaintyCosts of {self.study.key}, {self.question.key}: {len(self.frame)} plans, "
            f"{count} unbeaten>"
        )


def effort_name(basis: Basis) -> str:
    """Column that plans are compared by."""
    return "cost" if basis == "money" else "hours"


def records_of(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows of a frame by column name."""
    return [{str(k): value for k, value in row.items()} for row in frame.to_dict("records")]
