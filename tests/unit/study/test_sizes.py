"""One told size serves cut list, amounts and tester checks; two that differ are one mistake."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

import quenchbook as qb
from quenchbook.bench.at_hand import consumables
from quenchbook.bench.coupon_size import CouponSize, coupon_size, is_sawn_size
from quenchbook.bench.cutting import cut_list
from quenchbook.bench.grinding import expected_allowance
from quenchbook.errors import StudyError
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.tester import checks_of_testers
from quenchbook.study.definition import Study
from quenchbook.study.sizes import told_sides
from quenchbook.study.stock import Stock, StockBar

STOCK = """
[stock]
bars = ["500 mm"]
coupon_length = "25 mm"
kerf = "1.6 mm"
end_discard = "10 mm"
bar_width = "20 mm"
"""
PLAIN = Stock((StockBar(500.0),), 25.0, 1.6, 10.0)


def read(folder: Path, study: Study, stock: str, steel: str = 'thickness = "4 mm"') -> Study:
    text = (study.folder / "study.toml").read_text(encoding="utf-8")
    assert 'thickness = "4 mm"' in text
    text = text.replace('thickness = "4 mm"', steel) + stock
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return qb.read_study(folder)


def problems(folder: Path, study: Study, stock: str, steel: str) -> list[str]:
    with pytest.raises(StudyError) as caught:
        read(folder, study, stock, steel)
    return [str(own) for own in caught.value.problems]


def line_of(folder: Path, text: str) -> int:
    lines = (folder / "study.toml").read_text(encoding="utf-8").splitlines()
    [found] = [number for number, line in enumerate(lines, 1) if line.startswith(text)]
    return found


# --- one told size serves all ---------------------------------------------------------------------


def test_sizes_of_the_stock_are_those_of_the_coupons(plane_irons: Study, tmp_path: Path) -> None:
    study = read(tmp_path, plane_irons, STOCK)
    assert coupon_size(study) == CouponSize(25.0, 20.0, 4.0)
    assert is_sawn_size(study)


def test_a_section_alone_leaves_the_length_of_the_stock(plane_irons: Study, tmp_path: Path) -> None:
    stock = STOCK + 'bar_thickness = "3.5 mm"\n'
    study = read(tmp_path, plane_irons, stock, "")
    assert coupon_size(study) == CouponSize(25.0, 20.0, 3.5)


def test_the_finished_size_goes_before_the_sawn_one(plane_irons: Study, tmp_path: Path) -> None:
    steel = 'thickness = "4 mm"\ncoupon_length = "24.4 mm"\ncoupon_width = "19,5 mm"'
    study = read(tmp_path, plane_irons, STOCK, steel)
    assert coupon_size(study) == CouponSize(24.4, 19.5, 4.0)
    assert not is_sawn_size(study)


def test_the_cut_list_saws_the_told_finished_length_and_what_is_ground_off(
    plane_irons: Study, tmp_path: Path
) -> None:
    stock = STOCK.replace('coupon_length = "25 mm"', 'grind_allowance = "0.3 mm"')
    steel = 'thickness = "4 mm"\ncoupon_length = "24.4 mm"'
    study = read(tmp_path, plane_irons, stock, steel)
    assert study.stock is not None
    assert study.stock.coupon_length_mm == pytest.approx(25.0)
    plan = qb.read_plan(plane_irons.folder / "plan", study)
    frame = cut_list(plan).frame
    assert set((frame["to_mm"] - frame["from_mm"]).round(6)) == {25.0}


def test_a_finished_length_alone_is_sawn_longer_by_the_estimate_and_that_is_said(
    plane_irons: Study, tmp_path: Path
) -> None:
    stock = STOCK.replace('coupon_length = "25 mm"\n', "").replace('"500 mm"', '"710 mm"')
    study = read(tmp_path, plane_irons, stock, 'thickness = "4 mm"\ncoupon_length = "24 mm"')
    estimate = expected_allowance(study)
    assert estimate is not None
    most = 2 * float(estimate.high)
    own = cut_list(qb.read_plan(plane_irons.folder / "plan", study))
    [sawn] = set((own.frame["to_mm"] - own.frame["from_mm"]).round(6))
    assert 24 + most <= sawn < 24 + most + 0.1 + 1e-9
    assert f"Coupons are sawn {sawn - 24:.1f}\u00a0mm longer than finished (24\u00a0mm)" in (
        own.summary()
    )
    # without a soak nothing can be estimated: then it is said that nothing is left for grinding
    held = {key: value for key, value in study.held_constant.items() if key != "soak"}
    plan = qb.read_plan(plane_irons.folder / "plan", replace(study, held_constant=held))
    assert "sawn at their finished length, 24\u00a0mm: nothing is left" in cut_list(plan).summary()


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        ("thickness = 4", 'thickness is 4: it has no unit. Write thickness = "4 mm".'),
        ('thickness = "4"', "thickness: '4' has no unit."),
        ('coupon_width = "0 mm"', "coupon_width is '0 mm', not above zero."),
        ('length = "25 kg"', "length: 'kg' is not a unit of length."),
    ],
)
def test_a_side_below_steel_that_is_no_length_is_a_mistake(
    told: str, expected: str, plane_irons: Study, tmp_path: Path
) -> None:
    [found] = problems(tmp_path, plane_irons, "", told)
    assert found.startswith(f"study.toml line {line_of(tmp_path, told)}: {expected}")


def test_bars_are_told_in_feet(plane_irons: Study, tmp_path: Path) -> None:
    study = read(tmp_path, plane_irons, STOCK.replace('"500 mm"', '"2 ft"'))
    assert study.stock is not None
    assert study.stock.bars[0].length_mm == pytest.approx(609.6)


def test_no_length_at_all_is_still_asked_for(plane_irons: Study, tmp_path: Path) -> None:
    stock = STOCK.replace('coupon_length = "25 mm"\n', "")
    [found] = problems(tmp_path, plane_irons, stock, 'thickness = "4 mm"')
    assert "stock has no coupon_length" in found


def test_foil_and_coolants_are_counted_with_the_sizes_of_the_stock(
    plane_irons: Study, plane_irons_matrix: CouponMatrix, tmp_path: Path
) -> None:
    study = read(tmp_path, plane_irons, STOCK)
    own = consumables(replace(plane_irons_matrix, study=study))
    needs = {need.item: need for need in own.lines}
    assert needs["steel"].low == pytest.approx(96 * 0.025 * 0.020 * 0.004 * 7800)
    assert needs["foil"].low == pytest.approx(96 * 2 * 0.065 * 0.060)
    assert "not counted" not in needs["liquid nitrogen"].note + needs["dry ice"].note


def test_coupons_of_two_lengths_count_with_their_mean_and_a_batch_with_the_longest(
    plane_irons: Study, plane_irons_matrix: CouponMatrix, tmp_path: Path
) -> None:
    two = STOCK.replace('"25 mm"', '{ hardness = "25 mm", impact = "55 mm" }')
    two = two.replace('"500 mm"', '"710 mm"')
    own = consumables(replace(plane_irons_matrix, study=read(tmp_path, plane_irons, two)))
    assert own.size.lengths_mm == (25.0, 55.0)
    assert own.size.length_mm == pytest.approx(40.0)  # half of the coupons are broken
    long = STOCK.replace('"25 mm"', '"55 mm"').replace('"500 mm"', '"710 mm"')
    all_long = consumables(replace(plane_irons_matrix, study=read(tmp_path, plane_irons, long)))
    for mixed, longest in zip(own.lines, all_long.lines, strict=True):
        assert mixed.a_batch == longest.a_batch
        assert mixed.an_hour == longest.an_hour
        if mixed.item in ("steel", "foil", "liquid nitrogen", "dry ice"):
            assert mixed.low < longest.low


def test_lengths_of_a_study_without_a_plan_count_once_each(plane_irons: Study) -> None:
    stock = replace(PLAIN, lengths_mm={"hardness_hrc": 25.0, "impact_j": 55.0})
    size = coupon_size(replace(plane_irons, stock=stock))
    assert (size.length_mm, size.lengths_mm) == (40.0, (25.0, 55.0))


def test_two_responses_with_one_length_are_one_length(plane_irons: Study) -> None:
    stock = replace(PLAIN, lengths_mm={"hardness_hrc": 55.0, "impact_j": 55.0})
    size = coupon_size(replace(plane_irons, stock=stock))
    assert (size.length_mm, size.lengths_mm) == (55.0, None)


# --- two told sizes -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("steel", "more", "told"),
    [
        (
            'thickness = "4 mm"\ncoupon_length = "60 mm"',
            "",
            "coupon_length is 25\u00a0mm, but coupon_length below [steel] is 60\u00a0mm: the coupon "
            "cannot have both sizes. Tell it once: delete coupon_length below [steel], or correct "
            "coupon_length here. Sawn may be up to 1\u00a0mm more, for grinding.",
        ),
        (
            'thickness = "4 mm"',
            'bar_thickness = "6 mm"\ngrind_allowance = "0.6 mm"\n',
            "bar_thickness is 6\u00a0mm, but thickness below [steel] is 4\u00a0mm: the coupon "
            "cannot have both sizes. Tell it once: delete thickness below [steel], or delete "
            "bar_thickness here. Sawn may be up to 1.2\u00a0mm more, for grinding.",
        ),
        (
            'thickness = "4 mm"\nwidth = "20.5 mm"',
            "",
            "bar_width is 20\u00a0mm, but width below [steel] is 20.5\u00a0mm: the coupon cannot "
            "have both sizes. Tell it once: delete width below [steel], or delete bar_width here. "
            "Sawn may be up to 1\u00a0mm more, for grinding.",
        ),
    ],
)  # fmt: skip
def test_sizes_that_contradict_each_other_are_one_mistake(
    steel: str, more: str, told: str, plane_irons: Study, tmp_path: Path
) -> None:
    found = problems(tmp_path, plane_irons, STOCK + more, steel)
    key = told.split(" is ", maxsplit=1)[0]
    if key == "coupon_length":  # stands in both tables; the one of the stock is named
        lines = (tmp_path / "study.toml").read_text(encoding="utf-8").splitlines()
        line = max(number for number, own in enumerate(lines, 1) if own.startswith(key))
    else:
        line = line_of(tmp_path, key)
    assert found == [f"study.toml line {line}: {told}"]


def test_one_length_cannot_be_that_of_coupons_of_two(plane_irons: Study, tmp_path: Path) -> None:
    two = STOCK.replace('"25 mm"', '{ hardness = "25 mm", impact = "55 mm" }')
    steel = 'thickness = "4 mm"\ncoupon_length = "55 mm"'
    [found] = problems(tmp_path, plane_irons, two, steel)
    assert "coupon_length is 25\u00a0mm and 55\u00a0mm, but" in found


@pytest.mark.parametrize("finished", [24.0, 24.5, 25.0])
def test_sawn_may_be_longer_by_what_is_ground_off(finished: float, plane_irons: Study) -> None:
    study = replace(plane_irons, stock=PLAIN, steel={"coupon_length": f"{finished} mm"})
    assert told_sides(study, "length") == (finished,)


@pytest.mark.parametrize("finished", [23.9, 25.1])
def test_a_study_made_in_python_is_checked_too(finished: float, plane_irons: Study) -> None:
    study = replace(plane_irons, stock=PLAIN, steel={"coupon_length": f"{finished} mm"})
    with pytest.raises(StudyError, match="cannot have both sizes"):
        coupon_size(study)


@pytest.mark.parametrize("key", ["bar_width", "bar_thickness"])
@pytest.mark.parametrize("told", ['"0 mm"', "4", '"4"', '"4 kg"', '"-4 mm"'])
def test_a_section_that_cannot_be_read_is_named_with_its_line(
    key: str, told: str, plane_irons: Study, tmp_path: Path
) -> None:
    stock = STOCK.replace('bar_width = "20 mm"\n', "") + f"{key} = {told}\n"
    [found] = problems(tmp_path, plane_irons, stock, 'thickness = "4 mm"')
    assert found.startswith(f"study.toml line {line_of(tmp_path, key)}: {key}")


# --- tester checks --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("steel", "thickness_mm", "value", "about"),
    [
        ({}, 0.5, 0.5, "steel as told in study.toml, before grinding"),
        ({"thickness": "4 mm"}, None, 4.0, "steel as told in study.toml, before grinding"),
        ({"coupon_thickness": "3 mm"}, 3.2, 3.0, "as told in study.toml"),
    ],
)
def test_the_thickness_under_the_indents_is_that_of_the_stock_where_no_other_is_told(
    steel: dict[str, Any], thickness_mm: float | None, value: float, about: str,
    plane_irons: Study,
) -> None:  # fmt: skip
    stock = replace(PLAIN, bar_thickness_mm=thickness_mm)
    study = replace(plane_irons, stock=stock, steel=steel)
    plan = qb.read_plan(plane_irons.folder / "plan", study)
    source = Path(__file__).parents[3] / "data" / "plane_irons" / "records"
    frame = checks_of_testers(qb.read_records(source, plan)).to_frame()
    [row] = frame[frame["check"] == "thickness"].to_dict("records")
    assert (row["value"], row["about"]) == (value, about)
