"""Where a result holds, how to repeat it, with what it was made."""

from __future__ import annotations

import dataclasses
import json

import pytest
from tests.conftest import ROOT

import quenchbook as qb
from quenchbook.errors import ReportError
from quenchbook.findings.answers import Analysis
from quenchbook.report.blocks import Block, Bullets, Paragraph, plain_text
from quenchbook.report.data_and_method import cite_as
from quenchbook.report.inference_space import inference_space
from quenchbook.report.made_with import versions_used
from quenchbook.report.measured_rates import rates_words
from quenchbook.study.definition import Multiplicity


def analysed(name: str) -> Analysis:
    return qb.analyse(qb.read_folder(ROOT / "data" / name)[2])


@pytest.fixture(scope="module")
def irons(plane_irons_analysis: Analysis) -> Analysis:
    return plane_irons_analysis


@pytest.fixture(scope="module")
def bars(coated_bars_analysis: Analysis) -> Analysis:
    return coated_bars_analysis


def with_study(analysis: Analysis, **changes: object) -> Analysis:
    study = dataclasses.replace(analysis.study, **changes)  # type: ignore[arg-type]
    return dataclasses.replace(analysis, study=study)


def words(blocks: list[Block]) -> str:
    texts = [plain_text(own.runs) for own in blocks if isinstance(own, Paragraph)]
    for own in blocks:
        texts += [plain_text(item) for item in getattr(own, "items", ())]
    return "\n".join(texts).replace("\u00a0", " ")


def steps(analysis: Analysis) -> dict[str, str]:
    (own,) = (block for block in qb.report_repeat(analysis) if isinstance(block, Bullets))
    assert own.ordered
    parts = [plain_text(item).replace("\u00a0", " ").split(". ", 1) for item in own.items]
    return dict(parts)


def test_the_space_of_the_result_is_one_line(irons: Analysis, bars: Analysis) -> None:
    assert inference_space(irons) == (
        "A2 (annealed, one mill heat, eight bars), one furnace, 12 furnace loads, 3 days, 96 coupons "
        "planned, 95 measured"
    )
    assert inference_space(bars) == (
        "steel not told, mill heats not told, furnace not told, 6 furnace heats, days not told, "
        "24 bars"
    )
    assert "Another mill heat, furnace or tester may" in words(qb.report_where_it_holds(irons))


def test_bars_are_counted_where_the_condition_does_not_tell_them(irons: Analysis) -> None:
    own = with_study(irons, steel={"grade": "A2", "condition": "annealed"})
    assert inference_space(own).startswith("A2 (annealed), mill heats not told, 8 bars, one")


def test_heat_lots_that_were_varied_are_counted() -> None:
    assert "2 heat lots" in inference_space(analysed("two_lots"))


def test_the_steps_hold_levels_times_numbers_seed_and_plan(irons: Analysis) -> None:
    own = steps(irons)
    assert list(own) == [
        "Steel", "Plan", "Austenitize", "Quench", "Wait before the cold", "Cold step", "Temper",
        "Test",
    ]  # fmt: skip
    assert "96 coupons from 8 bars" in own["Steel"]
    for part in ("12 furnace loads of 8 coupons", "seed 20260912", "plan 3db02e10"):
        assert part in own["Plan"]
    assert own["Austenitize"].startswith(
        "940 °C, 970 °C, 1000 °C or 1030 °C, set for each furnace load; soak 20 min"
    )
    assert own["Quench"] == "Between aluminium plates."
    assert (
        "0 min, 60 min or 1 day, set for each cold batch, only with"
        in (own["Wait before the cold"])
    )
    assert "cold time 1 h" in own["Cold step"]
    assert "−196 °C" in own["Cold step"]
    for part in ("150 °C or 175 °C", "temper time 2 h", "temper cycles 1"):
        assert part in own["Temper"]
    assert "hardness on 96 coupons, 5 indents on each" in own["Test"].lower()
    assert "impact energy on 48 coupons" in own["Test"]
    assert "not told" not in words(qb.report_repeat(irons))


def test_what_was_not_told_is_said_to_be_not_told(irons: Analysis) -> None:
    bare = steps(with_study(irons, held_constant={}, equipment={}, steel={}))
    assert bare["Steel"].startswith("Steel not told")
    assert "soak and furnace not told" in bare["Austenitize"]
    assert bare["Quench"] == "Quenchant not told."
    assert "time in the cold not told" in bare["Cold step"]
    assert "time and number of tempers not told" in bare["Temper"]
    assert "tester not told" in bare["Test"]


def test_a_study_of_other_settings_lists_them_and_no_steps_of_its_own(bars: Analysis) -> None:
    own = steps(bars)
    assert list(own) == ["Steel", "Plan", "Also set", "Test"]
    assert "order as published" in own["Plan"]
    assert "coating C1, C2, C3 or C4, set for each bar" in own["Also set"]
    assert "Steps that are not in this list were not told" in words(qb.report_repeat(bars))


def test_a_factor_that_its_levels_name_is_not_said_twice() -> None:
    text = words(qb.report_repeat(analysed("springs")))
    assert "; carbon 0.5 or carbon 0.7, set for each run" in text
    assert "carbon carbon" not in text


def test_the_study_is_cited_by_author_date_title_plan_and_licence(irons: Analysis) -> None:
    assert cite_as(irons) == (
        "The tool workshop (invented) (2026-09-12). Plane irons of A2: route to cold, delay and "
        "austenitize temperature. Study plane_irons, plan 3db02e10. Invented data. Licence: "
        "CC-BY-4.0."
    )


def test_versions_seed_plan_and_date_stand_in_the_report(irons: Analysis) -> None:
    text = words(qb.report_data(irons))
    matrix = irons.records.matrix
    for part in (matrix.plan_hash, "seed 20260912", "dated 2026-09-12", "simulated studies"):
        assert part in text
    for name in ("quenchbook", "Python", "numpy", "scipy", "pandas", "statsmodels", "matplotlib",
                 "typst"):  # fmt: skip
        assert f"{name} {versions_used()[name]}" in text
    assert "not installed" not in text


def test_rates_that_were_not_measured_are_said_to_be_missing() -> None:
    assert rates_words(None) == (
        "How often such sentences are false over whole studies was not measured in this version."
    )


def test_measured_rates_are_those_of_the_way_the_questions_are_judged() -> None:
    share = {"rate": 0.031, "low": 0.021, "high": 0.0437, "of": 1000}
    measured = {
        "studies": 1000, "questions": 5750, "confidence": 0.95, "version": "0.1.0",
        "measured": "2026-11-26", "command": "python measure.py",
        "rows": [{"level": "together", "what": "studies that err", **share},
                 {"level": "each", "what": "questions that err", **share}],
    }  # fmt: skip
    text = rates_words(json.loads(json.dumps(measured)), "together").replace("\u00a0", " ")
    assert "on 1,000 simulated studies with 5,750 questions at 95 %" in text
    assert "studies that err 3.1 % of 1,000 (2.1 to 4.4 %)" in text
    assert "questions that err" not in text
    assert "questions that err" in rates_words(measured, "each")
    assert "python measure.py" in text


@pytest.mark.parametrize("multiplicity", ["each", "together"])
def test_the_stored_rates_stand_in_the_report(irons: Analysis, multiplicity: Multiplicity) -> None:
    study = dataclasses.replace(irons.study, multiplicity=multiplicity)
    told = words(qb.report_data(dataclasses.replace(irons, study=study))).replace("\u00a0", " ")
    assert "on 1,000 simulated studies" in told
    assert "studies with any false statement" in told
    assert ("smaller than the margin" in told) == (multiplicity == "together")


@pytest.mark.parametrize("broken", [{}, {"confidence": "high"}, {"confidence": 0.9}])
def test_a_file_without_rates_is_refused(broken: dict[str, object]) -> None:
    with pytest.raises(ReportError, match="does not hold measured rates"):
        rates_words(broken)


def test_batches_without_a_cold_step_are_told_apart(irons: Analysis) -> None:
    assert "48 cold batches, 12 of them without a cold step" in str(qb.report_repeat(irons))
