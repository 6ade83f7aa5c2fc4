"""Every exception and warning of quenchbook.

QuenchbookError
    StudyError          study.toml cannot be read as a study
    PlanError           a coupon matrix cannot be made, or was changed after it was made
    RecordError         a file of readings or deviations does not fit the matrix
        NothingRecordedError    there is no such file yet, which is no mistake
    UnitError           a text is not a number with a unit of the expected kind
    EstimabilityError   the records cannot answer the question
    ReportError         a report cannot be rendered
        TypesettingError    its PDF cannot be made on this machine; nothing is wrong with it
    ArchiveError        an archive of open data is unsafe, damaged or none of ours
    RepeatedWorkError   repeated work cannot be done, or a part of it failed
QuenchbookWarning       something the reader of a result must know
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

_ALIKE = 0.6  # of difflib: two slips in a word of eight letters


def did_you_mean(name: object, known: Iterable[object]) -> str:
    """Question that names what comes nearest to a name that is not known; empty if nothing does.

    Capitals, spaces, hyphens and underscores do not count.

    >>> did_you_mean("Dry Ice", ["none", "freezer", "dry_ice"])
    'Did you mean dry_ice?'
    >>> did_you_mean("mixed_modle", ["mixed_model", "marginal_means"])
    'Did you mean mixed_model?'
    """
    plain = {_plain(own): str(own) for own in known}
    close = difflib.get_close_matches(_plain(name), plain, n=1, cutoff=_ALIKE)
    return f"Did you mean {plain[close[0]]}?" if close else ""


def with_suggestion(message: str, name: object, known: Iterable[object]) -> str:
    """Message about a name that is not known, with what was probably meant at its end."""
    return f"{message} {did_you_mean(name, known)}".rstrip()


def _plain(name: object) -> str:
    return str(name).casefold().replace("_", " ").replace("-", " ").strip()


@dataclass(frozen=True)
class Problem:
    """One mistake: where it is, what was found, what to do about it; the column if it is a cell."""

    where: str
    problem: str
    remedy: str = ""
    column: str = ""

    def __str__(self) -> str:
        text = f"{self.where}: {self.problem}" if self.where else self.problem
        text = text if text.endswith((".", "?", "!")) else text + "."
        return f"{text} {self.remedy}".rstrip()


class QuenchbookError(Exception):
    """Base of all quenchbook errors; carries every problem found, not only the first.

    Parameters
    ----------
    problems : str, Problem or sequence of Problem
        What is wrong. A plain text is one problem without a place.
    """

    def __init__(self, problems: str | Problem | Sequence[Problem]) -> None:
        if isinstance(problems, str):
            problems = Problem("", problems)
        self.problems: tuple[Problem, ...] = (
            (problems,) if isinstance(problems, Problem) else tuple(problems)
        )
        super().__init__("\n".join(str(problem) for problem in self.problems))

    def _render_traceback_(self) -> list[str]:
        """What a notebook shows: the message alone, for a mistake is no fault of the program."""
        count = len(self.problems)
        head = [] if count == 1 else [f"{count} problems:"]
        return [*head, *(str(problem) for problem in self.problems)]


class StudyError(QuenchbookError, ValueError):
    """study.toml cannot be read as a study."""


class PlanError(QuenchbookError, ValueError):
    """A coupon matrix cannot be made, or was changed after it was made."""


class RecordError(QuenchbookError, ValueError):
    """A file of readings or deviations does not fit the matrix."""


class NothingRecordedError(RecordError):
    """There are no readings and no deviations yet; nothing is wrong with a file."""


class UnitError(QuenchbookError, ValueError):
    """A text is not a number with a unit of the expected kind."""


class EstimabilityError(QuenchbookError, ValueError):
    """The records cannot answer the question; the message says what they can answer."""


class ReportError(QuenchbookError, RuntimeError):
    """A report cannot be rendered."""


class TypesettingError(ReportError):
    """A PDF cannot be made on this machine, though nothing is wrong with what it shows."""


class ArchiveError(QuenchbookError, ValueError):
    """An archive of open data is unsafe, damaged or none of ours."""


class RepeatedWorkError(QuenchbookError, RuntimeError):
    """Repeated work cannot be done, or a part of it failed; what is finished is kept."""


class QuenchbookWarning(UserWarning):
    """Something the reader of a result must know."""
