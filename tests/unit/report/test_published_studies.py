"""What a report says where a published table leaves something open."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.conftest import ROOT

import quenchbook as qb
from quenchbook.errors import StudyError
from quenchbook.findings.answers import Analysis
from quenchbook.fit.diagnostics import order_effects, spread_by_factor
from quenchbook.report.blocks import Bullets, plain_text
from quenchbook.report.contents import report_limits, report_noise
from quenchbook.report.data_and_method import report_data


@pytest.fixture(scope="module", params=["steel_bars", "springs", "leaf_springs"])
def analysis(request: pytest.FixtureRequest) -> Analysis:
    return analysed(request.param)


def analysed(name: str) -> Analysis:
    return qb.analyse(qb.read_folder(ROOT / "data" / name)[2])


def limits(name: str) -> str:
    bullets = report_limits(analysed(name))[1]
    assert isinstance(bullets, Bullets)
    return "\n".join(plain_text(item) for item in bullets.items)


def test_every_question_of_a_published_study_gets_an_answer(analysis: Analysis) -> None:
    assert not analysis.unanswered
    assert len(analysis.findings) == len(analysis.study.questions)


def test_no_drift_is_looked_for_where_the_order_is_not_told(analysis: Analysis) -> None:
    (model,) = analysis.models.values()
    assert order_effects(model).empty
    keys = [getattr(block, "key", "") for block in report_noise(analysis)]
    assert "furnace_order" not in keys
    assert "noise_budget" in keys


def test_the_order_of_a_table_is_not_called_time_order(analysis: Analysis) -> None:
    drawing = qb.figure_coupon_matrix(analysis.records.matrix)
    (model,) = analysis.models.values()
    x, group = qb.curve_factors(model)
    texts = [drawing.caption(), drawing.alt]
    if x is not None:
        curves = qb.figure_response_curves(qb.response_curves(model, x, group))
        texts.append(curves.caption())
    for text in texts:
        assert "time order" not in text
        assert "quench order" not in text


def test_the_order_of_a_publication_that_tells_it_is_still_looked_at() -> None:
    (model,) = analysed("coated_bars").models.values()
    assert not order_effects(model).empty


def test_springs_without_repeats_say_what_is_taken_for_noise() -> None:
    text = limits("springs")
    assert "no setting was repeated" in text
    assert "rests on one spare unit" in text


def test_one_spare_unit_gives_no_verdict_on_spread() -> None:
    (model,) = analysed("springs").models.values()
    assert spread_by_factor(model).empty


def test_steel_bars_in_one_group_say_that_groups_cannot_be_compared() -> None:
    text = limits("steel_bars")
    assert "There was one group: how far groups differ cannot be told." in text
    assert "no setting was repeated" not in text


def test_levels_that_several_factors_share_carry_the_name_of_their_factor() -> None:
    sentence = analysed("leaf_springs").finding("oil_temp").sentence
    assert sentence.startswith("Oil temperature high against low")


def test_heights_keep_the_digits_they_were_published_with() -> None:
    blocks = qb.report_appendix(analysed("leaf_springs"))
    assert "7.78" in str(blocks[1])


def test_source_and_licence_stand_in_the_report(analysis: Analysis) -> None:
    text = "".join(plain_text(block.runs) for block in report_data(analysis)[1:])
    assert "facts quoted" in text
    assert any("Data: " in note for note in analysis.study.notes)


def test_only_published_data_may_leave_the_order_open(tmp_path: Path) -> None:
    text = (ROOT / "data" / "springs" / "study.toml").read_text(encoding="utf-8")
    path = tmp_path / "study.toml"
    path.write_text(text.replace("published = true", "published = false"), encoding="utf-8")
    with pytest.raises(StudyError, match="only published data may have an order that is not told"):
        qb.read_study(path)
