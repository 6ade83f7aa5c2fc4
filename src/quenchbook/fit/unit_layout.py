"""Units of one plan, and how the terms of each are separated from all that varies inside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from quenchbook.fit.stages import BatchStage, CouponStage
from quenchbook.fit.unit_codes import Codes, connected_sets, group_means
from quenchbook.study.terms import Array, Terms

RANK_TOLERANCE = 1e-7


@dataclass(frozen=True, eq=False)
class UnitLayout:
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
