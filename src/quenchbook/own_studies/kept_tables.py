"""Tables that are kept between readings, as Parquet in a hidden folder beside the studies.

A file that is torn, of another version or of another program is left alone and read anew; it is
never an error. Nothing in it is executed: Parquet holds numbers and texts, and the description that
pandas keeps in such files is not looked at.
"""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from quenchbook.own_studies.contents import reader_digest
from quenchbook.own_studies.coupon_table import FIXED, PLACE, with_types
from quenchbook.own_studies.entries import StudyEntry
from quenchbook.writing import write_bytes

if TYPE_CHECKING:
    import pandas as pd

FOLDER: Final = ".quenchbook"
STUDIES_FILE: Final = "studies.parquet"
NOISE_FILE: Final = "noise.parquet"
FORMAT: Final = 1

_ABOUT: Final = b"quenchbook"
_MOST_FILE: Final = 1_000_000_000  # bytes
_MOST_ROWS: Final = 20_000_000
_MOST_CELLS: Final = 500_000_000


@dataclass(frozen=True)
class KeptTables:
    """Place of the tables that are kept for a library.

    Attributes
    ----------
    folder : Path or None
        None: nothing is kept.
    """

    folder: Path | None

    def studies(self) -> tuple[list[StudyEntry], pd.DataFrame] | None:
        """Entries and their rows as they were kept; None if there are none that fit."""
        try:
            return _checked(_read(self._path(STUDIES_FILE)))
        except _faults():
            return None

    def write_studies(self, entries: Sequence[StudyEntry], rows: pd.DataFrame) -> str:
        """Keep entries and rows; why that was not possible, empty if it was."""
        return self._write(STUDIES_FILE, [own.plain() for own in entries], rows)

    def noise(self) -> tuple[dict[str, Any], pd.DataFrame] | None:
        """Reasons why models were not fitted, and parts of the noise; None if none fit."""
        try:
            found = _read(self._path(NOISE_FILE))
        except _faults():
            return None
        return found if found is not None and isinstance(found[0], dict) else None

    def write_noise(self, reasons: dict[str, Any], parts: pd.DataFrame) -> str:
        """Keep parts of the noise; why that was not possible, empty if it was."""
        return self._write(NOISE_FILE, reasons, parts)

    def _path(self, name: str) -> Path | None:
        if self.folder is None or _is_elsewhere(self.folder):
            return None
        return self.folder / name

    def _write(self, name: str, about: Any, table: pd.DataFrame) -> str:
        if self.folder is None:
            return ""
        if _is_elsewhere(self.folder):
            return f"{self.folder} is a link"
        try:
            self.folder.mkdir(exist_ok=True)
            write_bytes(self.folder / name, parquet_bytes(table, about))
        except OSError as error:
            return f"{self.folder} cannot be written ({error.strerror or error})"
        return ""


def _checked(
    found: tuple[Any, pd.DataFrame] | None,
) -> tuple[list[StudyEntry], pd.DataFrame] | None:
    """Entries and rows that fit each other."""
    if found is None:
        return None
    about, rows = found
    entries = [StudyEntry.of(own) for own in about]
    counts = rows[PLACE].value_counts().to_dict()
    told = {entry.folder: entry.rows for entry in entries if entry.rows}
    if counts != told or len({entry.folder for entry in entries}) < len(entries):
        return None
    return (entries, with_types(rows)) if set(FIXED) <= set(rows.columns) else None


def _is_elsewhere(folder: Path) -> bool:
    """Whether the hidden folder is a link: in the library of a stranger it could lead anywhere."""
    return folder.name == FOLDER and folder.is_symlink()


def parquet_bytes(table: pd.DataFrame, about: Any = None) -> bytes:
    """Parquet file of a table.

    Parameters
    ----------
    table : DataFrame
        Columns of numbers, yes or no, and texts.
    about : JSON value, optional
        Kept beside the table.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    own = pa.Table.from_pandas(table, preserve_index=False).replace_schema_metadata(None)
    if about is not None:
        text = json.dumps(about, ensure_ascii=True)
        head = {
            "format": FORMAT,
            "reader": reader_digest(),
            "sha256": hashlib.sha256(text.encode()).hexdigest(),
            "about": text,
        }
        own = own.replace_schema_metadata({_ABOUT: json.dumps(head).encode()})
    page = io.BytesIO()
    pq.write_table(own, page, compression="zstd", write_page_checksum=True)
    return page.getvalue()


def _read(path: Path | None) -> tuple[Any, pd.DataFrame] | None:
    """What was kept and its table; None for a file of another program, version or size."""
    import pyarrow.parquet as pq

    if path is None or not path.is_file() or path.stat().st_size > _MOST_FILE:
        return None
    with pq.ParquetFile(path, page_checksum_verification=True) as file:
        size = file.metadata
        if size.num_rows > _MOST_ROWS or size.num_rows * size.num_columns > _MOST_CELLS:
            return None
        head = json.loads((file.schema_arrow.metadata or {}).get(_ABOUT, b"{}"))
        if head.get("format") != FORMAT or head.get("reader") != reader_digest():
            return None
        text = head["about"]
        if hashlib.sha256(text.encode()).hexdigest() != head["sha256"]:
            return None
        table = file.read().replace_schema_metadata(None)
    return json.loads(text), table.to_pandas(ignore_metadata=True)


def _faults() -> tuple[type[Exception], ...]:
    """What reading a file can raise that is none of ours, whatever is wrong with it."""
    import pyarrow as pa

    arrow: type[Exception] = pa.ArrowException
    return (
        arrow, OSError, ValueError, TypeError, KeyError, AttributeError, IndexError,
        RecursionError,
    )  # fmt: skip
