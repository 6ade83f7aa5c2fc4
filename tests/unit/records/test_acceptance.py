"""Accepted records are kept for good: nothing twice, nothing overwritten, every change asked."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path

import pytest

from quenchbook.columns import meaning
from quenchbook.errors import RecordError
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records import kept_entries as kept_module
from quenchbook.records.acceptance import accept_records, record_changes
from quenchbook.records.kept_entries import append_entries, kept_entries
from quenchbook.records.reading import read_records

Put = Callable[..., Path]
H = "coupon,hardness_hrc_1,hardness_hrc_2\n"
GOOD = H + "K7TX,62.5,62.1\nK9AD,63,\n"
DEVIATIONS = (
    "what,which,item,actual,note\ncoupon,CRDH,lost,cracked,\ncold_batch,1-3,delay,85 min,late\n"
    "furnace_load,1,note,,door open\n"
)
CORRECTIONS = "file,row,column,found,corrected,reason\n"


def snapshot(folder: Path) -> dict[str, bytes]:
    return {str(p): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_accepting_keeps_entries_and_the_files_they_came_from(
    matrix: CouponMatrix, put: Put
) -> None:
    folder = put({"h.csv": GOOD, "d.csv": DEVIATIONS})
    added = accept_records(folder, matrix)
    assert added.accepted() == "Accepted: 3 readings, 3 deviations, 0 changes, 2 files."
    kept = kept_entries(folder)
    values = {key[2:]: own.value for key, own in kept.current.items()}
    assert values[("K7TX", "hardness_hrc", "1")] == "62.5"
    assert values[("1-3", "delay", "")] == "85.0"
    assert values[("CRDH", "lost", "")] == "cracked"
    assert len(values) == 6
    sha = hashlib.sha256(GOOD.encode()).hexdigest()
    assert ("h.csv", sha) in kept.raw_files
    assert (folder / "kept" / "raw" / f"{sha[:12]}_h.csv").read_text() == GOOD
    assert "3 readings, 3 deviations, 2 files kept" in kept.summary()
    assert all(meaning(str(column))[0] for column in kept.to_frame())
    assert all(meaning(str(column))[0] for column in added.to_frame())


def test_accepting_again_adds_nothing(matrix: CouponMatrix, put: Put) -> None:
    folder = put({"h.csv": GOOD, "d.csv": DEVIATIONS})
    accept_records(folder, matrix)
    before = snapshot(folder)
    again = accept_records(folder, matrix)
    assert again.to_frame().empty
    assert again.summary() == "Everything in these records was accepted before."
    assert snapshot(folder) == before


def test_more_readings_are_added_and_nothing_kept_is_changed(
    matrix: CouponMatrix, put: Put
) -> None:
    folder = put({"h.csv": GOOD})
    accept_records(folder, matrix)
    before = snapshot(folder / "kept")
    put({"h.csv": H + "K9AD,63,63.5\nK7TX,62.5,62.1\n4E79,61,61\n"})
    added = accept_records(folder, matrix).to_frame()
    assert added[["which", "reading", "after"]].to_numpy().tolist() == [
        ["K9AD", "2", "63.5"], ["4E79", "1", "61.0"], ["4E79", "2", "61.0"],
    ]  # fmt: skip
    after = snapshot(folder / "kept")
    assert {path: after[path] for path in before} == before
    assert len(kept_entries(folder).current) == 6


def test_a_changed_file_is_shown_by_its_cells_and_asked_about(
    matrix: CouponMatrix, put: Put
) -> None:
    folder = put({"h.csv": GOOD, "d.csv": DEVIATIONS})
    accept_records(folder, matrix)
    before = snapshot(folder / "kept")
    put({"h.csv": H + "K7TX,61.5,62.1\n", "d.csv": DEVIATIONS.replace("85 min", "95 min")})
    with pytest.raises(RecordError) as caught:
        accept_records(folder, matrix)
    assert [f"{own.where}: {own.problem}" for own in caught.value.problems] == [
        "h.csv row 2, coupon K7TX: hardness_hrc reading 1 was accepted as 62.5 HRC and is 61.5 "
        "HRC now",
        "d.csv row 3, cold batch 1-3: delay was accepted as 85.0 minutes and is 95.0 minutes now",
        "h.csv row 3, coupon K9AD: hardness_hrc reading 1 was accepted as 63.0 HRC and is not "
        "there any more",
    ]
    assert snapshot(folder / "kept") == before
    accept_records(folder, matrix, reason="the sheet says so")
    kept = kept_entries(folder)
    assert sum(own.reason == "the sheet says so" for own in kept.entries) == 3
    assert ("reading", "coupon", "K9AD", "hardness_hrc", "1") not in kept.current
    frame = kept.to_frame()
    own = frame[(frame["which"] == "K7TX") & (frame["reading"] == "1")]
    assert own["value"].tolist() == ["62.5", "61.5"]


def test_a_correction_brings_its_reason_and_the_first_entry_stays(
    matrix: CouponMatrix, put: Put
) -> None:
    folder = put({"h.csv": GOOD})
    accept_records(folder, matrix)
    put({"c.csv": CORRECTIONS + "h.csv,2,hardness_hrc_1,62.5,61.5,slip of the pen\n"})
    changes = record_changes(folder, read_records(folder, matrix))
    assert "is 61.5 HRC now. Reason: slip of the pen." in changes.summary()
    accept_records(folder, matrix)
    frame = kept_entries(folder).to_frame()
    own = frame[(frame["which"] == "K7TX") & (frame["reading"] == "1")]
    assert own[["value", "reason"]].to_numpy().tolist() == [
        ["62.5", ""], ["61.5", "slip of the pen"],
    ]  # fmt: skip


def test_a_label_that_was_misread_is_corrected_after_it_was_accepted(
    matrix: CouponMatrix, put: Put
) -> None:
    folder = put({"h.csv": GOOD})
    accept_records(folder, matrix)
    put({"c.csv": CORRECTIONS + "h.csv,2,coupon,K7TX,JD7H,another coupon\n"})
    accept_records(folder, matrix)
    current = kept_entries(folder).current
    assert {key[2] for key in current} == {"JD7H", "K9AD"}
    assert {own.reason for own in current.values()} == {"another coupon", ""}


def test_a_correction_does_not_excuse_a_file_that_was_changed_as_well(
    matrix: CouponMatrix, put: Put
) -> None:
    folder = put({"h.csv": GOOD})
    accept_records(folder, matrix)
    put(
        {
            "h.csv": GOOD.replace("62.1", "60.1"),
            "c.csv": CORRECTIONS + "h.csv,2,hardness_hrc_1,62.5,61.5,slip of the pen\n",
        }
    )
    with pytest.raises(RecordError) as caught:
        accept_records(folder, matrix)
    assert len(caught.value.problems) == 2


def test_records_with_mistakes_are_not_accepted(matrix: CouponMatrix, put: Put) -> None:
    folder = put({"h.csv": H + "K7TX,612,62.1\n"})
    with pytest.raises(RecordError, match="hardness_hrc is 612"):
        accept_records(folder, matrix)
    assert not (folder / "kept").exists()


@pytest.mark.parametrize(
    ("path", "damage", "message"),
    [
        ("entries_0001.csv", lambda data: data[:-20], "is not as it was written"),
        ("entries_0001.csv", lambda data: data.replace(b"62.5", b"62.6"), "not as it was written"),
        ("entries_0001.csv", lambda _: None, "is missing"),
        ("raw", lambda data: data + b"\n", "is not as it was kept"),
        ("raw", lambda _: None, "is missing"),
    ],
)
def test_what_is_kept_and_then_damaged_is_named(
    matrix: CouponMatrix,
    put: Put,
    path: str,
    damage: Callable[[bytes], bytes | None],
    message: str,
) -> None:
    folder = put({"h.csv": GOOD})
    accept_records(folder, matrix)
    put({"h.csv": GOOD + "4E79,61,61\n"})
    accept_records(folder, matrix)
    place = folder / "kept" / path
    target = sorted(place.iterdir())[0] if place.is_dir() else place
    data = damage(target.read_bytes())
    target.unlink() if data is None else target.write_bytes(data)
    with pytest.raises(RecordError, match=message) as caught:
        accept_records(folder, matrix)
    assert target.name in str(caught.value)


def test_of_two_programs_that_accept_at_once_one_is_told(matrix: CouponMatrix, put: Put) -> None:
    folder = put({"h.csv": GOOD})
    accept_records(folder, matrix)
    kept = kept_entries(folder)
    entry = kept.entries[-1]
    append_entries(folder, kept, [entry])
    with pytest.raises(RecordError, match="was written by another program"):
        append_entries(folder, kept, [entry])
    assert len(kept_entries(folder).entries) == len(kept.entries) + 1


def test_a_full_disk_leaves_what_was_kept(
    matrix: CouponMatrix, put: Put, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = put({"h.csv": GOOD})
    accept_records(folder, matrix)
    before = snapshot(folder / "kept")
    put({"h.csv": GOOD + "4E79,61,61\n"})
    write = kept_module.write_new_bytes

    def full(path: Path, data: bytes) -> Path:
        if path.name.startswith("entries"):
            raise OSError(28, "No space left on device")
        return write(path, data)

    monkeypatch.setattr(kept_module, "write_new_bytes", full)
    with pytest.raises(OSError, match="No space left"):
        accept_records(folder, matrix)
    monkeypatch.undo()
    after = snapshot(folder / "kept")
    assert {path: after[path] for path in before} == before
    assert len(kept_entries(folder).current) == 3
    assert len(accept_records(folder, matrix).new) == 2


def test_every_sheet_of_a_workbook_is_kept_with_the_workbook(
    matrix: CouponMatrix, put: Put
) -> None:
    from tests.unit.records.test_damaged_files import book

    folder = put({"b.xlsx": book({"hardness": [["coupon", "hardness_hrc_1"], ["K7TX", 62.5]]})})
    accept_records(folder, matrix)
    kept = kept_entries(folder)
    (entry,) = kept.current.values()
    assert (entry.file, entry.row) == ("b.xlsx, sheet hardness", "2")
    assert kept.raw_files == {("b.xlsx", entry.sha256)}
    assert accept_records(folder, matrix).to_frame().empty
