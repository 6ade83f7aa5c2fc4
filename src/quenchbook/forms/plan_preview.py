"""What a plan would be, could tell and would cost, while its study file is being changed."""

from __future__ import annotations

import functools
from dataclasses import dataclass, replace
from html import escape

import pandas as pd

from quenchbook.errors import QuenchbookError
from quenchbook.forms.load_picture import load_picture
from quenchbook.forms.study_edits import StudyEdits
from quenchbook.outlook.questions import PlanOutlook, QuestionOutlook, question_outlooks
from quenchbook.outlook.trade_outlook import TradeOutlook, trade_outlook
from quenchbook.outlook.wording import chance_text
from quenchbook.plan.cost import PlanCost, plan_cost
from quenchbook.plan.files import read_plan
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.plan.randomization import coupon_matrix
from quenchbook.shown import Shown, ShowsItself, finding_html, origin_html
from quenchbook.study.definition import Study

_CELL = 'style="text-align:left;vertical-align:top;padding:2px 14px 2px 0"'
_HEADS = (
    "question", "the answer will be known to", "smallest difference that is found 8 times in 10",
    "chance to show that there is no difference that matters, if there is none",
    "is the plan good enough?",
)  # fmt: skip


@dataclass(frozen=True, eq=False, repr=False)
class PlanPreview(ShowsItself):
    """A plan with what it can tell and what it costs.

    Attributes
    ----------
    matrix : CouponMatrix
    outlook : PlanOutlook
    cost : PlanCost
    curves : TradeOutlook or None
        Of questions about curves; None: not worked out yet, see `with_curves`.
    kept : bool
        Whether the plan is the one that is kept, not a draft.
    without_curves : str
        Why questions about curves could not be worked out; empty if they were, or still may be.
    """

    matrix: CouponMatrix
    outlook: PlanOutlook
    cost: PlanCost
    curves: TradeOutlook | None = None
    kept: bool = False
    without_curves: str = ""

    @functools.cached_property
    def finding(self) -> str:
        """Coupons, loads, money and hours in one sentence or two."""
        study, counts = self.matrix.study, self.matrix.unit_counts()
        coupons, loads = len(self.matrix.frame), counts["furnace_load"]
        kept = f"; this is plan {self.matrix.short_hash}, which is kept" if self.kept else ""
        return (
            f"{coupons} {study.unit_word('coupon', coupons)} in {loads} "
            f"{study.unit_word('furnace_load', loads)}{kept}. {self.cost.sum_words()}"
        )

    def with_curves(self) -> PlanPreview:
        """Return the preview with what the plan can tell of questions about curves."""
        return replace(self, curves=trade_outlook(self.matrix))

    def to_frame(self) -> pd.DataFrame:
        """Return the numbers of each question, see `PlanOutlook.to_frame`."""
        return self.outlook.to_frame()

    def shown(self) -> Shown:
        """What the plan is and costs, then what it can tell of each question."""
        told = [*self.outlook.summary().split("\n"), *self._curve_sentences()]
        return Shown(self.finding, notes=tuple(told))

    def _curve_sentences(self) -> list[str]:
        return self.curves.sentences() if self.curves is not None else []

    def __repr__(self) -> str:
        return f"<PlanPreview: {self.finding}>"

    def _repr_html_(self) -> str:
        origin = origin_html(self.made_by, self.cite())
        return f"{finding_html(self.finding)}{self.details_html()}{origin}"

    def details_html(self) -> str:
        """HTML below the finding: loads, what each question can expect, what was assumed."""
        parts = [load_picture(self.matrix)]
        if self.outlook.answers:
            parts.append(self._questions_html())
        if asked := len(self.matrix.study.trade_questions):
            lines = self._curve_sentences() or [self.without_curves or "Calculating."]
            items = "".join(f"<li>{escape(line)}</li>" for line in lines)
            parts.append(
                "<details><summary>Questions about curves "
                f'({asked})</summary><ul style="max-width:46em">{items}</ul></details>'
            )
        noise = [note for note in self.outlook.notes if note.startswith("Noise of ")]
        if noise and self.outlook.answers:
            listed = "<br>".join(map(escape, noise))
            parts.append(
                f'<p style="max-width:62em">What the numbers rest on (standard deviations):<br>'
                f"{listed}</p>"
            )
            told = [note for note in self.outlook.notes if note not in noise]
        else:
            told = list(self.outlook.notes)
        notes = [*told, *self.cost.notes(), *self.matrix.notes]
        if notes:
            items = "".join(f"<li>{escape(note)}</li>" for note in dict.fromkeys(notes))
            parts.append(
                "<details><summary>What was assumed</summary>"
                f'<ul style="max-width:46em">{items}</ul></details>'
            )
        return f'<div style="line-height:1.4">{"".join(parts)}</div>'

    def _questions_html(self) -> str:
        head = "".join(f'<th scope="col" {_CELL}>{name}</th>' for name in _HEADS)
        body = "".join(f"<tr>{_row(own)}</tr>" for own in self.outlook.answers)
        return (
            '<table style="border-collapse:collapse"><caption style="text-align:left">What the '
            "plan can tell, if everything goes as planned</caption>"
            f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
        )


def _row(own: QuestionOutlook) -> str:
    """Cells of one question: words, interval, difference that is found, chance."""
    words = escape(own.question.words)
    if own.planned is None:
        return (
            f'<th scope="row" {_CELL}>{words}</th><td colspan="4" {_CELL}>{escape(own.reason)}</td>'
        )
    half, found, shown = own.half_width(), own.detectable_difference(), own.equivalence_power()
    cells = (
        f"\u00b1{own.size_text(half)}" if half is not None else "no single number",
        own.size_text(found) if found is not None else "none",
        chance_text(shown) if shown is not None else "not told",
        good_enough(own),
    )
    row = "".join(f"<td {_CELL}>{escape(cell)}</td>" for cell in cells)
    return (
        f'<th scope="row" {_CELL.replace("left;", "left;font-weight:normal;", 1)}>{words}</th>{row}'
    )


def good_enough(own: QuestionOutlook) -> str:
    """Whether a plan is good enough for a question, in one sentence: the margin decides.

    Parameters
    ----------
    own : QuestionOutlook
    """
    found, chance = own.detectable_difference(), own.equivalence_power()
    if found is None:
        return "No: it gives no test."
    if own.margin is None:
        return f"You decide: a difference below {own.size_text(found)} may be missed."
    margin = own.size_text(own.margin)
    if found > own.margin:
        return (
            f"No: {margin} matters, but only {own.size_text(found)} or more is likely to be found. "
            "More loads or coupons help."
        )
    if chance is not None and chance < own.target:
        return (
            f"In part: a difference that matters ({margin}) is likely to be found, but if there is "
            "none, that may stay open."
        )
    return (
        f"Yes: a difference that matters ({margin}) is likely to be found, and its absence shown."
    )


def plan_preview(study: Study, *, seed: int = 1) -> PlanPreview:
    """What the plan of a study would be, could tell and would cost; nothing is written.

    Parameters
    ----------
    study : Study
        Also one that stands in no file yet, from `StudyEdits.study`.
    seed : int
        Of the draft.

    Returns
    -------
    PlanPreview

    Raises
    ------
    PlanError
        If the loads or coupons cannot hold the levels.

    Examples
    --------
    >>> from quenchbook.study.files import read_study
    >>> from quenchbook.study_folder import resource
    >>> plan_preview(read_study(resource("data", "two_lots"))).finding
    '40 coupons in 10 furnace loads. About 17 hours of work; no price told.'
    """
    return _preview(coupon_matrix(study, seed=seed), kept=False).with_curves()


def preview_of_edits(edits: StudyEdits, *, seed: int = 1) -> PlanPreview:
    """Preview of a study file with its changes; of the kept plan where they leave it as it is.

    Questions about curves take longest and are left to `PlanPreview.with_curves`.

    Parameters
    ----------
    edits : StudyEdits
    seed : int
        Of a draft.
    """
    from quenchbook.plan.declaration import changed_layout

    study = edits.study()
    if edits.is_planned:
        try:
            matrix = read_plan(edits.path.parent / "plan", study)
            if not changed_layout(matrix.declaration, study):
                return _preview(matrix, kept=True)
        except QuenchbookError:  # the plan is for other levels, so it is no plan of this study
            pass
    return _preview(coupon_matrix(study, seed=seed), kept=False)


def _preview(matrix: CouponMatrix, *, kept: bool) -> PlanPreview:
    return PlanPreview(matrix, question_outlooks(matrix), plan_cost(matrix), kept=kept)
