"""Archives of strangers: whatever is in them, nothing is written outside the folder."""

from __future__ import annotations

import io
import stat
import zipfile
from pathlib import Path

import pytest

from quenchbook.errors import ArchiveError
from quenchbook.reading_files import path_fault
from quenchbook.report import unpacking
from quenchbook.report.unpacking import unpacked


def zipped(path: Path, *entries: tuple[str | zipfile.ZipInfo, bytes]) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in entries:
            archive.writestr(name, data)
    return path


@pytest.fixture
def place(tmp_path: Path) -> Path:
    folder = tmp_path / "inside" / "folder"
    folder.mkdir(parents=True)
    return folder


def test_plain_files_and_folders_are_unpacked(tmp_path: Path, place: Path) -> None:
    path = zipped(tmp_path / "x.zip", ("a/", b""), ("a/b.txt", b"b"), ("c.txt", b"c"))
    assert unpacked(path, place) == ["a/b.txt", "c.txt"]
    assert (place / "a" / "b.txt").read_bytes() == b"b"


@pytest.mark.parametrize(
    "name",
    ["../out.txt", "a/../../out.txt", "/out.txt", "C:/out.txt", "a\\..\\out.txt", "a//b", "./a",
     "a/./b", "nul", "data/COM1.csv", "a\x01b", "a ", "b./c", "x" * 300, "a:stream", "a\u2028/.."],
)  # fmt: skip
def test_paths_that_lead_elsewhere_are_refused(name: str, tmp_path: Path, place: Path) -> None:
    path = zipped(tmp_path / "x.zip", ("good.txt", b"g"), (name, b"bad"))
    with pytest.raises(ArchiveError, match="not safe"):
        unpacked(path, place)
    assert sorted(own.name for own in tmp_path.rglob("*")) == ["folder", "inside", "x.zip"]


def test_a_link_is_refused(tmp_path: Path, place: Path) -> None:
    link = zipfile.ZipInfo("data/link")
    link.create_system, link.external_attr = 3, (stat.S_IFLNK | 0o777) << 16
    with pytest.raises(ArchiveError, match="link or a device"):
        unpacked(zipped(tmp_path / "x.zip", (link, b"/etc/passwd")), place)


@pytest.mark.filterwarnings("ignore:Duplicate name:UserWarning")
@pytest.mark.parametrize("names", [("a.txt", "a.txt"), ("a.txt", "A.TXT"), ("é", "e\u0301")])
def test_two_files_of_one_name_are_refused(
    names: tuple[str, str], tmp_path: Path, place: Path
) -> None:
    path = zipped(tmp_path / "x.zip", *((name, b"") for name in names))
    with pytest.raises(ArchiveError, match="twice"):
        unpacked(path, place)


def test_an_archive_that_unpacks_to_too_much_is_refused(
    tmp_path: Path, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(unpacking, "MOST_BYTES", 1_000_000)
    path = zipped(tmp_path / "x.zip", ("a", bytes(600_000)), ("b", bytes(600_000)))
    assert path.stat().st_size < 10_000
    with pytest.raises(ArchiveError, match="unpacks to more than 1 MB"):
        unpacked(path, place)


def test_a_size_that_the_archive_tells_is_not_believed(
    tmp_path: Path, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(unpacking, "MOST_BYTES", 1_000_000)
    path = zipped(tmp_path / "x.zip", ("a", bytes(2_000_000)))
    data = path.read_bytes().replace((2_000_000).to_bytes(4, "little"), (10).to_bytes(4, "little"))
    path.write_bytes(data)
    with pytest.raises(ArchiveError):
        unpacked(path, place)
    assert sum(own.stat().st_size for own in place.rglob("*")) <= 1_000_000


def test_a_workbook_that_unpacks_to_too_much_is_refused(
    tmp_path: Path, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(unpacking, "MOST_BYTES", 1_000_000)
    book = io.BytesIO()
    with zipfile.ZipFile(book, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("sheet1.xml", bytes(2_000_000))
    path = zipped(tmp_path / "x.zip", ("study/records/a.xlsx", book.getvalue()))
    with pytest.raises(ArchiveError, match=r"a\.xlsx: unpacks to more"):
        unpacked(path, place)


def test_a_workbook_whose_first_part_is_damaged_is_refused(tmp_path: Path, place: Path) -> None:
    # its other parts could be a bomb that is counted no more
    book = io.BytesIO()
    with zipfile.ZipFile(book, "w", zipfile.ZIP_STORED) as archive:
        archive.writestr("first.xml", b"sound")
        archive.writestr("sheet1.xml", bytes(100))
    data = book.getvalue().replace(b"sound", b"wrong")
    path = zipped(tmp_path / "x.zip", ("study/records/a.xlsx", data))
    with pytest.raises(ArchiveError, match=r"a\.xlsx: is no sound workbook"):
        unpacked(path, place)


def test_files_and_workbooks_share_one_budget(
    tmp_path: Path, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(unpacking, "MOST_BYTES", 1_000_000)
    book = io.BytesIO()
    with zipfile.ZipFile(book, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("sheet1.xml", bytes(600_000))
    one = zipped(tmp_path / "one.zip", ("a.xlsx", book.getvalue()))
    assert unpacked(one, place) == ["a.xlsx"]
    (place / "a.xlsx").unlink()
    two = zipped(tmp_path / "two.zip", ("a.xlsx", book.getvalue()), ("b.xlsx", book.getvalue()))
    with pytest.raises(ArchiveError, match=r"b\.xlsx: unpacks to more"):
        unpacked(two, place)


def test_too_many_files_are_refused(
    tmp_path: Path, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(unpacking, "MOST_FILES", 3)
    path = zipped(tmp_path / "x.zip", *((str(n), b"") for n in range(4)))
    with pytest.raises(ArchiveError, match="at most 3"):
        unpacked(path, place)


def test_a_file_that_is_no_archive_is_named(tmp_path: Path, place: Path) -> None:
    path = tmp_path / "x.zip"
    path.write_bytes(b"PK no archive")
    with pytest.raises(ArchiveError, match="is damaged"):
        unpacked(path, place)


@pytest.mark.parametrize("at", range(40, 120, 8))
def test_a_damaged_archive_is_an_error_with_words(at: int, tmp_path: Path, place: Path) -> None:
    path = zipped(tmp_path / "x.zip", ("a.txt", bytes(range(200))))
    data = bytearray(path.read_bytes())
    data[at] ^= 0xFF
    path.write_bytes(data)
    with pytest.raises(ArchiveError):
        unpacked(path, place)


def test_a_file_where_a_folder_stands_is_an_error_with_words(tmp_path: Path, place: Path) -> None:
    path = zipped(tmp_path / "x.zip", ("a/b", b""), ("a", b""))
    with pytest.raises(ArchiveError):
        unpacked(path, place)


@pytest.mark.parametrize("name", ["study/records/Härte 1.csv", "data/a-b_c.csv", "README.md"])
def test_usual_names_are_fine(name: str) -> None:
    assert path_fault(name) == ""
