"""The mistakes a reader found, as a text for people and as a table."""

from __future__ import annotations

import re

import pandas as pd

from quenchbook.errors import Problem, RecordError

_WHERE = re.compile(r"^(?P<file>.*?) row (?P<row>\d+)(?:, (?P<what>.*))?$", re.DOTALL)


def problems_frame(error: RecordError) -> pd.DataFrame:
    """Mistakes as a table.

    Parameters
    ----------
    error : RecordError
        As `read_records` raises it.

    Returns
    -------
    DataFrame
        ``file``, ``row`` (as a spreadsheet shows it, blank for a whole file), ``what`` was found,
        what is ``expected`` or to be done.
    """
    rows = []
    for problem in error.problems:
        file, row, unit = _split(problem)
        found = f"{unit}: {problem.problem}" if unit else problem.problem
        rows.append({"file": file, "row": row, "what": found, "expected": problem.remedy})
    frame = pd.DataFrame(rows, columns=["file", "row", "what", "expected"])
    return frame.astype({"row": "Int64"})


def problems_text(error: RecordError) -> str:
    """Mistakes as a text, by file.

    Parameters
    ----------
    error : RecordError
        As `read_records` raises it.
    """
    files: dict[str, list[str]] = {}
    for problem in error.problems:
        file, row, unit = _split(problem)
        place = ", ".join(part for part in (f"row {row}" if row else "", unit) if part)
        own = Problem(place, problem.problem, problem.remedy)
        files.setdefault(file, []).append(f"  {own}")
    count = len(error.problems)
    head = f"{_count(count, 'mistake')} in {_count(len(files), 'file')}"
    lines = [head]
    for file, texts in files.items():
        lines += [file or "records", *texts]
    return "\n".join(lines)


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def _split(problem: Problem) -> tuple[str, int | None, str]:
    found = _WHERE.match(problem.where)
    if found is None:
        return problem.where, None, ""
    return found["file"], int(found["row"]), found["what"] or ""
