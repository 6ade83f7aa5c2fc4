"""What the plan notebook shows, for a study that has everything and for one that lacks much."""

from __future__ import annotations

import dataclasses

import pytest

import quenchbook as qb
from quenchbook.report.blocks import Block, Bullets, FigureBlock, Paragraph, TableBlock
from quenchbook.report.inline_view import inline_text
from quenchbook.report.plan_contents import (
    report_certainty,
    report_choice,
    report_confirmation,
    report_costs,
    report_needed,
    report_outlook,
    report_steel,
)
from quenchbook.study.definition import PlanWish, Study


def text(blocks: list[Block]) -> str:
    return "\n".join(inline_text(block) for block in blocks)


def test_every_question_has_a_row(plane_irons_matrix) -> None:
    block, curves = report_outlook(plane_irons_matrix)
    assert isinstance(block, TableBlock)
    assert isinstance(curves, TableBlock)
    asked = plane_irons_matrix.study.trade_questions
    assert [row[0] for row in curves.rows] == [question.words for question in asked]
    assert "nan" not in text([curves])
    assert [row[0] for row in block.rows] == [q.words for q in plane_irons_matrix.study.questions]
    assert "assumed, common practice, no source" in " ".join(block.notes)
    assert "nan" not in text([block])


def test_a_question_without_an_answer_has_its_reason_below_the_table(coated_bars_matrix) -> None:
    (block,) = report_outlook(coated_bars_matrix)
    assert all("no answer" in row or "none" in row for row in block.rows)
    assert "does not tell the noise" in " ".join(block.notes)


def test_costs_have_a_line_for_everything_and_name_what_has_no_price(plane_irons_matrix) -> None:
    words, block = report_costs(plane_irons_matrix)
    assert "no price told: cold batches" in inline_text(words)
    assert tuple(cell.replace("\xa0", " ") for cell in block.rows[0][:2]) == ("steel", "96 coupons")


def test_certainty_is_a_figure_and_what_money_buys(plane_irons: Study) -> None:
    blocks = report_certainty(plane_irons, "dry_ice")
    assert isinstance(blocks[0], FigureBlock)
    assert isinstance(blocks[1], Bullets)
    words = text(blocks[1:])
    assert "buys:" in words
    assert "a peak near 985" in words.lower()
    assert "instead of" in words


def test_what_is_missing_is_said_and_nothing_breaks(coated_bars: Study, coated_bars_matrix) -> None:
    for blocks in (
        report_steel(coated_bars),
        report_certainty(coated_bars),
        report_choice(coated_bars_matrix),
        report_confirmation(coated_bars_matrix),
        report_needed(coated_bars),
    ):
        assert blocks
        assert all(isinstance(block, Paragraph) for block in blocks)


def test_a_study_without_questions_is_told_so(plane_irons: Study) -> None:
    study = dataclasses.replace(plane_irons, questions=(), trade_questions=())
    assert "No question is declared" in text(report_certainty(study)[:1])
    assert "No question is declared" in text(report_outlook(qb.coupon_matrix(study, seed=1)))
    assert "No question" in text(report_needed(study))


def test_a_confirmation_stands_beside_the_formula(plane_irons_matrix) -> None:
    (block,) = report_confirmation(plane_irons_matrix, studies=1_000)
    assert len(block.rows) == 10
    assert "1,000 simulated studies" in block.caption


def test_needed_loads_are_told_for_difference_and_equivalence(plane_irons: Study) -> None:
    words = text(report_needed(plane_irons, "freezer"))
    assert "to find a difference of the margin" in words
    assert "to show that any difference is smaller than the margin" in words


@pytest.mark.parametrize("kind", ["crossed", "best"])
def test_how_the_coupons_were_chosen_is_told(small_plan_study: Study, kind: str) -> None:
    study = dataclasses.replace(small_plan_study, plan=PlanWish(kind, starts=2))
    words = text(report_choice(qb.coupon_matrix(study, seed=1)))
    if kind == "crossed":
        assert 'kind = "best"' in words
        assert "made for predictions" in words
    else:
        assert "coordinate exchange" in words
        assert "noisier or quieter than thought" in words


def test_a_fraction_shows_what_cannot_be_told_apart(small_plan_study: Study) -> None:
    factors = (
        *(dataclasses.replace(f, levels=f.levels[:2]) for f in small_plan_study.factors),
        *(
            dataclasses.replace(small_plan_study.factors[1], name=name, column=name)
            for name in ("polish", "oil")
        ),
    )
    factors = tuple(dataclasses.replace(f, shape="levels") for f in factors)
    study = dataclasses.replace(
        small_plan_study, factors=factors, plan=PlanWish("fraction", treatments=8), questions=()
    )
    blocks = report_choice(qb.coupon_matrix(study, seed=1))
    assert isinstance(blocks[-1], TableBlock)
    assert "cannot be told from" in [column.title for column in blocks[-1].columns]


@pytest.fixture
def small_plan_study() -> Study:
    from quenchbook.study.definition import Layout, Question, Response
    from quenchbook.study.factors import Factor

    return Study(
        key="small", title="Small", question="Does cold help?", author="invented", date="2026-01-01",
        licence="CC-BY-4.0",
        factors=(
            Factor(
                "austenitize", "austenitize_c", (940.0, 970.0, 1000.0), "temperature",
                "furnace_load", "quadratic",
            ),
            Factor("cold_route", "cold_route", ("none", "freezer")),
        ),
        responses=(Response("hardness_hrc", "hardness", "HRC", "hardness", 3),),
        questions=(
            Question("freezer", "Does it harden?", "hardness_hrc", "cold_route", "freezer", "none"),
        ),
        layout=Layout(furnace_loads=6, coupons_per_load=4),
        invented=True,
    )  # fmt: skip
