"""Blocks to plain JSON and back, driven by the fields of the dataclasses."""

from __future__ import annotations

import types
import typing
from dataclasses import fields, is_dataclass
from typing import Any

from quenchbook.errors import ReportError


def encoded(value: Any) -> Any:
    """Plain data of a block: dicts, lists, texts, numbers, booleans and None."""
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: encoded(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, tuple | list):
        return [encoded(item) for item in value]
    return value


def decoded(data: Any, hint: Any, where: str) -> Any:
    """Value of type `hint` from plain data; a ReportError names the field that does not fit."""
    origin = typing.get_origin(hint)
    if is_dataclass(hint) and isinstance(hint, type):
        return _dataclass(data, hint, where)
    if origin is tuple:
        (item, *_rest) = typing.get_args(hint)
        if not isinstance(data, list):
            raise _unfit(data, "a list", where)
        return tuple(decoded(one, item, f"{where}[{i}]") for i, one in enumerate(data))
    if origin in (typing.Union, types.UnionType):
        return _union(data, typing.get_args(hint), where)
    if hint is None or hint is type(None):
        if data is not None:
            raise _unfit(data, "nothing", where)
        return None
    if not isinstance(data, hint) or (hint is int and isinstance(data, bool)):
        raise _unfit(data, {str: "a text", bool: "true or false", int: "a number"}[hint], where)
    return data


def _dataclass(data: Any, hint: type, where: str) -> Any:
    if not isinstance(data, dict):
        raise _unfit(data, "an object", where)
    hints = typing.get_type_hints(hint)
    known = {f.name for f in fields(hint)}
    unknown = sorted(set(data) - known - {"kind"})
    if unknown:
        raise ReportError(f"{where} has the unknown field '{unknown[0]}'.")
    values = {
        name: decoded(data[name], hints[name], f"{where}.{name}") for name in known if name in data
    }
    try:
        return hint(**values)
    except TypeError as error:
        raise ReportError(f"{where} is incomplete: {error}.") from None


def _union(data: Any, hints: tuple[Any, ...], where: str) -> Any:
    for hint in hints:
        if (
            (hint is type(None) and data is None)
            or (is_dataclass(hint) and isinstance(data, dict))
            or (isinstance(hint, type) and not is_dataclass(hint) and isinstance(data, hint))
        ):
            return decoded(data, hint, where)
    raise _unfit(data, "something else", where)


def _unfit(data: Any, expected: str, where: str) -> ReportError:
    return ReportError(f"{where} of a report block is {data!r:.60}, expected {expected}.")
