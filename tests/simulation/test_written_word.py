"""Calibration of the written word: how often sentences of whole studies say what is not so.

1,000 simulated studies in eight layouts go through plan, records, analysis and sentences. Each
sentence is read as a reader would, from its words and printed numbers, and held against the truth.
The counts are stored beside this file. The slow lane (``pytest -m simulation``) makes those of two
plans of each layout again, 400 studies, and they must be the same; with ``ALL_STUDIES=1`` in the
environment those of all five, as the command that stores them does. The bounds are those the project promises: false
statements of difference and of equivalence in at most 5 % of studies whose questions share one
level, and at most 5 % of questions that have a level of their own, within two binomial standard
errors.
"""

from __future__ import annotations

import dataclasses
import math
import os

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from tests.simulation import written_rates
from tests.simulation.written_bench import bench_of, records_from_files, template_of
from tests.simulation.written_claims import (
    Difference,
    claimed_difference,
    claimed_ends,
    claimed_half_loss,
    claimed_peak,
    claimed_shift,
    claimed_temper,
    claimed_term,
    claimed_window,
    total_limits,
)
from tests.simulation.written_layouts import LAYOUTS
from tests.simulation.written_rates import (
    PLACES,
    counted,
    measured,
    rate_rows,
    stored_counts,
    stored_rates,
)
from tests.simulation.written_studies import (
    PLANS,
    STUDIES,
    WHOLE,
    answers_on_their_own,
    counts_of,
)
from tests.simulation.written_truths import MARGIN, true_difference

import quenchbook as qb

KINDS = ("difference", "equivalence", "place", "any_false")
NAMES = [layout.name for layout in LAYOUTS]
LOSSES = NAMES.index("one load lost, coupons missing")
AT_MARGIN = NAMES.index(written_rates.AT_MARGIN)


def most(share: float, of: int) -> float:
    """Count that a right program passes by more than two standard errors one time in forty."""
    return share * of + 2 * math.sqrt(of * share * (1 - share))


# --- the slow lane makes the counts again -----------------------------------------------------------


MADE_AGAIN = range(PLANS if os.environ.get("ALL_STUDIES") else 2)  # the gate has 20 minutes


@pytest.mark.simulation
@pytest.mark.parametrize("plan", MADE_AGAIN)
@pytest.mark.parametrize("layout", range(len(LAYOUTS)), ids=NAMES)
def test_simulated_studies_give_the_stored_counts(layout: int, plan: int) -> None:
    found = counts_of(layout, plan, STUDIES // PLANS)
    stored = stored_counts()
    own = stored[(stored["layout"] == NAMES[layout]) & (stored["plan"] == plan)]
    whole = found[found["key"] == WHOLE].set_index("level")[["studies", *KINDS]]
    print(f"{NAMES[layout]}, plan {plan}: {whole.to_dict('index')}")
    pd.testing.assert_frame_equal(found, own.reset_index(drop=True), check_dtype=False)


# --- what the counts say ----------------------------------------------------------------------------


def test_the_rates_of_the_report_follow_from_the_counts() -> None:
    told = stored_rates()
    assert told == measured(stored_counts(), date=told["measured"], version=told["version"])
    assert told["studies"] == 1000


@pytest.mark.parametrize("kind", KINDS)
def test_false_statements_are_in_five_per_cent_of_studies_that_share_one_level(kind: str) -> None:
    whole = counted(stored_counts(), "together", whole=True)
    count, of = int(whole[kind].sum()), int(whole["studies"].sum())
    print(f"{kind}: {count} of {of}")
    assert count <= most(0.05, of)


def test_truths_exactly_at_the_margin_cost_half_as_much_again() -> None:
    """There both "more than the margin" (2.5 %) and "smaller" (5 %) are false, and one sentence says
    only one of them: 7.5 % for a question, and for all questions that share one level."""
    counts = stored_counts()
    counts = counts[counts["layout"] == written_rates.AT_MARGIN]
    whole = counted(counts, "together", whole=True)
    assert whole["any_false"].sum() <= most(0.075, int(whole["studies"].sum()))
    for kind in ("difference", "equivalence"):
        assert whole[kind].sum() <= most(0.05, int(whole["studies"].sum()))
    each = counted(counts, "each", whole=False)
    assert each["any_false"].sum() <= most(0.075, int(each["answered"].sum()))


@pytest.mark.parametrize(
    ("count", "of"), [("none_called_real", "is_none"), ("over_called_smaller", "is_over")]
)
def test_questions_on_their_own_err_in_five_per_cent(count: str, of: str) -> None:
    each = counted(stored_counts(), "each", whole=False)
    assert each[of].sum() > 500
    assert each[count].sum() <= most(0.05, int(each[of].sum()))


@pytest.mark.parametrize("kind", PLACES)
def test_places_on_their_own_are_stated_wrongly_in_five_per_cent(kind: str) -> None:
    each = counted(stored_counts(), "each", whole=False)
    own = each[each["kind"] == kind]
    assert own["claims_place"].sum() > 50
    assert own["place"].sum() <= most(0.05, int(own["answered"].sum()))


def test_intervals_on_their_own_hold_the_truth_at_the_stated_rate() -> None:
    each = counted(stored_counts(), "each", whole=False)
    rate = each["missed"].sum() / each["with_interval"].sum()
    assert 0.03 <= rate <= 0.055


def test_no_single_question_errs_more_often_than_chance_allows() -> None:
    """Some 50 questions are looked at, so limits at .9999 let a right program fail once in 200."""
    each = counted(stored_counts(), "each", whole=False)
    own = each.groupby(["layout", "key"])[["difference", "equivalence", "place", "studies"]].sum()
    for kind in ("difference", "equivalence", "place"):
        worst = (own[kind] - stats.binom.ppf(0.9999, own["studies"], 0.05)).idxmax()
        row = own.loc[worst]
        print(f"{kind}: {worst}, {row[kind]} of {row['studies']}")
        assert row[kind] <= stats.binom.ppf(0.9999, row["studies"], 0.05), worst


@pytest.mark.parametrize("level", ["together", "each"])
def test_most_sentences_say_something_that_could_be_false(level: str) -> None:
    own = counted(stored_counts(), level, whole=False)
    assert own["answered"].sum() >= 0.95 * own["studies"].sum()
    differences = own[~own["kind"].isin(PLACES)]
    share = differences[["claims_difference", "claims_equivalence"]].sum() / len(differences)
    assert (share / STUDIES * PLANS > 0.15).all(), share
    places = own[own["kind"].isin(PLACES)]
    assert places["claims_place"].sum() > 0.5 * places["answered"].sum()


def test_a_rate_stands_with_its_binomial_limits() -> None:
    for row in rate_rows(stored_counts()):
        count = round(row["rate"] * row["of"])
        interval = stats.binomtest(count, row["of"]).proportion_ci(0.95, method="exact")
        assert row["low"] == pytest.approx(interval.low, abs=2e-4)
        assert row["high"] == pytest.approx(interval.high, abs=2e-4)


# --- that the measurement itself is right -------------------------------------------------------------


@pytest.fixture(scope="module")
def losses():
    """A plan with losses, and the readings of two of its studies."""
    bench = bench_of(LAYOUTS[LOSSES], 100 * LOSSES)
    rng = np.random.default_rng(5)
    values = [bench.simulated(bench.layout.draw(rng), rng) for _ in range(2)]
    return bench, values


def test_records_filled_with_values_are_those_read_from_files(losses) -> None:
    bench, (first, second) = losses
    filled = template_of(bench, first).filled(second)
    read = records_from_files(bench, second)
    assert len(read.lost) > 4
    for name in ("readings", "deviations", "lost", "missing"):
        pd.testing.assert_frame_equal(getattr(filled, name), getattr(read, name))
    one, other = qb.analyse(filled), qb.analyse(read)
    assert [own.sentence for own in one.findings] == [own.sentence for own in other.findings]


def test_answers_on_their_own_are_those_of_a_study_that_judges_each(losses) -> None:
    bench, (first, _) = losses
    analysis = qb.analyse(records_from_files(bench, first))
    study = dataclasses.replace(analysis.study, multiplicity="each")
    alone = qb.analyse(dataclasses.replace(analysis.records, study=study))
    found = answers_on_their_own(analysis)
    assert {own.key: own.sentence for own in alone.findings} == {
        key: own.sentence for key, own in found.items()
    }
    assert all(own.confidence == 0.95 for own in found.values())
    assert all(own.confidence == pytest.approx(0.99) for own in analysis.findings)


def test_truths_at_the_margin_are_exactly_there() -> None:
    bench = bench_of(LAYOUTS[AT_MARGIN], 100 * AT_MARGIN)
    truth = bench.layout.draw(np.random.default_rng(1))
    for question in bench.study.questions:
        if question.key in ("freezer", "dry_ice", "temper", "needs_heat"):
            size = abs(true_difference(bench.study, truth, question))
            assert size == pytest.approx(MARGIN, abs=1e-12)


HEAD = "Dry ice against no cold step: hardness"


@pytest.mark.parametrize(
    ("sentence", "claim"),
    [
        (f"{HEAD} +1.27 HRC (95 % interval 1.11 to 1.43), more than the margin of 0.5 HRC.",
         Difference(True, True, False, 1, (1.11, 1.43))),
        (f"{HEAD} −0.46 HRC (95 % interval −0.62 to −0.30), a real difference; whether it is more "
         "than the margin of 0.5 HRC is not settled.",
         Difference(True, False, False, -1, (-0.62, -0.3))),
        (f"{HEAD} +0.20 HRC (95 % interval 0.05 to 0.35; 90 % interval 0.08 to 0.32), a real "
         "difference, smaller than the margin of 0.5 HRC.",
         Difference(True, False, True, 1, (0.05, 0.35))),
        (f"{HEAD} −0.13 HRC (95 % interval −0.70 to +0.44; margin 0.5 HRC): neither a difference "
         "nor its absence was shown.", Difference(False, False, False, -1, (-0.7, 0.44))),
        ("Each tenfold delay with dry ice costs 12 % of impact energy (95 % interval 3.1 to "
         "20 %), a real change; whether it is more than the margin is not settled.",
         Difference(True, False, False, -1, (-20.0, -3.1))),
        ("A against B: impact energy −3.5 % in total (95 % interval −13 % to +7.1 %); at the same "
         "hardness 11 % tougher (95 % interval +2.0 % to +20 %), a real difference; whether it is "
         "more than the margin of 15 % either way (−13 % to +15 %) is not settled.",
         Difference(True, False, False, 1, (2.0, 20.0))),
    ],
)  # fmt: skip
def test_a_difference_is_read_as_it_is_said(sentence: str, claim: Difference) -> None:
    assert claimed_difference(sentence.replace(" HRC", "\u00a0HRC")) == claim


def test_only_the_inner_interval_is_printed_with_an_equivalence() -> None:
    claim = claimed_difference(
        f"{HEAD} +0.01 HRC (90 % interval −0.12 to +0.14): any difference is smaller than the "
        "margin of 0.5 HRC."
    )
    assert claim.smaller
    assert not claim.real
    assert math.isnan(claim.limits[0])


def test_total_and_both_ends_are_read_beside_equal_hardness() -> None:
    text = (
        "A against B: impact energy −3.5 % in total (95 % interval −13 % to +7.1 %); at the same "
        "hardness no single number is given, because the temper lines did not pass as parallel "
        "(p .021): +4 % at 60.1 HRC (−2.0 % to +10 %) and +9 % at 62.0 HRC (+1.0 % to +17 %), each."
    )
    assert total_limits(text) == (-13.0, 7.1)
    assert claimed_ends(text) == [(-2.0, 10.0), (1.0, 17.0)]
    assert not claimed_difference(text).real


def test_a_term_is_read_as_it_is_said() -> None:
    assert claimed_term("Temper: hardness differs between its levels (F(1, 9) 8.1, p .019).").real
    assert not claimed_term(
        "A by B: that the effect of one depends on the other was not shown."
    ).real


@pytest.mark.parametrize(
    ("sentence", "limits", "rises"),
    [
        ("Dry ice: peak at 1002 °C, 95 % interval 993 to 1022 °C (judged on 7 spare loads).",
         (993.0, 1022.0), False),
        ("Dry ice: peak at 990 °C or lower (95 % interval); the data set no lower limit inside the "
         "tested 940 °C to 1030 °C (judged on 7).", (-math.inf, 990.0), False),
        ("No peak inside 940 °C to 1030 °C: hardness still rises at 1030 °C (p .001, one-sided).",
         (1030.0, math.inf), True),
        ("Hardness still rises at 1030 °C (p .03, one-sided); peak at 1010 °C or higher (95 % "
         "interval).", (1010.0, math.inf), True),
        ("Peak not located: a flat curve cannot be excluded.", (-math.inf, math.inf), False),
    ],
)  # fmt: skip
def test_a_peak_is_read_as_it_is_said(
    sentence: str, limits: tuple[float, float], rises: bool
) -> None:
    claim = claimed_peak(f"{sentence} Highest hardness inside the range: 62.1 HRC, 61.9 to 62.3.")
    assert claim.limits == limits
    assert (claim.rises_at == 1030.0) == rises


def test_a_peak_said_to_be_inside_is_read_with_its_range() -> None:
    claim = claimed_peak(
        "Dry ice: peak at 1000 °C or higher (95 % interval); the data set no upper limit inside "
        "the tested 940 °C to 1030 °C, though each end of the range lies below a peak inside it "
        "(p .023, one-sided) (judged on 7)."
    )
    assert claim.inside == (940.0, 1030.0)


@pytest.mark.parametrize(
    ("words", "limits", "claim"),
    [
        ("+27 °C (95 % interval +18 to +47 °C; margin 10 °C), a real shift, more than the margin",
         (18.0, 47.0), (True, True, False, 1)),
        ("no shift was shown (95 % interval −3 to +3 °C; margin 10 °C), and any shift is smaller "
         "than the margin", (-3.0, 3.0), (False, False, True, 0)),
        ("moves up by at least 14 °C (95 % interval; no upper limit; margin 10 °C), more than the "
         "margin", (14.0, math.inf), (True, True, False, 1)),
        ("no shift was shown (95 % interval at least −4 °C; no upper limit; margin 10 °C)",
         (-4.0, math.inf), (False, False, False, 0)),
    ],
)  # fmt: skip
def test_a_shift_is_read_as_it_is_said(words: str, limits, claim) -> None:
    own = claimed_shift(
        f"Peak of dry ice against none: {words}. This takes one curvature for all, any difference "
        "in height; with own curvatures (timid where curves are flat): +30 °C, +19 to +59 °C."
    )
    assert own.limits == limits
    assert (own.verdict.real, own.verdict.beyond, own.verdict.smaller, own.verdict.sign) == claim
    assert own.free == (19.0, 59.0)


def test_a_window_is_read_as_it_is_said() -> None:
    own = claimed_window(
        "Dry ice: within 0.3 HRC of the peak hardness certainly from 950 to 960 °C and 988 to "
        "1015 °C, possibly from 940 to 1030 °C and perhaps above (95 % confidence for both ends)."
    )
    assert own.certain == ((950.0, 960.0), (988.0, 1015.0))
    assert own.possible == (940.0, 1030.0)


@pytest.mark.parametrize(
    ("words", "shaped", "free"),
    [
        ("is lost after 12 min to 3.2 h (95 % interval; estimate 40 min). Without assuming a "
         "shape: between 8 min and 2 days.", (12.0, 192.0), (8.0, 2880.0)),
        ("is not yet lost after 24 h, the longest that was run (95 % interval). Without assuming "
         "a shape: later than 24 h, no upper limit.", (1440.0, math.inf), (1440.0, math.inf)),
        ("is lost after 3 h at the latest (95 % interval); it may be shorter. Without assuming a "
         "shape: before 8 h, no lower limit.", (-math.inf, 180.0), (-math.inf, 480.0)),
        ("is lost after 3 h or longer (95 % interval); no upper limit within the tested 2 days. "
         "Without assuming a shape: no limit on either side.",
         (180.0, math.inf), (-math.inf, math.inf)),
    ],
)  # fmt: skip
def test_a_half_loss_is_read_as_it_is_said(words: str, shaped, free) -> None:
    assert claimed_half_loss(f"Half of the gain in hardness of dry ice {words}") == (shaped, free)


@pytest.mark.parametrize(
    ("sentence", "limits", "nowhere"),
    [
        ("A temper of 155 °C gives 63 HRC (95 % interval 168 °C or cooler); the data set no lower "
         "limit.", (-math.inf, 168.0), False),
        ("A temper of 188 °C gives 62 HRC (95 % interval 179 to 197 °C).", (179.0, 197.0), False),
        ("No temper inside 150 to 200 °C gives 66 HRC: the mean is below it throughout.",
         (-math.inf, math.inf), True),
        ("The fitted mean does not reach 63 HRC inside 150 to 200 °C, but 160 °C or cooler cannot "
         "be excluded (95 % interval).", (-math.inf, 160.0), False),
    ],
)  # fmt: skip
def test_a_temper_is_read_as_it_is_said(sentence: str, limits, nowhere: bool) -> None:
    claim = claimed_temper(sentence)
    assert claim.limits == limits
    assert claim.nowhere == nowhere
