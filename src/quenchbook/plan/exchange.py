"""Coordinate exchange: change the choice of one unit at a time while the plan gets better.

Units of one coupon and small units are judged by updates of low rank (determinant lemma and
Woodbury), large units by the information matrices of all their choices at once.

References
----------
Meyer and Nachtsheim (1995), The coordinate-exchange algorithm for constructing exact optimal
experimental designs, Technometrics 37:60. Goos and Vandebroek (2003), Technometrics 45:235, for
the strata.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from quenchbook.errors import PlanError
from quenchbook.plan.coordinates import FREE, Array, ChoiceProblem, Codes, Criterion, Mask
from quenchbook.plan.linear_dependence import dependent_terms
from quenchbook.plan.start_choices import random_choices, redrawn_choices
from quenchbook.plan.streams import Stream

RIDGE: Final = 1e-3
"""Added to the diagonal of a singular start. Without it every random start of a tight plan fails
(measured: 200 of 200 for 24 coupons and 18 columns); with it at most one of 20 did."""

SAME: Final = 1e-3
"""Plans that differ less in efficiency are as good as each other."""

_GAIN: Final = 1e-9
_TIE: Final = 1e-10
"""Of choices as good as each other the first is taken, so that rounding does not decide."""

_PASSES: Final = 100
_SINGULAR: Final = 1e-9
_AGREED: Final = 5
"""Starts that must agree on the best before nothing more is tried."""


@dataclass(frozen=True, eq=False)
class ExchangedChoices:
    """The best choices that were found.

    Attributes
    ----------
    choices : tuple of ndarray of int
        For each coordinate the choice of its units.
    criterion : str
        ``D`` or ``I``.
    log_determinant : float
        ln of the determinant of the information matrix, coupon variance 1.
    average_variance : float
        Average variance of a prediction over the region, in coupon variances; nan without a region.
    starts, reached : int
        Starts that were made, and how many of them ended within 0.1 % of this efficiency; 0 when
        it was found by drawing a part of the best anew.
    """

    choices: tuple[Codes, ...]
    criterion: Criterion
    log_determinant: float
    average_variance: float
    starts: int
    reached: int

    def __repr__(self) -> str:
        return (
            f"<ExchangedChoices {self.criterion}: ln|M| {self.log_determinant:.6g}, average "
            f"variance {self.average_variance:.4g}; {self.reached} of {self.starts} starts>"
        )


def exchanged_choices(
    problem: ChoiceProblem,
    *,
    criterion: Criterion = "D",
    starts: int = 20,
    redraws: int | None = None,
    seed: int = 1,
    given: Sequence[Sequence[Codes]] = (),
    enough: float | None = None,
) -> ExchangedChoices:
    """Choices of all units by coordinate exchange: the best of several starts, then redrawn.

    Exchange of one unit at a time stops at plans that only changes of several units together can
    improve. So unless several starts agree, parts of the best are drawn anew and exchanged again.

    Parameters
    ----------
    problem : ChoiceProblem
    criterion : str
        ``D``: largest determinant of the information matrix. ``I``: least average variance of a
        prediction over the region of the problem.
    starts : int
        Random starts; each has its own named stream.
    redraws : int, optional
        How often a part of the best is drawn anew; by default twice as often as starts.
    seed : int
    given : sequence of choices
        Starts that are tried first.
    enough : float, optional
        Stop at the first start that comes to this ln|M| (D) or average variance (I).

    Returns
    -------
    ExchangedChoices

    Raises
    ------
    PlanError
        If no start comes to a plan that can estimate every column; it names the terms.
    """
    if criterion == "I" and problem.region is None:
        raise PlanError("The criterion I needs a region over which predictions are averaged.")
    goal = -np.inf if enough is None else (-enough if criterion == "D" else enough)
    best: _Search | None = None
    scores: list[float] = []
    missing: tuple[str, ...] = ()
    for number in range(len(given) + starts):
        stream = Stream(seed, f"coordinate exchange, start {number}")
        own = number < len(given)
        first = [*map(np.array, given[number])] if own else random_choices(problem, stream)
        search = _Search(problem, criterion, first, stream)
        if not search.run():
            missing = missing or dependent_terms(search.X, problem.names)
            continue
        scores.append(search.score)
        if best is None or search.is_better_than(best):
            best = search
        if best.score <= goal:
            break
    if best is None:
        raise PlanError(
            f"This budget cannot estimate {', '.join(missing)}. Add furnace loads, batches or "
            "levels, or take terms out of the model."
        )
    if _reached(scores, best, criterion) < _AGREED:
        stream = Stream(seed, "coordinate exchange, redraws")
        for _ in range(2 * starts if redraws is None else redraws):
            if best.score <= goal:
                break
            again = redrawn_choices(problem, best.choices, stream)
            search = _Search(problem, criterion, again, stream)
            if search.run() and search.is_better_than(best):
                best = search
    return ExchangedChoices(
        choices=tuple(best.choices),
        criterion=criterion,
        log_determinant=best.log_determinant,
        average_variance=best.variance if problem.region is not None else np.nan,
        starts=len(scores),
        reached=_reached(scores, best, criterion),
    )


def _reached(scores: Sequence[float], best: _Search, criterion: Criterion) -> int:
    """How many starts ended within `SAME` of the efficiency of the best."""
    size = best.X.shape[1] if criterion == "D" else best.score
    return int(np.sum(np.array(scores) - best.score <= SAME * size))


class _Search:
    """One start: the choices, and what follows from them, changed in place."""

    def __init__(
        self, problem: ChoiceProblem, criterion: Criterion, choices: list[Codes], stream: Stream
    ) -> None:
        self.problem, self.criterion, self.stream = problem, criterion, stream
        self.W, self.B = problem.precision, problem.region
        self.choices = choices
        self.allowed, self.strides = problem.allowed_combinations, problem.strides
        self.everything_allowed = bool(self.allowed.all())
        self.members = [
            np.split(np.argsort(c.units, kind="stable"), np.cumsum(np.bincount(c.units))[:-1])
            for c in problem.coordinates
        ]
        self.free = [np.flatnonzero(c.held_choices == FREE).tolist() for c in problem.coordinates]
        self.index = problem.combinations(choices)
        self.X = problem.rows(choices)
        self.counts = [
            [rule.counts(own) for rule in c.least]
            for c, own in zip(problem.coordinates, choices, strict=True)
        ]
        self.seen = [np.full(c.unit_count, -1) for c in problem.coordinates]
        self.changes = 0
        self.refresh(RIDGE)

    # --- what follows from the choices ------------------------------------------------------------

    def refresh(self, ridge: float) -> None:
        """Compute everything anew, so that rounding never adds up."""
        self.Y = self.W @ self.X
        self.M = self.X.T @ self.Y + ridge * np.eye(self.X.shape[1])
        self._invert()

    def _invert(self) -> None:
        self.D: Array = np.asarray(np.linalg.inv(self.M), dtype=np.float64)
        if self.B is not None:
            half = self.D @ self.B
            self.variance = float(np.trace(half))
            self.G: Array = half @ self.D

    @property
    def log_determinant(self) -> float:
        return float(np.linalg.slogdet(self.M)[1])

    @property
    def score(self) -> float:
        """Less is better."""
        return -self.log_determinant if self.criterion == "D" else self.variance

    def is_better_than(self, other: _Search) -> bool:
        """Whether it is better by more than rounding."""
        return self.score < other.score - _GAIN * max(abs(other.score), 1.0)

    @property
    def singular(self) -> bool:
        M = self.X.T @ self.Y
        scale = np.sqrt(np.maximum(np.diag(M), 1e-300))
        return bool(np.linalg.eigvalsh(M / np.outer(scale, scale))[0] < _SINGULAR)

    # --- the exchange -----------------------------------------------------------------------------

    def run(self) -> bool:
        """Exchange until nothing gets better; False when the plan stays singular."""
        if self.singular:
            for _ in range(_PASSES):
                changed = self.one_pass()
                self.refresh(RIDGE)
                if not self.singular or not changed:
                    break
            if self.singular:
                return False
        self.changes += 1  # without the ridge every unit is looked at again
        self.refresh(0.0)
        for _ in range(_PASSES):
            changed = self.one_pass()
            self.refresh(0.0)
            if not changed:
                break
        return True

    def one_pass(self) -> bool:
        """Visit every unit of every coordinate once; whether anything was changed."""
        changed = False
        for place in range(len(self.problem.coordinates)):
            for unit in self.stream.shuffled(self.free[place]):
                changed |= self.visit(place, unit)
        return changed

    def visit(self, place: int, unit: int) -> bool:
        """Give a unit the best of its choices; whether that is another one."""
        if self.seen[place][unit] == self.changes:
            return False  # nothing was changed since it had the best of its choices
        self.seen[place][unit] = self.changes
        rows = self.members[place][unit]
        old = int(self.choices[place][unit])
        stride = self.strides[place]
        steps = np.arange(self.problem.coordinates[place].choices) - old
        index = self.index[rows] + stride * steps[:, None]
        tried = self._tried(place, old, index)
        if not len(tried):
            return False
        index = index[tried]
        change = self.problem.table[index] - self.X[rows]
        chosen = self._best_of(rows, change)
        if chosen is None:
            return False
        self._accept(place, unit, rows, int(tried[chosen]), index[chosen], change[chosen])
        return True

    def _tried(self, place: int, old: int, index: Codes) -> Codes:
        """Choices that break no rule, the present one left out."""
        choices = self.problem.coordinates[place].choices
        may: Mask = np.ones(choices, dtype=bool)
        if not self.everything_allowed:
            may = np.asarray(self.allowed[index].all(axis=1))
        rules = self.problem.coordinates[place].least
        for rule, counts in zip(rules, self.counts[place], strict=True):
            may &= rule.allowed(counts, old)
        may[old] = False
        return np.flatnonzero(may)

    def _best_of(self, rows: Codes, change: Array) -> int | None:
        judge: Callable[[Codes, Array], tuple[Array, Array]] = self._large_unit
        if len(rows) == 1:
            judge = self._one_coupon
        elif 2 * len(rows) < self.X.shape[1]:
            judge = self._small_unit
        ratio, variance = judge(rows, change)
        if self.criterion == "D":
            chosen = int(np.argmax(ratio >= ratio.max() * (1 - _TIE)))
            return chosen if ratio[chosen] > 1 + _GAIN else None
        chosen = int(np.argmax(variance <= variance.min() * (1 + _TIE)))
        return chosen if variance[chosen] < self.variance * (1 - _GAIN) else None

    def _accept(
        self, place: int, unit: int, rows: Codes, choice: int, index: Codes, change: Array
    ) -> None:
        rules = self.problem.coordinates[place].least
        for rule, counts in zip(rules, self.counts[place], strict=True):
            for level, step in (
                (rule.levels[self.choices[place][unit]], -1),
                (rule.levels[choice], 1),
            ):
                if level >= 0:
                    counts[level] += step
        self.choices[place][unit] = choice
        self.changes += 1
        self.seen[place][unit] = self.changes
        self.M = self._changed_information(rows, change)
        self.X[rows] = self.problem.table[index]
        self.index[rows] = index
        self.Y += self.W[:, rows] @ change
        self._invert()

    def _changed_information(self, rows: Codes, change: Array) -> Array:
        """X'WX after rows changed, for one change or for many, shape (..., p, p)."""
        turned = np.swapaxes(change, -1, -2)
        cross = turned @ self.Y[rows]
        M: Array = (
            self.M + cross + np.swapaxes(cross, -1, -2)
            + turned @ (self.W[rows[:, None], rows] @ change)
        )  # fmt: skip
        return M

    # --- determinant ratio and average variance after each of several changes -------------------

    def _one_coupon(self, rows: Codes, change: Array) -> tuple[Array, Array]:
        row, d = rows[0], change[:, 0]
        w, v = self.Y[row], self.W[row, row]
        Dw = self.D @ w
        a = np.einsum("kp,kp->k", d @ self.D, d)
        b, c = d @ Dw, float(w @ Dw)
        ratio: Array = (1 + b) ** 2 + a * (v - c)
        if self.criterion == "D":
            return ratio, ratio
        Gw = self.G @ w
        ga, gb, gc = np.einsum("kp,kp->k", d @ self.G, d), d @ Gw, float(w @ Gw)
        gain = (c - v) * ga - 2 * (1 + b) * gb + a * gc
        return ratio, self._variance_where(ratio, gain)

    def _small_unit(self, rows: Codes, change: Array) -> tuple[Array, Array]:
        """Determinant lemma and Woodbury with a matrix of twice the size of the unit."""
        m = len(rows)
        S = self._bordered(self.D, rows, change)
        inner = np.arange(m)
        S[:, inner, m + inner] += 1.0
        S[:, m + inner, inner] += 1.0
        S[:, m:, m:] -= self.W[rows[:, None], rows]
        ratio: Array = (-1) ** m * np.linalg.det(S)
        if self.criterion == "D":
            return ratio, ratio
        good = ratio > _SINGULAR
        lost = np.linalg.inv(S[good]) * self._bordered(self.G, rows, change[good])
        variance = np.full(len(ratio), np.inf)
        variance[good] = self.variance - lost.sum(axis=(1, 2))
        return ratio, variance

    def _bordered(self, inner: Array, rows: Codes, change: Array) -> Array:
        """[change; Y] D [change; Y]' for each change, shape (changes, 2 m, 2 m)."""
        m, Y = len(rows), self.Y[rows]
        turned = inner @ Y.T
        product = np.empty((len(change), 2 * m, 2 * m))
        product[:, :m, :m] = change @ inner @ change.transpose(0, 2, 1)
        product[:, :m, m:] = change @ turned
        product[:, m:, :m] = product[:, :m, m:].transpose(0, 2, 1)
        product[:, m:, m:] = Y @ turned
        return product

    def _large_unit(self, rows: Codes, change: Array) -> tuple[Array, Array]:
        M = self._changed_information(rows, change)
        ratio: Array = np.exp(np.clip(np.linalg.slogdet(M)[1] - self.log_determinant, -99, 99))
        if self.criterion == "D":
            return ratio, ratio
        good = ratio > _SINGULAR
        variance = np.full(len(ratio), np.inf)
        assert self.B is not None
        variance[good] = np.einsum("kij,ji->k", np.linalg.inv(M[good]), self.B)
        return ratio, variance

    def _variance_where(self, ratio: Array, gain: Array) -> Array:
        good = ratio > _SINGULAR
        return np.where(good, self.variance + gain / np.where(good, ratio, 1.0), np.inf)
