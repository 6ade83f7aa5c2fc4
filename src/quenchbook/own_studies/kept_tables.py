"""Tables that are kept between readings, as Parquet in a hidden folder beside the studies.

A file that is torn, of another version or of another program is left alone and read anew; it is
never an error. Parquet needs pyarrow (the extra ``library``); without it nothing is kept. Nothing
in it is executed: Parquet holds numbers and texts, and the description that pandas keeps in such
files is not looked at. What a file would take in memory is counted before it is taken.
"""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Callable, Sequence
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
_MOST_FILE: Final = 200_000_000  # bytes
_MOST_CELLS: Final = 50_000_000  # 100 coupons and two dozen columns each: of 20 000 studies
_MOST_TEXT: Final = 500_000_000  # bytes of all texts, each counted where it stands
_ROWS_AT_ONCE: Final = 10_000
_ENCODINGS: Final = frozenset(("PLAIN", "RLE", "BIT_PACKED", "PLAIN_DICTIONARY", "RLE_DICTIONARY"))
NO_PYARROW: Final = 'pyarrow is not installed (pip install "quenchbook[library]")'


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
        path = self._path(STUDIES_FILE)
        if path is None:
            return None
        try:
            return _checked(_read(path, _is_row_column))
        except _faults():
            return None

    def write_studies(self, entries: Sequence[StudyEntry], rows: pd.DataFrame) -> str:
        """Keep entries and rows; why that was not possible, empty if it was."""
        return self._write(STUDIES_FILE, [own.plain() for own in entries], rows)

    def noise(self, columns: Sequence[str]) -> tuple[dict[str, Any], pd.DataFrame] | None:
        """Reasons why models were not fitted, and parts of the noise; None if none fit.

        Parameters
        ----------
        columns : sequence of str
            Of the parts.
        """
        path = self._path(NOISE_FILE)
        if path is None:
            return None
        try:
            found = _read(path, columns.__contains__)
        except _faults():
            return None
        return found if found is not None and isinstance(found[0], dict) else None

    def write_noise(self, reasons: dict[str, Any], parts: pd.DataFrame) -> str:
        """Keep parts of the noise; why that was not possible, empty if it was."""
        return self._write(NOISE_FILE, reasons, parts)

    def _path(self, name: str) -> Path | None:
        if self.folder is None or _is_elsewhere(self.folder) or not has_pyarrow():
            return None
        return self.folder / name

    def _write(self, name: str, about: Any, table: pd.DataFrame) -> str:
        if self.folder is None:
            return ""
        if _is_elsewhere(self.folder):
            return f"{self.folder} is a link"
        if not has_pyarrow():
            return NO_PYARROW
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


def has_pyarrow() -> bool:
    """Whether tables can be kept as Parquet."""
    try:
        import pyarrow.parquet  # noqa: F401  what it is looked for is what is used
    except ImportError:
        return False
    return True


def _is_row_column(name: str) -> bool:
    return name == PLACE or name in FIXED or name.endswith((":number", ":text"))


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
    # not compressed, so that a file holds the bytes that it takes: only then is it read again
    pq.write_table(own, page, compression="none", write_page_checksum=True)
    return page.getvalue()


def _read(path: Path, is_column: Callable[[str], bool]) -> tuple[Any, pd.DataFrame] | None:
    """What was kept and its table; None for a file of another program, version or size."""
    import pyarrow.parquet as pq

    if not path.is_file() or path.stat().st_size > _MOST_FILE:
        return None
    with pq.ParquetFile(path) as file:
        texts = _text_columns(file, is_column)
    if texts is None:
        return None
    # a text that stands in many rows lies in the file once: it is kept so until all are counted
    with pq.ParquetFile(path, page_checksum_verification=True, read_dictionary=texts) as file:
        head = json.loads((file.schema_arrow.metadata or {}).get(_ABOUT, b"{}"))
        if head.get("format") != FORMAT or head.get("reader") != reader_digest():
            return None
        text = head["about"]
        if hashlib.sha256(text.encode()).hexdigest() != head["sha256"]:
            return None
        table = _table_within_bounds(file)
    return None if table is None else (json.loads(text), table.to_pandas(ignore_metadata=True))


def _text_columns(file: Any, is_column: Callable[[str], bool]) -> list[str] | None:
    """Names of the columns of texts; None if the file is larger or of another kind than ours."""
    import pyarrow as pa

    size, schema = file.metadata, file.schema_arrow
    if size.num_rows * max(size.num_columns, 1) > _MOST_CELLS:
        return None
    if len(set(schema.names)) < len(schema) or not all(map(is_column, schema.names)):
        return None
    texts = [own.name for own in schema if own.type in (pa.string(), pa.large_string())]
    numbers = (pa.bool_(), pa.int64(), pa.float64(), pa.null())
    if any(own.name not in texts and own.type not in numbers for own in schema):
        return None
    for group in range(size.num_row_groups):
        for number in range(size.num_columns):
            own = size.row_group(group).column(number)
            if own.compression != "UNCOMPRESSED" or not _ENCODINGS.issuperset(own.encodings):
                return None
    return texts


def _table_within_bounds(file: Any) -> Any:
    """Table of a file, texts as texts; None if they would be too long together."""
    import pyarrow as pa

    letters = 0
    parts = []
    for batch in file.iter_batches(batch_size=_ROWS_AT_ONCE):
        letters += sum(_letters(column) for column in batch.columns)
        if letters > _MOST_TEXT:
            return None
        parts.append(batch)
    if not parts:
        return file.read().replace_schema_metadata(None)
    names = parts[0].schema.names
    tables = [pa.Table.from_arrays([_plain(own) for own in part.columns], names) for part in parts]
    return pa.concat_tables(tables)


def _letters(column: Any) -> int:
    """Bytes that the texts of a column take where each stands by itself."""
    import pyarrow as pa
    import pyarrow.compute as pc

    if not pa.types.is_dictionary(column.type):
        return 0
    lengths = pc.take(pc.binary_length(column.dictionary), column.indices)
    return pc.sum(pc.cast(lengths, pa.int64())).as_py() or 0


def _plain(column: Any) -> Any:
    import pyarrow as pa

    return column.dictionary_decode() if pa.types.is_dictionary(column.type) else column


def _faults() -> tuple[type[Exception], ...]:
    """What reading a file can raise that is none of ours, whatever is wrong with it."""
    import pyarrow as pa

    arrow: type[Exception] = pa.ArrowException
    return (
        arrow, OSError, ValueError, TypeError, KeyError, AttributeError, IndexError,
        RecursionError,
    )  # fmt: skip
