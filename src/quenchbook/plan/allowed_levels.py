"""Which levels a furnace setting or a coupon may still get where treatments are forbidden."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from quenchbook.errors import PlanError
from quenchbook.plan.shares import repeats_of
from quenchbook.plan.treatments import blank_level, set_for, treatments
from quenchbook.study.definition import Study
from quenchbook.study.factors import Factor, Level
from quenchbook.units import listed

Setting = Mapping[str, Level]


class AllowedLevels:
    """Levels that are left when others are settled already.

    Parameters
    ----------
    study : Study
        Without forbidden treatments every level is allowed everywhere.
    """

    def __init__(self, study: Study) -> None:
        self.study = study
        named = {name for entry in study.forbidden for name in entry.levels}
        for factor in reversed(study.factors):
            if factor.name in named and factor.nested_in:
                named.add(factor.nested_in)
        self.involved = [factor for factor in study.factors if factor.name in named]
        others = [factor.name for factor in study.factors if factor.name not in named]
        self._rows: list[dict[str, Level]] = []
        if self.involved:
            table = treatments(study, without=others)
            self._rows = [{str(k): v for k, v in row.items()} for row in table.to_dict("records")]
        self._known: dict[tuple[object, ...], tuple[Level, ...]] = {}

    def levels(self, factor: Factor, settled: Setting) -> tuple[Level, ...]:
        """Levels of a factor that leave some allowed treatment.

        Parameters
        ----------
        factor : Factor
        settled : mapping of column to level
            What is fixed already; other factors are still free.
        """
        if factor not in self.involved:
            return factor.levels
        own = {f.column: settled[f.column] for f in self.involved if f.column in settled}
        own.pop(factor.column, None)
        key = (factor.name, *((column, str(level)) for column, level in own.items()))
        if key not in self._known:
            left = {row[factor.column] for row in self._rows if _agrees(row, own)}
            self._known[key] = tuple(level for level in factor.levels if level in left)
        return self._known[key]

    def settings(self, factors: Sequence[Factor], settled: Setting) -> list[dict[str, Level]]:
        """Settings of several factors, each as often as its levels are repeated.

        Parameters
        ----------
        factors : sequence of Factor
        settled : mapping of column to level

        Returns
        -------
        list of dict
            Column to level, blank where a nested factor does not exist; in the order of the study
            file. One empty setting where there is no factor.
        """
        rows: list[dict[str, Level]] = [{}]
        for factor in factors:
            parent = self.study.factor(factor.nested_in).column if factor.nested_in else ""
            grown = []
            for row in rows:
                there = not parent or {**settled, **row}.get(parent) in factor.exists_for
                levels = factor.levels if there else (blank_level(factor),)
                grown += [{**row, factor.column: level} for level in levels]
            rows = grown
        found = []
        for row in rows:
            told = [factor for factor in factors if row[factor.column] in factor.levels]
            own = {**settled, **row}
            if all(row[factor.column] in self.levels(factor, own) for factor in told):
                found += [row] * repeats_of(factors, row)
        return found

    def each_setting(self, factors: Sequence[Factor]) -> list[dict[str, Level]]:
        """Settings of several factors, each once."""
        found: list[dict[str, Level]] = []
        for setting in self.settings(factors, {}):
            if not found or str(found[-1]) != str(setting):
                found.append(setting)
        return found

    def narrow_loads(self) -> list[str]:
        """Say which furnace settings leave fewer treatments than others, a sentence each."""
        furnace = set_for(self.study, "furnace_load")
        inner = [f for f in self.involved if f.set_for != "furnace_load"]
        tied = [factor for factor in furnace if factor in self.involved]
        if not tied or not inner:
            return []
        settings = self.each_setting(tied)
        counts = [self._count(inner, setting) for setting in settings]
        titles = listed([factor.title for factor in inner])
        return [
            f"With {self._words(tied, setting)} {count} of {max(counts)} combinations of {titles} "
            + ("is allowed" if count == 1 else "are allowed")
            + (": nothing of these can be compared there." if count == 1 else ".")
            for setting, count in zip(settings, counts, strict=True)
            if count < max(counts)
        ]

    def _count(self, factors: Sequence[Factor], setting: Setting) -> int:
        rows = [row for row in self._rows if _agrees(row, setting)]
        return len({str([row[factor.column] for factor in factors]) for row in rows})

    @staticmethod
    def _words(factors: Sequence[Factor], setting: Setting) -> str:
        return ", ".join(factor.word(setting[factor.column]) for factor in factors)


def shared_levels(
    allowed: AllowedLevels, factor: Factor, rows: Sequence[Setting], where: str
) -> tuple[Level, ...]:
    """Levels that all coupons of a batch may get.

    Parameters
    ----------
    allowed : AllowedLevels
    factor : Factor
    rows : sequence of mapping
        What is settled for each coupon of the batch.
    where : str
        The batch in words, for the message.

    Raises
    ------
    PlanError
        If there is none.
    """
    each = [allowed.levels(factor, row) for row in rows]
    left = tuple(level for level in factor.levels if all(level in own for own in each))
    if not left:
        raise PlanError(
            f"{where}: every level of {factor.title} is forbidden for some of its coupons, and "
            f"{factor.title} is set once for a {allowed.study.unit_word(factor.set_for)}. Forbid "
            "less, or let each coupon have its own level."
        )
    return left


def _agrees(row: Setting, settled: Setting) -> bool:
    return all(
        row[column] == level or (row[column] != row[column] and level != level)
        for column, level in settled.items()
    )
