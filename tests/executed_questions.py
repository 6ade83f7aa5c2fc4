"""Notebooks of the gallery, executed once for all lanes: kept until code, data or libraries change."""

from __future__ import annotations

import hashlib
import os
import sys
from functools import cache
from importlib.metadata import distributions
from pathlib import Path

import nbformat
import pytest
from nbformat import NotebookNode

from quenchbook.report.run import executed

ROOT = Path(__file__).parent.parent
QUESTIONS = sorted((ROOT / "notebooks" / "questions").glob("*.ipynb"))


def executed_question(path: Path, config: pytest.Config) -> NotebookNode:
    """Executed notebook, from pytest's cache if nothing that it rests on has changed since."""
    kept = _kept(path, config)
    if not kept.is_file():
        keep(path, executed(path, parameters={}, folder=path.parent), config)
    return nbformat.read(kept, as_version=4)


def keep(path: Path, notebook: NotebookNode, config: pytest.Config) -> None:
    """Keep an executed notebook for the next lane."""
    kept = _kept(path, config)
    part = kept.with_suffix(f".{os.getpid()}.part")
    nbformat.write(notebook, part)
    os.replace(part, kept)
    for stale in kept.parent.glob(f"{path.stem}-*.ipynb"):
        if stale != kept:
            stale.unlink(missing_ok=True)


def is_kept(path: Path, config: pytest.Config) -> bool:
    return _kept(path, config).is_file()


def _kept(path: Path, config: pytest.Config) -> Path:
    key = hashlib.sha256(path.read_bytes() + _state()).hexdigest()[:24]
    return Path(config.cache.mkdir("executed_questions")) / f"{path.stem}-{key}.ipynb"


@cache
def _state() -> bytes:
    """Digest of the package, the data, this Python and every library beside it."""
    digest = hashlib.sha256(sys.version.encode())
    for own in sorted({f"{d.metadata['Name']} {d.version}" for d in distributions()}):
        digest.update(own.encode())
    for folder in (ROOT / "src" / "quenchbook", ROOT / "data"):
        for path in sorted(folder.rglob("*")):
            if path.is_file() and "__pycache__" not in path.parts:
                digest.update(path.relative_to(ROOT).as_posix().encode() + path.read_bytes())
    return digest.digest()
