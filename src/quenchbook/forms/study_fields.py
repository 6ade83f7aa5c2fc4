"""What of a study file a form offers: fields with their words, by the parts of the plan."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

from quenchbook.errors import UnitError
from quenchbook.forms.toml_edits import Value
from quenchbook.forms.toml_places import Key
from quenchbook.study.factors import UNIT_WORDS, plural
from quenchbook.study.prices import PRICES
from quenchbook.units import parse_number

Kind = Literal["text", "list", "count", "number"]

QUESTIONS: Final = "Questions"
VARIED: Final = "What is varied"
LOADS: Final = "Loads and coupons"
MARGINS: Final = "Margins and noise"
COSTS: Final = "Prices"
GROUPS: Final = (QUESTIONS, VARIED, LOADS, MARGINS, COSTS)

_LAYOUT: Final = {
    "furnace_loads": "Furnace loads",
    "coupons_per_load": "Coupons in a load",
    "loads_per_day": "Loads a day",
    "coupons_per_temper_batch": "Coupons in a temper batch",
    "cold_batches_per_load": "Cold batches in a load",
    "bars": "Bars of steel",
    "coupons_per_bar": "Coupons from a bar",
}
_ALWAYS: Final = ("furnace_loads", "coupons_per_load")
_NOISE: Final = ("furnace_load", "cold_batch", "temper_batch", "bar", "coupon", "indent")
_IN_WORDS: Final = ("title", "question", "words", "currency")
_BARE: Final = re.compile(r"[+-]?(?:\d+(?:[.,]\d+)?|[.,]\d+)")
_WITH_UNIT: Final = re.compile(r"[+-]?[\d.,]+\s*([^\d\s.,].*)")
_LIST_MARK: Final = re.compile(r"\s*;\s*|,\s+|\s*,(?!\d)\s*")


@dataclass(frozen=True)
class Field:
    """One value that a form offers.

    Attributes
    ----------
    name : str
        Such as ``layout.furnace_loads`` or ``questions.freezer.words``.
    key : tuple
        Its place in the file.
    group : str
        Part of the form, one of `GROUPS`.
    label : str
    kind : {"text", "list", "count", "number"}
    value : str, int, float, list or None
        None: the file does not tell it.
    hint : str
        Example or unit, shown where the field is empty.
    optional : bool
        Whether an empty field takes the key out of the file.
    unit : str
        Unit of a bare number, where the value does not tell it.
    """

    name: str
    key: Key
    group: str
    label: str
    kind: Kind
    value: Value | None
    hint: str = ""
    optional: bool = False
    unit: str = ""

    @property
    def own_unit(self) -> str:
        """Unit of a bare number: the one that all its values have, else `unit`."""
        if self.kind not in ("text", "list") or self.key[-1] in _IN_WORDS:
            return ""
        values = self.value if isinstance(self.value, list) else [self.value]
        found = [_WITH_UNIT.fullmatch(own) for own in values if isinstance(own, str) and own]
        units = {own[1].strip() if own else "" for own in found}
        return units.pop() if len(units) == 1 else self.unit

    @property
    def text(self) -> str:
        """Value as it stands in the field."""
        return text_of(self.value)

    def value_of(self, text: str) -> Value | None:
        """Value that a text means; a text that is none is left to the reader of the study file.

        Examples
        --------
        >>> field = Field("costs.coupon", ("costs", "coupon"), COSTS, "Coupon", "number", 1.5)
        >>> field.value_of("3,20"), field.value_of("dear")
        (3.2, 'dear')
        >>> hot = Field("t", ("levels",), VARIED, "Hot", "list", ["1450 degF", "1500 degF"])
        >>> hot.value_of("1450, 1475")
        ['1450 degF', '1475 degF']
        """
        text = text.strip()
        if not text and self.optional:
            return None
        if self.kind == "list":
            whole = isinstance(self.value, list) and all(type(v) is int for v in self.value)
            parts = [part for part in _LIST_MARK.split(text) if part]
            return [_count(part) if whole else self._with_unit(part) for part in parts]
        if self.kind == "count":
            return _count(text)
        return _number(text) if self.kind == "number" else self._with_unit(text)

    def _with_unit(self, text: str) -> str:
        """Text with the unit of the field after a bare number."""
        unit = self.own_unit if _BARE.fullmatch(text) else ""
        return f"{text} {unit}" if unit else text


def text_of(value: Value | None) -> str:
    """Value as a person writes it into a field.

    >>> text_of(["0 min", "1 day"]), text_of(1.5), text_of(None)
    ('0 min, 1 day', '1.5', '')
    """
    if isinstance(value, list):
        return ", ".join(map(text_of, value))
    if isinstance(value, float):
        return f"{value:.12g}"
    return "" if value is None else str(value)


def _count(text: str) -> int | str:
    return int(text) if re.fullmatch(r"\d{1,9}", text) else text


def _number(text: str) -> float | int | str:
    try:
        value = parse_number(text)
    except UnitError:
        return text
    return int(value) if value.is_integer() and abs(value) < 10**9 else value


def study_fields(content: Mapping[str, Any]) -> tuple[Field, ...]:
    """Fields of a study file, in the order of a form.

    Parameters
    ----------
    content : mapping
        The file as TOML has it; what is no table where one belongs has no fields.
    """
    return tuple(
        own
        for part in (_of_questions, _of_factors, _of_layout, _of_responses, _of_costs)
        for own in part(content)
    )


def _table(content: Any, key: str) -> Mapping[str, Any]:
    found = content.get(key, {}) if isinstance(content, Mapping) else {}
    return found if isinstance(found, Mapping) else {}


def _words(name: str) -> str:
    return name.replace("_", " ")


def _of_questions(content: Mapping[str, Any]) -> Iterator[Field]:
    for key, label in (("title", "Title"), ("question", "What the study asks")):
        yield Field(key, (key,), QUESTIONS, label, "text", content.get(key, ""))
    entries = content.get("questions", [])
    for number, entry in enumerate(entries if isinstance(entries, list) else []):
        if not isinstance(entry, Mapping):
            continue
        own, at = str(entry.get("key", f"question_{number + 1}")), ("questions", number)
        name, title = f"questions.{own}", f"Question {number + 1}"
        words = entry.get("words", "")
        yield Field(f"{name}.words", (*at, "words"), QUESTIONS, f"{title}, words", "text", words)
        for key, label in (
            ("margin", "shift too small to matter"),
            ("within", "within this of the peak"),
            ("target", "wanted value"),
        ):
            if key in entry:
                label = f"{title}, {label}"
                yield Field(f"{name}.{key}", (*at, key), QUESTIONS, label, "text", entry[key])
        yield from _levels_of_question(entry, name, at, title)


def _levels_of_question(
    entry: Mapping[str, Any], name: str, at: Key, title: str
) -> Iterator[Field]:
    """Levels that a question compares, and those it is asked at: all of them are levels above."""
    for part, words in (
        ("compare", "compares {}, first less second"),
        ("change", "between two levels of {}"),
        ("at", "asked at {}"),
    ):
        for factor, levels in _table(entry, part).items():
            kind: Kind = "list" if isinstance(levels, list) else "text"
            label = f"{title}, {words.format(_words(factor))}"
            own = f"{name}.{part}.{factor}"
            if levels is None or isinstance(levels, (str, list)):
                yield Field(own, (*at, part, factor), QUESTIONS, label, kind, levels)


def _of_factors(content: Mapping[str, Any]) -> Iterator[Field]:
    for name, entry in _table(content, "factors").items():
        if not isinstance(entry, Mapping):
            continue
        title = str(entry.get("title", _words(name)))
        title = title[:1].upper() + title[1:]
        at: Key = ("factors", name)
        levels = entry.get("levels", [])
        if isinstance(levels, Mapping):
            for key in ("lowest", "highest", "step"):
                own = f"factors.{name}.levels.{key}"
                label = f"{title}, {key}"
                yield Field(own, (*at, "levels", key), VARIED, label, "text", levels.get(key, ""))
        elif isinstance(levels, list):
            own = f"factors.{name}.levels"
            yield Field(
                own, (*at, "levels"), VARIED, f"{title}, levels", "list", levels,
                hint="levels with a comma between them",
            )  # fmt: skip
        for outer, inside in _table(entry, "exists_for").items():
            if isinstance(inside, list):
                own, label = f"factors.{name}.exists_for", f"{title}, only with {_words(outer)}"
                yield Field(own, (*at, "exists_for", outer), VARIED, label, "list", inside)


def _of_layout(content: Mapping[str, Any]) -> Iterator[Field]:
    layout = _table(content, "layout")
    for key, label in _LAYOUT.items():
        if key in layout or key in _ALWAYS:
            own, at = f"layout.{key}", ("layout", key)
            yield Field(own, at, LOADS, label, "count", layout.get(key), hint="a whole number")
    for name, entry in _table(content, "responses").items():
        if not isinstance(entry, Mapping):
            continue
        word = str(entry.get("quantity", _words(name)))
        word = word[:1].upper() + word[1:]
        at = ("responses", name)
        readings = "indents on a coupon" if entry.get("unit") == "HRC" else "readings of a coupon"
        for key, label in (("readings", readings), ("coupons", "coupons tested")):
            if key in entry:
                own, label = f"responses.{name}.{key}", f"{word}, {label}"
                yield Field(own, (*at, key), LOADS, label, "count", entry[key])


def _of_responses(content: Mapping[str, Any]) -> Iterator[Field]:
    used = {"furnace_load", "coupon"}
    used |= {
        str(own.get("set_for"))
        for own in _table(content, "factors").values()
        if isinstance(own, Mapping)
    }
    for name, entry in _table(content, "responses").items():
        if not isinstance(entry, Mapping):
            continue
        word, at = str(entry.get("quantity", _words(name))), ("responses", name)
        word = word[:1].upper() + word[1:]
        unit = "%" if entry.get("scale") == "log" else str(entry.get("unit", ""))
        example = f"such as {'15' if unit == '%' else '0.5'} {unit}".strip()
        margin = entry.get("equivalence_margin")
        yield Field(
            f"responses.{name}.equivalence_margin", (*at, "equivalence_margin"), MARGINS,
            f"{word}, too small to matter", "text", margin, example, optional=True, unit=unit,
        )  # fmt: skip
        noise = _table(entry, "noise")
        for unit_name in _NOISE:
            if unit_name == "indent" and _whole_number(entry.get("readings"), 1) < 2:
                continue
            if unit_name in noise or unit_name in used or unit_name == "indent":
                unit_word = UNIT_WORDS.get(unit_name, unit_name)
                yield Field(
                    f"responses.{name}.noise.{unit_name}", (*at, "noise", unit_name), MARGINS,
                    f"{word}, scatter of {plural(unit_word)}", "text", noise.get(unit_name),
                    "empty: the usual value is assumed, see below", optional=True, unit=unit,
                )  # fmt: skip


def _whole_number(value: object, other: int) -> int:
    """Whole number, or another where the value is none."""
    return value if isinstance(value, int) and not isinstance(value, bool) else other


def _of_costs(content: Mapping[str, Any]) -> Iterator[Field]:
    costs = _table(content, "costs")
    currency = costs.get("currency")
    yield Field(
        "costs.currency", ("costs", "currency"), COSTS, "Currency", "text", currency,
        "such as EUR", optional=True,
    )  # fmt: skip
    for key, words in PRICES.items():
        label = words[:1].upper() + words[1:]
        yield Field(
            f"costs.{key}", ("costs", key), COSTS, label.partition(":")[0].partition(",")[0],
            "number", costs.get(key), "no price told", optional=True,
        )  # fmt: skip
