"""How much a workbook would take in memory, found before it is opened.

A workbook is a zip archive of tables in XML. A few kilobytes of it can unpack to terabytes, and a
single cell at the last row and column makes its reader lay out seventeen thousand million cells.
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from typing import Final
from xml.parsers import expat

MOST_BYTES: Final = 50_000_000  # unpacked, all parts together
MOST_PARTS: Final = 5_000
MOST_CELLS: Final = 5_000_000  # of one sheet, from its first cell to its last
_ONE_READ: Final = 1 << 20
_START: Final = b"PK"
_OTHER_TEXT: Final = (b"\xff\xfe", b"\xfe\xff", b"<\x00", b"\x00<")  # XML of two bytes a sign
_NO_ARCHIVE: Final = "cannot be opened as a workbook (no sound zip archive)"
_METHODS: Final = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_PLACE: Final = re.compile(rb"""\sr\s*=\s*["']([A-Za-z]{0,8})(\d{1,12})["']""")
_WITHOUT_PLACE: Final = re.compile(rb"<(?:\w+:)?c(?=[\s/>])(?![^>]*\sr\s*=)")
_DAMAGE: Final = (
    zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError,
    OSError,
)  # fmt: skip


def workbook_fault(data: bytes) -> str:
    """Why a workbook is not opened; empty if it may be.

    What stands before an archive is no reason for the reader of workbooks to refuse it, so it is
    one for us: what is opened is what was judged.

    Parameters
    ----------
    data : bytes
        File as it lies on the disk.
    """
    if not data.startswith(_START):
        return _NO_ARCHIVE
    left = MOST_BYTES
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as book:
            parts = book.infolist()
            if len(parts) > MOST_PARTS:
                return f"holds {len(parts)} parts, expected at most {MOST_PARTS}"
            for part in parts:
                if part.compress_type not in _METHODS:
                    return "is packed in an unusual way"
                text = _unpacked(book, part, left)
                if text is None:
                    return f"unpacks to more than {MOST_BYTES // 1_000_000} MB"
                left -= len(text)
                if wrong := _part_fault(part.filename.lower(), text):
                    return wrong
    except _DAMAGE:
        return _NO_ARCHIVE
    return ""


def _unpacked(book: zipfile.ZipFile, part: zipfile.ZipInfo, left: int) -> bytes | None:
    """Bytes of a part, None if they are more than are left; what it claims is not believed."""
    pieces, count = [], 0
    with book.open(part) as source:
        while piece := source.read(_ONE_READ):
            count += len(piece)
            if count > left:
                return None
            pieces.append(piece)
    return b"".join(pieces)


def _part_fault(name: str, text: bytes) -> str:
    """What is wrong with a part; a sheet may lie under any name, so none is left out by its name.

    Pictures pass: that their bytes look like a far cell by chance is out of the question.
    """
    if b"<!DOCTYPE" in text or b"<!ENTITY" in text:
        return "declares entities of its own, which no table needs"
    is_text = name.endswith((".xml", ".rels"))
    if text.startswith(_OTHER_TEXT) or (is_text and b"\x00" in text[:400]):
        return "is written in an unusual encoding"
    if name.endswith("content.xml"):
        size = _open_document_size(text)
        return "has a damaged table (content.xml)" if size is None else _too_many(*size)
    places = {(column.upper(), int(row)) for column, row in _PLACE.findall(text)}
    every = _WITHOUT_PLACE.search(text) is not None  # then a cell lies where its row says
    rows = max((row for column, row in places if column or every), default=0)
    columns = max((_column_number(column) for column, _ in places), default=0)
    return _too_many(rows, columns)


def _too_many(rows: int, columns: int) -> str:
    if rows * columns <= MOST_CELLS:
        return ""
    return (
        f"has a sheet of {rows} rows and {columns} columns, expected at most {MOST_CELLS} cells "
        "from the first to the last"
    )


def _column_number(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = 26 * number + letter - 64
    return number


def _open_document_size(text: bytes) -> tuple[int, int] | None:
    """Rows and columns of the largest sheet of an ``.ods`` file, repeated cells counted.

    None if it is no sound XML: the reader of workbooks reads on after a fault, we cannot.
    """
    sheets = _Sheets()
    parser = expat.ParserCreate()
    parser.StartElementHandler = sheets.started
    parser.EndElementHandler = sheets.ended
    parser.CharacterDataHandler = sheets.words
    try:
        parser.Parse(text, True)
    except expat.ExpatError:
        return None
    return sheets.largest


class _Sheets:
    """Counts rows and columns up to the last filled cell; blank ones after it take no room."""

    def __init__(self) -> None:
        self.largest = (0, 0)
        self._rows = self._columns = self._row_repeats = 0
        self._place = self._last = self._repeats = 0
        self._blank_rows = 0
        self._filled = False

    def started(self, name: str, about: dict[str, str]) -> None:
        if name == "table:table":
            self._rows = self._columns = self._blank_rows = 0
        elif name == "table:table-row":
            self._row_repeats = _repeats(about.get("table:number-rows-repeated"))
            self._place = self._last = 0
        elif name in ("table:table-cell", "table:covered-table-cell"):
            self._repeats = _repeats(about.get("table:number-columns-repeated"))
            self._filled = any(key.startswith("office:") for key in about)

    def words(self, text: str) -> None:
        self._filled = self._filled or bool(text.strip())

    def ended(self, name: str) -> None:
        if name in ("table:table-cell", "table:covered-table-cell"):
            self._place += self._repeats
            self._last = self._place if self._filled else self._last
            self._filled = False
        elif name == "table:table-row":
            if not self._last:
                self._blank_rows += self._row_repeats
                return
            self._rows += self._blank_rows + self._row_repeats
            self._blank_rows = 0
            self._columns = max(self._columns, self._last)
            if self._rows * self._columns > self.largest[0] * self.largest[1]:
                self.largest = (self._rows, self._columns)


def _repeats(told: str | None) -> int:
    """How often a cell or row stands; what is no number stands once."""
    return int(told) if told is not None and told.isdecimal() and len(told) < 16 else 1
