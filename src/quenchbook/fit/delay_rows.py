"""Weights of the coefficients in a change for each decade, and in gains over no cold step."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from quenchbook.errors import EstimabilityError
from quenchbook.fit.effective_delays import EffectiveDelays
from quenchbook.fit.mean_rows import mean_rows
from quenchbook.study.factors import Level
from quenchbook.study.terms import Array, Terms


def routes_asked(delays: EffectiveDelays, at: Mapping[str, Level]) -> tuple[Level, ...]:
    """Routes over which a change is averaged: the one of `at`, or all that have a delay."""
    parent = delays.factor.nested_in
    if not parent or parent not in at:
        return delays.routes
    if at[parent] not in delays.routes:
        raise EstimabilityError(
            f"There is no {delays.factor.title} with {parent.replace('_', ' ')} {at[parent]!r}. "
            f"It exists for {', '.join(map(str, delays.routes))}."
        )
    return (at[parent],)


def decade_row(terms: Terms, delays: EffectiveDelays, at: Mapping[str, Level]) -> Array:
    """Weights of the coefficients in the mean change for each decade.

    The slope of the straight line through the means at the delays, each delay weighing the same,
    on the logarithm of the time until cold; averaged evenly over the routes.

    Parameters
    ----------
    terms : Terms
        With the delay as levels, or as a straight line in decades.
    delays : EffectiveDelays
    at : mapping of factor to level
        Where it is asked; other factors are averaged evenly.

    Returns
    -------
    ndarray, shape (coefficients,)
    """
    own = [_route_row(terms, delays, route, at) for route in routes_asked(delays, at)]
    return np.asarray(np.mean(own, axis=0))


def _route_row(
    terms: Terms, delays: EffectiveDelays, route: Level, at: Mapping[str, Level]
) -> Array:
    name = delays.factor.name
    if terms.variable(name).degree:
        rows = delay_rows(terms, delays, route, at, levels=(1.0, 0.0))
        return np.asarray(rows[0] - rows[1])
    return slope_weights(delays.decades(route)) @ delay_rows(terms, delays, route, at)


def slope_weights(x: Array) -> Array:
    """Weights of values at `x` in the slope of the least-squares line, shape (values,).

    >>> slope_weights(np.array([0.0, 1.0, 2.0])).tolist()
    [-0.5, 0.0, 0.5]
    """
    away = x - x.mean()
    square = float(away @ away)
    if square < 1e-12:
        raise EstimabilityError("All delays are the same, so nothing changes with them.")
    return np.asarray(away / square)


def delay_rows(
    terms: Terms,
    delays: EffectiveDelays,
    route: Level,
    at: Mapping[str, Level],
    levels: Sequence[float] | None = None,
) -> Array:
    """Weights of the coefficients in the mean at each delay of a route.

    Returns
    -------
    ndarray, shape (delays, coefficients)
    """
    factor = delays.factor
    chosen: dict[str, Sequence[Level]] = {n: (level,) for n, level in at.items()}
    chosen[factor.name] = factor.levels if levels is None else tuple(levels)
    if factor.nested_in:
        chosen[factor.nested_in] = (route,)
    rows, _ = mean_rows(terms, [factor.name], chosen)
    return rows


def gain_rows(
    terms: Terms, delays: EffectiveDelays, factor: str, level: Level, against: Level
) -> Array:
    """Weights of the coefficients in the gain of one level over another, at each delay.

    One of the two has the delay, the other has none and gives one mean.

    Parameters
    ----------
    terms : Terms
    delays : EffectiveDelays
    factor : str
        In which the delay is nested.
    level, against : float or str
        The gain is the first less the second.

    Returns
    -------
    ndarray, shape (delays, coefficients)
    """
    own = delays.factor
    if own.nested_in != factor:
        raise EstimabilityError(
            f"{own.title} is not set inside levels of {factor.replace('_', ' ')}, so there is no "
            "gain that it could take away. Compare a level that has it with one without."
        )
    having = [x for x in (level, against) if x in delays.routes]
    if len(having) != 1:
        what = "both have" if having else "neither has"
        raise EstimabilityError(
            f"Half of a gain needs a level with {own.title} and one without: {what} it. "
            f"{own.title.capitalize()} exists for {', '.join(map(str, delays.routes))}."
        )
    rows = delay_rows(terms, delays, having[0], {})
    base, _ = mean_rows(terms, [factor], {factor: (against if having[0] == level else level,)})
    sign = 1.0 if having[0] == level else -1.0
    return np.asarray(sign * (rows - base))
