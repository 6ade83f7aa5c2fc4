from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import pikepdf
import pytest

from quenchbook.bench.sheets import bench_sheets
from quenchbook.bench.travellers import LABEL_COLUMNS, LABEL_ROWS, _square, square_svg, travellers
from quenchbook.errors import PlanError
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.report.bench_pages import bench_source
from quenchbook.report.pdf import compile_typst
from quenchbook.study.factors import ROUTE_WORDS
from quenchbook.study.stock import Stock, StockBar

STOCK = Stock((StockBar(500.0),), 25.0, 1.6, 10.0, labels=True)
SIDE: Final = 21
ALPHANUMERIC: Final = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"
MASKS: Final = (
    lambda i, j: (i + j) % 2, lambda i, j: (i + 0 * j) % 2, lambda i, j: (j + 0 * i) % 3, lambda i, j: (i + j) % 3,
    lambda i, j: (i // 2 + j // 3) % 2, lambda i, j: i * j % 2 + i * j % 3,
    lambda i, j: (i * j % 2 + i * j % 3) % 2, lambda i, j: ((i + j) % 2 + i * j % 3) % 2,
)  # fmt: skip


def labelled(matrix: CouponMatrix, stock: Stock = STOCK) -> CouponMatrix:
    return replace(matrix, study=replace(matrix.study, stock=stock))


def level_and_text(modules: Sequence[Sequence[int]]) -> tuple[str, str]:
    """Read a version 1 square without its error correction.

    Written from ISO/IEC 18004:2015, clauses 7.3 to 7.9 (from memory); shares no code with segno.
    """
    assert [len(row) for row in modules] == [SIDE] * SIDE
    cells = [*((8, j) for j in (0, 1, 2, 3, 4, 5, 7, 8)), *((i, 8) for i in (7, 5, 4, 3, 2, 1, 0))]
    form = int("".join(str(modules[i][j]) for i, j in cells), 2) ^ 0b101010000010010
    level, mask = form >> 13, MASKS[form >> 10 & 0b111]
    bits, up = "", True
    for right in (20, 18, 16, 14, 12, 10, 8, 5, 3, 1):
        for i in range(SIDE - 1, -1, -1) if up else range(SIDE):
            for j in (right, right - 1):
                finder = (i < 9 and (j < 9 or j > 12)) or (i > 12 and j < 9)
                if not finder and i != 6:
                    bits += str(modules[i][j] ^ (mask(i, j) == 0))
        up = not up
    assert bits[:4] == "0010"
    count, at, text = int(bits[4:13], 2), 13, ""
    while len(text) < count:
        width, most = (11, 2) if count - len(text) > 1 else (6, 1)
        value = int(bits[at : at + width], 2)
        text += (ALPHANUMERIC[value // 45] if most == 2 else "") + ALPHANUMERIC[value % 45]
        at += width
    return {0b01: "L", 0b00: "M", 0b11: "Q", 0b10: "H"}[level], text


def pages(data: bytes) -> int:
    with pikepdf.open(io.BytesIO(data)) as pdf:
        return len(pdf.pages)


def test_every_square_is_read_back_by_the_standard_at_level_q(
    plane_irons_matrix: CouponMatrix,
) -> None:
    for label in travellers(labelled(plane_irons_matrix)):
        read = level_and_text(
            [[int(module) for module in row] for row in _square(label.text).matrix]
        )
        assert read == ("Q", label.text)
        assert label.text == f"Q:{plane_irons_matrix.short_hash.upper()}:{label.coupon}"


def test_a_square_is_drawn_with_a_white_border_and_the_same_each_time() -> None:
    svg = square_svg("Q:3DB02E10:K7A9")
    assert 'viewBox="0 0 29 29"' in svg
    assert svg == square_svg("Q:3DB02E10:K7A9")


def test_each_coupon_has_one_label_in_the_order_of_the_codes(
    plane_irons_matrix: CouponMatrix,
) -> None:
    codes = [label.coupon for label in travellers(labelled(plane_irons_matrix))]
    assert codes == sorted(plane_irons_matrix.frame["coupon"])


def test_the_place_in_the_furnace_is_the_second_identity(plane_irons_matrix: CouponMatrix) -> None:
    rows = plane_irons_matrix.frame.set_index("coupon")
    for label in travellers(labelled(plane_irons_matrix)):
        row = rows.loc[label.coupon]
        assert label.place == f"Furnace load {row['furnace_load']}, place {row['load_place']}"
    marked = replace(plane_irons_matrix, frame=plane_irons_matrix.frame.assign(furnace_place=4))
    assert travellers(labelled(marked))[0].place.endswith("furnace place 4")
    aside = replace(plane_irons_matrix, frame=plane_irons_matrix.frame.assign(furnace_load=0))
    assert travellers(labelled(aside))[0].place == "No furnace load"


def test_labels_say_nothing_of_the_treatment(plane_irons_matrix: CouponMatrix) -> None:
    sheets = bench_sheets(labelled(plane_irons_matrix)).labels
    source = " ".join(
        word for sheet in sheets for label in sheet.labels for word in (label.text, label.place)
    )
    told = [*ROUTE_WORDS.values(), "°C", "HRC", " min", " h "]
    told += [f"{level:g}" for level in plane_irons_matrix.study.factor("austenitize").levels]
    words = re.sub(r"Q:\w+:\w+", "", source)
    assert [word for word in told if word in words] == []


def test_labels_are_pages_of_the_bench_sheets_only_when_asked_for(
    plane_irons_matrix: CouponMatrix,
) -> None:
    asked = bench_sheets(labelled(plane_irons_matrix))
    assert len(asked.labels) == 6  # 96 labels, 18 on a page
    assert [len(sheet.labels) for sheet in asked.labels] == [18, 18, 18, 18, 18, 6]
    plain = bench_sheets(labelled(plane_irons_matrix, replace(STOCK, labels=False)))
    assert plain.labels == bench_sheets(plane_irons_matrix).labels == ()
    only = replace(asked, needs=None, bars=(), loads=(), tempers=(), tests=())
    assert pages(compile_typst(bench_source(only), {}, title="labels")) == 7


def test_a_full_page_of_long_words_stays_one_page(plane_irons_matrix: CouponMatrix) -> None:
    study = replace(
        plane_irons_matrix.study, stock=STOCK, unit_names={"furnace_load": "w" * 60}
    )  # fmt: skip
    sheets = bench_sheets(replace(plane_irons_matrix, study=study))
    assert len(sheets.labels[0].labels) == LABEL_ROWS * LABEL_COLUMNS
    few = replace(
        sheets, needs=None, bars=(), loads=(), tempers=(), tests=(), labels=sheets.labels[:1]
    )
    assert pages(compile_typst(bench_source(few), {}, title="labels")) == 2


def test_codes_of_a_publication_get_no_labels(coated_bars_matrix: CouponMatrix) -> None:
    with pytest.raises(PlanError, match="come from a publication"):
        bench_sheets(labelled(coated_bars_matrix))
