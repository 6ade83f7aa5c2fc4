"""Copies of the study file and of the report notebook without what is not for the public.

Left out are prices (``[costs]``), and of ``[publishing]`` the words for supporters and the
photographs: the edition for supporters shows them, and neither plan, declaration nor analysis
depends on them. A study file without any of these is copied as it is. Otherwise its tables are cut
out with the comments in and above them, and the copy is read again: if it does not say exactly the
rest, or if a word for supporters still stands in a comment, the file is written anew from what it
says, without comments.
"""

from __future__ import annotations

import copy
import datetime
import hashlib
import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from typing import Any, Final

from quenchbook.errors import ReportError

PRIVATE_TABLES: Final = ("costs",)
PRIVATE_KEYS: Final = ("support", "photos")
_PUBLISHING: Final = "publishing"
_CUT: Final = (*PRIVATE_TABLES, _PUBLISHING)
_HEAD: Final = re.compile(r"\s*\[\[?\s*(?:\"(?P<quoted>[^\"]*)\"|(?P<bare>[\w-]+))[^\]]*\]")
_BARE_KEY: Final = re.compile(r"[A-Za-z0-9_-]+")
_NOTEBOOK_METADATA: Final = ("kernelspec", "language_info", "quenchbook")
_NOT_PUBLIC_CELLS: Final = frozenset({"supporters", "injected-parameters"})


def public_study(data: bytes) -> tuple[bytes, tuple[str, ...]]:
    """Study file for the public, and what was left out of it, in words.

    Parameters
    ----------
    data : bytes
        ``study.toml``, which can be read as a study.

    Returns
    -------
    copy : bytes
        The same bytes if nothing had to be left out.
    left_out : tuple of str
        ``[costs]``, ``support of [publishing]``, ``photos of [publishing]``.
    """
    text = data.decode("utf-8-sig")
    content = tomllib.loads(text)
    public = copy.deepcopy(content)
    left_out = [f"[{name}]" for name in PRIVATE_TABLES if public.pop(name, None) is not None]
    table = public.get(_PUBLISHING, {})
    left_out += [
        f"{key} of [{_PUBLISHING}]" for key in PRIVATE_KEYS if table.pop(key, None) is not None
    ]
    if not left_out:
        return data, ()
    if not table:
        public.pop(_PUBLISHING, None)
    head = (
        f"# Public copy of a study file. Left out: {', '.join(left_out)}.\n"
        "# Neither the plan nor the declaration nor the analysis depends on what is left out.\n"
        f"# SHA-256 of the whole file: {hashlib.sha256(data).hexdigest()}\n\n"
    )
    body = _without_tables(text) + _published(table)
    private = [" ".join(words.split()) for words in _private_texts(content)]
    told = " ".join(body.split())
    if not _says(body, public) or any(words in told for words in private if words):
        body = "".join(_toml_lines(public))
    return (head + body).encode("utf-8"), tuple(left_out)


def public_notebook(text: str) -> str:
    """Notebook for the public: no outputs, no cells for supporters, no metadata of a machine.

    Parameters
    ----------
    text : str
        A notebook as JSON.
    """
    try:
        notebook = json.loads(text)
        cells = [cell for cell in notebook["cells"] if not _NOT_PUBLIC_CELLS & set(_tags_of(cell))]
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise ReportError(f"The report notebook cannot be read: {error}") from None
    for cell in cells:
        tags = _tags_of(cell)
        cell["metadata"] = {"tags": tags} if tags else {}
        if cell["cell_type"] == "code":
            cell["outputs"], cell["execution_count"] = [], None
        if "parameters" in tags:
            source = "".join(cell["source"]).splitlines(keepends=True)
            rest = [line for line in source if not line.startswith("study_folder")]
            cell["source"] = ['study_folder = ".."\n' if rest else 'study_folder = ".."', *rest]
    metadata = notebook.get("metadata", {})
    kept = {name: metadata[name] for name in _NOTEBOOK_METADATA if name in metadata}
    public = {**notebook, "cells": cells, "metadata": kept}
    return json.dumps(public, indent=1, ensure_ascii=False) + "\n"


def _tags_of(cell: Mapping[str, Any]) -> list[str]:
    return list(cell.get("metadata", {}).get("tags", []))


def _private_texts(content: Mapping[str, Any]) -> Iterator[str]:
    """Texts that are only for supporters."""
    table = content.get(_PUBLISHING, {})
    for value in (table.get(key) for key in PRIVATE_KEYS):
        if isinstance(value, str):
            yield value
        elif isinstance(value, list):
            yield from (str(text) for entry in value for text in dict(entry).values())


# --- cutting -----------------------------------------------------------------------------------


def _without_tables(text: str) -> str:
    """Text without the tables of `_CUT`, each with the comments right above it."""
    kept: list[str] = []
    cutting = False
    above: list[str] = []  # comments and blank lines that belong to the next table
    for line in text.splitlines(keepends=True):
        found = _HEAD.match(line)
        if found:
            cutting = (found["quoted"] or found["bare"]) in _CUT
            kept += [] if cutting else [*above, line]
            above = []
        elif not line.strip() or line.lstrip().startswith("#"):
            above.append(line)
        elif cutting:
            above = []
        else:
            kept += [*above, line]
            above = []
    return "".join([*kept, *([] if cutting else above)]).rstrip() + "\n"


def _published(table: Mapping[str, Any]) -> str:
    """What is public of ``[publishing]``, as a table at the end of the file."""
    return "\n" + "".join(_toml_lines({_PUBLISHING: table})) if table else ""


def _says(text: str, content: Mapping[str, Any]) -> bool:
    try:
        return tomllib.loads(text) == content
    except tomllib.TOMLDecodeError:
        return False


# --- writing -----------------------------------------------------------------------------------


def _toml_lines(content: Mapping[str, Any]) -> Iterator[str]:
    """Lines of a TOML file; tables on the first level under their heads, all others inline."""
    for key, value in content.items():
        if not isinstance(value, Mapping):
            yield f"{_key(key)} = {_value(value)}\n"
    for key, value in content.items():
        if isinstance(value, Mapping):
            yield f"\n[{_key(key)}]\n"
            yield from (f"{_key(own)} = {_value(inner)}\n" for own, inner in value.items())


def _key(name: str) -> str:
    return name if _BARE_KEY.fullmatch(name) else _value(name)


def _value(value: object) -> str:
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    if isinstance(value, Mapping):
        return (
            f"{{ {', '.join(f'{_key(own)} = {_value(inner)}' for own, inner in value.items())} }}"
        )
    if isinstance(value, list):
        return f"[{', '.join(map(_value, value))}]"
    return repr(value)
