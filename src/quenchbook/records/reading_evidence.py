"""Read a table of published comparisons: units, numbers, and all mistakes at once."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Final, cast

from quenchbook.errors import Problem, RecordError, UnitError
from quenchbook.reading_files import file_fault
from quenchbook.records.cells import dimension_of, is_missing, nearest_words
from quenchbook.records.evidence_checks import row_problems
from quenchbook.records.grids import text_grid
from quenchbook.records.published_comparisons import (
    EVIDENCE_FILE,
    KINDS,
    TEXT_COLUMNS,
    Arm,
    Better,
    Effect,
    EvidenceTable,
    Kind,
    PublishedComparison,
)
from quenchbook.records.tables import Row, Table, table_of
from quenchbook.units import STORAGE_UNITS, parse_number, parse_quantity, unit_named

if TYPE_CHECKING:
    from quenchbook.study.definition import Study

_NEEDED: Final = ("study", "kind", "quantity", "effect", "level", "against", "source")
_ARMS: Final = ("level", "against")
_NUMBERS: Final = (
    *(f"{arm}_{what}" for arm in _ARMS for what in ("mean", "sd", "coupons")),
    "estimate", "std_error", "furnace_loads",
)  # fmt: skip
_CONDITIONS: Final[Mapping[str, tuple[str, str]]] = {
    "austenitize": ("temperature", "c"),
    "cold": ("temperature", "c"),
    "temper": ("temperature", "c"),
    "delay": ("time", "minutes"),
    "cold_time": ("time", "minutes"),
    "temper_time": ("time", "minutes"),
}
"""Furnace conditions of a study: dimension, and ending of the column that we write."""

_LARGEST_LOG: Final = 2.5  # a ratio of 12; a larger number is hardly a logarithm


def read_evidence(path: str | Path, study: Study | None = None) -> EvidenceTable:
    """Read a table of published comparisons.

    Parameters
    ----------
    path : str or Path
        A CSV file, or a study folder: then ``evidence.csv`` beside ``study.toml``, and an empty
        table where there is none.
    study : Study, optional
        The own study: then the questions that rows name, their levels and their units are held
        against it.

    Returns
    -------
    EvidenceTable

    Raises
    ------
    RecordError
        With every mistake of the file: row, what was found, what was expected.
    """
    path = Path(path)
    if path.is_dir():
        path = path / EVIDENCE_FILE
        if not path.exists():
            return EvidenceTable(())
    if not path.exists():
        raise RecordError(Problem(str(path), "there is no such file"))
    fault, remedy = file_fault(path, path.parent)
    if fault:
        raise RecordError(Problem(path.name, fault, remedy))
    grids, problems = text_grid(path.name, path.read_bytes())
    table = None
    for grid in grids:
        table, wrong = table_of(grid)
        problems = [*problems, *wrong]
    if table is None:
        raise RecordError(problems)
    rows = _Reader(table, problems).rows()
    problems += row_problems(rows, table.name, study)
    if problems:
        raise RecordError(problems)
    return EvidenceTable(rows, path.name)


class _Reader:
    """Reads the rows of one table and keeps every mistake."""

    def __init__(self, table: Table, problems: list[Problem]) -> None:
        self.table = table
        self.problems = problems
        self.settings: dict[str, tuple[str, str, str | None]] = {}
        self._read_header()

    def wrong(self, row: Row | None, problem: str, remedy: str = "", column: str = "") -> None:
        number = self.table.header_row if row is None else row.number
        study = row.text("study") if row is not None else ""
        where = f"{self.table.name} row {number}" + (f", {study}" if study else "")
        self.problems.append(Problem(where, problem, remedy, column))

    def _read_header(self) -> None:
        known = (*TEXT_COLUMNS, *_NUMBERS)
        for name in self.table.header:
            if name not in known and not self._is_setting(name):
                self.wrong(
                    None,
                    f"the column '{name}' is not known here",
                    nearest_words(
                        name, (*known, *(f"{k}_{e}" for k, (_, e) in _CONDITIONS.items()))
                    )
                    + " What has no column of its own goes into conditions or note.",
                    name,
                )
        for name in _NEEDED:
            if name not in self.table.header:
                self.wrong(None, f"there is no column '{name}'", "Add it.")

    def _is_setting(self, name: str) -> bool:
        for stem in sorted(_CONDITIONS, key=len, reverse=True):
            dimension, ending = _CONDITIONS[stem]
            if name == stem:
                self.settings[name] = (dimension, f"{stem}_{ending}", None)
                return True
            if name.startswith(f"{stem}_"):
                unit = name.removeprefix(f"{stem}_").replace("_", " ")
                try:
                    unit_named(unit, dimension)
                except UnitError:
                    continue
                self.settings[name] = (dimension, f"{stem}_{ending}", unit)
                return True
        return False

    def rows(self) -> tuple[PublishedComparison, ...]:
        """Rows without a mistake; the mistakes of the others are kept."""
        found = []
        for row in self.table.rows:
            before = len(self.problems)
            own = self._row(row)
            if len(self.problems) == before:
                found.append(own)
        self._check_twice(found)
        self._check_same(found)
        return tuple(found)

    def _row(self, row: Row) -> PublishedComparison:
        words = {
            name: "" if is_missing(row.text(name)) else row.text(name) for name in TEXT_COLUMNS
        }
        for name in _NEEDED:
            if not words[name] and name in self.table.header:
                self.wrong(row, f"{name} is empty", _why_needed(name), name)
        kind = self._choice(row, "kind", words["kind"], tuple(KINDS))
        effect = self._choice(row, "effect", words["effect"], ("ratio", "difference"))
        better = self._choice(row, "better", words["better"], ("higher", "lower"))
        numbers = {name: self._number(row, name) for name in _NUMBERS}
        factor, unit = self._unit(words["unit"])
        arms = []
        for name in _ARMS:
            mean, sd = numbers[f"{name}_mean"] * factor, numbers[f"{name}_sd"] * factor
            arms.append(Arm(mean, sd, self._count(row, f"{name}_coupons", numbers)))
        own = PublishedComparison(
            study=words["study"], kind=cast(Kind, kind), quantity=words["quantity"], unit=unit,
            effect=cast(Effect, effect), level=words["level"], against=words["against"],
            better=cast(Better, better), level_arm=arms[0], against_arm=arms[1],
            estimate=numbers["estimate"] * (factor if effect == "difference" else 1.0),
            std_error=numbers["std_error"] * (factor if effect == "difference" else 1.0),
            furnace_loads=self._count(row, "furnace_loads", numbers), question=words["question"],
            steel=words["steel"], conditions=words["conditions"], settings=self._settings(row),
            source=words["source"], found_at=words["found_at"], obtained=words["obtained"],
            note=words["note"], row=row.number,
        )  # fmt: skip
        self._check_numbers(row, own)
        return own

    def _choice(self, row: Row, column: str, text: str, choices: tuple[str, ...]) -> str:
        plain = " ".join(text.casefold().replace("_", " ").split())
        if text and plain not in choices:
            self.wrong(row, f"{column} is '{text}'", nearest_words(plain, choices), column)
        return plain

    def _number(self, row: Row, column: str) -> float:
        text = row.text(column)
        if is_missing(text):
            return math.nan
        try:
            return parse_number(text, decimal=self.table.decimal_in(row, column))
        except UnitError:
            self.wrong(
                row,
                f"{column} is '{text}', not a number",
                "Write the number alone; its unit goes into the column unit. Leave it empty if the "
                "source does not tell it.",
                column,
            )
            return math.nan

    def _count(self, row: Row, column: str, numbers: Mapping[str, float]) -> int:
        value = numbers[column]
        if math.isnan(value):
            return 0
        if value < 1 or value != int(value):
            self.wrong(
                row,
                f"{column} is {value:g}",
                "Write a whole number, 1 or more; leave it empty if it is not told.",
                column,
            )
            return 0
        return int(value)

    def _unit(self, text: str) -> tuple[float, str]:
        """What a number is multiplied by, and the unit it has then."""
        dimension = dimension_of(text) if text else ""
        if dimension in ("", "count", "hardness"):
            return 1.0, "HRC" if dimension == "hardness" else text
        if dimension != "energy":
            return 1.0, text
        return parse_quantity("1", dimension, unit=text), STORAGE_UNITS[dimension]

    def _settings(self, row: Row) -> dict[str, float]:
        found: dict[str, float] = {}
        for name, (dimension, column, unit) in self.settings.items():
            text = row.text(name)
            if is_missing(text):
                continue
            mark = self.table.decimal_in(row, name)
            try:
                found[column] = parse_quantity(text, dimension, unit=unit, decimal=mark)
            except UnitError as error:
                self.wrong(row, f"{name}: {error}", column=name)
        return found

    def _check_numbers(self, row: Row, own: PublishedComparison) -> None:
        told = not math.isnan(own.estimate)
        arms = {"level": own.level_arm, "against": own.against_arm}
        means = [arm.mean for arm in arms.values()]
        if told and not all(map(math.isnan, means)):
            self.wrong(
                row,
                "has means of the arms and an estimate too",
                "Keep the means; an estimate is for a study that prints no means.",
                "estimate",
            )
            return
        if told:
            self._check_estimate(row, own)
            return
        for name, arm in arms.items():
            if math.isnan(arm.mean):
                self.wrong(
                    row,
                    f"{name}_mean is empty",
                    "Write the means of both arms, or estimate and std_error.",
                    f"{name}_mean",
                )
            elif own.effect == "ratio" and arm.mean <= 0:
                self.wrong(
                    row,
                    f"{name}_mean is {arm.mean:g}, a ratio needs values above zero",
                    "",
                    f"{name}_mean",
                )
            if not arm.coupons:
                self.wrong(
                    row,
                    f"{name}_coupons is empty",
                    "Without the number of coupons a study has no weight. If the source does not "
                    "tell it, leave the study out and say so in a note of the report.",
                    f"{name}_coupons",
                )
            if arm.sd <= 0:
                self.wrong(
                    row,
                    f"{name}_sd is {arm.sd:g}",
                    "Write a standard deviation above zero, or leave it empty if it is not told.",
                    f"{name}_sd",
                )

    def _check_estimate(self, row: Row, own: PublishedComparison) -> None:
        if not own.std_error > 0:
            self.wrong(
                row,
                "has an estimate without a standard error above zero",
                "Write std_error; half a 95 % interval is about two of them.",
                "std_error",
            )
        if own.effect == "ratio" and abs(own.estimate) > _LARGEST_LOG:
            self.wrong(
                row,
                f"estimate is {own.estimate:g}; of a ratio it is the natural logarithm",
                "Write ln of the ratio: 0.10 for a ratio of 1.11.",
                "estimate",
            )

    def _check_twice(self, rows: Iterable[PublishedComparison]) -> None:
        seen: dict[tuple[object, ...], int] = {}
        for own in rows:
            key = (own.study.casefold(), own.kind, own.about)
            if key in seen:
                self.problems.append(
                    Problem(
                        f"{self.table.name} row {own.row}, {own.study}",
                        f"the same study, kind and comparison stand in row {seen[key]} too",
                        "A study counts once in each kind: keep one row, or pool its parts first.",
                    )
                )
            seen.setdefault(key, own.row)

    def _check_same(self, rows: Iterable[PublishedComparison]) -> None:
        """Rows of one comparison that differ in what must be the same for all of them."""
        first: dict[tuple[str, ...], PublishedComparison] = {}
        for own in rows:
            other = first.setdefault(own.about[:4], own)
            if own.effect == "difference" and own.unit != other.unit:
                self.problems.append(
                    Problem(
                        f"{self.table.name} row {own.row}, {own.study}",
                        f"the difference is in '{own.unit}', in row {other.row} in '{other.unit}'",
                        "Differences of one quantity need one unit; or compare ratios.",
                        "unit",
                    )
                )
            if own.better and other.better and own.better != other.better:
                self.problems.append(
                    Problem(
                        f"{self.table.name} row {own.row}, {own.study}",
                        f"{own.better} is better here, {other.better} in row {other.row}",
                        "One quantity has one better side.",
                        "better",
                    )
                )


def _why_needed(name: str) -> str:
    return {
        "kind": f"Write one of {', '.join(KINDS)}.",
        "effect": "Write ratio or difference.",
        "source": "Name the paper or report: a number without a source cannot be checked.",
    }.get(name, "Fill it in.")
