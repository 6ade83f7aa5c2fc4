"""Random choices to start an exchange from, that break no rule."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from quenchbook.errors import PlanError
from quenchbook.plan.coordinates import FREE, ChoiceProblem, Codes, Coordinate, Mask
from quenchbook.plan.streams import Stream

TRIES = 100


def random_choices(problem: ChoiceProblem, stream: Stream) -> list[Codes]:
    """One choice for each unit of each coordinate, drawn at random.

    Every combination is allowed, held units have their choice, and enough levels are in use.

    Parameters
    ----------
    problem : ChoiceProblem
    stream : Stream

    Returns
    -------
    list of ndarray of int
        For each coordinate the choice of its units.

    Raises
    ------
    PlanError
        If no such choice is found.
    """
    possible = _prefixes(problem)
    for _ in range(TRIES):
        chosen = _draw(problem, possible, stream)
        if chosen is not None:
            return chosen
    raise PlanError(
        "No plan keeps to the forbidden treatments and to the levels that must be in use. Allow "
        "more treatments, add furnace loads or batches, or write spare_level = false in [plan]."
    )


def redrawn_choices(
    problem: ChoiceProblem, choices: Sequence[Codes], stream: Stream
) -> list[Codes]:
    """Choices with a tenth or a quarter of the units of one coordinate drawn anew.

    No rule is broken; where the draw would leave too few levels, the choices stay as they are.

    Parameters
    ----------
    problem : ChoiceProblem
    choices : sequence of ndarray of int
    stream : Stream
    """
    changed = [own.copy() for own in choices]
    place = stream.below(len(changed))
    coordinate = problem.coordinates[place]
    own, index = changed[place], problem.combinations(choices)
    steps = np.arange(coordinate.choices) * problem.strides[place]
    free = np.flatnonzero(coordinate.held_choices == FREE).tolist()
    count = max(2, len(free) // (4, 10)[stream.below(2)])
    for unit in stream.shuffled(free)[:count]:
        rows = index[coordinate.units == unit] - own[unit] * problem.strides[place]
        may = np.flatnonzero(problem.allowed_combinations[rows[:, None] + steps].all(axis=0))
        own[unit] = may[stream.below(len(may))]
    enough = all(np.count_nonzero(r.counts(own)) >= r.least for r in coordinate.least)
    return changed if enough else [np.array(kept) for kept in choices]


def _prefixes(problem: ChoiceProblem) -> list[Mask]:
    """For each coordinate: which choices up to it can still be completed."""
    grid = problem.allowed_combinations.reshape(problem.shape)
    axes = range(grid.ndim)
    return [np.asarray(grid.any(axis=tuple(axes)[place + 1 :])) for place in axes]


def _draw(problem: ChoiceProblem, possible: list[Mask], stream: Stream) -> list[Codes] | None:
    chosen: list[Codes] = []
    prefix: list[Codes] = []  # choice of each coupon, for the coordinates before
    for coordinate, grid in zip(problem.coordinates, possible, strict=True):
        rows = grid[tuple(prefix)] if prefix else np.tile(grid, (len(coordinate.units), 1))
        # a unit may have what all of its coupons may have
        may = np.ones((coordinate.unit_count, coordinate.choices), dtype=bool)
        np.logical_and.at(may, coordinate.units, rows)
        own = _draw_coordinate(coordinate, may, stream)
        if own is None:
            return None
        chosen.append(own)
        prefix.append(own[coordinate.units])
    return chosen


def _draw_coordinate(coordinate: Coordinate, may: Mask, stream: Stream) -> Codes | None:
    own = coordinate.held_choices.copy()
    used = [set(rule.present) for rule in coordinate.least]
    for choice in own[own != FREE]:
        for levels, rule in zip(used, coordinate.least, strict=True):
            levels.add(int(rule.levels[choice]))
    for unit in stream.shuffled(np.flatnonzero(own == FREE).tolist()):
        choices = np.flatnonzero(may[unit])
        for levels, rule in zip(used, coordinate.least, strict=True):
            if len(levels - {-1}) < rule.least:
                there = [c for c in choices if rule.levels[c] not in levels | {-1}]
                choices = np.asarray(there) if there else choices
        if not len(choices):
            return None
        own[unit] = choices[stream.below(len(choices))]
        for levels, rule in zip(used, coordinate.least, strict=True):
            levels.add(int(rule.levels[own[unit]]))
    enough = all(
        len(levels - {-1}) >= rule.least
        for levels, rule in zip(used, coordinate.least, strict=True)
    )
    return own if enough else None
