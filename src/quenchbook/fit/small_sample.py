"""Kenward-Roger and Satterthwaite tests on a REML fit, for statisticians who compare.

Not the default: where the variance of a unit is small, Kenward-Roger is too timid and
Satterthwaite too bold, because the REML variance is cut off at zero (measured; see the simulation
lane).

References
----------
Kenward and Roger (1997), Biometrics 53:983. Halekoh and Hojsgaard (2014), JSS 59(9). Fai and
Cornelius (1996), JSCS 54:363. Kuznetsova, Brockhoff and Christensen (2017), JSS 82(13). (All
from memory.)
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np

from quenchbook.fit.reml import RemlFit
from quenchbook.study.terms import Array


@dataclass(frozen=True, eq=False)
class FTest:
    """F tests of one hypothesis; arrays have shape (r,)."""

    df: int
    df_error: Array
    statistic: Array
    p_value: Array


class SmallSample:
    """What the two methods need of a REML fit.

    Parameters
    ----------
    fit : RemlFit
    """

    def __init__(self, fit: RemlFit) -> None:
        self.fit = fit
        self.state = fit.state

    @functools.cached_property
    def _pieces(self) -> tuple[list[Array], list[list[Array]]]:
        """P_i and Q_ij of Kenward and Roger, shape (r, p, p) each."""
        state, data = self.state, self.state.data
        p, s = data.fixed, data.uu.shape[1]
        random = len(data.segments)
        scale = np.ones((len(state.theta), s))
        for place, segment in enumerate(data.segments):
            scale[:, segment] = np.sqrt(state.theta[:, place, None])
        inner = state.h[:, p:, p:] * scale[:, p:, None] * scale[:, None, p:]
        inner[:, range(s - p), range(s - p)] += 1.0
        middle = np.linalg.inv(inner) * scale[:, p:, None] * scale[:, None, p:]
        through = middle @ state.h[:, p:, :]
        seen = state.h - state.h[:, :, p:] @ through  # U'V^-1 U
        jump = np.broadcast_to(np.eye(s), (len(state.theta), s, s)).copy()
        jump[:, p:, :] -= through  # V^-1 U = R^-1 U jump
        single: list[Array] = []
        for segment in data.segments:
            part = seen[:, :p, segment]
            single.append(-part @ part.transpose(0, 2, 1))
        weighted = [state.weighted(place) for place in range(len(data.weights))]
        pushed = [jump.transpose(0, 2, 1) @ block @ jump for block in weighted]
        single += [-block[:, :p, :p] for block in pushed]
        k = len(data.names)
        double: list[list[Array]] = [[np.zeros(0)] * k for _ in range(k)]
        for i, first in enumerate(data.segments):
            left = seen[:, :p, first]
            for j, second in enumerate(data.segments):
                double[i][j] = left @ seen[:, first, second] @ seen[:, second, :p]
            for j, block in enumerate(pushed):
                both = left @ block[:, first, :p]
                double[i][random + j] = both
                double[random + j][i] = both.transpose(0, 2, 1)
        for i, first_block in enumerate(weighted):
            for j, second_block in enumerate(weighted):
                weight = data.weights[i] * data.weights[j] * state.inverse_spread**3
                core = np.einsum("rg,gij->rij", weight, data.uu, optimize=True)
                core = core - first_block[:, :, p:] @ middle @ second_block[:, p:, :]
                both = jump.transpose(0, 2, 1) @ core @ jump
                double[random + i][random + j] = both[:, :p, :p]
        return single, double

    @functools.cached_property
    def expected_covariance(self) -> Array:
        """Covariance of the variance components from the expected information, (r, k, k)."""
        return np.asarray(np.linalg.inv(self.state.expected_information), dtype=float)

    @functools.cached_property
    def adjusted_covariance(self) -> Array:
        """Kenward and Roger's covariance of the coefficients, shape (r, p, p)."""
        single, double = self._pieces
        phi = self.fit.covariance
        correction = np.zeros_like(phi)
        for i, first in enumerate(single):
            for j, second in enumerate(single):
                weight = self.expected_covariance[:, i, j, None, None]
                correction += weight * (double[i][j] - first @ phi @ second)
        return phi + 2 * phi @ correction @ phi

    def kenward_roger(self, rows: Array) -> FTest:
        """F test that rows @ coefficients is zero.

        Parameters
        ----------
        rows : ndarray, shape (q, p)
            Linearly independent rows.
        """
        from scipy import special

        rows = np.atleast_2d(rows)
        q = len(rows)
        phi = self.fit.covariance
        single, _ = self._pieces
        theta = rows.T @ np.linalg.inv(rows @ phi @ rows.T) @ rows
        moved = [theta @ phi @ part @ phi for part in single]
        trace = np.stack([np.einsum("rii->r", part) for part in moved], axis=1)
        weight = self.expected_covariance
        a1 = np.einsum("rij,ri,rj->r", weight, trace, trace)
        a2 = np.zeros_like(a1)
        for i, first in enumerate(moved):
            for j, second in enumerate(moved):
                a2 += weight[:, i, j] * np.einsum("rab,rba->r", first, second)
        estimate = self.fit.coefficients @ rows.T
        adjusted = rows @ self.adjusted_covariance @ rows.T
        wald = (
            np.einsum(
                "rq,rq->r", estimate, np.linalg.solve(adjusted, estimate[:, :, None])[:, :, 0]
            )
            / q
        )
        df_error, scale = _df_and_scale(a1, a2, q)
        statistic = scale * wald
        return FTest(q, df_error, statistic, special.fdtrc(q, df_error, statistic))

    @functools.cached_property
    def _observed_covariance(self) -> Array:
        """Covariance of the components from the observed information; zero at the boundary."""
        information = 2 * self.state.average_information - self.state.expected_information
        inside = self.state.theta > 0
        both = inside[:, :, None] & inside[:, None, :]
        k = information.shape[1]
        inverse = np.linalg.inv(np.where(both, information, np.eye(k)))
        return np.where(both, inverse, 0.0)

    def _single_df(self, rows: Array) -> tuple[Array, Array]:
        """Variance and Satterthwaite df of single rows, (r, q); `rows` is (r, q, p)."""
        phi = self.fit.covariance
        single, _ = self._pieces
        variance = np.einsum("rqp,rpo,rqo->rq", rows, phi, rows)
        moved = rows @ phi
        slopes = np.stack(
            [-np.einsum("rqp,rpo,rqo->rq", moved, part, moved) for part in single], axis=2
        )
        spread = np.einsum("rqi,rij,rqj->rq", slopes, self._observed_covariance, slopes)
        with np.errstate(divide="ignore"):
            return variance, 2 * variance**2 / spread

    def satterthwaite(self, rows: Array) -> FTest:
        """F test with Satterthwaite's error df (Fai and Cornelius for several rows).

        The result for several rows depends on the rows chosen for the hypothesis.
        """
        from scipy import special

        rows = np.atleast_2d(rows)
        q = len(rows)
        phi = rows @ self.fit.covariance @ rows.T
        _, vectors = np.linalg.eigh(phi)
        turned = vectors.transpose(0, 2, 1) @ rows
        variance, dfs = self._single_df(turned)
        estimate = np.einsum("rqp,rp->rq", turned, self.fit.coefficients)
        statistic = (estimate**2 / variance).sum(axis=1) / q
        with np.errstate(divide="ignore", invalid="ignore"):
            expected = np.where(dfs > 2, dfs / (dfs - 2), 0.0).sum(axis=1)
            pooled = 2 * expected / (expected - q)
        df_error = dfs[:, 0] if q == 1 else np.where(expected > q, pooled, dfs.min(axis=1))
        return FTest(q, df_error, statistic, special.fdtrc(q, df_error, statistic))

    def of(self, rows: Array, method: str) -> tuple[Array, Array, Array]:
        """Estimate, standard error and df of linear functions, shape (functions, r)."""
        rows = np.atleast_2d(rows)
        estimate = rows @ self.fit.coefficients.T
        if method == "satterthwaite":
            many = np.broadcast_to(rows, (len(self.state.theta), *rows.shape))
            variance, df = self._single_df(many)
            return estimate, np.sqrt(variance).T, df.T
        variance = np.einsum("qp,rpo,qo->qr", rows, self.adjusted_covariance, rows)
        df = np.stack([self.kenward_roger(row[None, :]).df_error for row in rows])
        return estimate, np.sqrt(variance), df


def _df_and_scale(a1: Array, a2: Array, q: int) -> tuple[Array, Array]:
    """Error df and scale of Kenward and Roger, with the guards of a ratio of zeros."""
    if q == 1:
        with np.errstate(divide="ignore"):
            return 2 / a2, np.ones_like(a2)
    b = (a1 + 6 * a2) / (2 * q)
    with np.errstate(divide="ignore", invalid="ignore"):
        g = ((q + 1) * a1 - (q + 4) * a2) / ((q + 2) * a2)
        base = 3 * q + 2 * (1 - g)
        c1, c2, c3 = g / base, (q - g) / base, (q + 2 - g) / base
        v0, v1, v2 = 1 + c1 * b, 1 - c2 * b, 1 - c3 * b
        v0 = np.where(np.abs(v0) < 1e-10, 0.0, v0)
        rho = np.where(np.abs(v2) < 1e-10, np.inf, ((1 - a2 / q) / v1) ** 2 * v0 / v2 / q)
        df = np.where(np.isinf(rho), 4.0, 4 + (q + 2) / (q * rho - 1))
        scale = np.where(np.abs(df - 2) < 1e-2, 1.0, df * (1 - a2 / q) / (df - 2))
    return df, scale
