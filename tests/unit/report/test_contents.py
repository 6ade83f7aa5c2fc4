"""What a report says of declared, late and published questions, and of what was not shown."""

from __future__ import annotations

import dataclasses

import pytest

import quenchbook as qb
from quenchbook.findings.answers import Analysis
from quenchbook.findings.verdicts import Finding
from quenchbook.report import contents, first_page, noise_tables, study_tables
from quenchbook.report.blocks import (
    Block,
    FindingRows,
    Headline,
    Paragraph,
    Run,
    TableBlock,
    plain_text,
)
from quenchbook.study.trade_questions import TradeQuestion


@pytest.fixture(scope="module")
def irons(plane_irons_analysis: Analysis) -> Analysis:
    return plane_irons_analysis


@pytest.fixture(scope="module")
def bars(coated_bars_analysis: Analysis) -> Analysis:
    return coated_bars_analysis


@pytest.fixture(scope="module")
def late(irons: Analysis) -> Analysis:
    """The demonstration after its margin of hardness was made five times as strict."""
    hardness, impact = irons.study.responses
    responses = (dataclasses.replace(hardness, equivalence_margin=0.1), impact)
    study = dataclasses.replace(irons.study, responses=responses)
    matrix = dataclasses.replace(irons.records.matrix, study=study)
    return qb.analyse(dataclasses.replace(irons.records, study=study, matrix=matrix))


def words_of(blocks: list[Block]) -> str:
    """Text of headlines, paragraphs and lists, with plain spaces."""
    texts = []
    for block in blocks:
        if isinstance(block, Paragraph):
            texts.append(plain_text(block.runs))
        elif isinstance(block, Headline):
            texts.append(plain_text(block.answer))
        elif isinstance(block, FindingRows):
            texts.append(block.reading)
        for item in getattr(block, "items", ()):
            texts.append(item if isinstance(item, str) else plain_text(item))
    return "\n".join(texts).replace("\u00a0", " ")


def rows_of(analysis: Analysis) -> dict[str, object]:
    (block,) = (b for b in first_page.report_answer(analysis) if isinstance(b, FindingRows))
    return {row.statement.partition("\n")[0]: row for row in block.rows}


def test_the_answer_is_three_sentences_with_notes_the_first_bold(irons: Analysis) -> None:
    headline = first_page.report_answer(irons)[0]
    assert isinstance(headline, Headline)
    lines = plain_text(headline.answer).replace("\u00a0", " ").split("\n")
    assert len(lines) == 4
    assert lines[0].startswith("Hardness was 1.27 HRC higher with dry ice than with no cold step")
    assert lines[-1].startswith("17 more answers stand below, three of them open")
    sentences = [part for part in headline.answer if isinstance(part, Run)]
    assert [part.strong for part in sentences] == [True, False, False]
    assert all(part.note for part in sentences)


def test_what_was_fixed_beforehand_stands_with_the_question(
    irons: Analysis, bars: Analysis
) -> None:
    headline = first_page.report_answer(irons)[0]
    assert isinstance(headline, Headline)
    assert "21 questions declared before the data (plan 3db02e10); 1 not" in headline.byline
    headline = first_page.report_answer(bars)[0]
    assert isinstance(headline, Headline)
    assert headline.byline.endswith("published data; not declared before the data.")


def test_what_is_undecided_comes_last_and_what_is_exploratory_is_never_bold(
    bars: Analysis, irons: Analysis
) -> None:
    headline = first_page.report_answer(bars)[0]
    assert isinstance(headline, Headline)
    lines = plain_text(headline.answer).split("\n")
    assert [line.split("(")[0].strip() for line in lines] == [
        "Resistance differs between levels of coating",
        "The effect of furnace temperature on resistance depends on coating",
        "The study could not tell whether resistance differs between levels of furnace temperature",
    ]
    own = dataclasses.replace(irons.finding("dry_ice"), change="asked later: exploratory.")
    alone = dataclasses.replace(irons, findings=(own,))
    headline = first_page.report_answer(alone)[0]
    assert isinstance(headline, Headline)
    words = plain_text(headline.answer)
    assert words.startswith("No question that was declared has an answer.\nExploratory: Hardness")
    assert not any(part.strong for part in headline.answer if isinstance(part, Run))


def test_page_one_says_that_a_tester_was_out(irons: Analysis) -> None:
    assert "out of its limit" not in words_of(first_page.report_answer(irons))
    blocks = irons.records.block_checks
    high = blocks.assign(hardness_hrc=blocks["hardness_hrc"] + 2.0)
    off = dataclasses.replace(irons, records=dataclasses.replace(irons.records, block_checks=high))
    assert not blocks.empty
    assert "A tester check is out of its limit (error, session" in words_of(
        first_page.report_answer(off)
    )


def test_page_one_says_which_interval_is_which(irons: Analysis) -> None:
    words = words_of(first_page.report_answer(irons))
    assert "estimate and its 95 % interval" in words
    assert (
        "Short strokes in the band: the 90 % interval, by which slight and equivalent are judged"
        in words
    )
    assert "hardness 0.5 HRC; impact energy 15 % either way (−13 % to +15 %)" in words
    rows = rows_of(irons)
    row = rows["Does liquid nitrogen do more than dry ice?"]
    first, second = row.interval_text.replace("\u00a0", " ").split("\n")  # type: ignore[attr-defined]
    assert first.startswith("95 % −")
    assert second.startswith("90 % −")
    assert "%" not in rows["Does dry ice make it harder?"].interval_text  # type: ignore[attr-defined]


def test_declared_margins_are_said_to_be_fixed_and_late_ones_exploratory(
    irons: Analysis, late: Analysis
) -> None:
    before, after = (words_of(contents.report_method(a)) for a in (irons, late))
    assert "21 questions declared before the data; 1 not answered." in before
    assert "margins, fixed when the plan was made" in before
    assert "exploratory" not in before
    change = "Margin of hardness was 0.5 HRC when the plan was made, now 0.1 HRC: exploratory."
    assert "4 questions declared before the data, 17 after; 1 not answered." in after
    assert "fixed" not in after
    assert change in after
    assert words_of(first_page.report_answer(late)).count(change) == 1
    for own in late.findings:
        row = rows_of(late)[own.question]
        marked = row.statement.endswith("\nExploratory.")  # type: ignore[attr-defined]
        assert marked == (own.response == "hardness_hrc")
    assert change in words_of(contents.report_questions(late))


def test_the_answer_leaves_out_what_came_after_the_data(late: Analysis) -> None:
    headline = first_page.report_answer(late)[0]
    assert isinstance(headline, Headline)
    lines = plain_text(headline.answer).split("\n")
    assert all("impact energy" in line for line in (line.lower() for line in lines[:-1]))
    assert len(lines) == 4
    assert lines[-1] == (
        "17 more answers stand below, four of them open (two undecided, one with no upper limit "
        "and one with no lower limit), 17 of them exploratory; one question was not answered."
    )


def test_published_data_are_never_called_fixed_or_declared_beforehand(bars: Analysis) -> None:
    sections = (
        first_page.report_answer, contents.report_method, contents.report_questions,
        contents.report_noise, contents.report_limits,
    )  # fmt: skip
    words = "\n".join(words_of(section(bars)) for section in sections)
    assert "not declared before the data" in words
    assert "fixed" not in words
    assert words.count("declared") == words.count("not declared before the data")
    assert "the book itself was not seen" in words


@pytest.mark.parametrize(("confidence", "once"), [(0.95, 20), (0.9, 10), (0.99, 100)])
def test_how_often_a_judgement_errs_follows_the_confidence(
    irons: Analysis, confidence: float, once: int
) -> None:
    study = dataclasses.replace(irons.study, confidence=confidence)
    words = words_of(contents.report_limits(dataclasses.replace(irons, study=study)))
    assert f"at {confidence * 100:g} %: of {once} true absences" in words
    assert "The tests of terms in the tables are further tests" in words


def test_verdicts_on_terms_have_a_meaning_without_a_margin(bars: Analysis, irons: Analysis) -> None:
    words = words_of(contents.report_questions(bars))
    assert "differs: a real difference between levels." in words
    assert "margin" not in words
    assert "differs: a real difference; whether it is larger than the margin is not settled." in (
        words_of(contents.report_questions(irons))
    )


# --- tables ------------------------------------------------------------------------------------


def test_ignoring_units_speaks_of_verdicts_only_where_all_were_asked(bars: Analysis) -> None:
    (name, model), *_ = bars.models.items()
    words, table = noise_tables.ignoring_blocks(model, name, bars.study)
    assert isinstance(table, TableBlock)
    assert table.caption.endswith("only the first uses the right noise.")
    text = words_of([words])
    assert "all three verdicts would have been reversed" in text
    fewer = dataclasses.replace(bars.study, questions=bars.study.questions[:1])
    text = words_of([noise_tables.ignoring_blocks(model, name, fewer)[0]])
    assert "verdicts" not in text
    assert "3 of the 3 tests in this table would have changed sides" in text


def test_a_single_test_that_changes_sides_may_do_so_by_chance(irons: Analysis) -> None:
    text = noise_tables._flipped_words(["temper"], ["temper", "delay"], irons.study)
    assert text == (
        "1 of the 2 tests in this table would have changed sides: temper. A single test may change "
        "sides by chance, either way."
    )


def test_equipment_is_printed_with_degree_signs(irons: Analysis) -> None:
    table = study_tables.equipment_table(irons.study)
    cells = [cell for row in table.rows for cell in row]
    assert "domestic chest freezer, −18\u00a0°C" in cells
    assert not any("degC" in cell for cell in cells)


def test_a_table_of_files_names_file_and_folder() -> None:
    block = study_tables.files_table(["bench/booklet.pdf", "bench/forms/impact.csv"])
    assert block.rows == (("booklet.pdf", "bench"), ("impact.csv", "bench/forms"))
    assert block.caption == "2 files written."


def test_all_coupons_are_counted_in_the_words_of_the_study(bars: Analysis) -> None:
    assert study_tables.coupon_table(bars).caption.startswith("All 24 bars in furnace order")


def test_a_comparison_without_a_margin_has_no_field_to_explain(irons: Analysis) -> None:
    bare = [
        dataclasses.replace(own, margin=None, verdict="undecided")
        for own in irons.findings
        if isinstance(own, Finding)
    ]
    words = words_of(first_page.report_answer(dataclasses.replace(irons, findings=tuple(bare))))
    assert "Grey field" not in words
    assert "Short strokes" not in words


def test_toughness_is_said_to_be_compared_at_unequal_hardness(
    irons: Analysis, bars: Analysis
) -> None:
    words = words_of(contents.report_limits(irons))
    hardness = irons.models["hardness_hrc"].data.coupons
    tested = hardness[hardness["coupon"].isin(irons.models["impact_j"].data.coupons["coupon"])]
    by_temper = tested.groupby("temper_c")["value"]
    low, high = by_temper.min().max(), by_temper.max().min()
    outside = int((~tested["value"].between(low, high)).sum())
    assert f"levels of temper share {low:.1f} to {high:.1f} HRC, {outside} of 48 outside" in words
    assert "not at equal hardness" in words
    assert "not equal steps on another" in words
    assert "equal hardness" not in words_of(contents.report_limits(bars))


@pytest.fixture(scope="module")
def same_hardness(irons: Analysis) -> Analysis:
    """The demonstration with two questions at equal hardness, one of which it cannot answer."""
    asked = [
        TradeQuestion(
            key, words, "impact_j", "equal_hardness", "temper", "cold_route", level, against
        )
        for key, words, level, against in (
            ("colder", "Is nitrogen tougher than dry ice?", "liquid_nitrogen", "dry_ice"),
            ("cold", "Is dry ice tougher than none?", "dry_ice", "none"),
        )
    ]
    study = dataclasses.replace(irons.study, trade_questions=tuple(asked))
    matrix = dataclasses.replace(irons.records.matrix, study=study)
    return qb.analyse(dataclasses.replace(irons.records, study=study, matrix=matrix))


def test_an_answer_at_equal_hardness_is_drawn_and_told(same_hardness: Analysis) -> None:
    blocks = contents.report_questions(same_hardness)
    assert "at the same hardness −3.2 %" in words_of(blocks)
    assert any(getattr(block, "key", "") == "equal_hardness" for block in blocks)


def test_limits_name_what_was_compared_at_equal_hardness(same_hardness: Analysis) -> None:
    words = words_of(contents.report_limits(same_hardness))
    assert "Except for liquid nitrogen against dry ice, impact energy is compared as" in words
    assert "Not answered: Dry ice against no cold step: impact energy +1.0 %" in words


def test_delay_shares_hardness_only_among_coupons_that_have_one(irons: Analysis) -> None:
    impact = irons.models["impact_j"].data.coupons
    cold = int(impact["delay_minutes"].notna().sum())
    assert cold < len(impact)
    assert f"of {cold} outside" in words_of(contents.report_limits(irons))


def test_the_report_says_which_readings_are_not_there(irons: Analysis, bars: Analysis) -> None:
    words = words_of(study_tables.deviation_blocks(irons))
    assert "not there: 5 of" in words
    assert "Nothing else was left out" in words
    assert "24 bars in 6 furnace heats; nothing was left out" in words_of(
        study_tables.deviation_blocks(bars)
    )


def test_page_one_has_a_row_for_every_question_in_the_order_of_the_file(irons: Analysis) -> None:
    (block,) = (b for b in first_page.report_answer(irons) if isinstance(b, FindingRows))
    study = irons.study
    words = {own.key: own.words for own in (*study.questions, *study.trade_questions)}
    told = [row.statement.partition("\n")[0] for row in block.rows]
    assert told == [words[key] for key in study.question_keys]
    refused = [question.words for question, _ in irons.unanswered]
    assert refused == [row.statement for row in block.rows if row.verdict == "not answered"]
    assert len(refused) == 1
