"""Whether planned austenitize levels can see the hardness peak that is expected of the steel."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from quenchbook.metallurgy.hardness_peak import PeakRegion
from quenchbook.units import capital, interval_text, listed, number_text, with_unit


def route_phrase(route: str, words: Mapping[str, str]) -> str:
    """Route as part of a sentence: ``without a cold step``, ``after dry ice``."""
    if route == "none":
        return "without a cold step"
    return f"after {'the ' if words[route] == 'freezer' else ''}{words[route]}"


def level_sentences(
    steel: str,
    levels: Sequence[float],
    limits_c: tuple[float, float],
    peaks: Mapping[str, PeakRegion],
    words: Mapping[str, str],
) -> tuple[str, ...]:
    """What the levels miss, a sentence each.

    Parameters
    ----------
    steel : str
        Steel in print.
    levels : sequence of float
        Planned austenitize levels [degC]; none gives no sentence.
    limits_c : tuple of float
        Coolest and hottest temperature that was computed [degC].
    peaks : mapping of route to PeakRegion
    words : mapping of route to str
    """
    if not levels:
        return ()
    sentences = []
    low, high = limits_c
    if outside := [level for level in levels if not low <= level <= high]:
        verb = "lies" if len(outside) == 1 else "lie"
        sentences.append(
            f"{listed([degrees(level) for level in outside])} {verb} outside the "
            f"{with_unit(interval_text(low, high, 0), 'degC')} that were computed for {steel}: "
            "nothing is known there."
        )
    unknown = [region for region in peaks.values() if not region.known]
    if unknown:
        sentences.append(
            f"No peak region can be told for {steel}: {unknown[0].reason}. The levels cannot be "
            "checked against it."
        )
    for route, region in peaks.items():
        if sentence := _missed(route_phrase(route, words), region, min(levels), max(levels)):
            sentences.append(sentence)
    return tuple(sentences)


def _missed(phrase: str, region: PeakRegion, coolest: float, hottest: float) -> str:
    """What levels from `coolest` to `hottest` miss of one region; empty when they hold it."""
    if region.low_c is None or region.high_c is None:
        return ""
    if region.centre_c is None:
        if hottest < region.high_c:
            return (
                f"{capital(phrase)} {region.reason}; the peak is expected at "
                f"{region.range_words()}, and the hottest level is {degrees(hottest)}: the levels "
                "may show hardness still rising, and no peak."
            )
        if coolest >= region.high_c:
            return (
                f"{capital(phrase)} {region.reason}: all levels lie there and may show no "
                "difference."
            )
        return ""
    below, above = region.low_c < coolest, region.high_c > hottest
    if region.centre_c > hottest:
        return (
            f"{capital(phrase)} the hardness peak is expected near {region.words()}, above the "
            f"hottest level, {degrees(hottest)}: the levels may show hardness still rising, and "
            "no peak."
        )
    if region.centre_c < coolest:
        return (
            f"{capital(phrase)} the hardness peak is expected near {region.words()}, below the "
            f"coolest level, {degrees(coolest)}: the levels may show hardness falling, and no "
            "peak."
        )
    if not below and not above:
        return ""
    ends = listed(
        [
            *([f"below the coolest level, {degrees(coolest)}"] if below else []),
            *([f"above the hottest level, {degrees(hottest)}"] if above else []),
        ]
    )
    return (
        f"{capital(phrase)} the region of the hardness peak, {region.range_words()}, goes on "
        f"{ends}: a peak there would not be seen."
    )


def degrees(value: float) -> str:
    """Temperature in print: ``970 °C``, ``954.4 °C``."""
    return with_unit(number_text(value, 0 if float(value).is_integer() else 1), "degC")
