"""What undecided questions still need: more furnace loads and coupons."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import pandas as pd

from quenchbook.errors import PlanError
from quenchbook.made_by import made_from
from quenchbook.outlook.layouts import drawn_layout, furnace_settings
from quenchbook.outlook.noise import measured_noise
from quenchbook.outlook.questions import QuestionOutlook, question_outlooks
from quenchbook.outlook.wording import GOAL_WORDS, times_in
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.progress import progress
from quenchbook.shown import ShowsItself
from quenchbook.study.definition import Noise, Study
from quenchbook.units import listed

if TYPE_CHECKING:
    from quenchbook.fit.mixed import MixedModel

_MOST_SIZES: Final = 6  # steps from no more loads to twice as many
_MOST_TIMES: Final = 6  # a study is not imagined larger than so many times itself
_NO_REMEDY: Final = "For a question about a curve no number of loads is told."


@dataclass(frozen=True, eq=False, repr=False)
class Undecided(ShowsItself):
    """What each undecided question still needs.

    Attributes
    ----------
    table : DataFrame
        ``key, question, goal, more_loads, more_coupons, power``; blank where not even a study
        several times as large would do.
    study : Study
    target : float
    notes : tuple of str
    whole_terms : tuple of str
        Undecided questions about whole terms, or without a margin, in words.
    about_curves : tuple of str
        Undecided questions about curves, in words, each with what would help where it is told.
    """

    table: pd.DataFrame
    study: Study
    target: float
    notes: tuple[str, ...] = ()
    whole_terms: tuple[str, ...] = ()
    about_curves: tuple[str, ...] = ()

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of the table."""
        return self.table.copy()

    def summary(self) -> str:
        """Say what each question needs."""
        any_open = len(self.table) or self.whole_terms or self.about_curves
        lines = [] if any_open else ["No question is undecided."]
        lines += [
            f"{words} Undecided; a whole term has no margin, so no number of loads can be told."
            for words in self.whole_terms
        ]
        for row in self.table.to_dict("records"):
            goal = GOAL_WORDS[row["goal"]]
            if pd.isna(row["more_loads"]):
                lines.append(
                    f"{row['question']} Not even {_MOST_TIMES} times this study would do {goal}."
                )
                continue
            loads, coupons = int(row["more_loads"]), int(row["more_coupons"])
            if not loads:
                lines.append(
                    f"{row['question']} This study was large enough {goal}; a repeat would settle "
                    "it."
                )
                continue
            more = f"{loads} more {self.study.unit_word('furnace_load', loads)}"
            pieces = f"{coupons} {self.study.unit_word('coupon', coupons)}"
            lines.append(
                f"{row['question']} About {more} with {pieces} {goal} {times_in(self.target)}."
            )
        return "\n".join([*lines, *self.about_curves, *self.notes])

    def listings(self) -> Mapping[str, pd.DataFrame]:
        """Long tables by their title."""
        return {"What each question needs": self.table}

    def __repr__(self) -> str:
        count = self.table["key"].nunique() + len(self.whole_terms) + len(self.about_curves)
        return f"<Undecided: {count} questions>"


def undecided_needs(
    matrix: CouponMatrix,
    models: Mapping[str, MixedModel],
    questions: Sequence[str],
    *,
    power: float = 0.8,
    remedies: Mapping[str, str] | None = None,
) -> Undecided:
    """How many more furnace loads and coupons each undecided question needs.

    Only margin and noise count, never the estimate: the power to find a difference of the margin,
    and to show equivalence if there is none, of studies as the present one with more loads.

    Parameters
    ----------
    matrix : CouponMatrix
    models : mapping of response to MixedModel
        Of the records so far; their noise is used.
    questions : sequence of str
        Keys of the undecided questions.
    power : float
    remedies : mapping of key to str, optional
        What would help each question about a curve, as its finding says; for these no number of
        loads is told.

    Returns
    -------
    Undecided
    """
    study = matrix.study
    noise: dict[str, Noise] = {name: measured_noise(model) for name, model in models.items()}
    asked = [own for own in study.questions if own.key in questions and not own.term]
    asked = [own for own in asked if study.equivalence_margin(own.response) is not None]
    now = matrix.unit_counts()["furnace_load"]
    step = furnace_settings(study)
    step *= max(1, round(now / _MOST_SIZES / step))
    per_load = len(matrix.frame) / now
    found: dict[tuple[str, str], tuple[int, float]] = {}
    sizes = range(0, (_MOST_TIMES - 1) * now + 1, step)
    for more in progress(sizes, "sizes of the study") if asked else ():
        left = [
            (own.key, goal)
            for own in asked
            for goal in ("difference", "equivalence")
            if (own.key, goal) not in found
        ]
        if not left:
            break
        size = (now + more, study.layout.coupons_per_load)
        outlooks = {key: _outlook_of(study, key, size, noise) for key in {key for key, _ in left}}
        for key, goal in left:
            own = outlooks[key]
            if own is None:
                continue
            assert own.margin is not None
            got = own.power(own.margin) if goal == "difference" else own.equivalence_power()
            if (got or 0.0) >= power:
                found[key, goal] = (more, got or 0.0)
    rows = []
    for question in asked:
        for goal in ("difference", "equivalence"):
            added, got = found.get((question.key, goal), (None, None))
            rows.append(
                {
                    "key": question.key,
                    "question": question.words,
                    "goal": goal,
                    "more_loads": added,
                    "more_coupons": round(added * per_load) if added is not None else None,
                    "power": got,
                }
            )
    columns = ["key", "question", "goal", "more_loads", "more_coupons", "power"]
    sources = listed(list(dict.fromkeys(own.source for own in noise.values())))
    notes = (f"Noise as measured: {sources}.",) if asked else ()
    without = tuple(
        own.words for own in study.questions if own.key in questions and own not in asked
    )
    curves = tuple(
        f"{own.words} Undecided. {(remedies or {}).get(own.key) or _NO_REMEDY}"
        for own in study.trade_questions
        if own.key in questions
    )
    table = pd.DataFrame(rows, columns=columns)
    return made_from(Undecided(table, study, power, notes, without, curves), matrix)


def _outlook_of(
    study: Study, key: str, size: tuple[int, int], noise: Mapping[str, Noise]
) -> QuestionOutlook | None:
    """Outlook of a question in a study of another size; None where no plan can be made."""
    try:
        drawn = drawn_layout(study, study.question_of(key), *size, seed=1)
    except PlanError:
        return None
    response = study.question_of(key).response
    told = {response: noise[response]} if response in noise else None
    return question_outlooks(drawn.matrix, noise=told).answer(key)
