"""Timetable of a plan for one person and one furnace: by earliest start, or searched."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from quenchbook.bench.constraint_search import searched_loads
from quenchbook.bench.earliest_start import placed_loads
from quenchbook.bench.earliest_temper import placed_tempers
from quenchbook.bench.solver import INSTALL, search_installed
from quenchbook.bench.timetable import Timetable
from quenchbook.bench.timetable_check import timetable_breaches
from quenchbook.bench.timetable_steps import Placement, finished_timetable
from quenchbook.bench.work_list import WorkList, work_list
from quenchbook.errors import PlanError, Problem
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.hours import WorkHours
from quenchbook.study.reading_hours import hours_of
from quenchbook.units import minutes_text

_MISSES: Final = ("delay", "hours", "cold", "day")
"""Breaches whose minutes are compared; a bath that is too small for a group is counted alone."""

_NO_REMEDY: Final = (
    "This cannot be worked as it stands: longer hours, fewer loads a day, or an own oven for the "
    "tempers."
)

_Score = tuple[int, int, int, int, int, int]


def bench_timetable(
    matrix: CouponMatrix, *, hours: WorkHours | None = None, search: bool | None = None
) -> Timetable:
    """Timetable of a plan for one person and one furnace.

    Loads stay in their randomized order; each starts as early as all its delays can be kept. Where
    they cannot, the start that misses least is taken, and every miss is named.

    A search looks for starts that miss fewer minutes, then for an earlier end. The check of
    timetables judges both, and the better one is taken; a note says which. It takes a second where
    little is missed, and up to some 40 s of a processor for 12 loads where much is.

    Parameters
    ----------
    matrix : CouponMatrix
    hours : WorkHours, optional
        Working hours and times; those of the study file when left out.
    search : bool, optional
        Whether to search; as the study file says when left out. Needs ortools:
        ``pip install "quenchbook[timetable]"``.

    Returns
    -------
    Timetable

    Raises
    ------
    PlanError
        If `search` is True and ortools is not installed. Where only the study file asks for a
        search, the timetable by earliest start is made, and a note says so.
    """
    hours = hours_of(matrix.study) if hours is None else hours
    if search and not search_installed():
        what = "is to be searched, and ortools is not installed"
        raise PlanError(Problem("timetable", what, f"Run: {INSTALL}, or leave search out."))
    work = work_list(matrix, hours)
    first = placed_loads(work, hours)
    listed = _checked(matrix, work, first, hours)
    if not (hours.search if search is None else search):
        return listed
    if not search_installed():
        return _noted(
            listed,
            "The study file asks for a search. It was not made, ortools is not installed: the "
            f"timetable is by earliest start. Run: {INSTALL}.",
        )
    placed = searched_loads(work, hours, first)
    if placed is None:
        return _noted(listed, "Searched: nothing was found, the timetable is by earliest start.")
    searched = _checked(matrix, work, placed, hours)
    return better_timetable(matrix, listed, searched)


def _checked(matrix: CouponMatrix, work: WorkList, loads: Placement, hours: WorkHours) -> Timetable:
    """Timetable of a placement of loads, with what the check finds beyond what it names itself."""
    own = finished_timetable(matrix, work, placed_tempers(work, loads, hours), hours)
    named = {(b.kind, b.unit, b.which, b.what) for b in own.breaches}
    more = [
        replace(b, remedy=b.remedy or _NO_REMEDY)
        for b in timetable_breaches(matrix, own)
        if (b.kind, b.unit, b.which, b.what) not in named
    ]
    return replace(own, breaches=(*own.breaches, *more)) if more else own


def better_timetable(matrix: CouponMatrix, listed: Timetable, searched: Timetable) -> Timetable:
    """The one that misses less, then has fewer days, then ends earlier; with a note which it is.

    Parameters
    ----------
    matrix : CouponMatrix
    listed, searched : Timetable
        By earliest start, and by search. Of two alike the listed one is taken.
    """
    before, after = _score(matrix, listed), _score(matrix, searched)
    if after < before:
        return _noted(
            searched,
            f"Searched: this timetable {_score_words(searched, after)}; the one by earliest start "
            f"{_score_words(listed, before)}.",
        )
    return _noted(
        listed,
        f"Searched: this timetable is by earliest start, nothing better was found. It "
        f"{_score_words(listed, before)}.",
    )


def _score(matrix: CouponMatrix, own: Timetable) -> _Score:
    """What cannot be worked, baths overfilled, minutes missed, those of delays, days, end."""
    found = timetable_breaches(matrix, own)
    minutes = {kind: sum(b.minutes for b in found if b.kind == kind) for kind in _MISSES}
    return (
        sum(b.kind not in (*_MISSES, "bath") for b in found),
        sum(b.kind == "bath" for b in found),
        sum(minutes.values()),
        minutes["delay"],
        len(own.days),
        max((step.end for step in own.steps), default=0),
    )


def _score_words(own: Timetable, score: _Score) -> str:
    missed = f"misses {minutes_text(score[2])}" if score[2] else "misses nothing"
    return f"{missed} and ends on {own.when(score[-1])}"


def _noted(own: Timetable, note: str) -> Timetable:
    return replace(own, notes=(*own.notes, note))
