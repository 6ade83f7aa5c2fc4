"""Delays as the steel sees them: from the quench until it is cold, for each route.

A delay of 0 min has no logarithm, and is not what happens: the coupons are carried to the cold
and take a while to get there. The time until they are as cold as the bath is counted as delay.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from quenchbook.errors import EstimabilityError
from quenchbook.study.definition import Study
from quenchbook.study.factors import Factor, Level, route_key
from quenchbook.study.hours import WorkHours
from quenchbook.study.prices import ASSUMED
from quenchbook.study.reading_hours import hours_of
from quenchbook.study.terms import Array
from quenchbook.units import listed, minutes_text

ANY_ROUTE: Final = ""
"""Key of the delays where they are not set inside routes."""

_TOLD: Final = "told in [timetable]"


@dataclass(frozen=True)
class EffectiveDelays:
    """Times along which a change for each decade is asked.

    Attributes
    ----------
    factor : Factor
        The delay, or another factor that is a time.
    minutes : mapping of route to tuple of float
        Time until cold for each level of `factor` [min], in the order of its levels. One key,
        `ANY_ROUTE`, where the factor is not set inside routes.
    notes : tuple of str
        What was added to the delays, and whether that is told or assumed.
    """

    factor: Factor
    minutes: Mapping[Level, tuple[float, ...]]
    notes: tuple[str, ...] = ()

    @property
    def routes(self) -> tuple[Level, ...]:
        """Routes in which the delay exists."""
        return tuple(self.minutes)

    @property
    def are_longer(self) -> bool:
        """Whether any time differs from the declared delay."""
        levels = tuple(float(level) for level in self.factor.levels)
        return any(own != levels for own in self.minutes.values())

    def of(self, route: Level) -> tuple[float, ...]:
        """Times of one route [min]; of the only key where there are no routes."""
        return self.minutes.get(route, self.minutes.get(ANY_ROUTE, ()))

    def decades(self, route: Level) -> Array:
        """Decimal logarithms of the times of one route, shape (delays,)."""
        return np.asarray(np.log10(np.array(self.of(route), dtype=float)))


def effective_delays(study: Study, along: str) -> EffectiveDelays:
    """Times until the coupons are cold, for each delay and route.

    As in a timetable, a delay ends when the coupons are in the cold, so it is never shorter than
    the transfer; from then on it takes the cooling time of the bath or freezer until they are as
    cold. Both come from ``[timetable]``, or are assumed, and the notes say so. To a time that is
    not the delay before the cold nothing is added.

    Parameters
    ----------
    study : Study
    along : str
        Factor that is a time.

    Returns
    -------
    EffectiveDelays

    Raises
    ------
    EstimabilityError
        If the factor is not a time, or a time is zero.
    """
    factor = study.factor(along)
    if factor.dimension != "time":
        raise EstimabilityError(
            f"{factor.title} is not a time, so nothing changes with each decade of it. "
            'Ask along a factor with levels such as "1 h" and "1 day".'
        )
    levels = tuple(float(level) for level in factor.levels)
    if factor.name != "delay":
        _check_above_zero(factor, levels, "")
        return EffectiveDelays(factor, dict.fromkeys(_routes(factor), levels))
    hours = hours_of(study)
    minutes = {
        route: tuple(max(level, hours.transfer) + _cooling(study, hours, route) for level in levels)
        for route in _routes(factor)
    }
    for own in minutes.values():
        why = ", and [timetable] tells that neither transfer nor cooling takes any time"
        _check_above_zero(factor, own, why)
    return EffectiveDelays(factor, minutes, (_words(study, factor, hours),))


def _routes(factor: Factor) -> tuple[Level, ...]:
    return factor.exists_for if factor.nested_in else (ANY_ROUTE,)


def _told_cooling(study: Study) -> Mapping[str, object]:
    told = study.timetable.get("bath_cooling", {})
    return told if isinstance(told, Mapping) else {}


def _cooling(study: Study, hours: WorkHours, route: Level) -> float:
    """Time until coupons are as cold as the bath [min]; of the only bath where none is varied."""
    if route == ANY_ROUTE and len(told := list(_told_cooling(study))) == 1:
        return hours.cooling(told[0])
    return hours.cooling(str(route))


def _check_above_zero(factor: Factor, minutes: tuple[float, ...], why: str) -> None:
    if min(minutes) <= 0:
        raise EstimabilityError(
            f"A {factor.title} of 0 min has no logarithm{why}. Give the real time, "
            "as a level of the factor or in [timetable]."
        )


def _words(study: Study, factor: Factor, hours: WorkHours) -> str:
    """Say what was added to the delays, and from where it is known."""
    parts: dict[str, list[str]] = {}
    known = _told_cooling(study)
    parent = study.factor(factor.nested_in) if factor.nested_in else None
    for route in _routes(factor):
        word = f" with {parent.word(route)}" if parent is not None else ""
        told = route_key(route) in map(route_key, known) or (route == ANY_ROUTE and len(known) == 1)
        amount = minutes_text(_cooling(study, hours, route))
        parts.setdefault(_TOLD if told else ASSUMED, []).append(f"{amount}{word}")
    cooling = "; ".join(f"{listed(own)} ({source})" for source, own in parts.items())
    source = _TOLD if "transfer" in study.timetable else ASSUMED
    return (
        f"{factor.title.capitalize()} is counted from the quench until the coupons are cold: "
        f"cooling adds {cooling}, and no {factor.title} is shorter than the transfer of "
        f"{minutes_text(hours.transfer)} ({source})."
    )
