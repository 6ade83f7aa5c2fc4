from __future__ import annotations

import io
import random
from dataclasses import replace
from pathlib import Path

import pikepdf
import pytest

from quenchbook.bench.bar_sheets import BAR_ROWS
from quenchbook.bench.hazards import hazards
from quenchbook.bench.safety import CAUTIONS
from quenchbook.bench.sheets import bench_sheets
from quenchbook.bench.temper_sheets import TEMPER_ROWS
from quenchbook.errors import ReportError
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.report.bench_pages import bench_source
from quenchbook.report.booklet_files import BOOKLET_PDF, write_bench_documents
from quenchbook.report.pdf import compile_typst
from quenchbook.study.room import Room


def pages(data: bytes) -> int:
    with pikepdf.open(io.BytesIO(data)) as pdf:
        return len(pdf.pages)


@pytest.mark.parametrize("study", ["plane_irons_matrix", "coated_bars_matrix"])
def test_every_sheet_is_one_page_of_a4(study: str, request: pytest.FixtureRequest) -> None:
    matrix: CouponMatrix = request.getfixturevalue(study)
    sheets = bench_sheets(matrix)
    parts = (sheets.bars, sheets.labels, sheets.loads, sheets.tempers, sheets.tests)
    expected = (1 if sheets.needs is None else 2) + sum(map(len, parts))
    done = compile_typst(bench_source(sheets), {}, title=sheets.title)
    with pikepdf.open(io.BytesIO(done)) as pdf:
        assert len(pdf.pages) == expected
        box = [float(side) for side in pdf.pages[0].mediabox]
        assert box[2:] == pytest.approx([595.3, 841.9], abs=0.1)
        assert matrix.short_hash in str(pdf.docinfo.get("/Title", "")) or matrix.short_hash in str(
            pdf.open_metadata().get("dc:title", "")
        )


def test_all_hazards_together_fit_the_first_page(plane_irons_matrix: CouponMatrix) -> None:
    study = plane_irons_matrix.study
    equipment = {
        **study.equipment, "quench": "oil, or between plates, or water", "gas": "argon",
        "salt_bath": "nitrate",
    }  # fmt: skip
    study = replace(study, equipment=equipment)
    assert len(hazards(study)) == 15
    sheets = bench_sheets(replace(plane_irons_matrix, study=study))
    only_cautions = replace(sheets, needs=None, bars=(), loads=(), tempers=(), tests=())
    assert pages(compile_typst(bench_source(only_cautions), {}, title="cautions")) == 1


@pytest.mark.parametrize("count", range(1, 15))
def test_any_hazards_fit_the_first_page(plane_irons_matrix: CouponMatrix, count: int) -> None:
    sheets = replace(
        bench_sheets(plane_irons_matrix), needs=None, bars=(), loads=(), tempers=(), tests=()
    )
    for draw in range(3):
        drawn = random.Random(100 * count + draw).sample(sorted(CAUTIONS), count)
        own = (*(CAUTIONS[name] for name in drawn), sheets.cautions[-1])
        source = bench_source(replace(sheets, cautions=own))
        assert pages(compile_typst(source, {}, title="cautions")) == 1


@pytest.mark.parametrize("room", [None, Room(30.0), Room(30.0, 0.4)])
@pytest.mark.parametrize("steel", [{}, {"coupon_length": "60 mm", "coupon_width": "25 mm"}])
def test_whatever_is_used_up_is_one_page(
    plane_irons_matrix: CouponMatrix, room: Room | None, steel: dict[str, str]
) -> None:
    study = plane_irons_matrix.study
    study = replace(
        study,
        room=room,
        steel={**study.steel, **steel},
        equipment={**study.equipment, "quench": "oil"},
        held_constant={"gas": "argon, 5 l/min", "temper_time": "w" * 300},
        costs={"liquid_nitrogen_litres_a_batch": 50, "dry_ice_kg_a_batch": 50},
    )
    sheets = bench_sheets(replace(plane_irons_matrix, study=study))
    assert sheets.needs is not None
    assert len(sheets.needs.lines) == 8
    only = replace(sheets, bars=(), loads=(), tempers=(), tests=())
    assert pages(compile_typst(bench_source(only), {}, title="needs")) == 2


def test_a_study_that_uses_nothing_up_has_no_page_for_it(coated_bars_matrix: CouponMatrix) -> None:
    assert bench_sheets(coated_bars_matrix).needs is None


def test_the_same_plan_is_written_again_and_another_one_is_refused(
    plane_irons_matrix: CouponMatrix, coated_bars_matrix: CouponMatrix, tmp_path: Path
) -> None:
    path = write_bench_documents(coated_bars_matrix, tmp_path)[0]
    before = path.read_bytes()
    write_bench_documents(coated_bars_matrix, tmp_path)
    assert path.read_bytes() == before
    with pytest.raises(ReportError, match="holds the booklet of another plan"):
        write_bench_documents(plane_irons_matrix, tmp_path)
    assert path.read_bytes() == before
    (tmp_path / BOOKLET_PDF).write_bytes(b"my own notes")
    with pytest.raises(ReportError, match="not overwritten"):
        write_bench_documents(coated_bars_matrix, tmp_path)


@pytest.mark.parametrize(
    "words", ['"] #panic("x")', '$x$ *a* #read("/etc/passwd") @d <e>', "w" * 200, "a\u202eb\x00"]
)
def test_words_of_an_author_are_never_typst_code(
    coated_bars_matrix: CouponMatrix, words: str
) -> None:
    study = coated_bars_matrix.study
    coating = replace(study.factor("coating"), words={"C1": words}, name="coating")
    factors = (study.factors[0], coating)
    frame = coated_bars_matrix.frame.replace({"coupon": {"H1C2": words[:40]}})
    study = replace(study, factors=factors, title=words, unit_names={"coupon": words[:30]})
    sheets = bench_sheets(replace(coated_bars_matrix, study=study, frame=frame))
    few = replace(sheets, loads=sheets.loads[:1], tests=sheets.tests[:1])
    assert pages(compile_typst(bench_source(few), {}, title="bench")) == 3


@pytest.mark.parametrize(
    "held",
    [
        {"soak": "20 min", "cold_time": "overnight, about 12 h", "temper_cycles": "4"},
        {
            "quench": "oil, 50 degC, " + "stirred and covered with its lid " * 9,
            "temper_a": "b " * 200,
        },
        {
            "soak": "w" * 200,
            "cold_time": "w" * 200,
            "temper_time": '"] #panic("x")',
            "a": "$x$ *a*",
        },
    ],
)
def test_whatever_is_held_constant_every_sheet_stays_one_page(
    plane_irons_matrix: CouponMatrix, held: dict[str, str]
) -> None:
    study = plane_irons_matrix.study
    told = {**study.equipment, "quench": "oil, or between plates"}
    study = replace(study, held_constant=held, equipment=told)
    sheets = bench_sheets(replace(plane_irons_matrix, study=study))
    most = max(sheets.loads, key=lambda sheet: len(sheet.reminder))
    few = replace(sheets, bars=sheets.bars[:1], loads=(most,), tempers=sheets.tempers[:1], tests=())
    assert pages(compile_typst(bench_source(few), {}, title="bench")) == 5


def test_the_largest_batch_and_bar_fit_their_pages(plane_irons_matrix: CouponMatrix) -> None:
    study = plane_irons_matrix.study
    study = replace(
        study,
        layout=replace(study.layout, coupons_per_bar=BAR_ROWS),
        held_constant={"temper_cycles": "4", "temper_note": "cooled in still air " * 14},
    )
    frame = plane_irons_matrix.frame.head(TEMPER_ROWS).assign(temper_batch=1)
    sheets = bench_sheets(replace(plane_irons_matrix, study=study, frame=frame))
    assert len(sheets.tempers[0].rows) == TEMPER_ROWS
    assert len(sheets.bars[0].rows) == BAR_ROWS
    few = replace(sheets, bars=sheets.bars[:1], loads=(), tests=())
    assert pages(compile_typst(bench_source(few), {}, title="bench")) == 4


def test_a_coupon_without_cold_has_blank_cells(plane_irons_matrix: CouponMatrix) -> None:
    source = bench_source(bench_sheets(plane_irons_matrix))
    assert "cold: false" in source
    assert '"no cold")' not in source
