from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from tests.conftest import ROOT

import quenchbook as qb
from quenchbook import writing
from quenchbook.errors import PlanError, RecordError

FIVE = ("62,1", "62.4", "62.2", "61.9", "62.3")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The demonstration without records."""
    source = ROOT / "data" / "plane_irons"
    shutil.copy(source / "study.toml", tmp_path)
    shutil.copytree(source / "plan", tmp_path / "plan")
    return tmp_path


def test_entered_coupons_are_read_without_a_mistake(folder: Path) -> None:
    book = qb.entry_book(folder)
    first = book.next_coupon("hardness")
    book.enter("hardness", first, FIVE, note="scale, ground off")
    second = book.next_coupon("hardness")
    assert second != first
    book.enter("hardness", second, FIVE)
    records = qb.read_folder(folder)[2]
    assert records.readings["value"].tolist() == [62.1, 62.4, 62.2, 61.9, 62.3] * 2
    assert records.deviations["note"].tolist() == ["scale, ground off"]
    assert [path.name for path in (folder / "records").iterdir()] == ["hardness_entered_1.csv"]


def test_coupons_come_in_the_order_of_the_testers_sheet(folder: Path) -> None:
    from quenchbook.bench.form_tables import entry_forms

    book = qb.entry_book(folder)
    sheet = entry_forms(book.matrix)[0]
    assert list(book.coupons("hardness")["coupon"]) == [row[1] for row in sheet.rows]


def test_each_accepted_coupon_is_on_the_disk_at_once(folder: Path) -> None:
    qb.entry_book(folder).enter("hardness", "4FTD", FIVE)
    following = qb.entry_book(folder)  # the kernel died; the form is opened again
    assert following.next_coupon("hardness") == "EC9T"
    following.enter("hardness", "EC9T", FIVE)
    assert len(qb.read_folder(folder)[2].readings) == 10
    names = sorted(path.name for path in (folder / "records").iterdir())
    assert names == ["hardness_entered_1.csv", "hardness_entered_2.csv"]


def test_a_file_that_somebody_changed_is_left_and_a_new_one_begun(folder: Path) -> None:
    book = qb.entry_book(folder)
    path = book.enter("hardness", "4FTD", FIVE)
    changed = path.read_bytes().replace(b"61.9", b"61.8")
    path.write_bytes(changed)
    assert book.enter("hardness", "EC9T", FIVE).name == "hardness_entered_2.csv"
    assert path.read_bytes() == changed


def test_a_change_saved_while_a_row_is_written_is_kept_and_a_new_file_begun(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    book = qb.entry_book(folder)
    path = book.enter("hardness", "4FTD", FIVE)
    changed, real = path.read_bytes().replace(b"61.9", b"61.8"), writing._part

    @contextmanager
    def slow_disk(of: Path, data: bytes) -> Iterator[Path]:
        with real(of, data) as part:
            path.write_bytes(changed)  # somebody saves the sheet in this moment
            yield part

    monkeypatch.setattr(writing, "_part", slow_disk)
    assert book.enter("hardness", "EC9T", FIVE).name == "hardness_entered_2.csv"
    assert path.read_bytes() == changed
    assert sorted(set(qb.read_folder(folder)[2].readings["coupon"])) == ["4FTD", "EC9T"]


UNREADABLE = ("a\x00b", "a\ud800b", "a\nb", "a\u2028b", "a\x1bb", "x" * 140_000)


@pytest.mark.parametrize("note", UNREADABLE, ids=["nul", "half", "line", "para", "esc", "long"])
def test_words_that_would_spoil_the_file_are_refused_and_what_was_entered_stays(
    folder: Path, note: str
) -> None:
    book = qb.entry_book(folder)
    book.enter("hardness", "4FTD", FIVE)
    for write in (
        lambda: book.enter("hardness", "EC9T", FIVE, note=note),
        lambda: book.deviate("coupon", "EC9T", "lost", note),
        lambda: book.correct("hardness_entered_1.csv", 3, "hardness_hrc_1", "61.2", note),
    ):
        with pytest.raises(RecordError, match=r"no table can hold|expected at most 2000"):
            write()
    assert len(qb.read_folder(folder)[2].readings) == 5


def test_a_row_that_the_reader_would_pass_over_is_refused(folder: Path) -> None:
    with pytest.raises(RecordError, match="not be read again as it was typed"):
        qb.entry_book(folder).deviate("# coupon", "EC9T", "lost", "cracked")


def test_a_mistake_that_another_file_has_already_is_no_leave_to_make_it_again(folder: Path) -> None:
    (folder / "records").mkdir()
    (folder / "records" / "mine.csv").write_text("order,coupon,hardness_hrc_1\n1,4FTD,621\n")
    with pytest.raises(RecordError, match="hardness_hrc is 621, expected 0 to 70"):
        qb.entry_book(folder).enter("hardness", "EC9T", ("621", *FIVE[1:]))


@pytest.mark.parametrize("made", ["before", "after"])
def test_records_that_lead_out_of_the_study_are_never_written(
    folder: Path, tmp_path_factory: pytest.TempPathFactory, made: str
) -> None:
    outside = tmp_path_factory.mktemp("outside")
    book = qb.entry_book(folder)
    (folder / "records").symlink_to(outside)
    with pytest.raises(RecordError, match="leads out of the study folder"):
        (qb.entry_book(folder) if made == "before" else book).enter("hardness", "4FTD", FIVE)
    assert list(outside.iterdir()) == []


def test_records_that_are_no_folder_are_told(folder: Path) -> None:
    (folder / "records").symlink_to(folder / "nowhere")
    with pytest.raises(RecordError, match="link that leads to no folder"):
        qb.entry_book(folder)
    (folder / "records").unlink()
    (folder / "records").write_text("")
    with pytest.raises(RecordError, match="is no folder"):
        qb.entry_book(folder)


def test_a_comma_that_may_part_thousands_is_asked_about(folder: Path) -> None:
    book = qb.entry_book(folder)
    assert "as a thousand or as a decimal" in book.reading_problems("impact", ["1,250"])[0].problem
    with pytest.raises(RecordError, match=r"as a thousand or as a decimal. Write 1250 or 1.250"):
        book.enter("impact", "PCRF", ["1,250"])


@pytest.mark.parametrize(
    ("texts", "words"),
    [
        (
            ("621", *FIVE[1:]),
            r"hardness_hrc is 621, expected 0 to 70. Was the decimal point lost \(62.1\)",
        ),
        (("sixty", *FIVE[1:]), "hardness_hrc is 'sixty', not a number in HRC"),
        (FIVE[:4], "indent 5 not filled in, 5 planned"),
        (("", "", "", "", ""), "Type the readings"),
        ((*FIVE[:4], "740 HV"), "not in HRC"),
    ],
)
def test_readings_that_cannot_be_are_refused_and_nothing_is_written(
    folder: Path, texts: tuple[str, ...], words: str
) -> None:
    with pytest.raises(RecordError, match=words):
        qb.entry_book(folder).enter("hardness", "4FTD", texts)
    assert not (folder / "records").exists()


def test_a_reading_is_judged_alone_as_the_reader_judges_it(folder: Path) -> None:
    found = qb.entry_book(folder).reading_problems("hardness", ["62.1", "6.21e3", "", "x", "61"])
    assert list(found) == [1, 3]
    assert "expected 0 to 70" in found[1].problem


def test_a_label_near_a_code_of_the_plan_is_told(folder: Path) -> None:
    with pytest.raises(
        RecordError, match=r"4FTX is not in this plan; nearest: 4FTD .*choose that code"
    ):
        qb.entry_book(folder).enter("hardness", "4FTX", FIVE)


def test_a_coupon_is_entered_once(folder: Path) -> None:
    book = qb.entry_book(folder)
    book.enter("hardness", "4FTD", FIVE)
    for again in (book, qb.entry_book(folder)):
        with pytest.raises(RecordError, match=r"already read in hardness_entered_1.csv row 3"):
            again.enter("hardness", "4FTD", FIVE)


def test_fewer_indents_are_taken_when_said(folder: Path) -> None:
    qb.entry_book(folder).enter("hardness", "4FTD", (*FIVE[:3], "", ""), with_blanks=True)
    records = qb.read_folder(folder)[2]
    assert records.readings["value"].tolist() == [62.1, 62.4, 62.2]
    assert len(records.missing) == 2


def test_an_energy_is_entered_in_foot_pounds(folder: Path) -> None:
    book = qb.entry_book(folder)
    assert book.units("impact") == ("J", "ft lbf")
    book.enter("impact", "PCRF", ["20"], unit="ft lbf")
    (value,) = qb.read_folder(folder)[2].readings["value"]
    assert value == pytest.approx(27.1164, abs=1e-4)  # 1 ft lbf = 1.3558179 J (NIST SP 811, B.8)


def test_what_went_differently_is_analysed_as_it_was_run(folder: Path) -> None:
    book = qb.entry_book(folder)
    book.enter("hardness", "4FTD", FIVE)
    book.deviate("furnace_load", "3", "austenitize", "1740 degF")
    book.deviate("coupon", "EC9T", "lost", "cracked")
    assert book.next_coupon("hardness") == "EXFP"  # the lost one is not asked for
    records = qb.read_folder(folder)[2]
    assert records.lost["coupon"].tolist() == ["EC9T"]
    hot = records.deviations.loc[records.deviations["item"] == "austenitize", "actual"]
    assert float(hot.iloc[0]) == pytest.approx((1740 - 32) / 1.8)


def test_coupons_of_a_lost_load_are_not_asked_for(folder: Path) -> None:
    book = qb.entry_book(folder)
    frame = book.matrix.frame.set_index("coupon")["furnace_load"]
    first = book.next_coupon("hardness")
    book.deviate("furnace_load", str(frame[first]), "lost", "door left open")
    assert frame[book.next_coupon("hardness")] != frame[first]


def test_a_lost_coupon_needs_a_reason(folder: Path) -> None:
    with pytest.raises(RecordError, match=r"lost without a reason\. Say what happened\."):
        qb.entry_book(folder).deviate("coupon", "EC9T", "lost")
    assert not (folder / "records").exists()


def test_a_slip_is_corrected_beside_the_file_that_has_it(folder: Path) -> None:
    book = qb.entry_book(folder)
    path = book.enter("hardness", "4FTD", FIVE)
    before = path.read_bytes()
    assert book.cells_of("4ftd")[1] == ("hardness_entered_1.csv", 3, "hardness_hrc_1")
    book.correct("hardness_entered_1.csv", 3, "hardness_hrc_1", "61,2", "slip of the pen")
    assert path.read_bytes() == before
    assert qb.read_folder(folder)[2].readings["value"].iloc[0] == 61.2


def test_a_misread_label_of_another_file_is_corrected(folder: Path) -> None:
    (folder / "records").mkdir()
    text = "order;coupon;hardness_hrc_1\n1;4FTX;62,1\n"
    (folder / "records" / "mine.csv").write_text(text)
    book = qb.entry_book(folder)
    book.enter("hardness", "EC9T", FIVE)  # the mistake that was there does not block another coupon
    book.correct("mine.csv", 2, "coupon", "4FTD", "misread label")
    assert set(qb.read_folder(folder)[2].readings["coupon"]) == {"4FTD", "EC9T"}


def test_without_a_plan_there_is_nothing_to_enter(tmp_path: Path) -> None:
    shutil.copy(ROOT / "data" / "plane_irons" / "study.toml", tmp_path)
    with pytest.raises(PlanError):
        qb.entry_book(tmp_path)


def test_the_form_counts_as_the_readers_do_with_the_corrections_applied() -> None:
    folder = ROOT / "data" / "plane_irons"
    book, records = qb.entry_book(folder), qb.read_folder(folder)[2]
    read = records.readings.groupby("response")["coupon"].nunique()
    for response, count in read.items():
        coupons = book.coupons(str(response))
        assert (coupons["read"] > 0).sum() == count
    hardness = book.coupons("hardness").set_index("coupon")["read"]
    assert hardness["C94K"] > 0  # written C44K, corrected in corrections.csv
    assert book.next_coupon("hardness") != "C94K"
    assert {own[0] for own in book.cells_of("C94K")} == {"hardness_session_3.csv"}
