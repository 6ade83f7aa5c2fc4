"""What readers ask, and where a report leads them."""

from __future__ import annotations

import dataclasses

import pytest

import quenchbook as qb
from quenchbook.findings.answers import Analysis
from quenchbook.report.blocks import (
    Block,
    FindingRows,
    Headline,
    Paragraph,
    Run,
    Section,
    plain_text,
)
from quenchbook.report.document import Document
from quenchbook.report.html import html_page
from quenchbook.report.typst_source import typst_page
from quenchbook.study.publishing import Publishing, ReaderQuestion


@pytest.fixture(scope="module")
def irons(plane_irons_analysis: Analysis) -> Analysis:
    return plane_irons_analysis


def asked(analysis: Analysis, *questions: ReaderQuestion) -> Analysis:
    publishing = Publishing(reader_questions=questions)
    return dataclasses.replace(
        analysis, study=dataclasses.replace(analysis.study, publishing=publishing)
    )


def answer(analysis: Analysis, key: str) -> str:
    blocks = qb.report_reader_questions(asked(analysis, ReaderQuestion("Well?", key)))
    (own,) = (block for block in blocks if isinstance(block, Paragraph))
    return plain_text(own.runs).replace("\u00a0", " ")


def runs_of(blocks: list[Block]) -> list[Run]:
    found: list[Run] = []
    for block in blocks:
        parts = [getattr(block, name, ()) for name in ("runs", "answer")]
        parts += list(getattr(block, "items", ()))
        found += [run for part in parts for run in part if isinstance(run, Run)]
    return found


def test_an_answer_is_the_sentence_of_its_result(irons: Analysis) -> None:
    assert answer(irons, "freezer") == (
        "Well?\nA real difference. Hardness was 0.63 HRC higher with freezer than with no cold step (95 % interval "
        "0.47 to 0.79), a real difference; whether it is more than the margin of 0.5 HRC is not "
        "settled. Asked as: Is a freezer enough to make it harder?"
    )


def test_what_is_bound_to_no_result_was_not_tested(irons: Analysis) -> None:
    assert answer(irons, "") == "Well?\nNot tested here."


def test_what_is_undecided_could_not_be_told_and_says_what_it_takes(irons: Analysis) -> None:
    words = answer(irons, "tough_equal_nitrogen")
    assert "The study could not tell whether" in words
    assert "here is what it would take: to tell a difference of 15 %" in words


def test_what_was_refused_is_not_answered_with_the_reason(irons: Analysis) -> None:
    words = answer(irons, "tough_equal")
    assert words.startswith("Well?\nNot answered: ")
    assert "never had the same hardness" in words


def test_what_came_after_the_data_is_marked(irons: Analysis) -> None:
    own = dataclasses.replace(irons.finding("dry_ice"), change="asked later: exploratory.")
    after = dataclasses.replace(irons, findings=(own,))
    assert answer(after, "dry_ice").startswith(
        "Well?\nExploratory: A difference of more than 0.5 HRC. Hardness was"
    )


def test_a_study_without_such_questions_has_no_such_section(irons: Analysis) -> None:
    assert qb.report_reader_questions(asked(irons)) == []


@pytest.fixture(scope="module")
def blocks(irons: Analysis) -> list[Block]:
    parts = (
        qb.report_answer, qb.report_reader_questions, qb.report_questions, qb.report_limits,
        qb.report_method, qb.report_repeat,
    )  # fmt: skip
    return [block for part in parts for block in part(irons)]


def test_every_declared_question_has_a_section_and_every_link_leads_somewhere(
    irons: Analysis, blocks: list[Block]
) -> None:
    document = Document("A title", tuple(blocks))
    wanted = {f"question-{key}" for key in irons.study.question_keys}
    assert wanted <= document.anchors
    links = [run.link for run in runs_of(blocks) if run.link]
    (rows,) = (block for block in blocks if isinstance(block, FindingRows))
    links += [row.link for row in rows.rows]
    assert len(links) > len(rows.rows)
    assert {link.removeprefix("#") for link in links} <= document.anchors
    page = html_page(document)
    source, _ = typst_page(document)
    for key in irons.study.question_keys:
        assert f'href="#question-{key}"' in page
        assert f'id="question-{key}"' in page
        assert f'link(label("question-{key}")' in source


def test_every_sentence_of_a_finding_carries_its_note(irons: Analysis, blocks: list[Block]) -> None:
    noted = [run for run in runs_of(blocks) if run.note]
    assert all("findings.csv, row " in str(run.note) for run in noted)
    texts = [run.text for run in noted]
    assert all(own.sentence in texts for own in irons.findings)
    headline = next(block for block in blocks if isinstance(block, Headline))
    assert sum(isinstance(part, Run) and part.note is not None for part in headline.answer) == 3
    readers = qb.report_reader_questions(irons)
    answered = [own for own in irons.study.publishing.reader_questions if own.answer_from]
    assert sum(run.note is not None for run in runs_of(readers)) == len(answered)


def test_a_link_to_a_section_that_was_left_out_is_plain_text(irons: Analysis) -> None:
    document = Document("A title", tuple(qb.report_answer(irons)))
    assert "#question-dry_ice" not in html_page(document)
    assert "question-dry_ice" not in typst_page(document)[0]


def test_a_section_keeps_its_anchor_when_two_questions_have_the_same_words() -> None:
    same = [Section("Harder?", 2, "question-a"), Section("Harder?", 2, "question-b")]
    document = Document("A title", (Headline("Harder?"), *same))
    assert {"Harder", "question-a", "question-b"} <= document.anchors


def test_means_stand_under_the_answer_that_compares_them(blocks: list[Block]) -> None:
    texts = [plain_text(own.runs) for own in blocks if isinstance(own, Paragraph)]
    (place,) = (n for n, text in enumerate(texts) if text.startswith("exceeds. Dry ice against"))
    assert texts[place + 1].replace("\u00a0", " ") == (
        "Means (95 % interval): dry ice 62.88 HRC (62.68 to 63.08); no cold step 61.61 HRC (61.41 "
        "to 61.81)."
    )
