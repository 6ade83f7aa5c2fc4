"""Finished items of repeated work in a file of JSON lines, so that an interrupted run goes on.

The first line says what the run is: function, seed, number of items, their digest, version. Each
further line holds one item. Lines are only added, so that a program that is killed leaves at most
one torn line, which is dropped. One program at a time writes to such a file; nothing in it is ever
executed.
"""

from __future__ import annotations

import contextlib
import functools
import hashlib
import json
import math
import os
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, Final, Self

import numpy as np

from quenchbook.errors import Problem, RepeatedWorkError
from quenchbook.locked_files import locked_alone
from quenchbook.writing import write_new_bytes

FORMAT: Final = 2

_WORDS: Final[Mapping[str, str]] = {
    "function": "function", "seed": "seed", "count": "number of items",
    "items": "digest of the items and arguments", "versions": "versions",
    "repeated_work": "format",
}  # fmt: skip


def plain(value: Any) -> Any:
    """Return a result as plain numbers, texts, lists and dicts of them.

    Parameters
    ----------
    value : object
        Tuples become lists, numpy numbers become Python's.

    Raises
    ------
    TypeError
        If there is anything else in it.
    ValueError
        If a number is nan or infinite: write None where there is no value.

    >>> plain({"power": (0.5, None)})
    {'power': [0.5, None]}
    """
    if isinstance(value, np.generic):
        value = value.item()
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, float):
        if not math.isfinite(value):
            raise ValueError(f"the result holds {value}; return None where there is no value")
        return value
    if isinstance(value, Mapping):
        return {_key(key): plain(own) for key, own in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, bytes):
        return [plain(own) for own in value]
    raise TypeError(
        f"the result holds a {type(value).__name__}; return plain numbers, texts, lists or dicts"
    )


def _key(key: object) -> str:
    if not isinstance(key, str):
        raise TypeError(f"a key of the result is {key!r}; keys are texts")
    return key


def function_name(function: Callable[..., Any]) -> str:
    """Name of a function with its module; of the inner one for a `functools.partial`."""
    if isinstance(function, functools.partial):
        return function_name(function.func)
    module, name = getattr(function, "__module__", ""), getattr(function, "__qualname__", "")
    return f"{module}.{name}" if name else repr(function)


def digest(items: Sequence[Any], function: Callable[..., Any]) -> str:
    """Digest of items, and of the arguments that a `functools.partial` holds fixed.

    An object that is not plain is told apart by its attribute ``digest``, a text.
    """
    told: list[tuple[str, Any]] = []
    while isinstance(function, functools.partial):
        told.append(("fixed", [list(function.args), dict(function.keywords)]))
        function = function.func
    sums = hashlib.sha256()
    for kind, item in [*told, *(("item", own) for own in items)]:
        try:
            text = json.dumps([kind, _marked(item)])
        except (TypeError, ValueError) as error:
            raise RepeatedWorkError(
                Problem(
                    "items",
                    f"{item!r:.80} cannot be told apart from others: {error}",
                    "To keep finished items use plain items and arguments, or objects with a text "
                    "attribute digest.",
                )
            ) from None
        sums.update(text.encode("utf-8") + b"\n")
    return sums.hexdigest()


def _marked(value: Any) -> list[Any]:
    """A value as JSON with its kind before it, so that no kind can look like another."""
    own = getattr(value, "digest", None)
    if isinstance(own, str):
        return ["digest", own]
    if isinstance(value, Mapping):
        pairs = [[_marked(key), _marked(part)] for key, part in value.items()]
        return ["mapping", sorted(pairs, key=json.dumps)]
    if isinstance(value, Sequence) and not isinstance(value, str | bytes):
        return ["sequence", [_marked(part) for part in value]]
    return ["plain", plain(value)]


def header(
    function: Callable[..., Any],
    items: Sequence[Any],
    seed: int,
    versions: Mapping[str, str],
) -> dict[str, Any]:
    """Return what fixes a run; the first line of its file."""
    name = function_name(function)
    if "<" in name.rsplit(".", 1)[-1]:
        raise RepeatedWorkError(
            f"{name} has no name that says what it does, so its finished items cannot be kept. "
            "Define it with def in a module."
        )
    return {
        "repeated_work": FORMAT,
        "function": name,
        "seed": seed,
        "count": len(items),
        "items": digest(items, function),
        "versions": dict(versions),
    }


def header_of(path: str | Path) -> dict[str, Any] | None:
    """First line of a file of finished items; None where there is no such file or no whole line."""
    path = Path(path)
    if not path.is_file():
        return None
    with path.open("rb") as file:
        first = file.readline()
    try:
        found = json.loads(first) if first.endswith(b"\n") else None
    except ValueError:
        found = None
    return found if isinstance(found, dict) and "repeated_work" in found else None


class KeptItems:
    """File of finished items of one run; close it, or use it in a ``with`` statement.

    Parameters
    ----------
    path : str or Path
        Made where there is none; its folder too.
    head : dict
        From `header`.

    Attributes
    ----------
    done : dict of int to object
        Results by the number of the item.

    Raises
    ------
    RepeatedWorkError
        If the file belongs to another run, or is no such file, or is damaged, or if another
        program is writing to it.
    """

    def __init__(self, path: str | Path, head: Mapping[str, Any]) -> None:
        self.path = Path(path)
        self.done: dict[int, Any] = {}
        if not self.path.exists():
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with contextlib.suppress(FileExistsError):  # another program was first
                write_new_bytes(self.path, _line(head))
        self._check(head)
        self._file = self.path.open("r+b")
        try:
            if not locked_alone(self._file):
                raise RepeatedWorkError(
                    Problem(
                        str(self.path),
                        "is being written to by another program",
                        "Wait until that has finished, or name another file.",
                    )
                )
            self._read(int(head["count"]))
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let another program write to the file."""
        self._file.close()

    def _check(self, head: Mapping[str, Any]) -> None:
        found = header_of(self.path)
        if found is None:
            raise RepeatedWorkError(
                Problem(
                    str(self.path),
                    "is no file of finished items",
                    "It was left as it is. Name another file.",
                )
            )
        other = [name for name in _WORDS if found.get(name) != head[name]]
        if other:
            words = "; ".join(_difference(_WORDS[n], found.get(n), head[n]) for n in other)
            raise RepeatedWorkError(
                Problem(
                    str(self.path),
                    f"belongs to another run: {words}",
                    "It was left as it is. Name another file, or move this one away.",
                )
            )

    def _read(self, count: int) -> None:
        self._file.seek(0)
        raw = self._file.read()
        whole = raw.rfind(b"\n") + 1
        if whole < len(raw):  # torn when the program or the machine stopped
            self._file.truncate(whole)
        self._file.seek(whole)
        for number, line in enumerate(raw[:whole].split(b"\n")[1:-1], start=2):
            try:
                own = json.loads(line)
                item, value = own["item"], own["value"]
            except (ValueError, KeyError, TypeError):
                item, value = -1, None
            if not isinstance(item, int) or not 0 <= item < count:
                raise RepeatedWorkError(
                    Problem(
                        f"{self.path} line {number}",
                        f"is no finished item: {line[:60].decode('utf-8', 'replace')!r}",
                        "The file was changed or damaged. Move it away to start anew.",
                    )
                )
            self.done[item] = value

    def add(self, finished: Mapping[int, Any]) -> None:
        """Add finished items; they are on the disk when this returns."""
        if not finished:
            return
        lines = b"".join(_line({"item": item, "value": own}) for item, own in finished.items())
        self._file.write(lines)
        self._file.flush()
        os.fsync(self._file.fileno())
        self.done.update(finished)


def _difference(what: str, found: Any, now: Any) -> str:
    """What differs in words; of versions only those that differ."""
    if isinstance(found, dict) and isinstance(now, dict):
        names = [name for name in now if found.get(name) != now[name]] or list(found)
        parts = [f"{what.removesuffix('s')} of {n} is {found.get(n)}, now {now.get(n)}"
                 for n in names]  # fmt: skip
        return "its " + ", its ".join(parts)
    return f"its {what} is {found}, now {now}"


def _line(content: Mapping[str, Any]) -> bytes:
    """One line; Python writes a float with all digits that it takes to read the same bits back."""
    text = json.dumps(content, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return text.encode("ascii") + b"\n"
