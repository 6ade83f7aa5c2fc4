from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import quenchbook as qb
from quenchbook.errors import EstimabilityError
from quenchbook.fit.austenite_loss import LOSS_FRAME, austenite_losses, expected_share
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
