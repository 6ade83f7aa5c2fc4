"""Sort terms into strata and prepare their tests, once for a plan, for any number of responses.

Every fixed column belongs to the coarsest unit inside which it is constant (furnace load, cold
batch, temper batch, coupon). Values of each unit are adjusted for everything that varies inside
it, and the terms of that unit are tested on these unit values with equal weights (`precision`).

The coupon stratum is solved by centring inside the finest batch, so nothing grows with coupons
times batches; everything above it is small and dense.

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
from quenchbook.study.factors import UNIT_WORDS, plural

Codes = npt.NDArray[np.int64]

RANK_TOLERANCE = 1e-7


@dataclass(frozen=True, eq=False)
class CouponStage:
    """The lowest stratum: what varies inside the finest batch, and the values it leaves above.

    Attributes
    ----------
    finest : ndarray of int, shape (coupons,)
        Code of the finest nested batch of each coupon.
    rows : ndarray, shape (inner, coupons)
        Linear map from coupon values to the coefficients of crossed batches and coupon columns.
    inverse : ndarray, shape (inner, inner)
        Inverse cross-products of those columns, centred inside the finest batch.
    columns : ndarray, shape (coupons, inner)
        Those columns, centred.
    raw_means : ndarray, shape (finest, inner)
        Their means in each finest batch before centring; zero for crossed batches.
    carried : ndarray, shape (finest, inner)
        What their coefficients take away from the mean of a finest batch to adjust it.
    crossed : mapping of unit to (ndarray, int)
        Place of each kept unit of a crossed batch among the inner coefficients, and unit count.
    inner_places : ndarray of int
        Inner coefficients that belong to fixed terms.
    places : ndarray of int
        Their places among all coefficients.
    df : int
    """

    finest: Codes
    rows: Array
    inverse: Array
    columns: Array
    raw_means: Array
    carried: Array
    crossed: Mapping[str, tuple[Codes, int]]
    inner_places: Codes
    places: Codes
    df: int

    unit = "coupon"

    @property
    def count(self) -> int:
        """Number of coupons."""
        return len(self.finest)

    def solve(self, y: Array) -> tuple[Array, Array, Array]:
        """Inner coefficients, values of the finest batches, and residual sum of squares.

        Parameters
        ----------
        y : ndarray, shape (coupons, responses)
        """
        inner = self.rows @ y
        means = group_means(y, self.finest)
        residuals = y - means[self.finest] - self.columns @ inner
        return inner, means - self.carried @ inner, np.einsum("nr,nr->r", residuals, residuals)

    def crossed_values(self, unit: str, inner: Array) -> Array:
        """Values of the units of a crossed batch; a unit that served as base is zero."""
        places, count = self.crossed[unit]
        values = np.zeros((count, inner.shape[1]))
        kept = np.flatnonzero(places >= 0)
        values[kept] = inner[places[kept]]
        return values


@dataclass(frozen=True, eq=False)
class BatchStage:
    """One stratum of loads or batches: unit values, the columns tested on them, their noise.

    Attributes
    ----------
    unit : str
        Name of the unit.
    parent_map : ndarray, shape (units, base)
        Linear map from the values of the finest batch (or of the crossed batch) to unit values.
    crossed : bool
        Whether the base are the values of the crossed batch of this name.
    rows : ndarray, shape (columns, units)
        Linear map from unit values to the coefficients of this stratum.
    error : ndarray, shape (units, units)
        Projector on the residual space of this stratum.
    shapes : mapping of unit to ndarray, shape (units, units)
        Covariance of the unit values for a unit variance of each random unit.
    places : ndarray of int
        Coefficients that belong to this stratum.
    df : int
        Error degrees of freedom.
    """

    unit: str
    parent_map: Array
    crossed: bool
    rows: Array
    error: Array
    shapes: Mapping[str, Array]
    places: Codes
    df: int

    @property
    def count(self) -> int:
        """Number of units."""
        return len(self.error)


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
    coupon : CouponStage
    batches : tuple of BatchStage
        Crossed batches, then from the finest nested batch up to the furnace load.
    dropped : mapping of term to str
        Terms that cannot be estimated, with the reason.
    coefficient_count : int
    codes : mapping of unit to ndarray of int, shape (coupons,)
        Random units that can be told from the coupon and from each other.
    merged : mapping of unit to unit
        Units that hold the same coupons as another one, which stands for both.
    """

    terms: Terms
    term_stage: Mapping[str, str]
    slices: Mapping[str, slice]
    coupon: CouponStage
    batches: tuple[BatchStage, ...]
    dropped: Mapping[str, str]
    coefficient_count: int
    codes: Mapping[str, Codes]
    merged: Mapping[str, str]

    @property
    def stages(self) -> tuple[CouponStage | BatchStage, ...]:
        """All strata from the coupon up."""
        return (self.coupon, *self.batches)

    def stage(self, unit: str) -> CouponStage | BatchStage:
        """Return the stage of a unit."""
        return next(stage for stage in self.stages if stage.unit == unit)

    def coupon_weights(self, row: Array) -> Array:
        """Weights of the coupon values in one linear function of the coefficients.

        Parameters
        ----------
        row : ndarray, shape (coefficients,)

        Returns
        -------
        ndarray, shape (coupons,)
        """
        coupon = self.coupon
        inner = np.zeros(len(coupon.inverse))
        inner[coupon.inner_places] = row[coupon.places]
        base = np.zeros(len(coupon.carried))
        if not self.batches:
            base[0] = row[0]
        for stage in self.batches:
            weights = row[stage.places] @ stage.rows @ stage.parent_map
            if stage.crossed:
                places, _ = coupon.crossed[stage.unit]
                kept = places >= 0
                inner[places[kept]] += weights[kept]
            else:
                base += weights
        inner = inner - base @ coupon.carried
        return np.asarray((base / np.bincount(coupon.finest))[coupon.finest] + inner @ coupon.rows)


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
    merged = _same_partition(codes)
    codes = {unit: own for unit, own in codes.items() if unit not in merged}
    layout = _Layout(frame, codes, *_chain(codes))
    decisive = frame if planned is None else planned
    stage_of = {name: layout.stratum(terms.columns(decisive, name)) for name in terms.names}
    dropped: dict[str, str] = {}
    kept = terms
    while (aliased := layout.aliased_term(kept, stage_of)) is not None:
        dropped[aliased] = _why_not(aliased, stage_of[aliased], terms)
        kept = terms.without(dropped)
    for name in terms.names:
        if name not in kept.names and name not in dropped:
            dropped[name] = "it contains a factor that cannot be estimated"
    slices = kept.slices(frame)
    coupon = layout.coupon_stage(kept, stage_of, slices)
    return Strata(
        terms=kept,
        term_stage=stage_of,
        slices=slices,
        coupon=coupon,
        batches=tuple(layout.batch_stages(coupon, kept, stage_of, slices)),
        dropped=dropped,
        coefficient_count=max((place.stop for place in slices.values()), default=1),
        codes=codes,
        merged=merged,
    )


def group_means(values: Array, codes: Codes) -> Array:
    """Mean of the rows of each group, shape (groups, columns)."""
    from scipy import sparse

    ones = np.ones(len(codes))
    shape = (int(codes.max()) + 1, len(codes))
    sums = sparse.csr_array((ones, (codes, np.arange(len(codes)))), shape=shape) @ values
    return np.asarray(sums) / np.bincount(codes)[:, None]


@dataclass(frozen=True, eq=False)
class _Layout:
    """Units of a plan: a chain of nested ones from coarse to fine, and those crossed with it."""

    frame: pd.DataFrame
    codes: Mapping[str, Codes]
    chain: Sequence[str]
    crossed: Sequence[str]

    @property
    def finest(self) -> Codes:
        """Code of the finest nested batch of each coupon; one for all where there is none."""
        if self.chain:
            return self.codes[self.chain[-1]]
        return np.zeros(len(self.frame), dtype=np.int64)

    def stratum(self, columns: Array) -> str:
        """Coarsest unit inside whose levels the columns are constant."""
        for unit in [*self.chain, *self.crossed]:
            means = group_means(columns, self.codes[unit])
            if np.allclose(means[self.codes[unit]], columns, atol=1e-9):
                return unit
        return "coupon"

    def inner_columns(self) -> tuple[Array, dict[str, tuple[Codes, int]]]:
        """Centred columns of crossed batches that the finest batches leave free, with places."""
        blocks, places, start = [np.zeros((len(self.frame), 0))], {}, 0
        for unit in self.crossed:
            count = int(self.codes[unit].max()) + 1
            dummies = np.eye(count)[self.codes[unit]]
            centred = dummies - group_means(dummies, self.finest)[self.finest]
            before = np.column_stack(blocks)
            keep = independent(np.column_stack([before, centred]))[before.shape[1] :]
            place = np.full(count, -1, dtype=np.int64)
            place[keep] = start + np.arange(int(keep.sum()))
            start += int(keep.sum())
            blocks.append(centred[:, keep])
            places[unit] = (place, count)
        return np.column_stack(blocks), places

    def strays(self, terms: Terms, stage_of: Mapping[str, str]) -> Array:
        """Columns of coupons whose setting differs from the rest of their unit, (coupons, k).

        A setting belongs to its unit; where one coupon strayed, its part inside the unit is taken
        out by columns of its own, so that the values of the unit stay unbiased.
        """
        blocks = [self.inner_columns()[0]]
        raw = [np.zeros((len(self.frame), 0))]
        for name in terms.names:
            unit = stage_of[name]
            if unit == "coupon":
                continue
            columns = terms.columns(self.frame, name)
            inside = columns - group_means(columns, self.codes[unit])[self.codes[unit]]
            inside = inside[:, np.abs(inside).max(axis=0) > 1e-9]
            if inside.shape[1]:
                centred = inside - group_means(inside, self.finest)[self.finest]
                before = np.column_stack(blocks)
                keep = independent(np.column_stack([before, centred]))[before.shape[1] :]
                blocks.append(centred[:, keep])
                raw.append(inside[:, keep])
        return np.column_stack(raw)

    def batch_columns(
        self, unit: str, terms: Terms, stage_of: Mapping[str, str]
    ) -> tuple[Array, dict[str, Array]]:
        """Columns that are only removed, and columns of the terms, on the values of one unit."""
        own = [name for name in terms.names if stage_of[name] == unit]
        columns = {n: group_means(terms.columns(self.frame, n), self.codes[unit]) for n in own}
        count = int(self.codes[unit].max()) + 1
        if unit in self.crossed:
            sets = connected_sets(self.finest, self.codes[unit])
            return np.eye(int(sets.max()) + 1)[sets], columns
        place = list(self.chain).index(unit)
        if place == 0:
            ones = np.ones((count, 1))
            return np.column_stack(
                [ones, self._sets_left(unit, [ones, *columns.values()])]
            ), columns
        parent = np.zeros(count, dtype=np.int64)
        parent[self.codes[unit]] = self.codes[self.chain[place - 1]]
        return np.eye(int(parent.max()) + 1)[parent], columns

    def _sets_left(self, unit: str, before: Sequence[Array]) -> Array:
        """Sets of loads that share no crossed batch, as far as no term takes them out already.

        Loads of one set share the mean of its crossed batches, so sets are blocks.
        """
        known = np.column_stack(list(before))
        left = [np.zeros((len(known), 0))]
        for other in self.crossed:
            sets = connected_sets(self.finest, self.codes[other])[self.codes[other]]
            number = int(sets.max()) + 1
            if number == 1:
                continue
            contrasts = np.vstack([np.eye(number - 1), -np.ones(number - 1)])
            block = group_means(contrasts[sets], self.codes[unit])
            keep = independent(np.column_stack([known, *left, block]))[-block.shape[1] :]
            left.append(block[:, keep])
        return np.column_stack(left)

    def aliased_term(self, terms: Terms, stage_of: Mapping[str, str]) -> str | None:
        """Last term with a column that depends on earlier ones in its own stratum."""
        for unit in ["coupon", *reversed(self.chain), *self.crossed]:
            if unit == "coupon":
                own = [name for name in terms.names if stage_of[name] == unit]
                strays = self.strays(terms, stage_of)
                strays = strays - group_means(strays, self.finest)[self.finest]
                nuisance = np.column_stack([self.inner_columns()[0], strays])
                columns = {}
                for name in own:
                    block = terms.columns(self.frame, name)
                    columns[name] = block - group_means(block, self.finest)[self.finest]
            else:
                nuisance, columns = self.batch_columns(unit, terms, stage_of)
            if not columns:
                continue
            keep = independent(np.column_stack([nuisance, *columns.values()]))
            start, found = nuisance.shape[1], None
            for name, block in columns.items():
                if not keep[start : start + block.shape[1]].all():
                    found = name
                start += block.shape[1]
            if found is not None:
                return found
        return None

    def coupon_stage(
        self, terms: Terms, stage_of: Mapping[str, str], slices: Mapping[str, slice]
    ) -> CouponStage:
        """Solve what varies inside the finest batches."""
        own = [name for name in terms.names if stage_of[name] == "coupon"]
        batches, crossed = self.inner_columns()
        strays = self.strays(terms, stage_of)
        blocks = [terms.columns(self.frame, name) for name in own]
        raw = np.column_stack([strays, *blocks])
        raw_means = group_means(raw, self.finest)
        columns = np.column_stack([batches, raw - raw_means[self.finest]])
        inverse = np.linalg.inv(columns.T @ columns)
        finest_count = int(self.finest.max()) + 1
        adjustment = self._batch_adjustment(crossed, batches.shape[1], terms, stage_of)
        carried = np.column_stack([adjustment, raw_means])
        places = [np.arange(slices[name].start, slices[name].stop) for name in own]
        inner = np.arange(batches.shape[1] + strays.shape[1], columns.shape[1])
        return CouponStage(
            finest=self.finest,
            rows=inverse @ columns.T,
            inverse=inverse,
            columns=columns,
            raw_means=np.column_stack([np.zeros_like(adjustment), raw_means]),
            carried=carried,
            crossed=crossed,
            inner_places=inner.astype(np.int64),
            places=np.concatenate([np.zeros(0, dtype=np.int64), *places]),
            df=len(self.frame) - finest_count - columns.shape[1],
        )

    def _batch_adjustment(
        self,
        crossed: Mapping[str, tuple[Codes, int]],
        width: int,
        terms: Terms,
        stage_of: Mapping[str, str],
    ) -> Array:
        """Mean of crossed batches in each finest batch, less the intercept of its connected set.

        The intercept is that of the crossed stratum, so that a set with more batches of one
        setting does not carry the effect of that setting into the values of its loads.
        """
        adjustment = np.zeros((int(self.finest.max()) + 1, width))
        for unit, (places, count) in crossed.items():
            kept = places >= 0
            shares = group_means(np.eye(count)[self.codes[unit]], self.finest)
            sets = connected_sets(self.finest, self.codes[unit])
            set_of_finest = np.zeros(len(adjustment), dtype=np.int64)
            set_of_finest[self.finest] = sets[self.codes[unit]]
            nuisance, columns = self.batch_columns(unit, terms, stage_of)
            intercepts = np.linalg.pinv(np.column_stack([nuisance, *columns.values()]))
            even = intercepts[set_of_finest]
            adjustment[:, places[kept]] = (shares - even)[:, kept]
        return adjustment

    def batch_stages(
        self,
        coupon: CouponStage,
        terms: Terms,
        stage_of: Mapping[str, str],
        slices: Mapping[str, slice],
    ) -> list[BatchStage]:
        """Stages of the chain from fine to coarse, then of the crossed batches."""
        inner = coupon.rows.shape[0]
        through = {unit: np.zeros((inner, int(self.codes[unit].max()) + 1)) for unit in self.chain}
        for unit in self.crossed:  # chain units are unions of finest batches: nothing goes through
            through[unit] = coupon.rows @ np.eye(int(self.codes[unit].max()) + 1)[self.codes[unit]]
        base = {}
        for unit, codes in self.codes.items():
            dummies = np.eye(int(codes.max()) + 1)
            base[unit] = group_means(dummies[codes], self.finest) - coupon.carried @ through[unit]
        sizes = np.bincount(self.finest)
        noise = np.diag(1.0 / sizes) + coupon.carried @ coupon.inverse @ coupon.carried.T
        stages = self._crossed_stages(coupon, through, terms, stage_of, slices)
        down = np.eye(int(self.finest.max()) + 1)
        for place in range(len(self.chain) - 1, -1, -1):
            carried = {unit: down @ matrix for unit, matrix in base.items()}
            unit = self.chain[place]
            stage, up = self._stage(
                unit, down, False, carried, down @ noise @ down.T, terms, stage_of, slices
            )
            stages.append(stage)
            down = up @ down
        return stages

    def _crossed_stages(
        self,
        coupon: CouponStage,
        through: Mapping[str, Array],
        terms: Terms,
        stage_of: Mapping[str, str],
        slices: Mapping[str, slice],
    ) -> list[BatchStage]:
        """Stages of the crossed batches: their components are needed by the chain above."""
        stages = []
        inner = coupon.rows.shape[0]
        for unit in self.crossed:
            places, count = coupon.crossed[unit]
            select = np.zeros((count, inner))
            kept = np.flatnonzero(places >= 0)
            select[kept, places[kept]] = 1.0
            carried = {other: select @ through[other] for other in self.crossed}
            noise_here = select @ coupon.inverse @ select.T
            stage, _ = self._stage(
                unit, np.eye(count), True, carried, noise_here, terms, stage_of, slices
            )
            stages.append(stage)
        return stages

    def _stage(
        self,
        unit: str,
        parent_map: Array,
        crossed: bool,
        carried: Mapping[str, Array],
        noise: Array,
        terms: Terms,
        stage_of: Mapping[str, str],
        slices: Mapping[str, slice],
    ) -> tuple[BatchStage, Array]:
        """One stage, and the map from its unit values to those of the parent unit."""
        nuisance, columns = self.batch_columns(unit, terms, stage_of)
        matrix = np.column_stack([nuisance, *columns.values()])
        pinv = np.linalg.pinv(matrix)
        rows = pinv[nuisance.shape[1] :]
        places = [np.arange(slices[name].start, slices[name].stop) for name in columns]
        if unit == self.chain[0]:  # the mean belongs to the coarsest unit
            rows, places = np.vstack([pinv[0], rows]), [np.array([0]), *places]
        shapes = {other: part @ part.T for other, part in carried.items()}
        stage = BatchStage(
            unit=unit,
            parent_map=parent_map,
            crossed=crossed,
            rows=rows,
            error=np.eye(len(matrix)) - matrix @ pinv,
            shapes={"coupon": noise, **shapes},
            places=np.concatenate([np.zeros(0, dtype=np.int64), *places]),
            df=len(matrix) - matrix.shape[1],
        )
        return stage, pinv[: nuisance.shape[1]]


def independent(matrix: Array) -> npt.NDArray[np.bool_]:
    """Columns that do not depend on the columns before them."""
    keep = np.zeros(matrix.shape[1], dtype=bool)
    basis = np.zeros((matrix.shape[0], 0))
    for place in range(matrix.shape[1]):
        column = matrix[:, place]
        size = np.linalg.norm(column)
        if size < RANK_TOLERANCE * max(1.0, np.sqrt(len(column))):
            continue
        rest = column / size
        for _ in range(2):
            rest = rest - basis @ (basis.T @ rest)
        length = np.linalg.norm(rest)
        if length > RANK_TOLERANCE:
            keep[place] = True
            basis = np.column_stack([basis, rest / length])
    return keep


def connected_sets(first: Codes, second: Codes) -> Codes:
    """Connected set of each unit of `second` when units share coupons with units of `first`."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    n, m = int(first.max()) + 1, int(second.max()) + 1
    graph = coo_array((np.ones(len(first)), (first, n + second)), shape=(n + m, n + m))
    labels = connected_components(graph, directed=False)[1]
    return np.unique(labels[n:], return_inverse=True)[1].astype(np.int64)


def _chain(codes: Mapping[str, Codes]) -> tuple[list[str], list[str]]:
    """Nested units from coarse to fine, and the units crossed with them."""
    ordered = sorted(codes, key=lambda unit: int(codes[unit].max()))
    best: list[str] = []
    for start in ordered:
        chain = [start]
        for unit in ordered:
            finer = int(codes[unit].max()) > int(codes[chain[-1]].max())
            if finer and is_nested(codes[unit], codes[chain[-1]]):
                chain.append(unit)
        if len(chain) > len(best):
            best = chain
    return best, [unit for unit in ordered if unit not in best]


def is_nested(inner: Codes, outer: Codes) -> bool:
    """Whether each inner unit lies in one outer unit."""
    return len(np.unique(np.column_stack([inner, outer]), axis=0)) == int(inner.max()) + 1


def are_crossed(one: Codes, two: Codes) -> bool:
    """Whether neither unit is nested in the other."""
    return not is_nested(one, two) and not is_nested(two, one)


def _same_partition(codes: Mapping[str, Codes]) -> dict[str, str]:
    """Units that group the coupons exactly as an earlier unit does."""
    merged: dict[str, str] = {}
    names = list(codes)
    for place, unit in enumerate(names):
        for earlier in names[:place]:
            same = int(codes[unit].max()) == int(codes[earlier].max())
            if earlier not in merged and same and is_nested(codes[unit], codes[earlier]):
                merged[unit] = earlier
                break
    return merged


def _why_not(term: str, unit: str, terms: Terms) -> str:
    words = plural(UNIT_WORDS.get(unit) or unit.replace("_", " "))
    if term in terms.blocks:
        return "a day held a single load or batch, so it cannot be taken out as a block"
    if ":" in term:
        parts = term.replace(":", " and ").replace("_", " ")
        return (
            f"not every combination of {parts} was run in enough {words}; if the factors do act "
            "together, that part now counts as noise"
        )
    return f"its levels cannot be told apart from other terms or from single {words}"
