from __future__ import annotations

from pathlib import Path

import pytest

import quenchbook as qb
from quenchbook.errors import StudyError
from quenchbook.study.definition import Study
from quenchbook.study.stock import OtherPieces, Stock, StockBar

STOCK = """
[stock]
bars = ["500 mm", { length = "12 in", count = 4 }]
coupon_length = { hardness = "25 mm", impact_j = "55 mm" }
kerf = "1,6 mm"
end_discard = "1 cm"
spare_coupons = 3
pieces = [{ words = "spare share", length = "120 mm", count = 2 }]
grain = "along"
protection = "foil"
grind_allowance = "0.3 mm"
labels = true
"""
LEAST = """
[stock]
bars = ["500 mm"]
coupon_length = "25 mm"
kerf = "0 mm"
end_discard = "0 mm"
"""


def study_with(text: str, plane_irons: Study, folder: Path) -> Study:
    own = (plane_irons.folder / "study.toml").read_text(encoding="utf-8")
    (folder / "study.toml").write_text(own + text, encoding="utf-8")
    return qb.read_study(folder)


def test_a_study_without_the_table_has_no_stock(plane_irons: Study) -> None:
    assert plane_irons.stock is None


def test_everything_that_can_be_told_is_read(plane_irons: Study, tmp_path: Path) -> None:
    assert study_with(STOCK, plane_irons, tmp_path).stock == Stock(
        bars=(StockBar(500.0), StockBar(pytest.approx(304.8), 4)),  # type: ignore[arg-type]
        coupon_length_mm=55.0,
        kerf_mm=1.6,
        end_discard_mm=10.0,
        lengths_mm={"hardness_hrc": 25.0, "impact_j": 55.0},
        spare_coupons=3,
        pieces=(OtherPieces("spare share", 120.0, 2),),
        grain="along",
        protection="foil",
        grind_allowance_mm=0.3,
        labels=True,
    )


def test_little_is_needed_and_nothing_is_made_up(plane_irons: Study, tmp_path: Path) -> None:
    stock = study_with(LEAST, plane_irons, tmp_path).stock
    assert stock == Stock((StockBar(500.0),), 25.0, 0.0, 0.0)
    assert stock is not None
    assert stock.spare_coupons is None
    assert stock.grind_allowance_mm is None
    assert stock.grain_words.endswith("not told")


def test_the_stock_is_no_part_of_the_declaration(plane_irons: Study, tmp_path: Path) -> None:
    study = study_with(STOCK, plane_irons, tmp_path)
    matrix = qb.read_plan(plane_irons.folder / "plan", study)
    assert matrix.changes == ()


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        ('kerf = "1,6 mm"', 'kerf = "1.6"', "kerf: '1.6' has no unit. Write mm after it."),
        ('kerf = "1,6 mm"', "kerf = 1.6", "kerf is 1.6, not a length with its unit."),
        ('kerf = "1,6 mm"', 'kerf = "-1 mm"', "kerf is '-1 mm'. Write kerf = \"1.6 mm\"."),
        ('kerf = "1,6 mm"', 'kref = "1 mm"', "'kref' is not known here. Did you mean kerf?"),
        ('kerf = "1,6 mm"', "", "stock has no kerf. Write kerf = \"1.6 mm\" below [stock]."),
        ('"500 mm", {', '"500 kg", {', "length of bars: 'kg' is not a unit of length."),
        ("count = 4", "count = 0", "count of bars is 0."),
        ("count = 4", "many = 4", "'many' is not known here."),
        ('"12 in"', '"50 cm"', "bars of 500\u00a0mm stand there twice."),
        ("impact_j =", "bending =", "'bending' is not a response."),
        (', impact_j = "55 mm"', "", "coupon_length has no length for impact."),
        ('"55 mm"', '"0 mm"', "coupon_length of impact_j is '0 mm'."),
        ('"55 mm"', '"490 mm"', "a piece of 490\u00a0mm fits into no bar: the longest leaves 476.8"),
        ('"120 mm"', '"2 m"', "a piece of 2000\u00a0mm fits into no bar"),
        ("spare_coupons = 3", "spare_coupons = -1", "spare_coupons is -1."),
        ('words = "spare share"', 'words = ""', "words of a piece is ''."),
        ("count = 2", "count = 1.5", "count of spare share is 1.5."),
        ('grain = "along"', 'grain = "sideways"', "'sideways' is not a grain. Known: along, across."),
        ('"foil"', '"foli"', "'foli' is not a protection. Did you mean foil?"),
        ("labels = true", 'labels = "yes"', "labels is 'yes'. Write true or false."),
    ],
)  # fmt: skip
def test_each_mistake_says_its_line_and_what_to_write(
    old: str, new: str, found: str, plane_irons: Study, tmp_path: Path
) -> None:
    assert old in STOCK
    with pytest.raises(StudyError) as caught:
        study_with(STOCK.replace(old, new), plane_irons, tmp_path)
    [problem] = [str(own) for own in caught.value.problems if found in str(own)]
    assert problem.startswith("study.toml line ")


def test_all_mistakes_come_at_once(plane_irons: Study, tmp_path: Path) -> None:
    text = STOCK.replace('"1,6 mm"', "2").replace("labels = true", "labels = 1").replace(
        '"1 cm"', '"1"'
    )  # fmt: skip
    with pytest.raises(StudyError) as caught:
        study_with(text, plane_irons, tmp_path)
    assert len(caught.value.problems) == 3


def test_a_stock_that_is_no_table_is_one_mistake(plane_irons: Study, tmp_path: Path) -> None:
    own = (plane_irons.folder / "study.toml").read_text(encoding="utf-8")
    path = tmp_path / "study.toml"
    path.write_text(own.replace("format = 1", 'format = 1\nstock = "none"', 1), encoding="utf-8")
    with pytest.raises(StudyError, match="stock is not a table") as caught:
        qb.read_study(path)
    assert len(caught.value.problems) == 1


def test_the_examples_of_the_template_are_a_stock(tmp_path: Path) -> None:
    folder = tmp_path / "mine"
    qb.new_study(folder)
    path = folder / "study.toml"
    head, mark, rest = path.read_text(encoding="utf-8").partition("# [stock]")
    lines = (mark + rest).split("\n")
    last = next(n for n, line in enumerate(lines) if line.startswith("# labels"))
    table = "\n".join(line.removeprefix("# ") for line in lines[: last + 1])
    path.write_text("\n".join([head, table, *lines[last + 1 :]]), encoding="utf-8")
    stock = qb.read_study(folder).stock
    assert stock is not None
    assert stock.bars == (StockBar(500.0), StockBar(300.0, 4))
    assert stock.labels
