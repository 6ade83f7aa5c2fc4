"""What a report of a study says, section by section, as blocks.

Each function takes the finished analysis and returns blocks; a report notebook shows them in order
and the author writes between them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final

from quenchbook.bench.safety import cautions
from quenchbook.errors import EstimabilityError
from quenchbook.findings.answers import Analysis
from quenchbook.findings.statements import percent_text
from quenchbook.fit.diagnostics import diagnostics
from quenchbook.fit.equal_hardness import EqualHardness
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.noise import noise_budget
from quenchbook.report.alternatives import with_alt
from quenchbook.report.answer_blocks import (
    CANNOT_TELL,
    refused_blocks,
    response_blocks,
    verdict_blocks,
)
from quenchbook.report.blocks import (
    Block,
    Bullets,
    Cautions,
    Paragraph,
    Run,
    Runs,
    Section,
    from_drawing,
)
from quenchbook.report.means_blocks import OF_MEANS
from quenchbook.report.noise_tables import (
    error_share_table,
    ignoring_blocks,
    second_opinion_table,
    term_table,
)
from quenchbook.report.order_blocks import order_blocks
from quenchbook.report.study_tables import (
    coupon_table,
    deviation_blocks,
    equipment_table,
    factor_table,
    reference_blocks,
    term_words,
)
from quenchbook.report.tester_tables import blocks_of_testers, length_blocks
from quenchbook.study.definition import Response, Study, held_words
from quenchbook.units import capital, listed

_FEW_SPARE = 2


NOTHING_UNUSUAL: Final = (
    "No single coupon, no drift along furnace, quench or test order, no uneven spread and no lack "
    "of fit of a curve stood out."
)


def show(blocks: Iterable[Block], *, alt: Mapping[str, str] | None = None) -> None:
    """Display blocks in a notebook, one after the other.

    Parameters
    ----------
    blocks : iterable of Block
    alt : mapping of str to str, optional
        Your own alternative text for a figure, 40 to 400 characters, by the key of the figure:
        ``qb.show(qb.report_noise(analysis), alt={"noise_budget": "..."})``. The second figure of
        one key is ``noise_budget-2``. The words stand in the cell, so they are there again when
        the notebook is run again; the caption stays as it is.

    Raises
    ------
    ReportError
        If no figure has such a key, or the words are too few or too many.
    """
    from IPython import display

    shown: Any = display.display  # IPython ships no types
    for block in with_alt(blocks, alt or {}):
        shown(block)


def report_method(analysis: Analysis) -> list[Block]:
    """What was fixed when the plan was made, what was done, and what went differently."""
    study, records = analysis.study, analysis.records
    matrix = records.matrix
    blocks: list[Block] = [Section("What was done")]
    first = [
        f"Plan {matrix.short_hash}, "
        f"{'order as published' if matrix.seed is None else f'seed {matrix.seed}'}."
    ]
    if study.questions:
        first.append(analysis.standing())
    if margins := _margins(study):
        first.append(f"Differences too small to matter ({_when_fixed(analysis)}): {margins}.")
    blocks.append(Paragraph((" ".join(first),)))
    blocks.append(factor_table(study))
    if study.held_constant:
        same = f"The same for all {study.unit_word('coupon', 2)}: "
        blocks.append(
            Paragraph((f"{same}{held_words(study.held_constant, study.publishing.units)}.",))
        )
    blocks += [Paragraph((note,)) for note in (*study.notes, *matrix.notes, *matrix.changes)]
    from quenchbook.plots.coupon_tiles import figure_coupon_matrix

    blocks.append(from_drawing(figure_coupon_matrix(matrix, records)))
    if study.steel or study.equipment:
        blocks.append(equipment_table(study))
    blocks += deviation_blocks(analysis)
    blocks += reference_blocks(analysis.records)
    blocks += blocks_of_testers(analysis.records)
    blocks += length_blocks(analysis.records)
    return blocks


def report_noise(analysis: Analysis) -> list[Block]:
    """Noise budget of each response, the tests with their strata, and what ignoring units does."""
    from quenchbook.plots.noise import figure_noise_budget

    blocks: list[Block] = [Section("How much is noise")]
    for number, (name, model) in enumerate(analysis.models.items()):
        quantity = analysis.study.response(name).quantity
        if len(analysis.models) > 1:
            blocks.append(Section(capital(quantity), level=3))
        ladder = model.units_ladder()
        without = analysis.records.matrix.batches_without_cold()
        if number == 0 and without and "cold_batch" in model.units:
            many = analysis.study.unit_word("cold_batch", 2)
            ladder += f" {without} of the {many} have no cold step: groups to compare with."
        blocks.append(Paragraph((ladder,)))
        try:
            own: list[Block] = [from_drawing(figure_noise_budget(noise_budget(model)))]
            own += order_blocks(model, analysis) if number == 0 else []
        except EstimabilityError as error:
            blocks.append(Paragraph((f"No noise of {quantity} can be estimated: {error}",)))
            blocks.append(term_table(model, name, analysis.study))
            continue
        blocks += own
        blocks.append(term_table(model, name, analysis.study))
        blocks += ignoring_blocks(model, name, analysis.study)
        for extra in (
            error_share_table(analysis, name),
            second_opinion_table(model, name, analysis.study),
        ):
            blocks += [extra] if extra is not None else []
        checks = diagnostics(model).notes or (NOTHING_UNUSUAL,)
        blocks += [Paragraph((Run("Checks.", strong=True), " ", " ".join(checks)))]
        blocks += [Paragraph((note,)) for note in model.notes]
    return blocks


def report_questions(analysis: Analysis) -> list[Block]:
    """A section for each declared question, with verdict and means, and the figures they share."""
    blocks: list[Block] = [
        Section("What was found"),
        *verdict_blocks(analysis.findings),
    ]
    asked = {question.key for question in analysis.study.questions}
    if any(own.key in asked for own in analysis.findings):
        blocks.append(Paragraph((OF_MEANS,)))
    several = len(analysis.models) > 1
    for name in analysis.models:
        if several:
            blocks.append(Section(capital(analysis.study.response(name).quantity), level=3))
        own = [f for f in analysis.findings if f.response == name]
        level = 4 if several else 3
        blocks += response_blocks(analysis, name, own, level=level)
        blocks += refused_blocks(analysis, name, level=level)
    left = [question.response for question, _ in analysis.unanswered]
    for name in dict.fromkeys(name for name in left if name not in analysis.models):
        blocks += refused_blocks(analysis, name, level=3)
    return blocks


def report_limits(analysis: Analysis) -> list[Block]:
    """What cannot be told, and why."""
    study = analysis.study
    items: list[Runs] = []
    loads = analysis.records.matrix.unit_counts().get("furnace_load", 0)
    for finding in analysis.findings:
        if finding.verdict == "undecided":
            items.append(
                (Run(finding.question, strong=True), f" Not settled. {finding.remedy}".rstrip())
            )
    for question, why in analysis.unanswered:
        items.append((Run(question.words, strong=True), f" Not answered: {why}"))
    if loads == 1:
        one, many = study.unit_word("furnace_load"), study.unit_word("furnace_load", 2)
        items.append((f"There was one {one}: how far {many} differ cannot be told.",))
    for model in analysis.models.values():
        items += [(words,) for words in _thin_noise_words(model)]
    for model in analysis.models.values():
        quantity = study.response(model.response).quantity
        for term, reason in model.strata.dropped.items():
            items.append(
                (f"{capital(quantity)}: {term_words(term, study)} was not estimated: {reason}.",)
            )
    items += [(words,) for words in (_equal_hardness_words(analysis), _scale_words(study)) if words]
    if (count := len(analysis.findings)) > 1:
        items.append((_family_words(count, study),))
    if not items:
        items.append(("Nothing beyond what stands with the answers.",))
    return [Section(CANNOT_TELL), Bullets(tuple(items))]


def _thin_noise_words(model: MixedModel) -> list[str]:
    """What the noise rests on where that is little: no repeats, or hardly a spare unit."""
    study, words = model.study, []
    if study is None:
        return []
    quantity = capital(study.response(model.response).quantity)
    planned = model.data.planned
    planned = planned[planned["coupon"].isin(model.data.coupons["coupon"])]
    columns = [factor.column for factor in study.factors if factor.column in planned]
    if columns and not planned.duplicated(columns).any():
        words.append(
            f"{quantity}: no setting was repeated. What the terms in the table leave over is taken "
            "for noise; if more factors act together than these terms say, it is too large."
        )
    for stage in model.strata.stages:
        if 0 < stage.df <= _FEW_SPARE and stage.unit in model.strata.term_stage.values():
            spare = "one spare unit" if stage.df == 1 else f"{stage.df:.0f} spare units"
            words.append(
                f"{quantity}: the scatter of {model.unit_word(stage.unit, 2)} rests on {spare}. "
                "Every verdict that is judged on it hangs on so little."
            )
    return words


def _equal_hardness_words(analysis: Analysis) -> str:
    """Impact energy is compared in total: say how far the hardness of the levels overlaps."""
    models = {analysis.study.response(name).kind: one for name, one in analysis.models.items()}
    if not {"hardness", "impact"} <= models.keys():
        return ""
    hardness, impact = models["hardness"], models["impact"]
    coupons = impact.data.coupons[["coupon"]].merge(hardness.data.coupons, on="coupon")
    tests = hardness.tests()
    changed = set(tests.loc[tests["p_value"] < 1 - analysis.study.confidence, "term"])
    unit = analysis.study.response(hardness.response).unit
    parts = []
    for variable in hardness.terms.variables:
        if variable.name not in changed or variable.name not in impact.terms.names:
            continue
        planned = hardness.data.planned.set_index("coupon")[variable.column]
        own = coupons.assign(level=coupons["coupon"].map(planned)).dropna(subset="level")
        values = own.groupby("level")["value"]
        low, high = values.min().max(), values.max().min()
        outside = int((~own["value"].between(low, high)).sum())
        shared = f"share {low:.1f} to {high:.1f} {unit}" if low <= high else "share no hardness"
        rest = f", {outside} of {len(own)} outside" if low <= high else ""
        parts.append(f"levels of {hardness.term_word(variable.name)} {shared}{rest}")
    if not parts:
        return ""
    quantity = analysis.study.response(impact.response).quantity
    answered = [
        result.contrast_words()
        for own in analysis.findings
        if isinstance(result := getattr(own, "result", None), EqualHardness)
    ]
    but = f"Except for {listed(answered)}, {quantity}" if answered else capital(quantity)
    return (
        f"{but} is compared as the settings leave it, not at equal hardness, which "
        f"they change too: {'; '.join(parts)}."
    )


def _scale_words(study: Study) -> str:
    """One hardness scale is not another."""
    for response in study.responses:
        if response.kind == "hardness" and response.unit:
            return (
                f"{capital(response.quantity)} was tested and analysed in {response.unit}. Equal "
                "steps on this scale are not equal steps on another."
            )
    return ""


def cautions_table(study: Study) -> Cautions:
    """Cautions for the hazards that a study really has."""
    own = cautions(study, units=study.publishing.units)
    items = tuple(
        " ".join([f"{caution.hazard}:", *caution.sentences, caution.source]).rstrip()
        for caution in own
    )
    return Cautions("Cautions", items)


def report_cautions(analysis: Analysis) -> list[Block]:
    """Cautions for whoever wants to repeat it."""
    return [Section("Before you repeat it"), cautions_table(analysis.study)]


def report_appendix(analysis: Analysis) -> list[Block]:
    """All coupons with what was done to them and what was measured."""
    return [
        Section(f"Appendix: all {analysis.study.unit_word('coupon', 2)}"),
        coupon_table(analysis),
    ]


# --- parts ---


def _margins(study: Study) -> str:
    """Margin of each response that has one."""
    return "; ".join(
        f"{response.quantity} {_margin_words(response)}"
        for response in study.responses
        if response.equivalence_margin is not None
    )


def _margin_words(response: Response) -> str:
    import math

    margin = response.equivalence_margin or 0.0
    if response.scale != "log":
        return response.printed.told(margin)
    low, high = percent_text(-math.log1p(margin)), percent_text(math.log1p(margin))
    return f"{percent_text(math.log1p(margin), sign=False)} either way ({low} to {high})"


def _when_fixed(analysis: Analysis) -> str:
    """When the margins were fixed, as far as the plan tells."""
    study = analysis.study
    if study.published:
        return "margins of this analysis"
    before = analysis.records.matrix.declaration.get("margins", {})
    same = all(before.get(r.name) == r.equivalence_margin for r in study.responses)
    return "margins, fixed when the plan was made" if before and same else "margins as they are now"


def _family_words(count: int, study: Study) -> str:
    """How often judgements err, and what is not counted among them."""
    level = f"{study.confidence * 100:g}\u00a0%"
    declared = len(study.questions) + len(study.trade_questions)
    others = "The tests of terms in the tables are further tests and not counted in this."
    if study.multiplicity == "together":
        return (
            f"The {declared} questions share one level of {level} (Bonferroni): the chance that "
            "any difference is called real without being so is at most "
            f"{100 - study.confidence * 100:g}\u00a0%, and so is the chance that any is called "
            "smaller than its margin without being so, or that any place lies outside its "
            f"limits. {others}"
        )
    once = round(1 / (1 - study.confidence))
    some = f"{(1 - study.confidence**count) * 100:.0f}\u00a0%"
    return (
        f"{count} questions were each judged on their own at {level}: "
        f"of {once} true absences of a difference about one would be called real, and {count} "
        f"unconnected questions would hold at least one such in {some} of studies. {others}"
    )
