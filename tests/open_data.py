"""Archives of open data for tests: read them, change what is in them, seal them again."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Callable, Mapping
from pathlib import Path

from quenchbook.report.archive import CHECKSUMS, checksums, zip_bytes


def files_of(archive: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(archive) as opened:
        return {name: opened.read(name) for name in opened.namelist()}


def text_of(archive: Path, path: str) -> str:
    return files_of(archive)[path].decode("utf-8")


def rows_of(archive: Path, table: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text_of(archive, f"data/{table}.csv"))))


def changed(
    archive: Path, target: Path, changes: Mapping[str, Callable[[str], str]], *, seal: bool = True
) -> Path:
    """Copy of an archive with changed texts; `seal`: by one who also mends the checksums."""
    files = files_of(archive)
    for path, change in changes.items():
        text = files[path].decode("utf-8")
        assert change(text) != text
        files[path] = change(text).encode("utf-8")
    if seal:
        if "datapackage.json" in files:
            files["datapackage.json"] = _with_mended_hashes(files)
        del files[CHECKSUMS]
        files[CHECKSUMS] = checksums(files).encode("utf-8")
    target.write_bytes(zip_bytes(files))
    return target


def _with_mended_hashes(files: Mapping[str, bytes]) -> bytes:
    """Descriptor with size and checksum of the tables as they are."""
    package = json.loads(files["datapackage.json"])
    for own in package["resources"]:
        data = files[own["path"]]
        own |= {"bytes": len(data), "hash": f"sha256:{hashlib.sha256(data).hexdigest()}"}
    return (json.dumps(package, indent=2, ensure_ascii=False) + "\n").encode("utf-8")


def replaced(old: str, new: str, count: int = 1) -> Callable[[str], str]:
    return lambda text: text.replace(old, new, count)
