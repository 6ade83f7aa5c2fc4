"""Levels as people write them: lists, grids, and levels that are named elsewhere in the file."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final, cast

from quenchbook.errors import UnitError
from quenchbook.study.factors import Factor, Level
from quenchbook.study.mistakes import Mistakes, nearest, shown
from quenchbook.units import (
    STORAGE_UNITS,
    convert,
    converted,
    difference_dimension,
    parse_quantity,
    unit_named,
)

_GRID_KEYS: Final = ("lowest", "highest", "step")
MOST_LEVELS: Final = 200  # a finer grid is a slip of the step
_NUMBER: Final = re.compile(r"^\s*[-+−]?[\d.,]+\s*(.*)$")


def read_levels(
    name: str, raw: list[Any], unit: Any, where: str, mistakes: Mistakes
) -> tuple[str, list[Level]]:
    """Dimension (empty for named levels) and the levels in the storage unit."""
    numeric = [isinstance(x, int | float) or re.match(r"^\s*[-+−]?[\d.,]", str(x)) for x in raw]
    if not any(numeric):
        levels = [str(x) for x in raw]
        for level in levels:
            if not re.fullmatch(r"\w[\w .+-]*", level):
                mistakes.wrong(
                    where,
                    "levels",
                    f"'{level}' cannot be a level name",
                    "Use letters, digits, _ . + -.",
                )
        return "", list(levels)
    if not all(numeric):
        mistakes.wrong(
            where, "levels", f"{name} mixes numbers and names", "Use one kind for all levels."
        )
        return "", [str(x) for x in raw]
    dimension, found = "", []
    for x in raw:
        match = _NUMBER.match(str(x))
        written = (match[1].strip() if match else "") or (str(unit) if unit else "")
        known = dimension_of(written)
        if not written or known is None:
            what = (
                f"{name} level {x!r} has no unit"
                if not written
                else f"'{written}' is not a unit of a level"
            )
            mistakes.wrong(
                where,
                "levels",
                what,
                f'Write "{str(x).split()[0]} degC" (degF, min, h, day, mm are known too).',
            )
            continue
        if dimension and known != dimension:
            mistakes.wrong(
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
            mistakes.wrong(where, "levels", str(error), "")
    if dimension == "count":
        _check_counts(name, found, where, mistakes)
    return dimension or "temperature", cast(list[Level], found)


def _check_counts(name: str, found: list[float], where: str, mistakes: Mistakes) -> None:
    for count in found:
        if count < 0 or not float(count).is_integer():
            mistakes.wrong(
                where, "levels", f"{name} is counted, but {count:g} is no whole number of times",
                'Write levels = [1, 2] and unit = "times".',
            )  # fmt: skip


def read_grid(
    name: str, table: Mapping[str, Any], unit: Any, where: str, mistakes: Mistakes
) -> tuple[str, list[Level]]:
    """Levels from lowest to highest in equal steps; none, and a mistake, if they do not fit."""
    example = 'Write levels = { lowest = "940 degC", highest = "1030 degC", step = "10 degC" }.'
    mistakes.known_keys(table, _GRID_KEYS, where)
    if missing := [key for key in _GRID_KEYS if key not in table]:
        mistakes.wrong(where, "levels", f"the grid of {name} has no {', '.join(missing)}", example)
        return "", []
    before = len(mistakes.problems)
    ends = [table["lowest"], table["highest"]]
    dimension, levels = read_levels(name, ends, unit, where, mistakes)
    if len(mistakes.problems) > before:
        return "", []
    if not dimension:
        mistakes.wrong(where, "levels", f"the grid of {name} is made of names", example)
        return "", []
    try:
        own = difference_dimension(dimension)
        step = parse_quantity(str(table["step"]), own, unit=str(unit) if unit else None)
    except UnitError as error:
        mistakes.wrong(where, "levels", f"step of {name}: {error}", example)
        return "", []
    lowest, highest = (float(level) for level in levels)
    if step <= 0 or highest <= lowest:
        what = "a step that is not above zero" if step <= 0 else "a highest level that is not above"
        what += "" if step <= 0 else " the lowest"
        mistakes.wrong(where, "levels", f"the grid of {name} has {what}", example)
        return "", []
    steps = round((highest - lowest) / step)
    if abs(lowest + steps * step - highest) > 1e-6 * step:
        mistakes.wrong(
            where,
            "levels",
            f"{name}: {table['highest']} is not reached from {table['lowest']} by whole steps of "
            f"{table['step']}",
            f"{(highest - lowest) / step:.4g} steps would be needed: change the step or an end.",
        )
        return "", []
    if steps >= MOST_LEVELS:
        mistakes.wrong(
            where, "levels", f"the grid of {name} has {steps + 1} levels",
            f"Use a larger step: at most {MOST_LEVELS} levels.",
        )  # fmt: skip
        return "", []
    grid = [round(lowest + number * step, 9) for number in range(steps)]
    return dimension, [*grid, highest]


def read_level(factor: Factor, raw: Any, where: str, key: str, mistakes: Mistakes) -> Level | None:
    """Declared level that a text means; None, and a mistake, if there is none."""
    level: Level | None = str(raw)
    if factor.is_numeric:
        try:
            unit = factor.unit.replace("minutes", "min")
            level = round(parse_quantity(str(raw), factor.dimension, unit=unit), 9)
        except UnitError as error:
            mistakes.wrong(where, key, str(error), "")
            return None
    if level not in factor.levels:
        words = [_as_declared(factor, own) for own in factor.levels]
        mistakes.wrong(
            where, key, f"'{raw}' is not a level of {factor.name}", nearest(str(raw), words)
        )
        return None
    return level


def read_level_table(
    table: Any, factors: Mapping[str, Factor], where: str, key: str, mistakes: Mistakes
) -> dict[str, Level]:
    """Factor names to declared levels: ``{ cold_route = "none" }``."""
    if not isinstance(table, Mapping):
        mistakes.wrong(
            where, key, f"{key} is {shown(table)}", f'Write {key} = {{ cold_route = "none" }}.'
        )
        return {}
    found: dict[str, Level] = {}
    for name, raw in table.items():
        if name not in factors:
            mistakes.wrong(where, key, f"'{name}' is not a factor", nearest(name, factors))
            continue
        level = read_level(factors[name], raw, where, key, mistakes)
        if level is not None:
            found[name] = level
    return found


def read_pair_table(
    table: Any, factors: Mapping[str, Factor], where: str, key: str, mistakes: Mistakes
) -> dict[str, tuple[Level, Level]]:
    """Factor names to two declared levels: ``{ temper = ["175 degC", "150 degC"] }``."""
    if not isinstance(table, Mapping):
        mistakes.wrong(
            where,
            key,
            f"{key} is {shown(table)}, not a factor with two of its levels",
            f'Write {key} = {{ cold_route = ["dry_ice", "none"] }}.',
        )
        return {}
    found: dict[str, tuple[Level, Level]] = {}
    for name, raw in table.items():
        if not isinstance(raw, list) or len(raw) != 2:
            mistakes.wrong(
                where,
                key,
                f"{name} needs two levels",
                f'Write {key} = {{ {name} = ["this", "against that"] }}.',
            )
            continue
        first = read_level_table({name: raw[0]}, factors, where, key, mistakes)
        second = read_level_table({name: raw[1]}, factors, where, key, mistakes)
        if first and second:
            found[name] = (first[name], second[name])
    return found


def written_unit(raw: Any, unit: Any) -> str:
    """Unit of a temperature as it was written, ``degF``; ``degC`` where it has none."""
    match = _NUMBER.match(str(raw))
    written = (match[1].strip() if match else "") or str(unit or "")
    return unit_named(written, "temperature") if written else STORAGE_UNITS["temperature"]


def dimension_of(unit: str) -> str | None:
    """Dimension of a unit that levels can have; None for another unit."""
    for dimension in ("temperature", "time", "length", "count"):
        try:
            unit_named(unit, dimension)
        except UnitError:
            continue
        return dimension
    return None


def _as_declared(factor: Factor, level: Level) -> str:
    """Level as a study file may write it, in the unit that this one writes."""
    if isinstance(level, str):
        return level
    unit = factor.declared_unit or factor.unit.replace("minutes", "min")
    if factor.declared_unit and factor.dimension:
        level = round(converted(level, factor.unit, unit, factor.dimension), 6)
    return f"{level:.10g} {unit}"
