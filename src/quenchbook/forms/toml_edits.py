"""Change single values of a TOML text: all other characters, comments too, stay as they are."""

from __future__ import annotations

import copy
import difflib
import json
import re
import tomllib
from collections.abc import Sequence
from typing import Any, Final

from quenchbook.errors import StudyError
from quenchbook.forms.toml_places import Key, Span, TomlPlaces, toml_places

Value = str | int | float | list[Any]

_USE_AN_EDITOR: Final = "is written in a way that cannot be changed here: use an editor."
# what may follow an entry that stands alone on its line
_REST_OF_LINE: Final = re.compile(r"[ \t]*(,?)[ \t]*(?:#[^\n]*)?\r?(?=\n)")


def with_value(text: str, key: Key, value: Value | None) -> str:
    r"""Text with one value changed, added, or (None) taken out.

    Parameters
    ----------
    text : str
        Valid TOML.
    key : tuple
        Keys from the top of the file, numbers (from 0) for entries of a list of tables.
    value : str, int, float, list or None

    Returns
    -------
    str

    Raises
    ------
    StudyError
        If the place cannot be found again, as where a table is written in an unusual way.

    Examples
    --------
    >>> with_value('[costs]\ncoupon = 1.50   # steel\n', ("costs", "coupon"), 2.0)
    '[costs]\ncoupon = 2.0   # steel\n'
    >>> with_value('[costs]\ncoupon = 1.50\n', ("costs", "indent"), 0.1)
    '[costs]\ncoupon = 1.50\nindent = 0.1\n'
    """
    content = tomllib.loads(text)
    before = _found(content, key)
    if before == value and type(before) is type(value):
        return text
    places = toml_places(text)
    wanted = _changed(content, key, value)
    if value is None:
        new = _without(text, places, key)
    elif key not in places.values:
        new = _added(text, places, key, value)
    elif isinstance(value, list) and isinstance(before, list):
        new = _list_changed(text, places, key, before, value)
    else:
        new = _replaced(text, places, key, value)
    name = ".".join(map(str, key))
    try:
        same = tomllib.loads(new) == wanted
    except tomllib.TOMLDecodeError:
        same = False
    if not same:  # rather nothing than a file that says something else
        raise StudyError(f"{name} {_USE_AN_EDITOR}")
    return new


def toml_text(value: Value) -> str:
    r"""Value as it stands in a TOML file.

    >>> toml_text(["none", "dry ice"]), toml_text(1.5), toml_text('5" bar')
    ('["none", "dry ice"]', '1.5', '"5\\" bar"')
    """
    if isinstance(value, list):
        return f"[{', '.join(map(toml_text, value))}]"
    if isinstance(value, str):
        escaped = json.dumps(value, ensure_ascii=False)  # its escapes are those of TOML
        return escaped.replace("\x7f", "\\u007f")
    return repr(value)


def _found(content: Any, key: Key) -> Any:
    for part in key:
        try:
            content = content[part]
        except (KeyError, IndexError, TypeError):
            return None
    return content


def _changed(content: dict[str, Any], key: Key, value: Value | None) -> dict[str, Any]:
    wanted = copy.deepcopy(content)
    inner: Any = wanted
    for part in key[:-1]:
        inner = inner.setdefault(part, {}) if isinstance(inner, dict) else inner[part]
    if value is None:
        inner.pop(key[-1], None)
    else:
        inner[key[-1]] = value
    return wanted


def _replaced(text: str, places: TomlPlaces, key: Key, value: Value) -> str:
    span = places.values[key]
    return text[: span.start] + toml_text(value) + text[span.end :]


def _list_changed(
    text: str, places: TomlPlaces, key: Key, before: Sequence[Any], after: Sequence[Any]
) -> str:
    """Change, add and take out single entries, so that what stands between them stays."""
    spans = [places.values[*key, number] for number in range(len(before))]
    whole = places.values[key]
    ends = [whole.start + 1, *(own.end for own in spans)]
    starts = [*(own.start for own in spans), whole.end - 1]
    if any("#" in text[end:start] for end, start in zip(ends, starts, strict=True)):
        return _commented_list_changed(text, ".".join(map(str, key)), spans, before, after)
    if not spans or not after:
        return _replaced(text, places, key, list(after))
    words = [toml_text(own) for own in after]
    steps = difflib.SequenceMatcher(a=[toml_text(own) for own in before], b=words, autojunk=False)
    for _, a0, a1, b0, b1 in reversed([own for own in steps.get_opcodes() if own[0] != "equal"]):
        shared = min(a1 - a0, b1 - b0)
        more = words[b0 + shared : b1]
        if more:
            if a0 + shared:
                at = spans[a0 + shared - 1].end
                text = text[:at] + "".join(f", {own}" for own in more) + text[at:]
            else:
                at = spans[0].start
                text = text[:at] + "".join(f"{own}, " for own in more) + text[at:]
        elif a0 + shared < a1:
            if a0 + shared:
                start, end = spans[a0 + shared - 1].end, spans[a1 - 1].end
            else:
                start, end = spans[0].start, spans[a1].start
            text = text[:start] + text[end:]
        for number in reversed(range(shared)):
            span = spans[a0 + number]
            text = text[: span.start] + words[b0 + number] + text[span.end :]
    return text


def _commented_list_changed(
    text: str, name: str, spans: Sequence[Span], before: Sequence[Any], after: Sequence[Any]
) -> str:
    """Change a list with comments line by line: an entry goes and comes with its own line.

    Raises
    ------
    StudyError
        If a comment could come to stand beside another entry than its own.
    """
    old, new = ([toml_text(own) for own in entries] for entries in (before, after))
    steps = difflib.SequenceMatcher(a=old, b=new, autojunk=False).get_opcodes()
    refused = StudyError(f"{name} has comments between its entries: use an editor.")
    gone = {
        old[place] for kind, a0, a1, _, _ in steps if kind != "equal" for place in range(a0, a1)
    }
    come = {new[place] for kind, *_, b0, b1 in steps if kind != "equal" for place in range(b0, b1)}
    if not old or not new or gone & come:  # a moved entry would leave its comment behind
        raise refused
    end = _line_end(text)
    for _, a0, a1, b0, b1 in reversed([own for own in steps if own[0] != "equal"]):
        shared = min(a1 - a0, b1 - b0)
        for span in reversed(spans[a0 + shared : a1]):
            line = _own_line(text, span)
            if line is None or _is_below_a_comment(text, line[0]):
                raise refused
            text = text[: line[0]] + text[line[1] :]
        if more := new[b0 + shared : b1]:
            place = a0 + shared
            span = spans[max(place - 1, 0)]
            line = _own_line(text, span)
            if line is None or (not place and _is_below_a_comment(text, line[0])):
                raise refused
            indent = text[line[0] : span.start]
            lines = "".join(f"{indent}{own},{end}" for own in more)
            at = line[1] if place else line[0]
            text = text[:at] + lines + text[at:]
            if place and "," not in text[span.end : line[1]].partition("#")[0]:
                text = f"{text[: span.end]},{text[span.end :]}"
        for number in reversed(range(shared)):
            span = spans[a0 + number]
            text = text[: span.start] + new[b0 + number] + text[span.end :]
    return text


def _own_line(text: str, span: Span) -> tuple[int, int] | None:
    """Start and end of the lines of an entry that shares them with no other; None if it does."""
    start = text.rfind("\n", 0, span.start) + 1
    rest = _REST_OF_LINE.match(text, span.end)
    if text[start : span.start].strip() or rest is None:
        return None
    return start, rest.end() + 1


def _is_below_a_comment(text: str, line_start: int) -> bool:
    """Whether the line above has a comment and nothing else, which may be about this line."""
    above = text[:line_start].rstrip("\r\n").rpartition("\n")[2]
    return above.lstrip().startswith("#")


def _line_end(text: str) -> str:
    return "\r\n" if "\r\n" in text else "\n"


def _key_text(part: str | int) -> str:
    plain = str(part).replace("_", "").replace("-", "")
    return str(part) if plain.isascii() and plain.isalnum() else json.dumps(str(part))


def _added(text: str, places: TomlPlaces, key: Key, value: Value) -> str:
    """Add a key below the last one of its table, or a table below that around it."""
    end, own = _line_end(text), f"{_key_text(key[-1])} = {toml_text(value)}"
    table = key[:-1]
    if (span := places.values.get(table)) is not None:  # { a = 1 } on one line
        inside = text[span.start + 1 : span.end - 1]
        last = max((s.end for k, s in places.values.items() if k[:-1] == table), default=0)
        if not inside.strip():
            return f"{text[: span.start]}{{ {own} }}{text[span.end :]}"
        return f"{text[:last]}, {own}{text[last:]}"
    if table in places.tables:
        at = _line_after(text, places.tables[table]) if table or places.tables[()] else 0
        head = "" if at == 0 or text[:at].endswith("\n") else end
        return f"{text[:at]}{head}{own}{end}{text[at:]}"
    outer = table[:-1]
    at = _line_after(text, places.tables[outer]) if outer in places.tables and outer else len(text)
    header = ".".join(_key_text(part) for part in table if isinstance(part, str))
    head = "" if at == 0 or text[:at].endswith("\n") else end
    return f"{text[:at]}{head}{end}[{header}]{end}{own}{end}{text[at:]}"


def _line_after(text: str, at: int) -> int:
    """Start of the line after the one that a place is in."""
    found = text.find("\n", at)
    return found + 1 if found >= 0 else len(text)


def _without(text: str, places: TomlPlaces, key: Key) -> str:
    span = places.values.get(key)
    if span is None:
        return text
    if key[:-1] not in places.values:  # a statement of its own: its line goes
        return text[: span.statement] + text[_line_after(text, span.end) :]
    others = sorted(
        (own.start, own.end) for k, own in places.values.items() if k[:-1] == key[:-1] and k != key
    )
    before = [end for _, end in others if end <= span.start]
    if before:
        return text[: before[-1]] + text[span.end :]
    if others:  # the first of several: up to the next key, which begins after a comma
        start = places.values[key[:-1]].start + 1
        return f"{text[:start]} {text[text.index(',', span.end) + 1 :].lstrip()}"
    outer = places.values[key[:-1]]
    return f"{text[: outer.start]}{{}}{text[outer.end :]}"
