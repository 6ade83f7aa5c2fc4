"""What a study measures, with the noise and the peak that are expected of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final, cast

from quenchbook.errors import UnitError
from quenchbook.reading_files import is_reserved
from quenchbook.study.definition import ExpectedPeak, Noise, Response, ResponseKind, Scale
from quenchbook.study.factors import UNITS, Factor
from quenchbook.study.mistakes import NAME, Mistakes, nearest
from quenchbook.units import (
    convert,
    difference_dimension,
    is_energy,
    parse_number,
    parse_quantity,
    unit_ending,
)

_RESPONSE_KEYS: Final = (
    "unit", "quantity", "kind", "readings", "coupons", "scale", "equivalence_margin",
    "combinations", "noise", "expected_peak",
)  # fmt: skip
_NOISE_UNITS: Final = (*UNITS, "indent")
_LONGEST_NAME: Final = 60
_PEAK_KEYS: Final = ("factor", "at", "lower_by", "away")


def read_responses(
    content: Mapping[str, Any], factors: tuple[Factor, ...], mistakes: Mistakes
) -> tuple[Response, ...]:
    """Every response of the study, in the order of the file."""
    table = mistakes.table(content, "responses")
    if not table:
        mistakes.wrong(
            "",
            "responses",
            "the study measures nothing",
            "Add a table such as [responses.hardness].",
        )
    responses = []
    for name, entry in table.items():
        where = f"responses.{name}"
        file_name = len(name) <= _LONGEST_NAME and not is_reserved(name)  # forms are named after it
        if not NAME.fullmatch(name) or not file_name or not isinstance(entry, Mapping):
            mistakes.wrong(
                where, "", f"'{name:.80}' cannot be the name of a response", "Use a-z, 0-9, _."
            )
            continue
        responses.append(_response(name, entry, factors, where, mistakes))
    return tuple(responses)


def _response(
    name: str,
    entry: Mapping[str, Any],
    factors: tuple[Factor, ...],
    where: str,
    mistakes: Mistakes,
) -> Response:
    mistakes.known_keys(entry, _RESPONSE_KEYS, where)
    unit = mistakes.text(entry, "unit", where)
    if "unit" not in entry:
        mistakes.wrong(
            where,
            "",
            f"{name} has no unit",
            'Write unit = "HRC", or unit = "" when it has none.',
        )
    usual = "hardness" if unit == "HRC" else "impact" if is_energy(unit) else "other"
    scale = mistakes.choice(where, "scale", entry.get("scale", "linear"), ("linear", "log"))
    kinds = ("hardness", "impact", "other")
    kind = mistakes.choice(where, "kind", entry.get("kind", usual), kinds)
    margin = None
    if "equivalence_margin" in entry:
        margin = _Amounts(unit, scale, mistakes).read(entry, "equivalence_margin", where)
    ending = unit_ending(unit)
    return Response(
        name=f"{name}_{ending}" if ending else name,
        quantity=mistakes.text(entry, "quantity", where, default=name.replace("_", " ")),
        unit=unit,
        kind=cast(ResponseKind, kind),
        readings=mistakes.count(entry, "readings", where, default=1, least=1),
        coupons=mistakes.count(entry, "coupons", where, default=0, least=0),
        scale=cast(Scale, scale),
        equivalence_margin=margin,
        combinations=_combinations(entry.get("combinations", "pairs"), factors, where, mistakes),
        noise=_noise(entry, _Amounts(unit, scale, mistakes), where, mistakes),
        expected_peak=_expected_peak(
            entry, factors, _Amounts(unit, scale, mistakes), where, mistakes
        ),
    )


def _combinations(
    raw: Any, factors: tuple[Factor, ...], where: str, mistakes: Mistakes
) -> tuple[str, ...] | None:
    """Combinations of factors to analyse; None for all pairs."""
    if raw == "pairs":
        return None
    if raw == "none":
        return ()
    names = [factor.name for factor in factors]
    if not isinstance(raw, list):
        mistakes.wrong(
            where,
            "combinations",
            f"combinations is {raw!r}",
            'Write "pairs", "none" or a list such as ["temper:cold_route"].',
        )
        return None
    for combination in raw:
        for part in str(combination).split(":"):
            if part not in names:
                mistakes.wrong(
                    where, "combinations", f"'{part}' is not a factor", nearest(part, names)
                )
    return tuple(str(combination) for combination in raw)


class _Amounts:
    """Reads differences and standard deviations of one response, on its analysed scale.

    Those of an energy may be told in another unit of energy.
    """

    def __init__(self, unit: str, scale: str, mistakes: Mistakes) -> None:
        self.scale, self.unit, self.mistakes = scale, unit, mistakes
        self.ending = "%" if scale == "log" else unit
        self.example = "15 %" if scale == "log" else f"0.5 {unit}".strip()

    def read(
        self, table: Mapping[str, Any], key: str, where: str, *, zero: bool = False
    ) -> float | None:
        """Amount of a key in the unit of the response, on the log scale as a share.

        None, and a mistake, if it cannot be read; `zero`: whether it may be zero.
        """
        raw = table.get(key)
        text, example = str(raw).strip(), f'Write {key} = "{self.example}".'
        if (converted := self._in_own_unit(text)) is not None:
            text = f"{converted!r} {self.unit}"
        if self.ending and not text.endswith(self.ending):
            self.mistakes.wrong(where, key, f"{raw!r} has no unit '{self.ending}'", example)
            return None
        try:
            value = parse_number(text.removesuffix(self.ending).strip())
        except UnitError as error:
            self.mistakes.wrong(where, key, str(error), example)
            return None
        if value < 0 or (value == 0 and not zero):
            what = "is below zero" if zero else "is not above zero"
            self.mistakes.wrong(where, key, f"{raw!r} {what}", example)
            return None
        return value / 100 if self.scale == "log" else value

    def _in_own_unit(self, text: str) -> float | None:
        """Amount of an energy told in another unit of it; None for all others."""
        if self.scale == "log" or not is_energy(self.unit) or text.endswith(self.unit):
            return None
        try:
            return parse_quantity(text, "energy") / convert(1.0, self.unit, "energy")
        except UnitError:
            return None


def _noise(
    entry: Mapping[str, Any], amounts: _Amounts, response: str, mistakes: Mistakes
) -> Noise | None:
    """Standard deviations of the units, as far as the file tells them."""
    table, where = mistakes.table(entry, "noise", inside=response), f"{response}.noise"
    mistakes.known_keys(table, (*_NOISE_UNITS, "source"), where)
    units = [unit for unit in _NOISE_UNITS if unit in table]
    read = {unit: amounts.read(table, unit, where, zero=True) for unit in units}
    sds = {unit: sd for unit, sd in read.items() if sd is not None}
    if table and not units:
        mistakes.wrong(
            response,
            "noise",
            "the noise has no standard deviation",
            f'Write coupon = "{amounts.example}".',
        )
    if not sds:
        return None
    return Noise(sds, mistakes.text(table, "source", where, default=mistakes.file))


def _expected_peak(
    entry: Mapping[str, Any],
    factors: tuple[Factor, ...],
    amounts: _Amounts,
    response: str,
    mistakes: Mistakes,
) -> ExpectedPeak | None:
    """Where the highest value is expected, and how sharp it is."""
    table = mistakes.table(entry, "expected_peak", inside=response)
    where = f"{response}.expected_peak"
    if not table:
        return None
    mistakes.known_keys(table, _PEAK_KEYS, where)
    if missing := [key for key in _PEAK_KEYS if key not in table]:
        mistakes.wrong(
            where,
            "",
            f"the expected peak has no {', '.join(missing)}",
            f'Such as factor = "austenitize", at = "1000 degC", lower_by = "{amounts.example}", '
            'away = "40 degC".',
        )
        return None
    numeric = {factor.name: factor for factor in factors if factor.is_numeric}
    name = str(table["factor"])
    if name not in numeric:
        mistakes.wrong(
            where,
            "factor",
            f"'{name}' is not a factor with numbers as levels",
            nearest(name, numeric) or "A peak lies along a temperature, a time or a length.",
        )
        return None
    factor = numeric[name]
    lower_by = amounts.read(table, "lower_by", where)
    place = _quantity(table, "at", factor.dimension, where, mistakes)
    away = _quantity(table, "away", difference_dimension(factor.dimension), where, mistakes)
    if away is not None and away <= 0:
        mistakes.wrong(
            where, "away", f"away is {table['away']!r}", "Write a distance above zero: 40 degC."
        )
        return None
    if lower_by is None or place is None or away is None:
        return None
    return ExpectedPeak(name, place, lower_by, away)


def _quantity(
    table: Mapping[str, Any], key: str, dimension: str, where: str, mistakes: Mistakes
) -> float | None:
    try:
        return round(parse_quantity(str(table[key]), dimension), 9)
    except UnitError as error:
        mistakes.wrong(where, key, f"{key}: {error}", "")
        return None
