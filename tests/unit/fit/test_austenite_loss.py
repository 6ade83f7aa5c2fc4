from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest
from scipy import special, stats

import quenchbook as qb
from quenchbook.errors import EstimabilityError
from quenchbook.fit.austenite_loss import (
    LOSS_FRAME,
    austenite_losses,
    expected_share,
    gain_share,
    gap_words,
)
from quenchbook.fit.mean_rows import mean_rows
from quenchbook.fit.mixed import MixedModel, interval_frame
from quenchbook.metallurgy.length_change import growth_share
from quenchbook.records.reading import Records


def with_lengths(
    records: Records, lost: dict[str, float], *, hotter: float = 0.0, only: float | None = None
) -> Records:
    """Records with lengths in which each route has turned this share [%] of the coupon.

    `hotter` is what is added at 1030 degC; with `only` that setting of austenitize alone is read.
    """
    rng = np.random.default_rng(2)
    rows = []
    frame = records.matrix.frame
    if only is not None:
        frame = frame[frame["austenitize_c"] == only]
    planned = zip(frame["coupon"], frame["cold_route"], frame["austenitize_c"], strict=True)
    for code, route, hot in planned:
        if route in lost:
            share = lost[route] + hotter * (hot == 1030.0)
            before = 60.0 + rng.normal(0, 0.01)
            after = before * (1 + share / 100 * float(growth_share(0.7)))
            for measure, value in (("length_before", before), ("length_after", after)):
                rows.append((code, measure, value, "lengths.csv", 2))
    measures = pd.DataFrame(rows, columns=["coupon", "measure", "value", "file", "row"])
    return dataclasses.replace(records, measures=measures)


def test_routes_are_compared_by_hardness_where_no_length_was_read(
    plane_irons_records: Records,
) -> None:
    model = qb.mixed_model(plane_irons_records, "hardness_hrc")
    found = austenite_losses(plane_irons_records, model)
    frame = found.to_frame().set_index("cold_route")
    assert tuple(found.frame.columns) == LOSS_FRAME
    # the truth of the demonstration, at the middle of the austenitize levels and over the delays
    assert frame.loc["freezer", "gain_share_low"] < 0.5 < frame.loc["freezer", "gain_share_high"]
    assert frame.loc["dry_ice", "gain_share_low"] < 0.98 < frame.loc["dry_ice", "gain_share_high"]
    assert frame["lost_by_length"].isna().all()
    assert "No lengths before and after the cold step" in found.summary()
    assert any("dry ice: the share lies outside" in note for note in found.notes)


def test_lengths_tell_the_per_cent_and_agree_with_hardness(plane_irons_records: Records) -> None:
    records = with_lengths(
        plane_irons_records, {"freezer": 5.0, "dry_ice": 11.0, "liquid_nitrogen": 12.0}
    )
    model = qb.mixed_model(plane_irons_records, "hardness_hrc")
    found = austenite_losses(records, model)
    frame = found.to_frame().set_index("cold_route")
    assert frame.loc["freezer", "lost_by_length"] == pytest.approx(5.0, abs=0.1)
    for route, lost in (("freezer", 5.0), ("dry_ice", 11.0), ("liquid_nitrogen", 12.0)):
        row = frame.loc[route]
        assert row["lost_by_length_low"] < lost < row["lost_by_length_high"]
        assert row["coupons_with_lengths"] > 0
    assert not any("disagree" in note for note in found.notes)


def test_lengths_that_contradict_hardness_are_named(plane_irons_records: Records) -> None:
    records = with_lengths(plane_irons_records, {"dry_ice": 0.0})
    model = qb.mixed_model(plane_irons_records, "hardness_hrc")
    notes = austenite_losses(records, model).notes
    assert any("dry ice: length and hardness disagree" in note for note in notes)


def test_lengths_are_those_of_the_setting_that_is_asked(plane_irons_records: Records) -> None:
    records = with_lengths(plane_irons_records, {"dry_ice": 4.0}, hotter=8.0)
    model = qb.mixed_model(plane_irons_records, "hardness_hrc")
    found = austenite_losses(records, model, at={"austenitize": 1030.0})
    row = found.to_frame().set_index("cold_route").loc["dry_ice"]
    assert row["lost_by_length"] == pytest.approx(12.0, abs=0.1)
    hot = (records.matrix.frame["austenitize_c"] == 1030.0) & (
        records.matrix.frame["cold_route"] == "dry_ice"
    )
    assert row["coupons_with_lengths"] == hot.sum()


def test_lengths_of_some_settings_are_not_held_against_all_of_the_hardness(
    plane_irons_records: Records,
) -> None:
    records = with_lengths(plane_irons_records, {"dry_ice": 0.0}, only=940.0)
    model = qb.mixed_model(plane_irons_records, "hardness_hrc")
    notes = austenite_losses(records, model).notes
    assert not any("disagree" in note for note in notes)
    assert any("dry ice: lengths were not read at every level of austenitize" in n for n in notes)


def test_the_scatter_of_batches_is_added_to_the_range_of_the_readings(
    plane_irons_records: Records,
) -> None:
    model = qb.mixed_model(plane_irons_records, "hardness_hrc")
    rows = [
        austenite_losses(with_lengths(plane_irons_records, {"dry_ice": 9.0}, hotter=more), model)
        .to_frame().set_index("cold_route").loc["dry_ice"]
        for more in (0.0, 8.0)
    ]  # fmt: skip
    even, uneven = (row["lost_by_length_high"] - row["lost_by_length_low"] for row in rows)
    records = with_lengths(plane_irons_records, {"dry_ice": 9.0}, hotter=8.0)
    own = qb.length_changes(records).to_frame()
    table = own.merge(records.matrix.frame, on="coupon")
    means = table.groupby("cold_batch")["transformed"].mean()
    noise = stats.t.ppf(0.975, len(means) - 1) * means.std() / np.sqrt(len(means))
    readings = float((table["transformed_high"] - table["transformed_low"]).mean())
    assert uneven == pytest.approx(readings + 2 * noise, rel=1e-6)
    assert uneven > even


def test_per_cent_by_hardness_of_tempered_coupons_is_warned_of(
    plane_irons_records: Records,
) -> None:
    model = qb.mixed_model(plane_irons_records, "hardness_hrc")
    notes = austenite_losses(plane_irons_records, model).notes
    assert any("The coupons were tempered" in note for note in notes)


def test_only_rockwell_hardness_is_compared(plane_irons_records: Records) -> None:
    model = qb.mixed_model(plane_irons_records, "impact_j")
    with pytest.raises(EstimabilityError, match="not a Rockwell hardness"):
        austenite_losses(plane_irons_records, model)


def test_expected_shares_are_those_of_the_ratios() -> None:
    # notes, section 2: 0.74 and 0.47 left after a freezer, 0.18 and 0.013 after liquid nitrogen
    low, high = expected_share(-18.0, -196.0)
    assert low == pytest.approx((1 - 0.74) / (1 - 0.18), abs=0.02)
    assert high == pytest.approx((1 - 0.47) / (1 - 0.013), abs=0.02)


def gains_of(
    means: dict[str, float], sd: float, seed: int
) -> tuple[MixedModel, np.ndarray, np.ndarray]:
    """Model of eight loads with three coupons of each route, and the gains of the two colder."""
    rng = np.random.default_rng(seed)
    rows = [(f"L{load}", route) for load in range(8) for route in means for _ in range(3)]
    frame = pd.DataFrame(rows, columns=["load", "cold_route"])
    frame["y"] = frame["cold_route"].map(means) + rng.normal(0, sd, len(frame))
    model = qb.mixed_model(frame, "y", fixed="cold_route", strata=["load"])
    held = {"cold_route": ("none", "freezer", "dry_ice")}
    means_of, levels = mean_rows(model.terms, ["cold_route"], held)
    order = [list(levels["cold_route"]).index(route) for route in held["cold_route"]]
    none, freezer, dry_ice = means_of[order]
    return model, freezer - none, dry_ice - none


@pytest.mark.parametrize("sd", [0.3, 0.1, 0.05, 0.03, 0.005])
def test_the_share_has_the_ends_of_the_exact_set_however_narrow(sd: float) -> None:
    model, gain, coldest = gains_of({"none": 60.0, "freezer": 61.0, "dry_ice": 62.0}, sd, 1)
    value, ((low, high),) = gain_share(model, gain, coldest)
    assert low < value < high
    # Fieller (1954): (g - r c)^2 = t^2 (v11 - 2 r v12 + r^2 v22); balanced, so v12 = v/2
    table = interval_frame(model, np.array([gain, coldest]), 0.95)
    g, c = table["estimate"]
    v = float(table["std_error"].iloc[0] ** 2 * special.stdtrit(table["df"].iloc[0], 0.975) ** 2)
    ends = np.sort(np.roots([c**2 - v, -2 * g * c + v, g**2 - v]))
    assert [low, high] == pytest.approx(ends, rel=1e-9)


def test_a_share_in_two_pieces_says_what_its_ends_hide() -> None:
    # no gain of the coldest route, so any share far enough from zero fits, of either sign
    model, gain, coldest = gains_of({"none": 60.0, "freezer": 60.25, "dry_ice": 60.0}, 0.3, 9)
    _, pieces = gain_share(model, gain, coldest)
    (first, below), (above, last) = pieces
    assert (first, last) == (-np.inf, np.inf)
    assert below < 0 < above
    words = gap_words("freezer", pieces)
    assert f"at most \u2212{-below:.2f} or at least {above:.2f}; what lies between" in words
