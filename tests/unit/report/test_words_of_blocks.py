"""Words around the answers: what is bold, how means were made, what a word means."""

from __future__ import annotations

import dataclasses

from quenchbook.findings.answers import Analysis
from quenchbook.findings.traces import trace_note
from quenchbook.report.answer_blocks import outcome_meaning, verdict_blocks
from quenchbook.report.blocks import Bullets, Headline, Paragraph, Run, plain_text
from quenchbook.report.first_page import report_answer
from quenchbook.report.means_blocks import means_blocks
from quenchbook.report.study_tables import deviation_blocks


def test_an_undecided_first_answer_is_not_bold(plane_irons_analysis: Analysis) -> None:
    own = plane_irons_analysis.finding("tough_equal_nitrogen")
    alone = dataclasses.replace(plane_irons_analysis, findings=(own,), unanswered=())
    headline = report_answer(alone)[0]
    assert isinstance(headline, Headline)
    assert not any(part.strong for part in headline.answer if isinstance(part, Run))


def test_means_of_logarithms_are_called_geometric(plane_irons_analysis: Analysis) -> None:
    for key, words in (("tough", "Geometric means"), ("freezer", "Means")):
        (block,) = means_blocks(plane_irons_analysis, plane_irons_analysis.finding(key))
        assert isinstance(block, Paragraph)
        assert plain_text(block.runs).startswith(f"{words} (")


def test_means_name_the_levels_that_were_kept(plane_irons_analysis: Analysis) -> None:
    study = plane_irons_analysis.study
    kept = tuple(
        dataclasses.replace(question, at={"austenitize": 1030.0})
        if question.key == "freezer"
        else question
        for question in study.questions
    )
    own = dataclasses.replace(
        plane_irons_analysis, study=dataclasses.replace(study, questions=kept)
    )
    (block,) = means_blocks(own, own.finding("freezer"))
    assert isinstance(block, Paragraph)
    words = plain_text(block.runs).replace("\u00a0", " ")
    assert words.startswith("Means at austenitize 1030 °C (95 % interval): ")


def test_only_what_is_equivalent_has_a_size_ruled_out(plane_irons_analysis: Analysis) -> None:
    for key, said in (("decade", False), ("nitrogen", True)):
        note = trace_note(plane_irons_analysis, plane_irons_analysis.finding(key))
        assert ("ruled out rounded up" in note) == said


def test_deviations_say_where_a_declared_level_is_taken(plane_irons_analysis: Analysis) -> None:
    captions = [getattr(own, "caption", "") for own in deviation_blocks(plane_irons_analysis)]
    assert any("nearest declared level" in caption for caption in captions)


def test_every_word_of_an_answer_is_explained(plane_irons_analysis: Analysis) -> None:
    findings = plane_irons_analysis.findings
    listed = next(own for own in verdict_blocks(findings) if isinstance(own, Bullets))
    explained = {plain_text(item).partition(":")[0] for item in listed.items}
    assert explained == {own.word for own in findings}
    assert outcome_meaning("no temper inside").startswith("no setting inside the range")
