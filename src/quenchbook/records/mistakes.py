"""The mistakes a reader found, as a text for people and as a table."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from quenchbook.errors import NothingRecordedError, Problem, RecordError
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.reading import WAYS_TO_RECORD, read_records
from quenchbook.shown import Shown, ShowsItself

_WHERE = re.compile(r"^(?P<file>.*?) row (?P<row>\d+)(?:, (?P<unit>.*))?$", re.DOTALL)
_COLUMNS = ("file", "row", "column", "problem", "remedy")


@dataclass(frozen=True, eq=False, repr=False)
class Mistakes(ShowsItself):
    """Every mistake of the files of records; empty if there is none.

    Attributes
    ----------
    problems : tuple of Problem
        By file, then by row.
    nothing_yet : str
        What to do if there is no file yet, which is no mistake; blank if there is one.
    """

    problems: tuple[Problem, ...]
    nothing_yet: str = ""

    def __len__(self) -> int:
        return len(self.problems)

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each mistake.

        Returns
        -------
        DataFrame
            ``file``; ``row`` as a spreadsheet shows it, blank for a whole file; ``column``, blank
            for a whole row; ``problem`` (what was found, what was expected) and ``remedy``.
        """
        rows = []
        for own in self.problems:
            file, row, unit = place_of(own)
            problem = f"{unit}: {own.problem}" if unit else own.problem
            rows.append((file, row, own.column, problem, own.remedy))
        return pd.DataFrame(rows, columns=list(_COLUMNS)).astype({"row": "Int64"})

    def summary(self) -> str:
        """Say every mistake in words, by file."""
        if not self.problems:
            return self.nothing_yet or "No mistake found in the records."
        files: dict[str, list[str]] = {}
        for problem in self.problems:
            file, row, unit = place_of(problem)
            place = ", ".join(part for part in (f"row {row}" if row else "", unit) if part)
            own = Problem(place, problem.problem, problem.remedy)
            files.setdefault(file, []).append(f"  {own}")
        lines = [self._counted(list(files))]
        for file, texts in files.items():
            lines += [file or "records", *texts]
        return "\n".join(lines)

    def _counted(self, files: Sequence[str]) -> str:
        return f"{_count(len(self.problems), 'mistake')} in {_count(len(files), 'file')}"

    def shown(self) -> Shown:
        """How many mistakes there are and where, then each of them."""
        if not self.problems:
            return Shown(self.summary())
        return Shown(self.summary().split("\n", 1)[0], self.to_frame())

    def __repr__(self) -> str:
        files = list(dict.fromkeys(place_of(problem)[0] for problem in self.problems))
        return f"<Mistakes: {self._counted(files) if files else 'none'}>"


def record_mistakes(folder: str | Path, matrix: CouponMatrix) -> Mistakes:
    """Mistakes in the files of records: what `read_records` raises, as a table to look at.

    Parameters
    ----------
    folder : str or Path
        Folder of the records.
    matrix : CouponMatrix
        The plan.
    """
    try:
        read_records(folder, matrix)
    except NothingRecordedError:
        return Mistakes((), f"Nothing is recorded yet in {folder}. {WAYS_TO_RECORD}")
    except RecordError as error:
        return Mistakes(error.problems)
    return Mistakes(())


def place_of(problem: Problem) -> tuple[str, int | None, str]:
    """File (with its sheet), row and unit of a mistake; row None for a whole file."""
    found = _WHERE.match(problem.where)
    if found is None:
        return problem.where, None, ""
    return found["file"], int(found["row"]), found["unit"] or ""


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"
