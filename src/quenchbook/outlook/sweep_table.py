"""What a planning sweep found, in words and as a table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from quenchbook.outlook.certainty_table import records_of
from quenchbook.outlook.wording import chance_text, plan_text, size_text, times_in
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.definition import Question, Response, Study
from quenchbook.units import NO_BREAK, number_text

PAIRS: Final = (
    ("power", "simulated_power"),
    ("inside_chance", "simulated_inside_chance"),
    ("untrue_claims", "simulated_untrue_claims"),
)
"""Chances by formula, and the same counted in simulated studies."""

_MOST_SIZES: Final = 6  # chances that a sentence can hold
_APART: Final = 2.0  # standard errors
_BY_CHANCE: Final = 0.0455  # share of normal numbers that far from their mean


@dataclass(frozen=True, eq=False, repr=False)
class PlanningSweep(ShowsItself):
    """Many plans at many noises and true differences.

    Attributes
    ----------
    study : Study
    question : Question
    frame : DataFrame
        One row for each plan, noise and true difference: ``furnace_loads, coupons_per_load,
        indents, coupons, noise_name, noise_multiple, difference, df_error, half_width,
        simulated_half_width, half_width_error, power, simulated_power, simulation_error,
        inside_chance, simulated_inside_chance, inside_error, untrue_claims,
        simulated_untrue_claims, untrue_error, rough, studies``. Differences and widths are on the
        analysed scale.
    studies : int
        Simulated studies of each plan at each noise.
    seed : int
    power : float
        How often a difference is to be found, for the words.
    margin : float or None
        Difference too small to matter, on the analysed scale.
    versions : mapping of str to str
    work : str
        How long it took and what did it.
    notes : tuple of str
    """

    study: Study
    question: Question
    frame: pd.DataFrame
    studies: int
    seed: int
    power: float
    margin: float | None
    versions: Mapping[str, str]
    work: str = ""
    notes: tuple[str, ...] = ()

    @property
    def response(self) -> Response:
        """What the question is about."""
        return self.study.response(self.question.response)

    @property
    def target(self) -> float:
        """True difference that the words are about: that of the margin, else the largest."""
        sizes = self.frame["difference"].to_numpy(dtype=float)
        if self.margin is not None and np.any(np.isclose(sizes, self.margin)):
            return float(sizes[np.argmin(np.abs(sizes - self.margin))])
        return float(sizes[np.argmax(np.abs(sizes))])

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of the table."""
        return self.frame.copy()

    def size_text(self, size: float) -> str:
        """A difference in print."""
        return f"no {self.response.quantity} difference" if size == 0 else self._plain_size(size)

    def _plain_size(self, size: float) -> str:
        sign = "\N{MINUS SIGN}" if size < 0 else ""
        return f"{sign}{size_text(self.response, abs(size))}"

    def distances(self) -> pd.DataFrame:
        """Distance of each simulated chance from the formula, in standard errors of the formula.

        Returns
        -------
        DataFrame
            ``furnace_loads, coupons_per_load, indents, noise_name, difference, rough, column,
            distance``; without pairs that are 0 or 1 but for less than one study by formula.
        """
        keys = ["furnace_loads", "coupons_per_load", "indents", "noise_name", "difference", "rough"]
        parts = []
        for formula, counted in PAIRS:
            chance = self.frame[formula].to_numpy(dtype=float)
            count = self.frame["studies"].to_numpy(dtype=float)
            some = np.minimum(chance, 1 - chance) * count >= 1
            if formula == "power":  # without a difference a claim is untrue: counted there
                some &= self.frame["difference"].to_numpy(dtype=float) != 0
            own = self.frame.loc[some, keys].copy()
            error = np.sqrt(chance[some] * (1 - chance[some]) / count[some])
            seen = self.frame[counted].to_numpy(dtype=float)[some]
            own["column"], own["distance"] = counted, (seen - chance[some]) / error
            parts.append(own)
        together: pd.DataFrame = pd.concat(parts, ignore_index=True)
        return together

    # --- words -----------------------------------------------------------------------------------

    def sentences(self) -> tuple[str, ...]:
        """The smallest plan that does it at each noise, untrue claims, formula and simulation."""
        lines = []
        for name in dict.fromkeys(self.frame["noise_name"]):
            own = self.frame[self.frame["noise_name"] == name]
            noise = self.noise_text(str(name), float(own["noise_multiple"].iloc[0]))
            if self.target != 0:
                wanted = own[own["difference"] == self.target]
                lines.append(
                    self._smallest(wanted, noise, "simulated_power", "simulation_error",
                                   "power", f"finds {self.size_text(self.target)}")
                )  # fmt: skip
            none = own[own["difference"] == 0]
            if self.margin is not None and len(none):
                claim = f"shows that a difference is smaller than {self._plain_size(self.margin)}"
                lines.append(
                    self._smallest(none, noise, "simulated_inside_chance", "inside_error",
                                   "inside_chance", f"{claim}, if there is none,")
                )  # fmt: skip
        return (*lines, self._untrue_words(), self._agreement_words())

    def noise_text(self, name: str, multiple: float) -> str:
        """Begin a sentence about a noise: ``At 2 times the noise of the study``."""
        if np.isnan(multiple):
            return f"At the noise “{name}”"
        return f"At {'' if multiple == 1 else f'{multiple:g} times '}the noise of the study"

    def _smallest(
        self, rows: pd.DataFrame, noise: str, counted: str, error: str, formula: str, does: str
    ) -> str:
        """The plan with the fewest coupons that reaches the wanted chance, else the best.

        By formula; where that holds only roughly, by simulation, and then the words say where
        luck could have decided.
        """
        often = times_in(self.power)
        rough = rows["rough"].to_numpy(dtype=bool)
        chance = np.where(rough, rows[counted], rows[formula])
        good = chance >= self.power
        if good.any():
            row = records_of(rows[good].sort_values(["coupons", "furnace_loads", "indents"]))[0]
            start = f"{noise} the smallest plan here that {does} {often}"
        else:
            row = records_of(rows.iloc[np.argsort(-chance, kind="stable")])[0]
            return self._none_reaches(rows, chance, formula, counted, noise, does)
        share = f"{row[counted]:.1%}".replace("%", f"{NO_BREAK}%")
        near = rough & ((rows[counted] - self.power).abs() <= _APART * rows[error]).to_numpy()
        if good.any():
            near &= (rows["coupons"] <= row["coupons"]).to_numpy()
        luck = ""
        if near.any():
            wanted = f"{self.power:.0%}".replace("%", f"{NO_BREAK}%")
            luck = (
                f" {wanted} lies within two standard errors of the simulated share of "
                f"{self.plan_text(records_of(rows[near])[0])}: other simulated studies could "
                "name another plan."
            )
        return (
            f"{start}: {self.plan_text(row)} ({share} ± {100 * row[error]:.1f} of simulated "
            f"studies, by formula {chance_text(row[formula])}).{luck}"
        )

    def _none_reaches(
        self,
        rows: pd.DataFrame,
        chance: np.ndarray[Any, Any],
        formula: str,
        counted: str,
        noise: str,
        does: str,
    ) -> str:
        """That no size does it, and the chance of each: the best of bad ones is no advice."""
        shown = rows.iloc[np.argsort(-chance, kind="stable")[:_MOST_SIZES]]
        sizes = [
            f"{self.plan_text(row)}: {chance_text(row[formula])} by formula, "
            f"{chance_text(row[counted])} simulated"
            for row in records_of(shown)
        ]
        more = len(rows) - len(shown)
        left = f"; {more} more with less" if more else ""
        wanted = f"{self.power:.0%}".replace("%", f"{NO_BREAK}%")
        return (
            f"{noise} none of the sizes here {does} {times_in(self.power)} ({wanted} is wanted). "
            f"Chances: {'; '.join(sizes)}{left}."
        )

    def plan_text(self, row: Mapping[str, Any]) -> str:
        """A plan in print: ``12 furnace loads of 8 coupons, 5 indents each``."""
        return plan_text(self.study, self.response, row)

    def _untrue_words(self) -> str:
        parts = []
        for size in dict.fromkeys(self.frame["difference"]):
            own = self.frame.loc[self.frame["difference"] == size, "simulated_untrue_claims"]
            low, high = 100 * float(own.min()), 100 * float(own.max())
            spread = f"{low:.1f} to {high:.1f}" if len(own) > 1 else f"{low:.1f}"
            words = "with no difference" if size == 0 else f"with {self.size_text(size)}"
            parts.append(f"{words} {spread}{NO_BREAK}%")
        return f"Studies of a plan that claim something untrue: {'; '.join(parts)}."

    def _agreement_words(self) -> str:
        apart = self.distances()
        if apart.empty:
            return "Formula and simulation: all chances are nearly 0 or 1."
        away, rough = apart["distance"].abs(), apart["rough"].to_numpy(dtype=bool)
        parts = []
        for own, where in ((away[~rough], ""), (away[rough], " where the formula is rough")):
            if len(own):
                beyond = int((own > _APART).sum())
                usual = number_text(len(own) * _BY_CHANCE, 0 if len(own) > 200 else 1)
                by_chance = "" if where else f" (by chance about {usual}; rows are not independent)"
                parts.append(
                    f"{beyond} of {len(own)} chances are more than two standard errors apart"
                    f"{where}{by_chance}, the farthest {own.max():.1f}"
                )
        return f"Formula and simulation: {'; '.join(parts)}."

    def shown(self) -> Shown:
        """The smallest plan that does it, then each plan at the difference that is asked about."""
        first, *others = self.sentences()
        asked = self.frame[self.frame["difference"] == self.target]
        rows = self._rows(asked).drop(columns="true difference")
        size = self.size_text(self.target)
        notes = (self.question.words, *others, f"The table is about {size}.")
        return Shown(first, rows, notes, tuple(self._last_lines()), self.listings())

    def listings(self) -> Mapping[str, pd.DataFrame]:
        """All rows in words."""
        return {"All plans, noises and differences": self._rows(self.frame)}

    def _rows(self, frame: pd.DataFrame) -> pd.DataFrame:
        """Rows as people read them: chances and widths as words."""
        found = frame[["furnace_loads", "coupons_per_load", "indents"]].copy()
        found["noise"] = frame["noise_name"]
        found["true difference"] = [
            "none" if own == 0 else self._plain_size(own) for own in frame["difference"]
        ]
        chances = (
            ("found", "simulated_power"), ("found, by formula", "power"),
            ("shown too small to matter", "simulated_inside_chance"),
            ("the same, by formula", "inside_chance"), ("untrue claims", "simulated_untrue_claims"),
        )  # fmt: skip
        for head, column in chances:
            found[head] = ["" if np.isnan(own) else chance_text(own) for own in frame[column]]
        found["half width of the interval"] = [
            "" if np.isnan(own) else f"±{size_text(self.response, own)}"
            for own in frame["simulated_half_width"]
        ]
        return found

    def _last_lines(self) -> list[str]:
        used = ", ".join(f"{name} {own}" for name, own in self.versions.items())
        made = f"{self.studies} simulated studies of each plan at each noise, seed {self.seed}"
        return [*self.notes, f"{made}; {used}."]

    def __repr__(self) -> str:
        return (
            f"<PlanningSweep of {self.study.key}, {self.question.key}: {len(self.frame)} rows of "
            f"{self.studies} simulated studies>"
        )
