from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from tests.delay_studies import QUESTIONS, simulated_frame, written_study

import quenchbook as qb
from quenchbook.errors import EstimabilityError
from quenchbook.fit.effective_delays import effective_delays
from quenchbook.fit.half_loss_profile import broken_lines, stepwise_bounds
from quenchbook.fit.mixed import MixedModel
from quenchbook.records.reading import Records
from quenchbook.study.definition import Study

MINUTES = (6.0, 60.0, 600.0, 6000.0)
FALLING = (1.6, 1.2, 0.7, 0.2)


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> Records:
    frame = simulated_frame(FALLING, MINUTES, sd=0.2)
    return written_study(tmp_path_factory.mktemp("delay"), frame)


@pytest.fixture(scope="module")
def model(records: Records) -> MixedModel:
    return qb.mixed_model(records, "hardness_hrc")


@pytest.fixture(scope="module")
def demo(plane_irons_records: Records) -> MixedModel:
    return qb.mixed_model(plane_irons_records, "hardness_hrc")


# --- times until cold ---------------------------------------------------------------------------


def with_timetable(study: Study, **told: object) -> Study:
    return dataclasses.replace(study, timetable=told)


def test_a_delay_of_nothing_becomes_the_assumed_minutes_until_cold(plane_irons: Study) -> None:
    delays = effective_delays(plane_irons, "delay")
    assert delays.of("freezer") == (32, 90, 1470)  # transfer 2, cooling 30; see study/hours.py
    assert delays.of("liquid_nitrogen") == (4, 62, 1442)
    assert delays.are_longer
    (note,) = delays.notes
    assert note.count("assumed, common practice, no source") == 2
    assert "30\u00a0min with freezer" in note


def test_told_times_are_used_and_called_told(plane_irons: Study) -> None:
    told = with_timetable(plane_irons, transfer="1 min", bath_cooling={"freezer": "45 min"})
    delays = effective_delays(told, "delay")
    assert delays.of("freezer") == (46, 105, 1485)
    (note,) = delays.notes
    assert "45\u00a0min with freezer (told in [timetable])" in note
    assert "2\u00a0min with liquid nitrogen (assumed" in note
    assert "transfer of 1\u00a0min (told in [timetable])" in note


def test_no_time_at_all_is_refused(plane_irons: Study) -> None:
    nothing = dict.fromkeys(plane_irons.factor("delay").exists_for, "0 min")
    told = with_timetable(plane_irons, transfer="0 min", bath_cooling=nothing)
    with pytest.raises(EstimabilityError, match="0 min has no logarithm"):
        effective_delays(told, "delay")


def test_only_a_time_has_decades(demo: MixedModel) -> None:
    with pytest.raises(EstimabilityError, match="austenitize is not a time"):
        qb.decade_change(demo, "austenitize")


# --- change for each decade ---------------------------------------------------------------------


def test_the_change_is_the_slope_of_the_means_at_the_delays(
    records: Records, model: MixedModel
) -> None:
    means = records.frame("hardness_hrc").groupby("delay_minutes")["value"].mean()
    slope = np.polyfit(np.log10(means.index.to_numpy(dtype=float)), means.to_numpy(), 1)[0]
    own = qb.decade_change(model).to_frame().iloc[0]
    assert own["estimate"] == pytest.approx(slope, rel=1e-9)
    assert own["df"] == 8  # (3 loads - 1) x 4 delays


def test_all_routes_are_the_even_mean_of_each_route(demo: MixedModel) -> None:
    routes = demo.study.factor("delay").exists_for
    each = [qb.decade_change(demo, at={"cold_route": r}).to_frame()["estimate"][0] for r in routes]
    assert qb.decade_change(demo).to_frame()["estimate"][0] == pytest.approx(np.mean(each))


def test_a_change_between_routes_is_the_difference_of_their_slopes(demo: MixedModel) -> None:
    one, two = (
        qb.decade_change(demo, at={"cold_route": r}).to_frame()["estimate"][0]
        for r in ("freezer", "dry_ice")
    )
    both = qb.decade_change(demo, change={"cold_route": ("freezer", "dry_ice")})
    assert both.to_frame()["estimate"][0] == pytest.approx(one - two)


def test_the_demonstration_finds_its_truth(demo: MixedModel) -> None:
    """Over all routes at 95 %; dry ice misses that by 0.003 HRC by chance, so single ones at 99 %."""
    effects = np.array([0.0, -0.08, -0.45])  # data/plane_irons/truth.toml, the same for all routes
    delays = effective_delays(demo.study, "delay")
    slopes = {r: np.polyfit(delays.decades(r), effects, 1)[0] for r in delays.routes}
    own = qb.decade_change(demo).to_frame().iloc[0]
    assert own["conf_low"] < np.mean(list(slopes.values())) < own["conf_high"]
    for route, true in slopes.items():
        single = qb.decade_change(demo, at={"cold_route": route}, confidence=0.99)
        own = single.to_frame().iloc[0]
        assert own["conf_low"] < true < own["conf_high"]


def test_no_cold_step_has_no_delay(demo: MixedModel) -> None:
    with pytest.raises(EstimabilityError, match="no delay with cold route 'none'"):
        qb.decade_change(demo, at={"cold_route": "none"})


def test_an_interaction_that_was_not_analysed_is_refused_or_said(
    plane_irons_records: Records,
) -> None:
    impact = qb.mixed_model(plane_irons_records, "impact_j")  # combinations = "none"
    with pytest.raises(EstimabilityError, match='add "delay:cold_route" to its combinations'):
        qb.decade_change(impact, change={"cold_route": ("freezer", "dry_ice")})
    own = qb.decade_change(impact, at={"cold_route": "freezer"})
    assert any("The same for all routes by assumption" in note for note in own.notes)
    half = qb.half_loss_time(impact, level="freezer")
    assert any("The loss is the same for all routes by assumption" in note for note in half.notes)


def test_one_load_answers_each_decade_from_the_line_and_refuses_half_loss(tmp_path: Path) -> None:
    frame = simulated_frame(FALLING, MINUTES, loads=1, sd=0.1)
    own = qb.mixed_model(written_study(tmp_path, frame), "hardness_hrc")
    change = qb.decade_change(own)
    cold = frame.dropna()
    x, y = np.log10(cold["delay_minutes"]), cold["hardness_hrc"]
    slope, level = np.polyfit(x, y, 1)
    row = change.to_frame().iloc[0]
    assert change.by_line
    assert row["estimate"] == pytest.approx(slope, rel=1e-6)
    assert row["df"] == 2
    error = np.sqrt(((y - level - slope * x) ** 2).sum() / 2 / ((x - x.mean()) ** 2).sum())
    assert row["std_error"] == pytest.approx(error, rel=1e-6)
    assert any("from a straight line" in note for note in change.notes)
    with pytest.raises(EstimabilityError, match="at least two furnace loads"):
        qb.half_loss_time(own, level="cold")


def test_a_delay_declared_as_a_line_is_taken_as_levels(tmp_path: Path, model: MixedModel) -> None:
    frame = simulated_frame(FALLING, MINUTES, sd=0.2)
    line = written_study(tmp_path, frame, delay='shape = "linear"')
    own = qb.decade_change(qb.mixed_model(line, "hardness_hrc"))
    pd.testing.assert_frame_equal(own.to_frame(), qb.decade_change(model).to_frame())
    assert any("taken as levels here" in note for note in own.notes)


def test_a_delay_without_routes_is_asked_too(tmp_path: Path) -> None:
    """Every coupon goes into the same cold: no route is varied, nothing is nested."""
    frame = simulated_frame(FALLING, MINUTES, sd=0.2).dropna().drop(columns="cold_route")
    text = "[[questions]]" + QUESTIONS.split("[[questions]]")[1]
    timetable = 'transfer = "0 min"\nbath_cooling = { cold = "4 min" }'
    own = written_study(tmp_path, frame, questions=text, timetable=timetable)
    change = qb.decade_change(qb.mixed_model(own, "hardness_hrc"))
    assert change.to_frame()["df"][0] == 6  # (3 loads - 1) x (4 delays - 1)
    assert change.delays.of("") == (10, 64, 604, 6004)
    assert qb.figure_delay(change).data["group"].isin(["", np.nan]).all()


# --- half-loss ------------------------------------------------------------------------------------


def test_gains_are_those_over_the_level_without_a_delay(
    records: Records, model: MixedModel
) -> None:
    frame = records.frame("hardness_hrc")
    none = frame.loc[frame["cold_route"] == "none", "value"].mean()
    means = frame.groupby("delay_minutes")["value"].mean()
    own = qb.half_loss_time(model, level="cold").gains
    assert own["estimate"].to_numpy() == pytest.approx((means - none).to_numpy())
    assert own["minutes_until_cold"].tolist() == list(MINUTES)


def test_turned_around_a_loss_can_be_half_gone(model: MixedModel) -> None:
    own = qb.half_loss_time(model, level="none", against="cold")
    assert own.gains["estimate"].iloc[0] < 0
    assert not own.gain_shown


def test_half_loss_needs_one_level_with_and_one_without_a_delay(demo: MixedModel) -> None:
    with pytest.raises(EstimabilityError, match="both have it"):
        qb.half_loss_time(demo, level="dry_ice", against="freezer")
    with pytest.raises(EstimabilityError, match="neither has it"):
        qb.half_loss_time(demo, level="none", against="none")
    with pytest.raises(EstimabilityError, match="not set inside levels of temper"):
        qb.half_loss_time(demo, factor="temper", level=175.0, against=150.0)


def test_two_delays_are_not_enough(tmp_path: Path) -> None:
    frame = simulated_frame((1.5, 0.5), (6.0, 600.0))
    records = written_study(tmp_path, frame, questions="")
    own = qb.mixed_model(records, "hardness_hrc")
    with pytest.raises(EstimabilityError, match="three delays or more"):
        qb.half_loss_time(own, level="cold")


def test_gain_and_delay_on_different_units_are_refused(tmp_path: Path) -> None:
    """Loads with and loads without a cold step: the gain carries the noise of loads."""
    frame = simulated_frame(FALLING, MINUTES, loads=8, each=2)
    cold = (frame["furnace_load"] % 2 == 0) == (frame["cold_route"] == "cold")
    own = qb.mixed_model(written_study(tmp_path, frame[cold]), "hardness_hrc")
    with pytest.raises(EstimabilityError, match="judged on different units"):
        qb.half_loss_time(own, level="cold")


def test_broken_lines_hold_the_straight_line_and_the_level_one() -> None:
    lines = broken_lines((0.0, 1.0, 2.0))
    straight = lines.shapes[lines.first[19]]  # half lost after 1 decade, break at the start
    assert straight.tolist() == [1.0, 0.5, 0.0]
    assert lines.shapes[-1].tolist() == [1.0, 1.0, 1.0]
    assert np.isinf(lines.grid[-1])


def test_every_broken_line_has_half_its_gain_at_its_time() -> None:
    lines = broken_lines((0.0, 0.5, 1.0, 1.5))
    place = int(np.argmin(np.abs(lines.grid - 1.0)))
    own = lines.shapes[lines.first[place] : lines.first[place + 1]]
    assert own[:, 2] == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("gains", "expected"),
    [
        ([2.0, 1.9, 0.1, 0.0], (1, 2)),
        ([2.0, 1.9, 1.8, 1.9], (3, None)),
        ([2.0, 0.1, 0.1, 0.1], (0, 1)),
        ([0.05, 0.05, 0.0, 0.0], (None, None)),
        ([2.0, 1.0, 1.9, 0.1], (0, 3)),  # not yet passed at the second delay: no longer bound
    ],
)
def test_stepwise_bounds_go_as_far_as_the_data_tell(gains, expected) -> None:
    found = stepwise_bounds(np.array(gains), np.eye(4), 0.01, 12.0, 0.95)
    assert found == expected


def test_without_noise_the_set_is_the_time_itself(tmp_path: Path) -> None:
    minutes = (6.0, 60.0, 600.0, 6000.0)
    frame = simulated_frame((2.0, 1.5, 1.0, 0.5), minutes, sd=1e-3, load_sd=0.0)
    own = qb.half_loss_time(
        qb.mixed_model(written_study(tmp_path, frame), "hardness_hrc"), level="cold"
    )
    assert own.estimate == pytest.approx(600.0)
    assert own.conf_low <= 600.0 <= own.conf_high < 700.0


def test_a_frame_without_a_study_is_refused() -> None:
    frame = pd.DataFrame(
        {"load": list("aabb"), "delay": [1.0, 10.0] * 2, "y": [1.0, 2.0, 1.5, 2.2]}
    )
    own = qb.mixed_model(frame, "y", fixed="delay", strata=["load"])
    with pytest.raises(EstimabilityError, match="needs a study"):
        qb.decade_change(own)
    with pytest.raises(EstimabilityError, match="needs a study"):
        qb.half_loss_time(own, level="cold")
