"""Least squares for a function that is not linear in its parameters: one path for every such fit.

A trust region that scales each parameter by its own column of the Jacobian, so that parameters of
any size converge; the Jacobian is given, or taken by central differences. Checked on the nonlinear
sets of NIST StRD from both starts (tests/reference/nist_strd).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from quenchbook.errors import EstimabilityError
from quenchbook.fit.inversion import t_limit
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.terms import Array
from quenchbook.units import decimals_for, listed, number_text

_PRECISE: Final = 1e-15  # stop only where doubles end
_MOST_STEPS: Final = 5000  # the hardest of the NIST sets takes some 1000
_STEP: Final = 6e-6  # cube root of the precision of a double: best for central differences
_APART: Final = 1e-9  # central differences keep some ten digits
_SHARP: Final = 1e-4  # share of the residual that the parameters may still explain at the end


@dataclass(frozen=True, eq=False, repr=False)
class NonlinearFit(ShowsItself):
    """Parameters with their standard errors.

    Attributes
    ----------
    names : tuple of str
    estimate, std_error : ndarray, shape (parameters,)
    covariance : ndarray, shape (parameters, parameters)
        By the linear approximation at the estimate.
    residuals : ndarray, shape (n,)
        Observed less fitted.
    sd : float
        Residual standard deviation on `df`.
    df : int
    confidence : float
    """

    names: tuple[str, ...]
    estimate: Array
    std_error: Array
    covariance: Array
    residuals: Array
    sd: float
    df: int
    confidence: float = 0.95

    @property
    def rmse(self) -> float:
        """Root mean square of the residuals, over all observations."""
        return float(np.sqrt(np.mean(self.residuals**2)))

    def to_frame(self) -> pd.DataFrame:
        """Return ``parameter, estimate, std_error, df, conf_low, conf_high``."""
        half = t_limit(self.df, self.confidence) * self.std_error
        return pd.DataFrame(
            {
                "parameter": list(self.names),
                "estimate": self.estimate,
                "std_error": self.std_error,
                "df": self.df,
                "conf_low": self.estimate - half,
                "conf_high": self.estimate + half,
            }
        )

    def shown(self) -> Shown:
        """The parameters in one sentence, then the table."""
        table = self.to_frame()
        words = [
            f"{row['parameter']} {number_text(row['estimate'], decimals_for(row['std_error']))}"
            for row in table.to_dict("records")
        ]
        finding = f"{listed(words)}; residual standard deviation {self.sd:.3g} on {self.df} df."
        method = ("Least squares; standard errors by the linear approximation at the estimate.",)
        return Shown(finding, table, method=method, confidence=self.confidence)

    def __repr__(self) -> str:
        own = ", ".join(f"{n} {x:.4g}" for n, x in zip(self.names, self.estimate, strict=True))
        return f"<NonlinearFit {own}; sd {self.sd:.3g} on {self.df} df>"


def nonlinear_fit(
    function: Callable[[Array], Array],
    observed: ArrayLike,
    start: Sequence[float],
    *,
    names: Sequence[str] = (),
    jacobian: Callable[[Array], Array] | None = None,
    confidence: float = 0.95,
) -> NonlinearFit:
    """Fit parameters by least squares.

    Parameters
    ----------
    function : callable
        Parameters, shape (parameters,), to fitted values, shape (n,).
    observed : array, shape (n,)
    start : sequence of float
        Where to begin.
    names : sequence of str
        Of the parameters; ``p1, p2 ...`` when left out.
    jacobian : callable, optional
        Derivatives of the fitted values, shape (n, parameters); by central differences when left
        out.
    confidence : float

    Returns
    -------
    NonlinearFit

    Raises
    ------
    EstimabilityError
        If there are not more observations than parameters, the start gives no numbers, no minimum
        is reached, or the data do not tell the parameters apart.

    References
    ----------
    Branch, Coleman and Li (1999), SIAM J. Sci. Comput. 21:1, the trust region of
    scipy.optimize.least_squares (from its documentation).
    """
    from scipy.optimize import least_squares

    values = np.asarray(observed, dtype=float)
    begin = np.asarray(start, dtype=float)
    own = tuple(names) or tuple(f"p{number}" for number in range(1, len(begin) + 1))
    df = len(values) - len(begin)
    if df < 1:
        raise EstimabilityError(
            f"{len(values)} values cannot tell {len(begin)} parameters and their noise. At least "
            f"{len(begin) + 1} are needed."
        )

    def residuals(parameters: Array) -> Array:
        with np.errstate(all="ignore"):
            return np.asarray(function(parameters) - values, dtype=float)

    def slopes(parameters: Array) -> Array:
        with np.errstate(all="ignore"):
            own_slopes = jacobian or (lambda p: _central(function, p))
            return np.asarray(own_slopes(parameters), dtype=float)

    if not (np.isfinite(residuals(begin)).all() and np.isfinite(slopes(begin)).all()):
        raise EstimabilityError(
            f"The function gives no numbers at the start {begin.tolist()}. Start nearer."
        )
    with np.errstate(over="ignore", invalid="ignore"):  # a step that is tried and taken back
        found = least_squares(
            residuals, begin, jac=slopes, method="trf", x_scale="jac", ftol=_PRECISE,
            xtol=_PRECISE, gtol=_PRECISE, max_nfev=_MOST_STEPS,
        )  # fmt: skip
    rest, matrix = np.asarray(found.fun), np.asarray(found.jac)
    size = np.sqrt((matrix**2).sum(axis=0))
    if not (np.isfinite(matrix).all() and (size > 0).all()):
        raise EstimabilityError("The data say nothing about one of the parameters.")
    vectors, singular, turned = np.linalg.svd(matrix / size, full_matrices=False)
    if singular[-1] < _APART * singular[0]:
        raise EstimabilityError("The data do not tell the parameters apart.")
    explained = float(np.linalg.norm(vectors.T @ rest))
    noise = float(np.linalg.norm(rest))
    if explained > _SHARP * noise + 1e-10 * float(np.linalg.norm(values)):
        raise EstimabilityError("No minimum was reached. Start nearer, or use fewer parameters.")
    inverse = (turned.T / singular**2) @ turned / np.outer(size, size)
    square = float(rest @ rest) / df
    covariance = square * inverse
    return NonlinearFit(
        own, np.asarray(found.x), np.sqrt(np.diag(covariance)), covariance, -rest,
        float(np.sqrt(square)), df, confidence,
    )  # fmt: skip


def _central(function: Callable[[Array], Array], parameters: Array) -> Array:
    columns = []
    for place, value in enumerate(parameters):
        step = _STEP * (abs(value) or 1.0)
        above, below = parameters.copy(), parameters.copy()
        above[place] += step
        below[place] -= step
        columns.append((function(above) - function(below)) / (above[place] - below[place]))
    return np.column_stack(columns)
