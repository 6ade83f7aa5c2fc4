from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests.delay_studies import NO_TIME, QUESTIONS, simulated_frame, written_study

import quenchbook as qb
from quenchbook.findings.delay_answers import decade_sentence
from quenchbook.findings.half_loss_words import half_loss_words
from quenchbook.findings.trade_answers import trade_answer
from quenchbook.findings.trade_findings import TradeFinding
from quenchbook.findings.verdicts import Finding
from quenchbook.fit.half_loss import HalfLoss
from quenchbook.records.reading import Records
from quenchbook.study.factors import Factor
from quenchbook.study.trade_questions import TradeQuestion

MINUTES = (6.0, 60.0, 600.0, 6000.0)
DELAY = Factor("delay", "delay_minutes", MINUTES, "time")
WHAT = "liquid nitrogen over no cold step"


def decade(verdict: str = "differs", **parts: object) -> Finding:
    own = Finding(
        key="d", label="", against="", response="hardness_hrc", quantity="hardness", unit="HRC",
        scale="linear", verdict="differs", estimate=-0.38, std_error=0.08, df=12.0, conf_low=-0.56,
        conf_high=-0.20, inner_low=-0.52, inner_high=-0.24, margin=0.5, p_value=0.001,
        strata=("cold batch",),
    )  # fmt: skip
    return replace(own, verdict=verdict, **parts)


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("own", "where", "sentence"),
    [
        (decade(), "", "Each tenfold delay costs 0.38 HRC (95 % interval 0.20 to 0.56), a real change; "
         "whether it is more than the margin of 0.5 HRC is not settled."),
        (decade(margin=None), "with dry ice", "Each tenfold delay with dry ice costs 0.38 HRC (95 % "
         "interval 0.20 to 0.56), a real change; no margin was declared."),
        (decade("exceeds", margin=0.1), "", "Each tenfold delay costs 0.38 HRC (95 % interval 0.20 to "
         "0.56), more than the margin of 0.1 HRC."),
        (decade("slight"), "", "Each tenfold delay costs 0.38 HRC (95 % interval 0.20 to 0.56; 90 % "
         "interval 0.24 to 0.52), a real change, smaller than the margin of 0.5 HRC."),
        (decade("differs", estimate=0.38, conf_low=0.2, conf_high=0.56, margin=None), "",
         "Each tenfold delay adds 0.38 HRC (95 % interval 0.20 to 0.56), a real change; no margin was "
         "declared."),
        (decade("equivalent", estimate=-0.05, inner_low=-0.2, inner_high=0.1), "",
         "Each tenfold delay: hardness −0.05 HRC (90 % interval −0.20 to +0.10): any change is smaller "
         "than the margin of 0.5 HRC."),
        (decade("undecided", conf_low=-0.9, conf_high=0.14), "", "Each tenfold delay: hardness −0.38 "
         "HRC (95 % interval −0.90 to +0.14; margin 0.5 HRC): neither a change nor its absence was "
         "shown."),
        (decade("undecided", std_error=math.nan), "", "Each tenfold delay: no test is possible, because "
         "there is no spare cold batch to judge by."),
        (decade("exceeds", scale="log", quantity="impact energy", unit="J", estimate=math.log(0.8),
                conf_low=math.log(0.7), conf_high=math.log(0.88), margin=math.log(1.1)), "",
         "Each tenfold delay costs 20 % of impact energy (95 % interval 12 to 30 %), more than the "
         "margin of 10 % either way (−9.1 % to +10 %)."),
    ],
)  # fmt: skip
def test_each_verdict_has_its_sentence(own: Finding, where: str, sentence: str) -> None:
    assert plain(decade_sentence(own, DELAY, where)) == sentence


# --- half-loss ------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def fitted(tmp_path_factory: pytest.TempPathFactory) -> HalfLoss:
    frame = simulated_frame((2.0, 1.5, 1.0, 0.5), MINUTES, sd=0.1)
    records = written_study(tmp_path_factory.mktemp("half"), frame)
    return qb.half_loss_time(qb.mixed_model(records, "hardness_hrc"), level="cold")


INF = math.inf


@pytest.mark.parametrize(
    ("low", "high", "steps", "outcome", "sentence"),
    [
        (180.0, 4000.0, (60.0, 6000.0), "inside the tested delays",
         f"Half of the gain in hardness of {WHAT} is lost after 3 h to 2.8 days (95 % interval; estimate "
         "10 h). Without assuming a shape: between 60 min and 4.2 days."),
        (180.0, INF, (60.0, INF), "no upper limit",
         f"Half of the gain in hardness of {WHAT} is lost after 3 h or longer (95 % interval); no upper "
         "limit within the tested 4.2 days. Without assuming a shape: later than 60 min, no upper "
         "limit."),
        (180.0, 9e4, (60.0, INF), "upper limit not reached",
         f"Half of the gain in hardness of {WHAT} is lost after 3 h or longer (95 % interval); longer "
         "than 4.2 days, the longest that was run, is not excluded. Without assuming a shape: later "
         "than 60 min, no upper limit."),
        (7000.0, INF, (6000.0, INF), "no upper limit",
         f"Half of the gain in hardness of {WHAT} is not yet lost after 4.2 days, the longest that was "
         "run (95 % interval). Without assuming a shape: later than 4.2 days, no upper limit."),
        (0.0, 600.0, (0.0, 600.0), "no lower limit",
         f"Half of the gain in hardness of {WHAT} is lost after 10 h at the latest (95 % interval); it "
         "may be shorter than 6 min, the shortest that was run. Without assuming a shape: before 10 h, "
         "no lower limit."),
        (0.0, INF, (0.0, INF), "not located",
         f"The data do not tell when half of the gain in hardness of {WHAT} is lost (95 % interval): it "
         "may be shorter than 6 min, and there is no upper limit within the tested 4.2 days. Without "
         "assuming a shape: no limit on either side."),
    ],
)  # fmt: skip
def test_each_open_or_closed_end_has_its_words(
    fitted: HalfLoss, low, high, steps, outcome, sentence
) -> None:
    own = replace(
        fitted, conf_low=low, conf_high=high, step_low=steps[0], step_high=steps[1],
        estimate=600.0, gain_shown=True,
    )  # fmt: skip
    words = half_loss_words(own, WHAT, "hardness")
    assert words.outcome == outcome
    assert plain(words.sentence) == sentence


def test_without_a_shown_gain_the_answer_is_that_first_and_the_set_follows(
    tmp_path: Path,
) -> None:
    frame = simulated_frame((0.2, 0.0, -0.1, 0.1), MINUTES, sd=0.5)
    own = qb.analyse(written_study(tmp_path, frame)).finding("half")
    assert isinstance(own, TradeFinding)
    assert (own.outcome, own.verdict) == ("no gain shown", "undecided")
    first, second, *_ = plain(own.sentence).split(". ")
    assert first.startswith("No gain in hardness of cold over no cold step was shown after 6 min")
    assert first.endswith("so it is not known that there is one to lose")
    assert second.startswith(
        "Half of it is not defined unless there is; if there is, the data allow"
    )
    assert math.isnan(own.estimate)
    assert own.is_open
    assert own.remedy == "More furnace loads can tell whether there is."


MARGIN = 'unit = "HRC"\nequivalence_margin = "0.5 HRC"'


@pytest.mark.parametrize("gains", [(0.0, 0.0, 0.0, 0.0), (0.2, 0.1, 0.0, -0.1)])
def test_a_gain_smaller_than_the_margin_is_none_to_lose(
    tmp_path: Path, gains: tuple[float, ...]
) -> None:
    frame = simulated_frame(gains, MINUTES, sd=0.05)
    own = qb.analyse(written_study(tmp_path, frame, response=MARGIN)).finding("half")
    assert isinstance(own, TradeFinding)
    assert (own.outcome, own.verdict) == ("no gain to lose", "equivalent")
    assert plain(own.sentence).startswith(
        "There is no gain in hardness of cold over no cold step to lose that matters: after 6 min"
    )
    assert "less than the margin of 0.5" in own.sentence
    assert math.isnan(own.estimate)
    assert math.isnan(own.conf_low)
    assert not own.is_open
    assert not own.remedy


def test_a_gain_larger_than_the_margin_is_answered_as_before(tmp_path: Path) -> None:
    frame = simulated_frame((2.0, 1.5, 1.0, 0.5), MINUTES, sd=0.05)
    own = qb.analyse(written_study(tmp_path, frame, response=MARGIN)).finding("half")
    assert own.word == "inside the tested delays"
    assert own.sentence.startswith("Half of the gain in hardness")


def test_a_loss_has_no_gain_to_lose(tmp_path: Path) -> None:
    frame = simulated_frame((-2.0, -1.5, -1.0, -0.5), MINUTES, sd=0.05)
    own = qb.analyse(written_study(tmp_path, frame)).finding("half")
    assert own.word == "no gain to lose"
    assert own.sentence.split(". ")[0].endswith(": a loss.")


def test_on_the_log_scale_the_margin_of_a_gain_is_a_share(tmp_path: Path) -> None:
    frame = simulated_frame((0.5, 0.4, 0.3, 0.2), MINUTES, sd=0.05)
    response = 'unit = "HRC"\nscale = "log"\nequivalence_margin = "15 %"'
    own = qb.analyse(written_study(tmp_path, frame, response=response)).finding("half")
    assert own.word == "no gain to lose"
    assert "less than the margin of 15\u00a0%" in own.sentence


def test_an_open_upper_end_is_infinite_in_the_finding(tmp_path: Path) -> None:
    frame = simulated_frame((1.5, 1.5, 1.5, 1.5), MINUTES, sd=0.1)
    own = qb.analyse(written_study(tmp_path, frame)).finding("half")
    assert isinstance(own, TradeFinding)
    assert own.conf_high == math.inf
    assert own.conf_low <= 6000.0  # never beyond what was run
    assert own.is_open
    assert own.verdict == "undecided"
    assert "Only longer delays can tell more." in own.remedy


def test_a_closed_set_is_a_located_time(tmp_path: Path) -> None:
    frame = simulated_frame((2.0, 1.5, 1.0, 0.5), MINUTES, sd=0.05)
    own = qb.analyse(written_study(tmp_path, frame)).finding("half")
    assert isinstance(own, TradeFinding)
    assert own.verdict == "differs"
    assert own.word == "inside the tested delays"
    assert own.conf_low < 600 < own.conf_high
    assert not own.remedy


def test_the_added_minutes_are_said_beside_the_answer(tmp_path: Path) -> None:
    frame = simulated_frame((2.0, 1.5, 1.0, 0.5), (0.0, 60.0, 600.0, 6000.0), sd=0.1)
    analysis = qb.analyse(written_study(tmp_path, frame, timetable='transfer = "3 min"'))
    half, each = analysis.finding("half"), analysis.finding("decade")
    assert "Delay is counted from the quench until the coupons are cold" in half.sentence
    for own in (half.sentence, " ".join(each.notes)):
        assert "transfer of 3\u00a0min (told in [timetable])" in own
        assert "cooling adds 5\u00a0min with cold (assumed" in own


def test_the_demonstration_answers_each_decade_and_half_loss(plane_irons_records: Records) -> None:
    models = {"hardness_hrc": qb.mixed_model(plane_irons_records, "hardness_hrc")}
    each = TradeQuestion("d", "", "hardness_hrc", "per_decade", "delay")
    found = trade_answer(models, each)
    assert isinstance(found, Finding)
    assert (found.verdict, found.asks) == ("slight", "per_decade")
    half = TradeQuestion(
        "h", "", "hardness_hrc", "half_loss", "delay", "cold_route", "liquid_nitrogen", "none"
    )
    # truth: 1.48 HRC of gain, of which a day costs 0.45 HRC, less than half
    assert "is not yet lost after 24\u00a0h" in trade_answer(models, half).sentence


def test_a_change_of_the_change_keeps_the_words_of_a_comparison(
    plane_irons_records: Records,
) -> None:
    models = {"hardness_hrc": qb.mixed_model(plane_irons_records, "hardness_hrc")}
    routes = ("freezer", "dry_ice")
    each = TradeQuestion(
        "d", "", "hardness_hrc", "per_decade", "delay", change={"cold_route": routes}
    )
    sentence = trade_answer(models, each).sentence
    assert sentence.startswith(
        "Change for each tenfold delay, freezer compared with dry ice: hardness"
    )


def test_questions_that_cannot_be_answered_are_listed_with_the_reason(tmp_path: Path) -> None:
    frame = simulated_frame((1.0, 0.5, 0.2), (6.0, 60.0, 600.0), loads=1)
    analysis = qb.analyse(written_study(tmp_path, frame, timetable=NO_TIME, questions=QUESTIONS))
    assert [own.key for own in analysis.findings] == ["decade"]
    ((question, why),) = analysis.unanswered
    assert question.key == "half"
    assert "at least two furnace loads" in why


def test_ratios_are_judged_on_the_log_scale(tmp_path: Path) -> None:
    frame = simulated_frame((0.4, 0.3, 0.2, 0.1), MINUTES, sd=0.01, load_sd=0.0)
    frame["hardness_hrc"] = np.exp(frame["hardness_hrc"] - 60).round(6)
    records = written_study(
        tmp_path, frame, response='unit = "J"\nscale = "log"\nequivalence_margin = "15 %"',
    )  # fmt: skip
    analysis = qb.analyse(records)
    each, half = analysis.finding("decade"), analysis.finding("half")
    assert isinstance(each, Finding)
    assert each.estimate == pytest.approx(-0.1, abs=0.01)
    assert "costs 9.5\u00a0% of" in each.sentence or "costs 9." in each.sentence
    assert "Half of the gain means half of the logarithm of the ratio." in half.notes


def test_a_change_judged_by_a_line_says_so_in_its_sentence(tmp_path: Path) -> None:
    frame = simulated_frame((2.0, 1.5, 1.0, 0.5), MINUTES, loads=1, sd=0.1)
    analysis = qb.analyse(written_study(tmp_path, frame))
    assert analysis.finding("decade").sentence.endswith(
        "No delay has a spare coupon: it is judged by how far they lie from a straight line."
    )
