"""Levels of a factor changed wherever a study file names them."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from typing import Any

from quenchbook.errors import UnitError
from quenchbook.forms.study_fields import Field, text_of
from quenchbook.forms.toml_edits import with_value
from quenchbook.forms.toml_places import Key
from quenchbook.units import STORAGE_UNITS, parse_quantity


def with_levels(text: str, field: Field, after: list[Any]) -> str:
    """Text with other levels of a factor; a level that took another's place is named in its place.

    Which level took which place is known only while their number stays.
    """
    before = field.value if isinstance(field.value, list) else []
    name = str(field.key[1])
    places = []
    if len(before) == len(after):
        places = [(old, new) for old, new in zip(before, after, strict=True) if old != new]
    keys = [(key, old) for key, old in _named_levels(tomllib.loads(text), name)]
    text = with_value(text, field.key, after)
    for key, named in keys:
        for old, new in places:
            if _same_level(named, old):
                text = with_value(text, key, new)
    return text


def _named_levels(content: Mapping[str, Any], name: str) -> list[tuple[Key, Any]]:
    """Where the file names levels of a factor, other than its own list."""
    found: list[tuple[Key, Any]] = []

    def add(key: Key, value: Any) -> None:
        if isinstance(value, list):
            found.extend(((*key, number), own) for number, own in enumerate(value))
        elif value is not None:
            found.append((key, value))

    for list_name, parts in (
        ("questions", ("compare", "at", "change")),
        ("forbidden", ("levels",)),
        ("extra_coupons", ("levels",)),
    ):
        entries = content.get(list_name, [])
        for number, entry in enumerate(entries if isinstance(entries, list) else []):
            for part in parts:
                inner = entry.get(part) if isinstance(entry, Mapping) else None
                if isinstance(inner, Mapping):
                    add((list_name, number, part, name), inner.get(name))
    factors = content.get("factors", {})
    for other, entry in factors.items() if isinstance(factors, Mapping) else ():
        inner = entry.get("exists_for") if isinstance(entry, Mapping) else None
        if isinstance(inner, Mapping):
            add(("factors", other, "exists_for", name), inner.get(name))
    return found


def _same_level(named: Any, level: Any) -> bool:
    """Whether two ways of writing mean one level: ``1 day`` and ``24 h``."""
    if named == level:
        return True
    for dimension in STORAGE_UNITS:
        try:
            one, other = (parse_quantity(text_of(own), dimension) for own in (named, level))
        except UnitError:
            continue
        return abs(one - other) < 1e-9
    return False
