from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.conftest import ROOT

import quenchbook as qb
from quenchbook.findings.answers import Analysis
from quenchbook.findings.evidence_answers import EvidenceAnswer
from quenchbook.records.published_comparisons import Arm, EvidenceTable, Kind, PublishedComparison


def table(
    *ratios: float, kind: Kind = "equal hardness", better: str = "higher", coupons: int = 20
) -> EvidenceTable:
    return EvidenceTable(
        tuple(
            PublishedComparison(
                study=f"study {number}", kind=kind, quantity="impact energy", unit="J",
                effect="ratio", level="dry ice", against="no cold step", better=better,
                level_arm=Arm(10 * ratio, 1.0 * ratio, coupons),
                against_arm=Arm(10.0, 1.0, coupons), source="invented in a test",
            )
            for number, ratio in enumerate(ratios)
        )
    )  # fmt: skip


def only(evidence: EvidenceTable, **more: float) -> EvidenceAnswer:
    (answer,) = qb.evidence_answers(evidence, **more)
    return answer


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return qb.analyse(qb.read_folder(ROOT / "data" / "plane_irons")[2])


def test_studies_that_disagree_show_no_consistent_gain_beyond_hardness() -> None:
    (own,) = only(table(0.8, 1.2, 1.0, 1.1, 0.9)).findings
    assert own.verdict == "undecided"
    assert not own.consistent
    assert "No consistent gain beyond hardness." in own.sentence


def test_studies_that_agree_show_a_consistent_gain() -> None:
    (own,) = only(table(1.29, 1.31, 1.33, 1.30, 1.28, 1.32)).findings
    assert own.consistent
    assert "This is a consistent gain beyond hardness." in own.sentence


def test_a_lower_value_is_a_gain_where_lower_is_better() -> None:
    (own,) = only(table(0.79, 0.81, 0.83, 0.80, 0.78, 0.82, better="lower")).findings
    assert "consistent gain" in own.sentence


def test_a_lower_value_is_a_loss_where_higher_is_better() -> None:
    (own,) = only(table(0.79, 0.81, 0.83, 0.80, 0.78, 0.82)).findings
    assert "consistent loss" in own.sentence


def test_without_a_better_side_it_is_called_a_difference() -> None:
    (own,) = only(table(0.8, 1.2, 1.0, 1.1, 0.9, better="")).findings
    assert "No consistent difference beyond hardness." in own.sentence


def test_a_real_mean_with_a_wide_range_is_not_called_consistent() -> None:
    (own,) = only(table(1.05, 1.45, 1.1, 1.6, 1.2, 1.3, 1.02, 1.5)).findings
    assert own.verdict == "differs"
    assert not own.consistent
    assert "a real difference" in own.sentence
    assert "No consistent gain" in own.sentence


def test_a_small_difference_is_equivalent_against_a_margin() -> None:
    (own,) = only(table(0.99, 1.01, 1.0, 1.02, 0.98, 1.0), margin=0.15).findings
    assert own.verdict == "equivalent"
    assert "any difference on average is smaller than the margin" in own.sentence


def test_two_studies_are_listed_without_a_mean() -> None:
    (own,) = only(table(1.2, 1.3)).findings
    assert own.word == "listed"
    assert "on average" not in own.sentence
    assert "too few to pool: +20" in own.sentence


def test_the_own_study_stands_beside_its_kind_and_in_no_average(analysis: Analysis) -> None:
    evidence = qb.read_evidence(ROOT / "data" / "plane_irons")
    (alone,), (beside,) = qb.evidence_answers(evidence), qb.evidence_answers(evidence, analysis)
    before = {own.kind: own.synthesis for own in alone.findings}
    for own in beside.findings:
        assert own.synthesis is not None
        before_mean = getattr(before[own.kind], "mean", None)
        assert own.synthesis.mean == before_mean
    (row,) = next(own for own in beside.findings if own.kind == "total").own
    finding = analysis.finding("tough")
    assert (row.estimate, row.coupons, row.furnace_loads) == (finding.estimate, 24, 12)
    assert [own.own for own in beside.findings if own.kind != "total"] == [(), ()]


def test_an_own_study_on_another_scale_is_not_set_beside_ratios(analysis: Analysis) -> None:
    rows = tuple(replace(own, question="dry_ice") for own in table(1.0, 1.1, 1.2).rows)
    (answer,) = qb.evidence_answers(EvidenceTable(rows), analysis)
    assert not answer.findings[0].own
    assert 'hardness_hrc needs scale = "log"' in answer.notes[0]


def test_a_question_that_was_not_answered_is_named(analysis: Analysis) -> None:
    rows = tuple(replace(own, question="nobody") for own in table(1.0, 1.1, 1.2).rows)
    (answer,) = qb.evidence_answers(EvidenceTable(rows), analysis)
    assert answer.notes == ("The own study has no answer to the question 'nobody'.",)


def told(*effects: float, std_error: float) -> EvidenceTable:
    """Logarithms of ratios with their standard error as published."""
    return EvidenceTable(
        tuple(
            PublishedComparison(
                study=f"study {number}", kind="equal hardness", quantity="impact energy", unit="J",
                effect="ratio", level="dry ice", against="no cold step", better="higher",
                estimate=effect, std_error=std_error, source="invented in a test",
            )
            for number, effect in enumerate(effects)
        )
    )  # fmt: skip


def test_few_studies_that_agree_by_chance_are_no_consistent_gain() -> None:
    # The mean is floored at what chance gives, so the range of a further study must be too.
    (own,) = only(told(0.2, 0.21, 0.19, std_error=0.14)).findings
    found = own.synthesis
    assert found is not None
    assert own.verdict == "undecided"
    assert found.further_low < 0 < found.further_high
    assert not own.consistent
    assert "No consistent gain" in own.sentence


@pytest.mark.parametrize("count", [3, 5])
def test_no_gain_is_consistent_whose_mean_was_not_shown(count: int) -> None:
    source = np.random.default_rng(count)
    for _ in range(10):
        effects = 0.1 + 0.14 * source.standard_normal(count)
        (own,) = only(told(*effects, std_error=0.14)).findings
        assert own.verdict in ("exceeds", "differs", "slight") or not own.consistent


def test_the_range_of_a_further_study_names_its_confidence() -> None:
    (own,) = only(table(1.29, 1.31, 1.33, 1.30, 1.28, 1.32), confidence=0.9).findings
    assert "(90\u00a0% range)" in own.sentence
