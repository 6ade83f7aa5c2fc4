"""What a study varies, as the study file says it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any, Final, cast

from quenchbook.errors import UnitError
from quenchbook.study.factors import (
    COLUMN_ENDINGS,
    ROUTE_WORDS,
    UNITS,
    Factor,
    Level,
    Shape,
    Unit,
    perhaps_meant,
    route_key,
)
from quenchbook.study.mistakes import NAME, Mistakes, nearest, shown
from quenchbook.study.plausible_levels import check_temperatures
from quenchbook.study.reading_levels import (
    MOST_LEVELS,
    read_grid,
    read_level,
    read_levels,
    written_unit,
)

_FACTOR_KEYS: Final = (
    "title", "levels", "unit", "set_for", "shape", "exists_for", "words", "repeats",
)  # fmt: skip
_NO_COLD: Final = re.compile(r"no|(?:no|without)[\s_-]+(?:a[\s_-]+)?cold(?:[\s_-]+step)?", re.I)
_MOST_FACTORS: Final = 30
_RESERVED: Final = (
    "coupon", "furnace_load", "cold_batch", "temper_batch", "day", "load_place", "bar",
    "bar_position", "indent", "value", "reading", "reference",
)  # fmt: skip


def read_factors(content: Mapping[str, Any], mistakes: Mistakes) -> tuple[Factor, ...]:
    """Every factor of the study, in the order of the file."""
    table = mistakes.table(content, "factors")
    if not table:
        mistakes.wrong(
            "", "factors", "the study varies nothing", "Add a table such as [factors.temper]."
        )
    if len(table) > _MOST_FACTORS:
        mistakes.wrong(
            "", "factors", f"the study varies {len(table)} things", f"At most {_MOST_FACTORS}."
        )
        return ()
    factors: dict[str, Factor] = {}
    for name, entry in table.items():
        where = f"factors.{name}"
        if not NAME.fullmatch(name) or name in _RESERVED:
            mistakes.wrong(
                where,
                "",
                f"'{name}' cannot be the name of a factor",
                "Use another name of a-z, 0-9, _.",
            )
            continue
        if not isinstance(entry, Mapping):
            mistakes.wrong(
                "factors",
                name,
                f"{name} is not a table",
                f"Write [factors.{name}] and its levels below.",
            )
            continue
        mistakes.known_keys(entry, _FACTOR_KEYS, where)
        factor = _factor(name, entry, where, factors, mistakes)
        if factor is not None:
            factors[name] = factor
    return tuple(factors.values())


def _factor(
    name: str,
    entry: Mapping[str, Any],
    where: str,
    earlier: Mapping[str, Factor],
    mistakes: Mistakes,
) -> Factor | None:
    raw, unit = entry.get("levels"), entry.get("unit")
    if isinstance(raw, Mapping):
        dimension, levels = read_grid(name, raw, unit, where, mistakes)
        if not levels:
            return None
    elif not isinstance(raw, list) or len(raw) < 2:
        mistakes.wrong(
            where,
            "levels",
            f"{name} has fewer than two levels",
            'Write levels = ["150 degC", "175 degC"], or, if it is the same for all, delete the '
            f'factor and write {name} = "..." below [held_constant].',
        )
        return None
    elif len(raw) > MOST_LEVELS:
        mistakes.wrong(
            where, "levels", f"{name} has {len(raw)} levels", f"Write at most {MOST_LEVELS}."
        )
        return None
    else:
        dimension, levels = read_levels(name, raw, unit, where, mistakes)
        if len(set(levels)) < len(raw) and len(levels) == len(raw):
            mistakes.wrong(
                where, "levels", f"a level of {name} is written twice", "Each level once."
            )
    if dimension == "temperature":
        _check_temperatures(name, raw, unit, levels, where, mistakes)
    set_for = mistakes.choice(where, "set_for", entry.get("set_for", "coupon"), UNITS)
    shape = mistakes.choice(
        where, "shape", entry.get("shape", "levels"), ("levels", "linear", "quadratic")
    )
    if shape != "levels" and not dimension:
        mistakes.wrong(
            where,
            "shape",
            f"{name} has named levels, so it cannot be {shape}",
            'Write shape = "levels".',
        )
    if shape == "quadratic" and len(levels) < 3:
        mistakes.wrong(
            where,
            "shape",
            f"{name} has {len(levels)} levels; a quadratic needs three",
            "Add a level.",
        )
    parent, exists_for = _nesting(name, entry, where, earlier, mistakes)
    _check_unit_of_nested(name, set_for, earlier.get(parent), where, mistakes)
    own_words = mistakes.table(entry, "words", inside=where)
    words = {key: mistakes.text(own_words, key, f"{where}.words") for key in own_words}
    if name == "cold_route":
        words = {**ROUTE_WORDS, **words}
        _check_no_cold_step(levels, where, mistakes)
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
        label=mistakes.text(entry, "title", where),
        repeats=_repeats(name, entry.get("repeats"), len(levels), where, mistakes),
        declared_unit=_declared_unit(raw, unit) if dimension == "temperature" else "",
    )


def _check_no_cold_step(levels: list[Level], where: str, mistakes: Mistakes) -> None:
    """Refuse ``None`` or ``no cold step``: such coupons would get a cold step of that name."""
    for level in levels:
        if level != "none" and (route_key(level) == "none" or _NO_COLD.fullmatch(str(level))):
            mistakes.wrong(
                where,
                "levels",
                f"the cold route '{level}' seems to mean no cold step",
                "Write none: only by this name coupons get no cold step.",
            )


def near_routes(factors: Sequence[Factor]) -> list[str]:
    """Cold routes that are no coolant known here but may mean one: a sentence each."""
    return [
        f"the cold route '{level}' is not a coolant known here, so its amount, the air of the room "
        f"and its cost are not told. Did you mean {perhaps_meant(level)}?"
        for factor in factors
        if factor.name == "cold_route"
        for level in factor.levels
        if perhaps_meant(level)
    ]


def _declared_unit(raw: Any, unit: Any) -> str:
    """Unit that all levels are written with; empty where it is that of storage."""
    written = [raw.get("lowest"), raw.get("highest")] if isinstance(raw, Mapping) else raw
    try:
        units = {written_unit(own, unit) for own in written}
    except UnitError:  # told as a mistake already
        return ""
    return "degF" if units == {"degF"} else ""


def _check_temperatures(
    name: str, raw: Any, unit: Any, levels: list[Level], where: str, mistakes: Mistakes
) -> None:
    """Ask about levels that no steel is treated at; of a grid only about its ends."""
    if isinstance(raw, Mapping):
        raw, levels = [raw["lowest"], raw["highest"]], [levels[0], levels[-1]]
    if len(levels) < len(raw):
        return  # a level that cannot be read is told already
    units = [written_unit(own, unit) for own in raw]
    celsius = [float(level) for level in levels]
    check_temperatures(name, zip(units, celsius, strict=True), where, mistakes)


def _repeats(name: str, raw: Any, levels: int, where: str, mistakes: Mistakes) -> tuple[int, ...]:
    """How often each level is used, relative to the others; empty where all are used equally."""
    if raw is None:
        return ()
    whole = isinstance(raw, list) and all(
        isinstance(own, int) and not isinstance(own, bool) and own >= 1 for own in raw
    )
    if not whole or len(raw) != levels:
        mistakes.wrong(
            where,
            "repeats",
            f"repeats of {name} is {raw!r}",
            f"Write {levels} whole numbers, 1 or more, one for each level: "
            f"repeats = {[1] * (levels - 1) + [2]}.",
        )
        return ()
    return tuple(raw) if len(set(raw)) > 1 else ()


def _check_unit_of_nested(
    name: str, set_for: str, parent: Factor | None, where: str, mistakes: Mistakes
) -> None:
    """A load or a bar has one level, so it cannot hang on what differs inside it."""
    if parent is None or set_for not in ("furnace_load", "bar") or parent.set_for == set_for:
        return
    unit, other = set_for.replace("_", " "), parent.set_for.replace("_", " ")
    mistakes.wrong(
        where,
        "exists_for",
        f"{name} is set for each {unit}, but {parent.name} is set for each {other}",
        f'Write set_for = "{parent.set_for}", or delete exists_for.',
    )


def _nesting(
    name: str,
    entry: Mapping[str, Any],
    where: str,
    earlier: Mapping[str, Factor],
    mistakes: Mistakes,
) -> tuple[str, tuple[Level, ...]]:
    table = entry.get("exists_for")
    if table is None:
        if name == "delay" and "cold_route" in earlier and "none" in earlier["cold_route"].levels:
            mistakes.wrong(
                where,
                "exists_for",
                "a delay has no meaning without a cold step",
                'Write exists_for = { cold_route = ["freezer"] } with the cold routes only.',
            )
        return "", ()
    if not isinstance(table, Mapping) or len(table) != 1:
        mistakes.wrong(
            where,
            "exists_for",
            "needs one factor and its levels",
            'Write exists_for = { cold_route = ["freezer"] }.',
        )
        return "", ()
    parent, levels = next(iter(table.items()))
    if parent not in earlier:
        mistakes.wrong(
            where,
            "exists_for",
            f"'{parent}' is not a factor declared above {name}",
            nearest(parent, earlier),
        )
        return "", ()
    if not isinstance(levels, list) or not levels:
        mistakes.wrong(
            where,
            "exists_for",
            f"{name} exists for no level of {parent}: {shown(levels)} is no list of levels",
            'Write exists_for = { cold_route = ["freezer"] }.',
        )
        return "", ()
    chosen = tuple(read_level(earlier[parent], x, where, "exists_for", mistakes) for x in levels)
    if name == "delay" and parent == "cold_route" and "none" in chosen:
        mistakes.wrong(
            where,
            "exists_for",
            "a delay has no meaning for route 'none'",
            "Remove none from the list.",
        )
    there = tuple(level for level in chosen if level is not None)
    return (parent, there) if there else ("", ())
