"""What stands on the cover of the bench booklet: question, what is varied, how much there is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import Response
from quenchbook.study.factors import Factor
from quenchbook.units import NO_BREAK, capital, listed

COVER_FIELDS: Final = ("who", "where", "begun on", "finished on", "furnace", "testers")
INVENTED_WORDS: Final = "Invented demonstration: this workshop and its steel do not exist."


@dataclass(frozen=True)
class Cover:
    """First page of the booklet.

    Attributes
    ----------
    study_title, question : str
    about : tuple of (str, str)
        ``Varied`` and ``Measured``, each with its line.
    counts : tuple of (int, str)
        Number and word: ``96``, ``coupons``.
    plan, plan_hash : str
        First digits of the hash, and all of it.
    fields : tuple of str
        Labels of the lines to be filled in.
    invented : bool
        Whether the study is a demonstration.
    """

    study_title: str
    question: str
    about: tuple[tuple[str, str], ...]
    counts: tuple[tuple[int, str], ...]
    plan: str
    plan_hash: str
    fields: tuple[str, ...] = COVER_FIELDS
    invented: bool = False


def booklet_cover(matrix: CouponMatrix, *, days: int = 0) -> Cover:
    """Cover of a plan.

    Parameters
    ----------
    matrix : CouponMatrix
    days : int
        Days of work in the timetable; 0: the days of the plan are counted.

    Returns
    -------
    Cover
    """
    study = matrix.study
    coupons, loads = len(matrix.frame), int(matrix.in_loads["furnace_load"].nunique())
    word = "day" if days else "furnace day"
    days = days or int(matrix.in_loads["day"].nunique())
    return Cover(
        study_title=study.title,
        question=study.question,
        about=(
            ("Varied", f"{capital('; '.join(map(_varied, study.factors)))}."),
            ("Measured", f"{capital('; '.join(_measured(r, matrix) for r in study.responses))}."),
        ),
        counts=(
            (coupons, study.unit_word("coupon", coupons)),
            (loads, study.unit_word("furnace_load", loads)),
            (days, word if days == 1 else f"{word}s"),
        ),
        plan=matrix.short_hash,
        plan_hash=matrix.plan_hash,
        invented=study.invented,
    )


def _varied(factor: Factor) -> str:
    """Title and levels of a factor: ``temper 150 and 175 °C``."""
    words = [factor.set_word(level) for level in factor.levels]
    endings = {word.partition(NO_BREAK)[2] for word in words}
    if factor.is_numeric and len(endings) == 1 and all(NO_BREAK in word for word in words):
        words = [*(word.partition(NO_BREAK)[0] for word in words[:-1]), words[-1]]
    return f"{factor.title} {listed(words)}"


def _measured(response: Response, matrix: CouponMatrix) -> str:
    """Quantity, readings and coupons of a response."""
    count = int(matrix.frame[f"{response.name}_order"].notna().sum())
    coupons = f"{count} {matrix.study.unit_word('coupon', count)}"
    if response.readings == 1:
        return f"{response.quantity} of {coupons}"
    return f"{response.quantity}, {response.readings} readings on each of {coupons}"
