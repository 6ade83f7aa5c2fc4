from __future__ import annotations

from dataclasses import replace

import pytest
from tests.conftest import ROOT

import quenchbook as qb
from quenchbook.findings.answers import Analysis
from quenchbook.findings.evidence_answers import EvidenceAnswer
from quenchbook.plots.drawing import Drawing
from quenchbook.records.published_comparisons import EvidenceTable
from quenchbook.report.evidence_blocks import report_evidence


@pytest.fixture(scope="module")
def answer(plane_irons_analysis: Analysis) -> EvidenceAnswer:
    evidence = qb.read_evidence(ROOT / "data" / "plane_irons")
    (own,) = qb.evidence_answers(evidence, plane_irons_analysis)
    return own


@pytest.fixture(scope="module")
def drawing(answer: EvidenceAnswer) -> Drawing:
    return qb.figure_evidence(answer)


def test_the_own_study_stands_first_in_its_group(drawing: Drawing) -> None:
    groups = drawing.data.groupby("kind", sort=False)["what"].first()
    assert groups["total"] == "own"


def test_every_kind_has_its_own_heading(drawing: Drawing) -> None:
    words = [text.get_text() for text in drawing.figure.axes[0].texts]
    for heading in ("hardness held equal", "hardness matched by the temper"):
        assert heading in words
    assert words.index("hardness held equal") < words.index("hardness not held equal")


def test_coupons_and_loads_stand_beside_each_name(drawing: Drawing) -> None:
    words = [text.get_text() for text in drawing.figure.axes[0].texts]
    assert "24 coupons, 12 loads" in words
    assert "12 coupons, loads not told" in words
    assert "40 coupons, one load" in words


def test_no_mean_is_drawn_for_a_kind_that_is_listed(drawing: Drawing) -> None:
    own = drawing.data[drawing.data["kind"] == "matched by temper"]
    assert own["what"].tolist() == ["study"]


def test_the_alternative_text_has_the_length_of_all(drawing: Drawing) -> None:
    assert 40 <= len(drawing.alt) <= 400


def test_all_words_lie_inside_the_sheet(drawing: Drawing) -> None:
    figure = drawing.figure
    figure.canvas.draw()
    wide, high = figure.get_size_inches() * figure.dpi
    for text in figure.axes[0].texts:
        box = text.get_window_extent()
        assert box.x0 >= -0.5, text.get_text()
        assert box.x1 <= wide + 0.5, text.get_text()
        assert box.y0 >= -0.5, text.get_text()
        assert box.y1 <= high + 0.5, text.get_text()


def test_a_report_without_a_table_has_no_such_section(coated_bars_matrix) -> None:
    analysis = qb.analyse(qb.read_folder(ROOT / "data" / "coated_bars")[2])
    assert report_evidence(analysis) == []
    assert report_evidence(analysis, EvidenceTable(())) == []


def test_the_section_names_the_source_of_each_study() -> None:
    analysis = qb.analyse(qb.read_folder(ROOT / "data" / "plane_irons")[2])
    blocks = report_evidence(analysis)
    assert [type(own).__name__ for own in blocks] == [
        "Section", "FigureBlock", "Paragraph", "Paragraph", "Paragraph", "Bullets",
    ]  # fmt: skip
    assert len(blocks[-1].items) == 8
    assert all("Source: invented" in own[1] for own in blocks[-1].items)


def test_invented_studies_are_called_so_in_figure_and_alternative_text(
    answer: EvidenceAnswer, drawing: Drawing
) -> None:
    assert "8 published studies, 8 of them invented" in drawing.alt
    assert "…" not in drawing.alt
    found = answer.findings[0].synthesis
    assert found is not None
    named = tuple(
        replace(one, study=one.study.replace("invented study", "Study"))
        for one in found.comparisons
    )
    own = replace(answer.findings[0], synthesis=replace(found, comparisons=named))
    other = qb.figure_evidence(replace(answer, findings=(own, *answer.findings[1:])))
    words = [text.get_text() for text in other.figure.axes[0].texts]
    assert "Study A (invented)" in words
    assert "3 invented studies" in words
