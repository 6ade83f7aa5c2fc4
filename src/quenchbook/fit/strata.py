"""The stratum test: each term against the mean square of its own unit.

Every fixed column belongs to the coarsest unit inside which it is constant (furnace load, cold
batch, temper batch, coupon). Values of each unit are adjusted for everything that varies inside
it, and the terms of that unit are tested on these unit values with equal weights. The denominator
is the unit's own mean square: never truncated at zero, never pooled. Where units have unequal
sizes, a safety factor f >= 1 and an error df after Box keep the level; in balanced plans f = 1 and
the test is the classical F of that stratum.

References
----------
Yates (1934), JASA 29:51, unweighted means (from memory). Satterthwaite (1946), Biometrics Bulletin
2:110 and Box (1954), Annals of Mathematical Statistics 25:290, error df (from memory). Levels and
coverage were measured in the project's simulation lane.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from quenchbook.fit.terms import Array, Terms

Codes = npt.NDArray[np.int64]

RANK_TOLERANCE = 1e-9


@dataclass(frozen=True, eq=False)
class Stage:
    """One stratum: unit values, the columns tested on them, and the noise they carry.

    Attributes
    ----------
    unit : str
        Name of the unit; ``coupon`` for the lowest.
    values : ndarray, shape (units, coupons)
        Linear map from coupon values to unit values.
    rows : ndarray, shape (columns, units)
        Linear map from unit values to coefficients of this stratum.
    error : ndarray, shape (units, units)
        Projector on the residual space of this stratum.
    df : int
        Error degrees of freedom of this stratum.
    shapes : mapping of unit to ndarray, shape (units, units)
        Covariance of the unit values for a unit variance of each random unit.
    places : ndarray of int, shape (columns,)
        Coefficients that belong to this stratum.
    """

    unit: str
    values: Array
    rows: Array
    error: Array
    df: int
    shapes: Mapping[str, Array]
    places: Codes

    @property
    def count(self) -> int:
        """Number of units."""
        return len(self.values)


@dataclass(frozen=True, eq=False)
class Strata:
    """All strata of a plan; independent of the response, so one serves many responses.

    Attributes
    ----------
    terms : Terms
        Terms that can be estimated.
    term_stage : mapping of term to unit
        Stratum of each term.
    slices : mapping of term to slice
        Place of each term among the coefficients.
    stages : tuple of Stage
        From the coupon up to the furnace load, crossed batches after their own.
    dropped : mapping of term to str
        Terms that cannot be estimated, with the reason.
    """

    terms: Terms
    term_stage: Mapping[str, str]
    slices: Mapping[str, slice]
    stages: tuple[Stage, ...]
    dropped: Mapping[str, str]
    coefficient_count: int

    def stage(self, unit: str) -> Stage:
        """Return the stage of a unit."""
        return next(stage for stage in self.stages if stage.unit == unit)

    def coefficient_map(self) -> Array:
        """Linear map from coupon values to all coefficients, shape (coefficients, coupons)."""
        coupons = self.stages[0].values.shape[1]
        linear = np.zeros((self.coefficient_count, coupons))
        for stage in self.stages:
            linear[stage.places] = stage.rows @ stage.values
        return linear


def strata_of(
    frame: pd.DataFrame,
    terms: Terms,
    units: Sequence[str],
    *,
    planned: pd.DataFrame | None = None,
) -> Strata:
    """Sort terms into strata and prepare their tests.

    Parameters
    ----------
    frame : DataFrame
        One row for each coupon: unit columns and factor columns as run.
    terms : Terms
    units : sequence of str
        Columns that name the random units above the coupon.
    planned : DataFrame, optional
        Factor columns as planned: they decide the stratum of a term, so that a deviation of one
        coupon does not move a whole factor to another stratum.

    Returns
    -------
    Strata
    """
    codes = {unit: pd.factorize(frame[unit])[0].astype(np.int64) for unit in units}
    codes = {unit: own for unit, own in codes.items() if 1 < own.max() + 1 < len(frame)}
    chain, crossed = _chain(codes)
    decisive = frame if planned is None else planned
    stage_of = {
        name: _stratum(terms.columns(decisive, name), chain, crossed, codes) for name in terms.names
    }

    dropped: dict[str, str] = {}
    while True:
        kept = terms.without(list(dropped))
        aliased = _aliased_term(frame, kept, stage_of, chain, crossed, codes)
        if aliased is None:
            break
        dropped[aliased] = _why_not(aliased, stage_of[aliased])
    slices = kept.slices(frame)
    stages = _stages(frame, kept, stage_of, slices, chain, crossed, codes)
    width = max((place.stop for place in slices.values()), default=1)
    return Strata(kept, stage_of, slices, tuple(stages), dropped, width)


def _why_not(term: str, unit: str) -> str:
    words = unit.replace("_", " ")
    if ":" in term:
        parts = term.replace(":", " and ").replace("_", " ")
        return f"not every combination of {parts} was run in enough {words}s"
    return f"its levels cannot be told apart from other terms or from single {words}s"


def _chain(codes: Mapping[str, Codes]) -> tuple[list[str], list[str]]:
    """Nested units from coarse to fine, and the units crossed with them."""
    ordered = sorted(codes, key=lambda unit: int(codes[unit].max()))
    best: list[str] = []
    for start in ordered:
        chain = [start]
        for unit in ordered:
            if (
                unit != start
                and int(codes[unit].max()) > int(codes[chain[-1]].max())
                and _nested(codes[unit], codes[chain[-1]])
            ):
                chain.append(unit)
        if len(chain) > len(best):
            best = chain
    return best, [unit for unit in ordered if unit not in best]


def _nested(inner: Codes, outer: Codes) -> bool:
    return len(np.unique(np.column_stack([inner, outer]), axis=0)) == int(inner.max()) + 1


def _stratum(
    columns: Array, chain: Sequence[str], crossed: Sequence[str], codes: Mapping[str, Codes]
) -> str:
    for unit in [*chain, *crossed]:
        means = _unit_means(columns, codes[unit])
        if np.allclose(means[codes[unit]], columns, atol=1e-9):
            return unit
    return "coupon"


def _unit_means(columns: Array, codes: Codes) -> Array:
    sums = np.zeros((int(codes.max()) + 1, columns.shape[1]))
    np.add.at(sums, codes, columns)
    return sums / np.bincount(codes)[:, None]


def _dummies(codes: Codes) -> Array:
    return np.eye(int(codes.max()) + 1)[codes]


def _independent(matrix: Array) -> npt.NDArray[np.bool_]:
    """Columns that do not depend on the columns before them."""
    keep = np.zeros(matrix.shape[1], dtype=bool)
    basis = np.zeros((matrix.shape[0], 0))
    for place in range(matrix.shape[1]):
        column = matrix[:, place]
        size = np.linalg.norm(column)
        if size == 0:
            continue
        rest = column / size
        for _ in range(2):
            rest = rest - basis @ (basis.T @ rest)
        length = np.linalg.norm(rest)
        if length > RANK_TOLERANCE**0.5 * 10:
            keep[place] = True
            basis = np.column_stack([basis, rest / length])
    return keep


def _components(first: Codes, second: Codes) -> Codes:
    """Connected set of each unit of `first` when units share coupons with units of `second`."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    n, m = int(first.max()) + 1, int(second.max()) + 1
    graph = coo_array((np.ones(len(first)), (first, n + second)), shape=(n + m, n + m))
    labels = connected_components(graph, directed=False)[1]
    return np.unique(labels[n:], return_inverse=True)[1].astype(np.int64)


def _nuisance_and_columns(
    frame: pd.DataFrame,
    terms: Terms,
    stage_of: Mapping[str, str],
    unit: str,
    chain: Sequence[str],
    crossed: Sequence[str],
    codes: Mapping[str, Codes],
) -> tuple[Array, dict[str, Array]]:
    """Columns that are only removed, and columns of the terms, on the values of one unit."""
    own = [name for name in terms.names if stage_of[name] == unit]
    if unit == "coupon":
        parts = [_dummies(codes[chain[-1]])] if chain else [np.ones((len(frame), 1))]
        parts += [_dummies(codes[other]) for other in crossed]
        nuisance = np.column_stack(parts)
        return nuisance[:, _independent(nuisance)], {
            name: terms.columns(frame, name) for name in own
        }
    columns = {name: _unit_means(terms.columns(frame, name), codes[unit]) for name in own}
    count = int(codes[unit].max()) + 1
    if unit in crossed:
        finest = codes[chain[-1]] if chain else np.zeros(len(frame), dtype=np.int64)
        return _dummies(_components(finest, codes[unit])), columns
    place = chain.index(unit)
    if place == 0:
        return np.ones((count, 1)), columns
    parent = np.zeros(count, dtype=np.int64)
    parent[codes[unit]] = codes[chain[place - 1]]
    return _dummies(parent), columns


def _aliased_term(
    frame: pd.DataFrame,
    terms: Terms,
    stage_of: Mapping[str, str],
    chain: Sequence[str],
    crossed: Sequence[str],
    codes: Mapping[str, Codes],
) -> str | None:
    """Last term with a column that depends on earlier ones in its own stratum."""
    for unit in ["coupon", *reversed(chain), *crossed]:
        nuisance, columns = _nuisance_and_columns(
            frame, terms, stage_of, unit, chain, crossed, codes
        )
        if not columns:
            continue
        keep = _independent(np.column_stack([nuisance, *columns.values()]))[nuisance.shape[1] :]
        start, found = 0, None
        for name, block in columns.items():
            if not keep[start : start + block.shape[1]].all():
                found = name
            start += block.shape[1]
        if found is not None:
            return found
    return None


def _stages(
    frame: pd.DataFrame,
    terms: Terms,
    stage_of: Mapping[str, str],
    slices: Mapping[str, slice],
    chain: Sequence[str],
    crossed: Sequence[str],
    codes: Mapping[str, Codes],
) -> list[Stage]:
    indicator = {unit: _dummies(codes[unit]) for unit in [*chain, *crossed]}
    indicator["coupon"] = np.eye(len(frame))

    def stage(unit: str, values: Array) -> tuple[Stage, Array, Array]:
        nuisance, columns = _nuisance_and_columns(
            frame, terms, stage_of, unit, chain, crossed, codes
        )
        matrix = np.column_stack([nuisance, *columns.values()])
        pinv = np.linalg.pinv(matrix)
        hat = matrix @ pinv
        rows, places = (
            pinv[nuisance.shape[1] :],
            [np.arange(slices[name].start, slices[name].stop) for name in columns],
        )
        if unit == (chain[0] if chain else "coupon"):  # the mean belongs to the coarsest unit
            rows, places = np.vstack([pinv[0], rows]), [np.array([0]), *places]
        shapes = {}
        for other, units in indicator.items():
            if unit == "coupon" and other != "coupon":
                continue
            carried = values @ units
            shapes[other] = carried @ carried.T
        own = Stage(
            unit=unit,
            values=values,
            rows=rows,
            error=np.eye(len(hat)) - hat,
            df=len(hat) - int(np.linalg.matrix_rank(matrix)),
            shapes=shapes,
            places=np.concatenate(places).astype(np.int64)
            if places
            else np.zeros(0, dtype=np.int64),
        )
        return own, pinv, nuisance

    coupon, pinv, nuisance = stage("coupon", np.eye(len(frame)))
    stages = [coupon]
    upper: dict[str, Array] = {}
    parts = [_dummies(codes[chain[-1]])] if chain else [np.ones((len(frame), 1))]
    parts += [_dummies(codes[other]) for other in crossed]
    keep = _independent(np.column_stack(parts))
    fitted = np.zeros((len(keep), len(frame)))
    fitted[keep] = pinv[: nuisance.shape[1]]
    start = parts[0].shape[1]
    values = fitted[:start].copy()
    for other in crossed:
        width = int(codes[other].max()) + 1
        batch = fitted[start : start + width]
        upper[other] = batch
        start += width
        finest = codes[chain[-1]] if chain else np.zeros(len(frame), dtype=np.int64)
        sets = _components(finest, codes[other])
        set_of_unit = np.zeros(values.shape[0], dtype=np.int64)
        set_of_unit[finest] = sets[codes[other]]
        values += _unit_means(batch, sets)[set_of_unit]
    for place in range(len(chain) - 1, -1, -1):
        own, pinv, nuisance = stage(chain[place], values)
        stages.append(own)
        values = pinv[: nuisance.shape[1]] @ values
    for other in crossed:
        stages.append(stage(other, upper[other])[0])
    return stages
