"""Copies of the study file and of the report notebook without what is not for the public.

Left out are prices (``[costs]``), and of ``[publishing]`` the words for supporters and the
photographs: the edition for supporters shows them, and neither plan, declaration nor analysis
depends on them. A study file without any of these is copied as it is, comments and all. Otherwise
it is written anew from what it says, without any comment: a comment beside a price, or an entry
that somebody took out with a ``#``, is as private as what it stands beside.
"""

from __future__ import annotations

import copy
import datetime
import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from typing import Any, Final

from quenchbook.errors import ReportError

PRIVATE_TABLES: Final = ("costs",)
PRIVATE_KEYS: Final = ("support", "photos")
_PUBLISHING: Final = "publishing"
_COMMENTS: Final = "comments"
_PRIVATE_COMMENT: Final = re.compile(
    rf"#.*\b(?:{'|'.join((*PRIVATE_TABLES, *PRIVATE_KEYS))})\b\s*[\]=]"
)
_SHORT: Final = 90  # characters of a table that stand well inside a line
_BARE_KEY: Final = re.compile(r"[A-Za-z0-9_-]+")
_NOTEBOOK_METADATA: Final = ("kernelspec", "language_info", "quenchbook")
_NOT_PUBLIC_CELLS: Final = frozenset({"supporters", "remove-cell", "injected-parameters"})
_LEFT_OUT: Final = re.compile(r"# Public copy of a study file\. Left out: (.+)\.\n")


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
    if not left_out and not _PRIVATE_COMMENT.search(text):
        return data, ()
    if "#" in text:
        left_out.append(_COMMENTS)
    if not table:
        public.pop(_PUBLISHING, None)
    head = (
        f"# Public copy of a study file. Left out: {', '.join(left_out)}.\n"
        "# Neither the plan nor the declaration nor the analysis depends on what is left out.\n\n"
    )
    body = "".join(_toml_lines(public)).lstrip("\n")
    if not _says(body, public):
        raise ReportError("study.toml cannot be copied for the public without its prices.")
    return (head + body).encode("utf-8"), tuple(left_out)


def left_out_of(copy: bytes) -> tuple[str, ...]:
    """What a copy of `public_study` says that was left out of it."""
    found = _LEFT_OUT.match(copy.decode("utf-8", errors="replace"))
    return tuple(found[1].split(", ")) if found else ()


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


def _says(text: str, content: Mapping[str, Any]) -> bool:
    try:
        return tomllib.loads(text) == content
    except tomllib.TOMLDecodeError:
        return False


# --- writing -----------------------------------------------------------------------------------


def _toml_lines(content: Mapping[str, Any], inside: str = "") -> Iterator[str]:
    """Lines of a TOML file: values first, then tables and lists of tables under their heads.

    Tables of one table keep their order, which is that of the factors of a plan.
    """
    below = _under_heads(content, inside)
    for key, value in content.items():
        if key not in below:
            yield f"{_key(key)} = {_value(value)}\n"
    for key in below:
        name = f"{inside}.{_key(key)}" if inside else _key(key)
        several = isinstance(content[key], list)
        for entry in content[key] if several else [content[key]]:
            if several or not entry or len(_under_heads(entry, name)) < len(entry):
                yield f"\n[[{name}]]\n" if several else f"\n[{name}]\n"
            yield from _toml_lines(entry, name)


def _under_heads(content: Mapping[str, Any], inside: str) -> list[str]:
    """Keys of the tables and lists of tables that are not written inside a line."""
    tables = {key: value for key, value in content.items() if isinstance(value, Mapping)}
    lists = {
        key
        for key, value in content.items()
        if isinstance(value, list) and value and all(isinstance(own, Mapping) for own in value)
    }
    plain = all(
        len(str(value)) < _SHORT and not any(isinstance(own, Mapping) for own in value.values())
        for value in tables.values()
    )
    return [key for key in content if key in lists or (key in tables and not (inside and plain))]


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
