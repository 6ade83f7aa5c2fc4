"""A coupon that was treated in another load or batch is analysed where it really was."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

import quenchbook as qb
from quenchbook.errors import RecordError
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.reading import Records, read_records

Put = Callable[..., Path]
H = "coupon,hardness_hrc_1,hardness_hrc_2\n"
D = "what,which,item,actual,note\n"
ALL = H + "".join(
    f"{code},62,62.5\n" for code in ("K7TX", "K9AD", "4E79", "CRDH", "AXKF", "Y7AF", "JD7H", "PHCT")
)


def moved(put: Put, matrix: CouponMatrix, rows: str) -> Records:
    return read_records(put({"h.csv": ALL, "d.csv": D + rows}), matrix)


def coupon(records: Records, code: str) -> pd.Series:
    return records.frame("hardness_hrc").set_index("coupon").loc[code].iloc[0]


def test_a_coupon_takes_the_setting_of_the_load_it_came_into(
    matrix: CouponMatrix, put: Put
) -> None:
    records = moved(put, matrix, "coupon,K7TX,furnace_load,2,fell off the tray\n")
    own = coupon(records, "K7TX")
    assert (own["furnace_load"], own["furnace_load_planned"]) == (2, 1)
    assert (own["austenitize_c"], own["austenitize_c_planned"]) == (1030.0, 1030.0)
    assert (own["cold_batch"], own["cold_batch_planned"]) == ("2-2", "1-1")
    assert own["load_place"] == 5
    assert math.isnan(own["delay_minutes"])
    assert records.matrix.frame.set_index("coupon").loc["K7TX", "austenitize_c"] == 970.0
    assert (
        "Coupon K7TX was in furnace load 2 instead of 1 and cold batch 2-2 instead of 1-1: "
        "analysed there, with austenitize 1030\u00a0°C instead of 970\u00a0°C."
    ) in records.notes
    told = records.deviations.iloc[0]
    assert told[["what", "which", "item", "planned", "actual"]].tolist() == [
        "coupon", "K7TX", "furnace_load", "1", "2",
    ]  # fmt: skip
    others = records.frame("hardness_hrc")
    others = others[others["coupon"] != "K7TX"]
    assert (others["furnace_load"] == others["furnace_load_planned"]).all()


def test_what_the_log_says_of_the_load_holds_for_the_coupon_that_came_into_it(
    matrix: CouponMatrix, put: Put
) -> None:
    folder = put(
        {
            "h.csv": ALL,
            "d.csv": D + "coupon,K7TX,furnace_load,2,\n",
            "l.csv": "furnace_load,austenitize_actual_degC\n1,971\n2,1024\n",
        }
    )
    own = coupon(read_records(folder, matrix), "K7TX")
    assert (own["austenitize_c"], own["austenitize_c_planned"]) == (1024.0, 1030.0)


def test_a_load_that_is_lost_takes_the_coupons_that_were_in_it(
    matrix: CouponMatrix, put: Put
) -> None:
    rows = "coupon,K7TX,furnace_load,2,\nfurnace_load,1,lost,controller failed,\n"
    assert moved(put, matrix, rows).lost["coupon"].tolist() == ["K9AD", "4E79", "CRDH"]


def test_a_coupon_in_another_cold_batch_of_its_load_takes_its_route_and_delay(
    matrix: CouponMatrix, put: Put
) -> None:
    records = moved(put, matrix, "coupon,K9AD,cold_batch,1-3,wrong basket\n")
    own = coupon(records, "K9AD")
    assert (own["cold_route"], own["delay_minutes"], own["furnace_load"]) == ("dry_ice", 60.0, 1)
    assert "with cold route dry ice instead of freezer and delay" in records.summary()


def test_a_coupon_in_another_temper_batch_takes_its_temperature(
    matrix: CouponMatrix, put: Put
) -> None:
    records = moved(put, matrix, "coupon,K9AD,temper batch,1,\n")
    assert coupon(records, "K9AD")["temper_c"] == 150.0


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        (
            "coupon,K9AD,furnace_load,2,\n",
            "d.csv row 2, coupon K9AD: came into furnace load 2, where no single cold batch has "
            "its cold step. Tell its cold batch too: coupon,K9AD,cold_batch,2-1",
        ),
        (
            "coupon,K7TX,furnace_load,7,\n",
            "d.csv row 2: furnace load '7' is not in this plan. It has the furnace loads 1 to 2.",
        ),
        (
            "coupon,K7TX,furnace_load,2,\ncoupon,K7TX,furnace_load,1,\n",
            "d.csv row 3: K7TX was in furnace load 1, but d.csv row 2 says 2. Keep where it really "
            "was.",
        ),
        (
            "cold_batch,1-2,furnace_load,2,\n",
            "d.csv row 2, cold batch 1-2: the item 'furnace_load' is not known here. Known: "
            "austenitize, cold_route, temper, delay, lost, note.",
        ),
    ],
)
def test_a_move_that_cannot_be_has_its_message(
    matrix: CouponMatrix, put: Put, rows: str, message: str
) -> None:
    with pytest.raises(RecordError) as caught:
        moved(put, matrix, rows)
    assert str(caught.value) == message


def test_the_cold_batch_is_told_where_it_cannot_be_seen(matrix: CouponMatrix, put: Put) -> None:
    rows = "coupon,K9AD,furnace_load,2,\ncoupon,K9AD,cold_batch,2-4,\n"
    own = coupon(moved(put, matrix, rows), "K9AD")
    assert (own["cold_batch"], own["delay_minutes"]) == ("2-4", 1440.0)


def test_the_analysis_has_the_coupon_in_the_load_it_was_in(
    plane_irons_records: Records, tmp_path: Path
) -> None:
    import shutil

    matrix = plane_irons_records.matrix
    folder = tmp_path / "records"
    shutil.copytree(matrix.study.folder / "records", folder)
    frame = matrix.frame.set_index("coupon")
    code = frame.index[(frame["furnace_load"] == 2) & (frame["cold_route"] == "none")][0]
    other = frame[(frame["austenitize_c"] != frame.loc[code, "austenitize_c"])]
    load = int(other.loc[other["cold_route"] == "none", "furnace_load"].iloc[0])
    text = (folder / "deviations.csv").read_text(encoding="utf-8")
    (folder / "deviations.csv").write_text(f"{text}coupon,{code},furnace_load,{load},\n")
    records = read_records(folder, matrix)
    model = qb.mixed_model(records, "hardness_hrc", matrix.study)
    own = model.coupons.set_index("coupon").loc[code]
    assert own["furnace_load"] == load
    run = records.deviations[records.deviations["item"] == "austenitize"].set_index("which")
    assert own["austenitize_c"] == run.loc[str(load), "actual"]
    assert model.coupons.groupby("furnace_load")["austenitize_c"].nunique().max() == 1
    before = qb.mixed_model(plane_irons_records, "hardness_hrc", matrix.study).tests()
    tests = model.tests()
    assert tests["stratum"].tolist() == before["stratum"].tolist()
    assert not tests["statistic"].equals(before["statistic"])
    assert qb.analyse(records).summary()
