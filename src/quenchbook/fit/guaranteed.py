"""Tests with a guarantee: an exact bound over the variance ratio, and permutation of whole units.

References
----------
Wald (1940), Annals of Mathematical Statistics 11:96, exact limits of a variance ratio; Berger and
Boos (1994), JASA 89:1012, maximizing p over a confidence set; Phipson and Smyth (2010), SAGMB 9:39,
p values of random permutations (all from memory).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from quenchbook.errors import EstimabilityError
from quenchbook.fit.stages import BatchStage
from quenchbook.fit.strata import strata_of
from quenchbook.fit.unit_codes import Codes, group_means
from quenchbook.fit.unit_layout import independent
from quenchbook.made_by import made_from
from quenchbook.shown import ShowsItself
from quenchbook.study.factors import plural
from quenchbook.study.terms import Array, Terms

if TYPE_CHECKING:
    from quenchbook.fit.mixed import MixedModel

TAIL: Final = 0.0005
LEAST_LAYOUTS: Final = 20
MOST_ENUMERATED: Final = 5000


def exact_p_value(model: MixedModel, term: str) -> float:
    """Largest p value of a load-level term over all plausible ratios of load to coupon variance.

    Never above its level in a plan with two strata, whatever the variances; a little less powerful
    than the stratum test. The ratio runs over Wald's exact limits (tail .0005 each side), and .001
    is added.

    Raises
    ------
    EstimabilityError
        If the plan has other strata than load and coupon.
    """
    from scipy import optimize, special

    strata, precision = model.strata, model.precision
    unit = strata.term_stage[term]
    if len(strata.batches) != 1 or strata.batches[0].unit != unit:
        raise EstimabilityError(
            "The exact bound is for plans with one kind of batch above the coupon. Use "
            'df_method="stratum" or "permute".'
        )
    stage = strata.batches[0]
    y = model.coupons["value"].to_numpy(dtype=float)[:, None]
    _, base, _ = strata.coupon.solve(y - y.mean())
    values = (stage.parent_map @ base)[:, 0]
    noise = stage.shapes["coupon"]
    columns = _stage_columns(model, stage)
    whole = np.column_stack([np.ones(len(values)), *columns.values()])
    reduced = np.column_stack(
        [np.ones(len(values)), *(block for name, block in columns.items() if name != term)]
    )
    square = float(precision.mean_squares["coupon"][0])
    df, df_coupon = stage.df, strata.coupon.df
    q = whole.shape[1] - reduced.shape[1]

    def rest(ratio: float, matrix: Array) -> float:
        lower = np.linalg.cholesky(ratio * np.eye(len(values)) + noise)
        z, m = np.linalg.solve(lower, values), np.linalg.solve(lower, matrix)
        return float(np.sum((z - m @ np.linalg.lstsq(m, z, rcond=None)[0]) ** 2))

    def wald(ratio: float) -> float:
        return rest(ratio, whole) / (df * square)

    def limit(bound: float) -> float:
        """Ratio at which Wald's statistic, falling with the ratio, meets a quantile."""
        if wald(0.0) <= bound:
            return 0.0
        high = 1.0
        while wald(high) > bound and high < 1e9:
            high *= 4
        return float(optimize.brentq(lambda r: wald(r) - bound, 0.0, high, xtol=1e-8 * high))

    low = limit(float(special.fdtri(df, df_coupon, 1 - TAIL)))
    high = limit(float(special.fdtri(df, df_coupon, TAIL)))
    ratios = np.unique(
        np.concatenate([[low, high], np.geomspace(max(low, 1e-6), max(high, 1e-6), 60)])
    )
    largest = 0.0
    for ratio in ratios:
        unexplained = rest(ratio, whole)
        statistic = (rest(ratio, reduced) - unexplained) / q / (unexplained / df)
        largest = max(largest, float(special.fdtrc(q, df, statistic)))
    return min(1.0, largest + 2 * TAIL)


def _stage_columns(model: MixedModel, stage: BatchStage) -> dict[str, Array]:
    """Columns of each term of a stratum on its unit values."""
    codes = model.strata.codes[stage.unit]
    return {
        name: group_means(model.terms.columns(model.coupons, name), codes)
        for name in model.terms.names
        if model.strata.term_stage[name] == stage.unit
    }


@dataclass(frozen=True, eq=False, repr=False)
class RandomizationTest(ShowsItself):
    """A permutation test of one factor.

    Attributes
    ----------
    term : str
    unit : str
        Units whose settings are exchanged.
    statistic, p_value : float
        Square explained by the factor as run, and the share of layouts that explain as much.
    layouts : int
        Distinct layouts; all are counted when they are at most `MOST_ENUMERATED`, else drawn.
    draws : int
        Layouts looked at.
    smallest : float
        Smallest p value that any layout reaches: renaming equal levels explains as much.
    """

    term: str
    unit: str
    statistic: float
    p_value: float
    layouts: float
    draws: int
    smallest: float

    def summary(self) -> str:
        """Say the result in words."""
        units = plural(self.unit.replace("_", " "))
        least = f"The smallest that can come out is {self.smallest:.2g}"
        if self.smallest > 0.05:
            least += ", so this test can never reach 5 %"
        return (
            f"{self.term}: p {self.p_value:.4f} from {self.draws} of {self.layouts:.3g} layouts.\n"
            f"{least}.\nThe settings of whole {units} are exchanged inside their blocks."
        )

    def to_frame(self) -> pd.DataFrame:
        """Return one row: ``term, unit, statistic, p_value, layouts, draws, smallest``."""
        import pandas as pd

        names = ("term", "unit", "statistic", "p_value", "layouts", "draws", "smallest")
        return pd.DataFrame([{name: getattr(self, name) for name in names}])

    def __repr__(self) -> str:
        return f"<RandomizationTest {self.term}: p {self.p_value:.4f}>"


def randomization_test(
    model: MixedModel, term: str, *, draws: int = 1999, seed: int = 20260101
) -> RandomizationTest:
    """Test one factor by exchanging the settings of whole units inside their blocks.

    The null hypothesis is that the factor does nothing at all, alone or together with others: all
    terms that contain it are left out of the adjustment. Loads are exchanged inside their day, cold
    batches inside their load (a nested delay goes with its route; a delay is exchanged among the
    cold routes of a load), temper batches inside their day, coupons inside their batch.

    Parameters
    ----------
    model : MixedModel
    term : str
        A single factor.
    draws : int
        Random layouts, when there are too many to count all.
    seed : int

    Raises
    ------
    EstimabilityError
        For a combination of factors, or when the plan has fewer than 20 distinct layouts.
    """
    if ":" in term:
        raise EstimabilityError(
            "A permutation test is offered for single factors: exchanging settings destroys main "
            f"effects too, so it says nothing about {model.term_word(term)} alone."
        )
    variable = model.terms.variable(term)
    unit = model.strata.term_stage[term]
    values, nuisance, settings, blocks = _permutation_parts(model, term)
    columns = model.terms.columns(settings, term)
    movable = np.ones(len(values), dtype=bool)
    if variable.parent and variable.inside is None:
        movable = settings[variable.parent].isin(variable.exists_for).to_numpy()
    labels = pd.factorize(settings[variable.column].astype(str))[0].astype(np.int64)
    blocks = np.where(movable, blocks, -1)
    found = _exchanged(values, nuisance, columns, labels, blocks, draws, seed)
    if found is None:  # some layouts cannot be told from another factor: exchange inside its levels
        blocks = _inside_other_factors(model, term, settings, blocks)
        found = _exchanged(values, nuisance, columns, labels, blocks, draws, seed)
    count = _layout_count(labels, blocks)
    if found is None or count < LEAST_LAYOUTS:
        raise EstimabilityError(
            f"This plan has only {count:.0f} distinct layouts of {model.term_word(term)}: no "
            "permutation test can show anything. Add units."
        )
    own, explained, all_of_them = found
    reached = explained >= own * (1 - 1e-9)
    if all_of_them:
        p_value = float(np.mean(reached))
        smallest = float(np.mean(explained >= explained.max() * (1 - 1e-9)))
    else:
        p_value = float((1 + reached.sum()) / (len(explained) + 1))
        smallest = 1 / (len(explained) + 1)
    found_test = RandomizationTest(term, unit, own, p_value, count, len(explained), smallest)
    return made_from(found_test, model, seed=None if all_of_them else seed)


def _exchanged(
    values: Array,
    nuisance: Array,
    columns: Array,
    labels: Codes,
    blocks: Codes,
    draws: int,
    seed: int,
) -> tuple[float, Array, bool] | None:
    """Square explained as run and under exchange; None if a layout is aliased with other terms.

    With the same number of columns in each layout the explained square orders them as F does.
    """
    residual = np.eye(len(values)) - nuisance @ np.linalg.pinv(nuisance)
    rest = residual @ values
    wanted = int(independent(residual @ columns).sum())
    if _layout_count(labels, blocks) < LEAST_LAYOUTS:
        return None

    def explained(order: npt.NDArray[np.int64]) -> float:
        x = residual @ columns[order]
        x = x[:, independent(x)]
        if x.shape[1] < wanted:
            return math.nan
        fitted = x @ np.linalg.lstsq(x, rest, rcond=None)[0]
        return float(fitted @ fitted)

    own = explained(np.arange(len(values)))
    all_of_them = _layout_count(labels, blocks) <= MOST_ENUMERATED
    if all_of_them:
        found = np.array([explained(order) for order in _all_orders(labels, blocks)])
    else:
        rng = np.random.default_rng(seed)
        found = np.array([explained(_random_order(blocks, rng)) for _ in range(draws)])
    return None if np.isnan(found).any() else (own, found, all_of_them)


def _inside_other_factors(
    model: MixedModel, term: str, settings: pd.DataFrame, blocks: Codes
) -> Codes:
    """Blocks refined by the levels of the other factors that are set for the same units."""
    unit = model.strata.term_stage[term]
    parts = [blocks]
    for name in model.terms.names:
        if name != term and ":" not in name and model.strata.term_stage[name] == unit:
            column = model.terms.variable(name).column
            if column in settings and name not in model.terms.blocks:
                parts.append(pd.factorize(settings[column].astype(str))[0].astype(np.int64))
    joined = np.unique(np.column_stack(parts), axis=0, return_inverse=True)[1].reshape(-1)
    return np.where(blocks >= 0, joined, -1).astype(np.int64)


def _permutation_parts(model: MixedModel, term: str) -> tuple[Array, Array, pd.DataFrame, Codes]:
    """Values of the units without the factor, what is taken out of them, settings, blocks."""
    unit = model.strata.term_stage[term]
    column = model.terms.variable(term).column
    gone = {term, *(v.name for v in model.terms.variables if v.parent == column)}
    names = tuple(n for n in model.terms.names if not gone & set(n.split(":")))
    reduced = Terms(model.terms.variables, names, model.terms.blocks)
    strata = strata_of(model.coupons, reduced, model.units, planned=model.data.planned)
    y = model.coupons["value"].to_numpy(dtype=float)[:, None]
    inner, base, _ = strata.coupon.solve(y - y.mean())
    if unit == "coupon":
        own = model.coupons.reset_index(drop=True)
        fixed = [reduced.columns(own, n) for n in names if strata.term_stage[n] == "coupon"]
        batches = [np.eye(int(c.max()) + 1)[c] for c in strata.codes.values()]
        nuisance = np.column_stack([np.ones(len(own)), *batches, *fixed])
        return y[:, 0] - y.mean(), nuisance, own, strata.coupon.finest
    stage = next(s for s in strata.batches if s.unit == unit)
    values = strata.coupon.crossed_values(unit, inner) if stage.crossed else base
    values = (stage.parent_map @ values)[:, 0]
    codes = strata.codes[unit]
    first = [int(np.flatnonzero(codes == number)[0]) for number in range(len(values))]
    settings = model.data.planned.iloc[first].reset_index(drop=True)
    nuisance = np.eye(len(values)) - stage.error  # projector on what is taken out
    return values, nuisance, settings, _blocks(model, stage, first)


def _blocks(model: MixedModel, stage: BatchStage, first: list[int]) -> Codes:
    """Block of each unit: its parent batch, or its day, or one for all."""
    chain = [s.unit for s in model.strata.batches if not s.crossed]
    place = chain.index(stage.unit) if stage.unit in chain else len(chain) - 1
    if place + 1 < len(chain):
        return model.strata.codes[chain[place + 1]][first]
    if "day" in model.coupons and "day" in model.terms.names:
        days = pd.factorize(model.coupons["day"])[0].astype(np.int64)
        return days[first]
    return np.zeros(len(first), dtype=np.int64)


def _layout_count(labels: Codes, blocks: Codes) -> float:
    count = 1.0
    for block in np.unique(blocks[blocks >= 0]):
        own = np.bincount(labels[blocks == block])
        count *= math.factorial(int(own.sum())) / math.prod(math.factorial(int(n)) for n in own)
    return count


def _random_order(blocks: Codes, rng: np.random.Generator) -> npt.NDArray[np.int64]:
    order = np.arange(len(blocks))
    for block in np.unique(blocks[blocks >= 0]):
        places = np.flatnonzero(blocks == block)
        order[places] = rng.permutation(places)
    return order


def _all_orders(labels: Codes, blocks: Codes) -> Iterator[npt.NDArray[np.int64]]:
    """One order for each distinct layout."""
    parts = []
    for block in np.unique(blocks[blocks >= 0]):
        places = np.flatnonzero(blocks == block)
        parts.append((places, list(_distinct(labels[places].tolist(), places.tolist()))))
    for choice in itertools.product(*(layouts for _, layouts in parts)):
        order = np.arange(len(blocks))
        for (places, _), layout in zip(parts, choice, strict=True):
            order[places] = layout
        yield order


def _distinct(labels: list[int], places: list[int]) -> Iterator[list[int]]:
    """Orders of places that give different sequences of labels."""
    if not labels:
        yield []
        return
    seen: set[int] = set()
    for number, label in enumerate(labels):
        if label not in seen:
            seen.add(label)
            rest_labels = labels[:number] + labels[number + 1 :]
            rest_places = places[:number] + places[number + 1 :]
            for tail in _distinct(rest_labels, rest_places):
                yield [places[number], *tail]
