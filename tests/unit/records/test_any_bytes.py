"""Whatever happens to a file, the answer is records or a list of mistakes."""

from __future__ import annotations

import io
import tempfile
from pathlib import Path

import xlsxwriter
from hypothesis import given, settings
from hypothesis import strategies as st

from quenchbook.errors import RecordError
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.lengths import length_changes
from quenchbook.records.reading import Records, read_records
from quenchbook.records.tester import checks_of_testers

GOOD = {
    "hardness.csv": (
        "order,coupon,hardness_hrc_1,hardness_hrc_2,note\n"
        '1,K7TX,62.5,62.1,"chipped, a little"\n2,K9AD,63.0,,\n3,4E79,1 925,61 HRC,\n'
    ),
    "impact.csv": "coupon;impact_ftlbf\nK7TX;10,5\n4E79;9,75\n",
    "furnace_log.csv": "furnace_load,austenitize_actual_degF\n1,1778.0\n2,1886\n",
    "deviations.csv": (
        "what,which,item,actual,note\ncold_batch,1-3,delay,85 min,late\n"
        "coupon,CRDH,lost,cracked,\nfurnace_load,2,note,,hot\n"
    ),
    "block_checks.csv": (
        "session,when,block_value_hrc,block_uncertainty_hrc,hardness_hrc_1,hardness_hrc_2\n"
        "1,before,62.4,0.4,62.3,62.5\n1,after,62.4,,62.4,62.6\n"
    ),
    "impact_checks.csv": "session,certified_value_j,impact_j_1,impact_j_2\n1,14.0,13.9,14.2\n",
    "lengths.csv": "coupon,length_before_mm,length_after_mm\nK9AD,60.012,60.031\n",
    "corrections.csv": (
        "file,row,column,found,corrected,reason\nhardness.csv,4,hardness_hrc_1,1 925,61.9,slip\n"
    ),
}
POOL = b"\x00\xff\xfe\"',;\t|\n\r.-#0123456789eE+ \xc3\xa4naKXT\xe2\x88\x92" + "\u0661".encode()


def _workbook() -> bytes:
    target = io.BytesIO()
    workbook = xlsxwriter.Workbook(target, {"in_memory": True})
    sheet = workbook.add_worksheet("hardness")
    sheet.write_row(0, 0, ["coupon", "hardness_hrc_1", "hardness_hrc_2"])
    sheet.write_row(1, 0, ["K7TX", 62.5, "62,1"])
    workbook.close()
    return target.getvalue()


WORKBOOK = _workbook()
changes = st.lists(
    st.tuples(
        st.sampled_from(("replace", "insert", "delete", "cut")),
        st.integers(0, 10_000),
        st.one_of(st.sampled_from(list(POOL)), st.integers(0, 255)),
    ),
    min_size=1,
    max_size=6,
)


def mutated(data: bytes, wanted: list[tuple[str, int, int]]) -> bytes:
    out = bytearray(data)
    for kind, at, byte in wanted:
        place = at % (len(out) + 1)
        if kind == "insert":
            out.insert(place, byte)
        elif kind == "cut" and place > 2:
            del out[place:]
        elif place < len(out) and kind == "delete":
            del out[place]
        elif place < len(out):
            out[place] = byte
    return bytes(out)


def outcome(files: dict[str, bytes], matrix: CouponMatrix) -> Records | RecordError:
    with tempfile.TemporaryDirectory() as folder:
        for name, data in files.items():
            (Path(folder) / name).write_bytes(data)
        try:
            return read_records(folder, matrix)
        except RecordError as error:
            return error


def test_the_files_are_good_before_they_are_damaged(matrix: CouponMatrix) -> None:
    files = {name: text.encode() for name, text in GOOD.items()}
    records = outcome(files, matrix)
    assert isinstance(records, Records), str(records)
    assert len(records.readings) == 7
    assert len(records.block_checks) == 4
    assert len(records.impact_checks) == 2
    assert len(records.measures) == 2


@settings(max_examples=200, deadline=None)
@given(name=st.sampled_from(sorted(GOOD)), wanted=changes)
def test_a_damaged_text_file_gives_records_or_mistakes(
    matrix: CouponMatrix, name: str, wanted: list[tuple[str, int, int]]
) -> None:
    files = {own: text.encode() for own, text in GOOD.items()}
    files[name] = mutated(files[name], wanted)
    found = outcome(files, matrix)
    if isinstance(found, Records):
        assert found.readings["value"].between(0, 1000).all()
        assert set(found.readings["coupon"]) <= set(matrix.frame["coupon"])
        assert found.summary()
        assert checks_of_testers(found).summary()
        assert length_changes(found).summary()
    else:
        assert all(problem.where and problem.problem for problem in found.problems)


@settings(max_examples=200, deadline=None)
@given(wanted=changes)
def test_a_damaged_workbook_gives_records_or_mistakes(
    matrix: CouponMatrix, wanted: list[tuple[str, int, int]]
) -> None:
    found = outcome({"hardness.xlsx": mutated(WORKBOOK, wanted)}, matrix)
    if isinstance(found, Records):
        assert set(found.readings["coupon"]) == {"K7TX"}
    else:
        assert all(problem.where and problem.problem for problem in found.problems)
