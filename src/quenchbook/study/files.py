"""Read study.toml: every mistake at once, with its line and what to write instead."""

from __future__ import annotations

import datetime
import difflib
import re
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, Final, cast

from quenchbook.errors import Problem, StudyError, UnitError
from quenchbook.study.definition import (
    Layout,
    Multiplicity,
    Question,
    Response,
    ResponseKind,
    Scale,
    Study,
)
from quenchbook.study.factors import (
    COLUMN_ENDINGS,
    ROUTE_WORDS,
    UNITS,
    Factor,
    Level,
    Shape,
    Unit,
)
from quenchbook.study.prices import price_mistakes
from quenchbook.units import convert, parse_number, parse_quantity, unit_named

FORMAT: Final = 1

_TABLES: Final = (
    "steel", "factors", "responses", "questions", "layout", "equipment", "costs", "held_constant",
)  # fmt: skip
_TOP_KEYS: Final = (
    "format", "key", "title", "question", "author", "date", "licence", "invented", "published",
    "confidence", "multiplicity", "notes", "unit_names", *_TABLES,
)  # fmt: skip
_FACTOR_KEYS: Final = ("title", "levels", "unit", "set_for", "shape", "exists_for", "words")
_RESPONSE_KEYS: Final = (
    "unit", "quantity", "kind", "readings", "coupons", "scale", "equivalence_margin",
    "combinations",
)  # fmt: skip
_QUESTION_KEYS: Final = ("key", "words", "response", "compare", "at", "change", "term")
_LAYOUT_KEYS: Final = (
    "furnace_loads", "coupons_per_load", "loads_per_day", "coupons_per_temper_batch", "bars",
    "coupons_per_bar",
)  # fmt: skip
_RESERVED: Final = (
    "coupon", "furnace_load", "cold_batch", "temper_batch", "day", "load_place", "bar",
    "bar_position", "indent", "value", "reading",
)  # fmt: skip
_HELD_TIMES: Final = {"soak": "15 min", "cold_time": "12 h", "temper_time": "2 h"}
_NAME: Final = re.compile(r"[a-z][a-z0-9_]*")


def read_study(path: str | Path) -> Study:
    """Read a study file.

    Parameters
    ----------
    path : str or Path
        A ``study.toml``, or the folder that holds one.

    Returns
    -------
    Study

    Raises
    ------
    StudyError
        With every mistake of the file: line, what was found, what to write.
    """
    path = Path(path)
    if path.is_dir():
        path = path / "study.toml"
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise StudyError(
            Problem(str(path), "there is no such file", "Make one with: quenchbook new FOLDER")
        ) from None
    except UnicodeDecodeError:
        raise StudyError(
            Problem(str(path), "is not UTF-8 text", "Save it as UTF-8 in the editor.")
        ) from None
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise StudyError(
            Problem(path.name, str(error), "Compare with the comments of a new study file.")
        ) from None
    return _StudyReader(path, text, content).study()


class _StudyReader:
    """Turns the parsed file into a study and keeps a list of what is wrong."""

    def __init__(self, path: Path, text: str, content: Mapping[str, Any]) -> None:
        self.path = path
        self.content = content
        self.lines = _line_numbers(text)
        self.problems: list[Problem] = []

    def study(self) -> Study:
        content = self.content
        self._known_keys(content, _TOP_KEYS, "")
        if content.get("format") != FORMAT:
            self._wrong(
                "", "format", f"format is {content.get('format')!r}", f"Write format = {FORMAT}."
            )
        factors = self._factors()
        responses = self._responses(factors)
        for key, found, remedy in price_mistakes(self._table("costs")):
            self._wrong("costs", key, found, remedy)
        date = content.get("date", "")
        study = Study(
            key=self._text("key", default=re.sub(r"\W+", "_", self.path.parent.name.lower())),
            title=self._text("title"),
            question=self._text("question"),
            author=self._text("author", default="author not named"),
            date=date.isoformat() if isinstance(date, datetime.date) else str(date),
            licence=self._text("licence", default="CC-BY-4.0"),
            factors=factors,
            responses=responses,
            questions=self._questions(factors, responses),
            layout=self._layout(),
            invented=bool(content.get("invented", False)),
            published=bool(content.get("published", False)),
            steel=self._table("steel"),
            equipment=self._table("equipment"),
            costs=self._table("costs"),
            held_constant=self._held_constant(factors),
            notes=tuple(str(note) for note in content.get("notes", ())),
            confidence=self._confidence(),
            multiplicity=cast(Multiplicity, self._multiplicity()),
            unit_names={str(k): str(v) for k, v in self._table("unit_names").items()},
            folder=self.path.parent,
        )
        if not _NAME.fullmatch(study.key):
            self._wrong("", "key", f"'{study.key}' is not a short name", "Use a-z, 0-9 and _ only.")
        if self.problems:
            raise StudyError(self.problems)
        return study

    # --- parts -----------------------------------------------------------------------------------

    def _factors(self) -> tuple[Factor, ...]:
        table = self._table("factors")
        if not table:
            self._wrong(
                "", "factors", "the study varies nothing", "Add a table such as [factors.temper]."
            )
        factors: dict[str, Factor] = {}
        for name, entry in table.items():
            where = f"factors.{name}"
            if not _NAME.fullmatch(name) or name in _RESERVED:
                self._wrong(
                    where,
                    "",
                    f"'{name}' cannot be the name of a factor",
                    "Use another name of a-z, 0-9, _.",
                )
                continue
            if not isinstance(entry, Mapping):
                self._wrong(
                    "factors",
                    name,
                    f"{name} is not a table",
                    f"Write [factors.{name}] and its levels below.",
                )
                continue
            self._known_keys(entry, _FACTOR_KEYS, where)
            factor = self._factor(name, entry, where, factors)
            if factor is not None:
                factors[name] = factor
        return tuple(factors.values())

    def _factor(
        self, name: str, entry: Mapping[str, Any], where: str, earlier: Mapping[str, Factor]
    ) -> Factor | None:
        raw = entry.get("levels")
        if not isinstance(raw, list) or len(raw) < 2:
            self._wrong(
                where,
                "levels",
                f"{name} has fewer than two levels",
                'Write levels = ["150 degC", "175 degC"].',
            )
            return None
        dimension, levels = self._levels(name, raw, entry.get("unit"), where)
        if len(set(levels)) < len(raw) and len(levels) == len(raw):
            self._wrong(where, "levels", f"a level of {name} is written twice", "Each level once.")
        set_for = self._choice(where, "set_for", entry.get("set_for", "coupon"), UNITS)
        shape = self._choice(
            where, "shape", entry.get("shape", "levels"), ("levels", "linear", "quadratic")
        )
        if shape != "levels" and not dimension:
            self._wrong(
                where,
                "shape",
                f"{name} has named levels, so it cannot be {shape}",
                'Write shape = "levels".',
            )
        if shape == "quadratic" and len(levels) < 3:
            self._wrong(
                where,
                "shape",
                f"{name} has {len(levels)} levels; a quadratic needs three",
                "Add a level.",
            )
        parent, exists_for = self._nesting(name, entry, where, earlier)
        words = {str(k): str(v) for k, v in dict(entry.get("words", {})).items()}
        if name == "cold_route":
            words = {**ROUTE_WORDS, **words}
        ending = COLUMN_ENDINGS[dimension][0] if dimension else ""
        return Factor(
            name=name,
            column=name + ending,
            levels=tuple(levels),
            dimension=dimension,
            set_for=cast(Unit, set_for),
            shape=cast(Shape, shape),
            nested_in=parent,
            exists_for=exists_for,
            words=words,
            label=str(entry.get("title", "")),
        )

    def _levels(self, name: str, raw: list[Any], unit: Any, where: str) -> tuple[str, list[Level]]:
        """Dimension (empty for named levels) and the levels in the storage unit."""
        numeric = [isinstance(x, int | float) or re.match(r"^\s*[-+−]?[\d.,]", str(x)) for x in raw]
        if not any(numeric):
            levels = [str(x) for x in raw]
            for level in levels:
                if not re.fullmatch(r"\w[\w .+-]*", level):
                    self._wrong(
                        where,
                        "levels",
                        f"'{level}' cannot be a level name",
                        "Use letters, digits, _ . + -.",
                    )
            return "", list(levels)
        if not all(numeric):
            self._wrong(
                where, "levels", f"{name} mixes numbers and names", "Use one kind for all levels."
            )
            return "", [str(x) for x in raw]
        dimension, found = "", []
        for x in raw:
            match = re.match(r"^\s*[-+−]?[\d.,]+\s*(.*)$", str(x))
            written = (match[1].strip() if match else "") or (str(unit) if unit else "")
            known = _dimension_of(written)
            if not written or known is None:
                what = (
                    f"{name} level {x!r} has no unit"
                    if not written
                    else f"'{written}' is not a unit of a level"
                )
                self._wrong(
                    where,
                    "levels",
                    what,
                    f'Write "{str(x).split()[0]} degC" (degF, min, h, day, mm are known too).',
                )
                continue
            if dimension and known != dimension:
                self._wrong(
                    where,
                    "levels",
                    f"{name} mixes {dimension} and {known}",
                    "Use one unit for all levels.",
                )
                continue
            dimension = known
            try:
                if isinstance(x, int | float):
                    found.append(convert(x, written, dimension))
                else:
                    found.append(round(parse_quantity(str(x), dimension, unit=written), 9))
            except UnitError as error:
                self._wrong(where, "levels", str(error), "")
        return dimension or "temperature", cast(list[Level], found)

    def _nesting(
        self, name: str, entry: Mapping[str, Any], where: str, earlier: Mapping[str, Factor]
    ) -> tuple[str, tuple[Level, ...]]:
        table = entry.get("exists_for")
        if table is None:
            if (
                name == "delay"
                and "cold_route" in earlier
                and "none" in earlier["cold_route"].levels
            ):
                self._wrong(
                    where,
                    "exists_for",
                    "a delay has no meaning without a cold step",
                    'Write exists_for = { cold_route = ["freezer"] } with the cold routes only.',
                )
            return "", ()
        if not isinstance(table, Mapping) or len(table) != 1:
            self._wrong(
                where,
                "exists_for",
                "needs one factor and its levels",
                'Write exists_for = { cold_route = ["freezer"] }.',
            )
            return "", ()
        parent, levels = next(iter(table.items()))
        if parent not in earlier:
            self._wrong(
                where,
                "exists_for",
                f"'{parent}' is not a factor declared above {name}",
                _nearest(parent, earlier),
            )
            return "", ()
        chosen = tuple(self._level(earlier[parent], x, where, "exists_for") for x in levels)
        if name == "delay" and parent == "cold_route" and "none" in chosen:
            self._wrong(
                where,
                "exists_for",
                "a delay has no meaning for route 'none'",
                "Remove none from the list.",
            )
        return parent, tuple(level for level in chosen if level is not None)

    def _responses(self, factors: tuple[Factor, ...]) -> tuple[Response, ...]:
        table = self._table("responses")
        if not table:
            self._wrong(
                "",
                "responses",
                "the study measures nothing",
                "Add a table such as [responses.hardness].",
            )
        responses = []
        for name, entry in table.items():
            where = f"responses.{name}"
            if not _NAME.fullmatch(name) or not isinstance(entry, Mapping):
                self._wrong(
                    where, "", f"'{name}' cannot be the name of a response", "Use a-z, 0-9, _."
                )
                continue
            self._known_keys(entry, _RESPONSE_KEYS, where)
            unit = str(entry.get("unit", ""))
            if "unit" not in entry:
                self._wrong(
                    where,
                    "",
                    f"{name} has no unit",
                    'Write unit = "HRC", or unit = "" when it has none.',
                )
            usual = {"HRC": "hardness", "J": "impact"}.get(unit, "other")
            scale = self._choice(where, "scale", entry.get("scale", "linear"), ("linear", "log"))
            kinds = ("hardness", "impact", "other")
            kind = self._choice(where, "kind", entry.get("kind", usual), kinds)
            margin = self._margin(entry.get("equivalence_margin"), unit, scale, where)
            combinations = entry.get("combinations", "pairs")
            ending = re.sub(r"[^a-z0-9]", "", unit.lower())
            responses.append(
                Response(
                    name=f"{name}_{ending}" if ending else name,
                    quantity=str(entry.get("quantity", name.replace("_", " "))),
                    unit=unit,
                    kind=cast(ResponseKind, kind),
                    readings=self._count(entry, "readings", where, default=1, least=1),
                    coupons=self._count(entry, "coupons", where, default=0, least=0),
                    scale=cast(Scale, scale),
                    equivalence_margin=margin,
                    combinations=self._combinations(combinations, factors, where),
                )
            )
        return tuple(responses)

    def _combinations(
        self, raw: Any, factors: tuple[Factor, ...], where: str
    ) -> tuple[str, ...] | None:
        """Combinations of factors to analyse; None for all pairs."""
        if raw == "pairs":
            return None
        if raw == "none":
            return ()
        names = [factor.name for factor in factors]
        if not isinstance(raw, list):
            self._wrong(
                where,
                "combinations",
                f"combinations is {raw!r}",
                'Write "pairs", "none" or a list such as ["temper:cold_route"].',
            )
            return None
        for combination in raw:
            for part in str(combination).split(":"):
                if part not in names:
                    self._wrong(
                        where, "combinations", f"'{part}' is not a factor", _nearest(part, names)
                    )
        return tuple(str(combination) for combination in raw)

    def _margin(self, raw: Any, unit: str, scale: str, where: str) -> float | None:
        if raw is None:
            return None
        ending = "%" if scale == "log" else unit
        text = str(raw).strip()
        example = (
            'Write equivalence_margin = "15 %".'
            if scale == "log"
            else f'Write equivalence_margin = "0.5 {unit}".'
        )
        if ending and not text.endswith(ending):
            self._wrong(where, "equivalence_margin", f"{raw!r} has no unit '{ending}'", example)
            return None
        try:
            value = parse_number(text.removesuffix(ending).strip())
        except UnitError as error:
            self._wrong(where, "equivalence_margin", str(error), example)
            return None
        if value <= 0:
            self._wrong(where, "equivalence_margin", f"{raw!r} is not above zero", example)
            return None
        return value / 100 if scale == "log" else value

    def _questions(
        self, factors: tuple[Factor, ...], responses: tuple[Response, ...]
    ) -> tuple[Question, ...]:
        by_name = {factor.name: factor for factor in factors}
        questions: list[Question] = []
        for number, entry in enumerate(self.content.get("questions", ()), start=1):
            where = f"questions.{number}"
            self._known_keys(entry, _QUESTION_KEYS, where)
            response = self._question_response(entry, responses, where)
            key = str(entry.get("key", f"question_{number}"))
            if any(key == other.key for other in questions):
                self._wrong(
                    where, "key", f"key '{key}' is used twice", "Give each question its own key."
                )
            words = str(entry.get("words", ""))
            if not words:
                self._wrong(
                    where, "words", "a question has no words", 'Write words = "Is dry ice harder?".'
                )
            compare, term = entry.get("compare"), str(entry.get("term", ""))
            if (compare is None) == (not term):
                self._wrong(
                    where,
                    "",
                    "a question needs either compare or term",
                    'Such as compare = { cold_route = ["dry_ice", "none"] }.',
                )
                continue
            at = self._level_table(entry.get("at", {}), by_name, where, "at")
            change = self._pair_table(entry.get("change", {}), by_name, where, "change")
            if term:
                for part in term.split(":"):
                    if part not in by_name:
                        self._wrong(
                            where, "term", f"'{part}' is not a factor", _nearest(part, by_name)
                        )
                questions.append(Question(key, words, response, term=term))
                continue
            pairs = self._pair_table(compare, by_name, where, "compare")
            if len(pairs) != 1:
                if not self.problems:
                    self._wrong(
                        where,
                        "compare",
                        "needs one factor with two levels",
                        'Such as { temper = ["175 degC", "150 degC"] }.',
                    )
                continue
            name, (level, against) = next(iter(pairs.items()))
            questions.append(Question(key, words, response, name, level, against, at, change))
        return tuple(questions)

    def _question_response(
        self, entry: Mapping[str, Any], responses: tuple[Response, ...], where: str
    ) -> str:
        wanted = str(entry.get("response", ""))
        names = [str(name) for name in self._table("responses")]
        for name, response in zip(names, responses, strict=False):
            if wanted in (response.name, name):
                return response.name
        self._wrong(where, "response", f"'{wanted}' is not a response", _nearest(wanted, names))
        return wanted

    def _level_table(
        self, table: Any, factors: Mapping[str, Factor], where: str, key: str
    ) -> dict[str, Level]:
        found: dict[str, Level] = {}
        for name, raw in dict(table).items():
            if name not in factors:
                self._wrong(where, key, f"'{name}' is not a factor", _nearest(name, factors))
                continue
            level = self._level(factors[name], raw, where, key)
            if level is not None:
                found[name] = level
        return found

    def _pair_table(
        self, table: Any, factors: Mapping[str, Factor], where: str, key: str
    ) -> dict[str, tuple[Level, Level]]:
        found: dict[str, tuple[Level, Level]] = {}
        for name, raw in dict(table).items():
            if not isinstance(raw, list) or len(raw) != 2:
                self._wrong(
                    where,
                    key,
                    f"{name} needs two levels",
                    f'Write {key} = {{ {name} = ["this", "against that"] }}.',
                )
                continue
            first = self._level_table({name: raw[0]}, factors, where, key)
            second = self._level_table({name: raw[1]}, factors, where, key)
            if first and second:
                found[name] = (first[name], second[name])
        return found

    def _level(self, factor: Factor, raw: Any, where: str, key: str) -> Level | None:
        level: Level | None = str(raw)
        if factor.is_numeric:
            try:
                unit = factor.unit.replace("minutes", "min")
                level = round(parse_quantity(str(raw), factor.dimension, unit=unit), 9)
            except UnitError as error:
                self._wrong(where, key, str(error), "")
                return None
        if level not in factor.levels:
            words = [str(x) for x in factor.levels]
            self._wrong(
                where, key, f"'{raw}' is not a level of {factor.name}", _nearest(str(raw), words)
            )
            return None
        return level

    def _layout(self) -> Layout:
        table, where = self._table("layout"), "layout"
        self._known_keys(table, _LAYOUT_KEYS, where)
        for key in ("furnace_loads", "coupons_per_load"):
            if key not in table:
                self._wrong(
                    "", "layout", f"layout has no {key}", f"Write {key} = 8 below [layout]."
                )
        counts = {
            key: self._count(
                table, key, where, default=0, least=1 if key in _LAYOUT_KEYS[:2] else 0
            )
            for key in _LAYOUT_KEYS
        }
        layout = Layout(**counts)
        coupons = layout.furnace_loads * layout.coupons_per_load
        if layout.bars and layout.bars * layout.coupons_per_bar < coupons:
            self._wrong(
                where,
                "bars",
                f"{layout.bars} bars of {layout.coupons_per_bar} give too few coupons",
                f"{coupons} are needed: add bars.",
            )
        return layout

    def _held_constant(self, factors: tuple[Factor, ...]) -> dict[str, str]:
        table, where = self._table("held_constant"), "held_constant"
        varied = {name for factor in factors for name in (factor.name, factor.column)}
        held: dict[str, str] = {}
        for key, raw in table.items():
            example = _HELD_TIMES.get(key, "2")
            if not _NAME.fullmatch(key):
                self._wrong(where, key, f"'{key}' is not a short name", "Use a-z, 0-9 and _ only.")
            elif key in varied:
                self._wrong(
                    where,
                    key,
                    f"'{key}' is a factor, so it is not held constant",
                    "Delete it here, or delete the factor.",
                )
            elif isinstance(raw, bool) or not isinstance(raw, str | int | float):
                self._wrong(where, key, f"{key} is {raw!r}", f'Write {key} = "{example}".')
            elif not str(raw).strip():
                self._wrong(where, key, f"{key} is empty", f'Write {key} = "{example}".')
            elif key in _HELD_TIMES and re.fullmatch(r"[\d.,\s]*", str(raw)):
                self._wrong(
                    where, key, f"{key} is {raw!r}, without a unit", f'Write {key} = "{example}".'
                )
            else:
                held[key] = " ".join(str(raw).split())
        return held

    # --- small readers ----------------------------------------------------------------------------

    def _table(self, key: str) -> Mapping[str, Any]:
        table = self.content.get(key, {})
        if not isinstance(table, Mapping):
            self._wrong("", key, f"{key} is not a table", f"Write [{key}] and its entries below.")
            return {}
        return table

    def _text(self, key: str, *, default: str | None = None) -> str:
        value = self.content.get(key, default)
        if not isinstance(value, str) or not value.strip():
            self._wrong("", key, f"{key} is missing", f'Write {key} = "..." in words.')
            return ""
        return value.strip()

    def _confidence(self) -> float:
        value = self.content.get("confidence", 0.95)
        if not isinstance(value, int | float) or not 0.5 <= value < 1:
            self._wrong(
                "", "confidence", f"confidence is {value!r}", "Write a number such as 0.95."
            )
            return 0.95
        return float(value)

    def _multiplicity(self) -> str:
        value = self.content.get("multiplicity", "each")
        return self._choice("", "multiplicity", value, ("each", "together"))

    def _count(
        self, table: Mapping[str, Any], key: str, where: str, *, default: int, least: int
    ) -> int:
        value = table.get(key, default if key not in table else None)
        if key in table and (
            not isinstance(value, int) or isinstance(value, bool) or value < least
        ):
            self._wrong(
                where, key, f"{key} is {value!r}", f"Write a whole number, {least} or more."
            )
            return max(default, least)
        return int(cast(int, value))

    def _choice(self, where: str, key: str, value: Any, choices: Iterable[str]) -> str:
        choices = tuple(choices)
        if value not in choices:
            self._wrong(
                where,
                key,
                f"'{value}' is not a {key.replace('_', ' ')}",
                _nearest(str(value), choices),
            )
            return choices[0]
        return str(value)

    def _known_keys(self, table: Mapping[str, Any], known: Iterable[str], where: str) -> None:
        known = tuple(known)
        for key in table:
            if key not in known:
                self._wrong(where, key, f"'{key}' is not known here", _nearest(key, known))

    def _wrong(self, table: str, key: str, problem: str, remedy: str) -> None:
        line = self.lines.get((table, key)) or self.lines.get((table, "")) or 0
        where = f"{self.path.name} line {line}" if line else self.path.name
        self.problems.append(Problem(where, problem, remedy))


def _nearest(text: str, names: Iterable[str]) -> str:
    """Remedy that names the nearest known name, or all of them."""
    names = [str(name) for name in names]
    close = difflib.get_close_matches(text, names, n=1, cutoff=0.6)
    if close:
        return f"Did you mean {close[0]}?"
    return f"Known: {', '.join(names)}." if names else ""


def _dimension_of(unit: str) -> str | None:
    for dimension in ("temperature", "time", "length"):
        try:
            unit_named(unit, dimension)
        except UnitError:
            continue
        return dimension
    return None


def _line_numbers(text: str) -> dict[tuple[str, str], int]:
    """Line of each key: ``(table, key)`` and ``(table, "")`` for the table itself."""
    lines: dict[tuple[str, str], int] = {}
    table, counts = "", dict[str, int]()
    for number, line in enumerate(text.splitlines(), start=1):
        if match := re.match(r"^\s*\[\[\s*([\w.]+)\s*\]\]", line):
            counts[match[1]] = counts.get(match[1], 0) + 1
            table = f"{match[1]}.{counts[match[1]]}"
            lines.setdefault((table, ""), number)
        elif match := re.match(r"^\s*\[\s*([\w.]+)\s*\]", line):
            table = match[1]
            lines.setdefault((table, ""), number)
            lines.setdefault(("", table.split(".")[0]), number)
        elif match := re.match(r"^\s*([\w-]+)\s*=", line):
            lines.setdefault((table, match[1]), number)
    return lines
