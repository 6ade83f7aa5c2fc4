"""Treatments that no coupon may get, and coupons with treatments of their own."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from typing import Any, Final

from quenchbook.study.definition import ExtraCoupons, ForbiddenTreatment
from quenchbook.study.factors import UNITS, Factor, Level
from quenchbook.study.mistakes import NAME, Mistakes
from quenchbook.study.reading_levels import read_level_table

_EXTRA_KEYS: Final = ("key", "words", "coupons", "levels")
_EXAMPLE: Final = 'levels = { austenitize = "1030 degC", cold_route = "none" }'


def read_forbidden(
    content: Mapping[str, Any], factors: tuple[Factor, ...], mistakes: Mistakes
) -> tuple[ForbiddenTreatment, ...]:
    """Treatments that no coupon may get; a level that is left without any is a mistake."""
    by_name = {factor.name: factor for factor in factors}
    found: list[ForbiddenTreatment] = []
    place, before = "", len(mistakes.problems)
    for where, entry in mistakes.tables(content, "forbidden"):
        place = place or where
        mistakes.known_keys(entry, ("levels", "reason"), where)
        raw = entry.get("levels", {})
        levels = read_level_table(raw, by_name, where, "levels", mistakes)
        if isinstance(raw, Mapping) and len(raw) < 2:
            mistakes.wrong(
                where,
                "levels",
                "a forbidden treatment needs levels of two or more factors",
                f"Write {_EXAMPLE}; a level that is never used is no level.",
            )
        found.append(ForbiddenTreatment(levels, mistakes.text(entry, "reason", where)))
    if len(mistakes.problems) == before:
        for factor, level in _without_treatment(factors, found):
            mistakes.wrong(
                place,
                "",
                f"{factor.name} {factor.word(level)} is left without any treatment",
                "Forbid less, or delete the level.",
            )
    return tuple(found)


def _without_treatment(
    factors: tuple[Factor, ...], forbidden: Sequence[ForbiddenTreatment]
) -> list[tuple[Factor, Level]]:
    """Levels that every treatment with them is forbidden for."""
    named = {name for entry in forbidden for name in entry.levels}
    for factor in reversed(factors):  # with all parents of those
        if factor.name in named and factor.nested_in:
            named.add(factor.nested_in)
    own = [factor for factor in factors if factor.name in named]
    used: set[tuple[str, Level]] = set()
    for levels in itertools.product(*(factor.levels for factor in own)):
        treatment = dict(zip((factor.name for factor in own), levels, strict=True))
        for factor in own:  # in the order of the file: a parent before what is nested in it
            if factor.nested_in and treatment.get(factor.nested_in) not in factor.exists_for:
                del treatment[factor.name]
        if not any(entry.levels.items() <= treatment.items() for entry in forbidden):
            used.update(treatment.items())
    return [
        (factor, level)
        for factor in own
        for level in factor.levels
        if (factor.name, level) not in used
    ]


def read_extra_coupons(
    content: Mapping[str, Any],
    factors: tuple[Factor, ...],
    forbidden: Sequence[ForbiddenTreatment],
    mistakes: Mistakes,
) -> tuple[ExtraCoupons, ...]:
    """Coupons beside those the plan chooses."""
    by_name = {factor.name: factor for factor in factors}
    found: list[ExtraCoupons] = []
    for where, entry in mistakes.tables(content, "extra_coupons"):
        mistakes.known_keys(entry, _EXTRA_KEYS, where)
        key = mistakes.text(entry, "key", where)
        if not NAME.fullmatch(key):
            mistakes.wrong(
                where,
                "key" if "key" in entry else "",
                f"'{key}' is not a short name" if key else "extra coupons have no key",
                'Write key = "as_quenched": a-z, 0-9 and _ only.',
            )
        if any(key == other.key for other in found):
            mistakes.wrong(
                where, "key", f"key '{key}' is used twice", "Give extra coupons their own key."
            )
        if "coupons" not in entry:
            mistakes.wrong(where, "", "extra coupons do not say how many", "Write coupons = 4.")
        levels = read_level_table(entry.get("levels", {}), by_name, where, "levels", mistakes)
        for name in levels:
            _check_exists(by_name[name], levels, where, mistakes)
        if factors:
            _check_steps(factors, levels, where, mistakes)
        for own in forbidden:
            if own.levels and own.levels.items() <= levels.items():
                reason = f" ({own.reason})" if own.reason else ""
                mistakes.wrong(
                    where, "levels", f"this treatment is forbidden{reason}", "Change a level."
                )
        found.append(
            ExtraCoupons(
                key=key,
                words=mistakes.text(entry, "words", where).strip() or key.replace("_", " "),
                coupons=mistakes.count(entry, "coupons", where, default=1, least=1),
                levels=levels,
            )
        )
    return tuple(found)


def _check_steps(
    factors: tuple[Factor, ...], levels: Mapping[str, Level], where: str, mistakes: Mistakes
) -> None:
    """References leave out whole steps: a furnace load or a batch has all of its levels, or none.

    A step that is not the first needs the furnace load before it.
    """
    existing = [
        factor
        for factor in factors
        if not factor.nested_in or levels.get(factor.nested_in) in factor.exists_for
    ]
    missing = [factor for factor in existing if factor.name not in levels]
    for unit in UNITS:
        own = [factor for factor in existing if factor.set_for == unit]
        told = [factor.name for factor in own if factor.name in levels]
        left = [factor.name for factor in own if factor.name not in levels]
        if unit != "coupon" and told and left:
            mistakes.wrong(
                where,
                "levels",
                f"{' and '.join(told)} is told but not {' and '.join(left)}, which the same "
                f"{unit.replace('_', ' ')} has",
                f"Write a level for {' and '.join(left)} too, or leave the whole step out.",
            )
    if missing and all(factor.set_for == "bar" for factor in missing):
        mistakes.wrong(
            where,
            "levels",
            f"every factor has a level but {' and '.join(factor.name for factor in missing)}, "
            "which every coupon has from its bar",
            "Write its level: these coupons are a treatment like others.",
        )
    furnace = [factor.name for factor in existing if factor.set_for == "furnace_load"]
    later = [
        factor.name
        for factor in existing
        if factor.set_for in ("cold_batch", "temper_batch") and factor.name in levels
    ]
    if furnace and later and not any(name in levels for name in furnace):
        mistakes.wrong(
            where,
            "levels",
            f"{later[0]} is told, but not which furnace load comes before it",
            f"Write a level for {' and '.join(furnace)} too.",
        )


def _check_exists(
    factor: Factor, levels: Mapping[str, Level], where: str, mistakes: Mistakes
) -> None:
    """A level of a nested factor has a meaning only with its parent."""
    if not factor.nested_in or levels.get(factor.nested_in) in factor.exists_for:
        return
    parent = factor.nested_in
    told = f"{parent} {levels[parent]}" if parent in levels else f"no {parent}"
    mistakes.wrong(
        where,
        "levels",
        f"{factor.name} has no meaning with {told}",
        f"Leave {factor.name} out, or write a {parent} that it exists for: "
        f"{', '.join(map(str, factor.exists_for))}.",
    )
