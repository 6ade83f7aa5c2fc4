"""Hardness of one steel on one curve of the tempering parameter, with the constant given or fitted.

For tables of tempers of one steel in one quenched condition (published curves, a pilot), without
strata. It says how well one parameter brings times and temperatures together: its scatter is what
the parameter is worth for that steel.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import ArrayLike

from quenchbook.errors import EstimabilityError
from quenchbook.fit.nonlinear import NonlinearFit, nonlinear_fit
from quenchbook.metallurgy.tempering import HOURS_CONSTANT, tempering_parameter
from quenchbook.shown import ShowsItself
from quenchbook.study.terms import Array

if TYPE_CHECKING:
    import pandas as pd

LOWEST_HRC: Final = 20.0  # below, the Rockwell C scale is not used
_DEGREE: Final = 3  # bends twice: a rise or secondary hardening has room
_SPREAD_HOURS: Final = 4.0  # longest over shortest hold below which no constant can be told


@dataclass(frozen=True, eq=False, repr=False)
class TemperedSteel(ShowsItself):
    """One curve of hardness against the tempering parameter.

    Attributes
    ----------
    constant : float
        C of the tempering parameter, for kelvin and hours.
    constant_error : float
        Its standard error; 0 where it was given.
    fit : NonlinearFit
        Coefficients of the cubic in (parameter - centre) / half range, and the constant if fitted.
    low, high : float
        Range of the parameter of the data [K].
    notes : tuple of str
    """

    constant: float
    constant_error: float
    fit: NonlinearFit
    low: float
    high: float
    notes: tuple[str, ...] = ()

    @property
    def rmse(self) -> float:
        """Root mean square distance of the tempers from the curve [HRC]."""
        return self.fit.rmse

    def hardness(self, temper_c: ArrayLike, hold_hours: ArrayLike) -> Array:
        """Fitted hardness inside the range of the data [HRC].

        Raises
        ------
        EstimabilityError
            If a temper lies outside the parameters of the data.
        """
        parameter = tempering_parameter(temper_c, hold_hours, constant=self.constant)
        slack = 1e-9 * self.high
        if not np.all((parameter >= self.low - slack) & (parameter <= self.high + slack)):
            raise EstimabilityError(
                f"The curve holds for tempering parameters of {self.low:.0f} to {self.high:.0f} K, "
                f"not {parameter}."
            )
        x = (2 * parameter - self.low - self.high) / (self.high - self.low)
        return np.asarray(np.polynomial.polynomial.polyval(x, self.fit.estimate[: _DEGREE + 1]))

    def summary(self) -> str:
        """Constant, how well one curve fits, and over which parameters."""
        fitted = f", standard error {self.constant_error:.1f}" if self.constant_error else ", given"
        return "\n".join(
            [
                f"Constant {self.constant:.1f}{fitted}; the tempers lie {self.rmse:.2f} HRC about "
                f"one curve (root mean square), parameters {self.low:.0f} to {self.high:.0f} K.",
                *self.notes,
            ]
        )

    def to_frame(self) -> pd.DataFrame:
        """Return one row: ``parameter, estimate, std_error, rmse, low, high``."""
        import pandas as pd

        own = {"parameter": "constant", "estimate": self.constant, "std_error": self.constant_error}
        return pd.DataFrame([{**own, "rmse": self.rmse, "low": self.low, "high": self.high}])

    def __repr__(self) -> str:
        return f"<TemperedSteel C {self.constant:.1f}, rmse {self.rmse:.2f} HRC>"


def tempered_steel(
    temper_c: ArrayLike,
    hold_hours: ArrayLike,
    hardness_hrc: ArrayLike,
    *,
    constant: float | None = HOURS_CONSTANT,
) -> TemperedSteel:
    """Fit one cubic in the tempering parameter to the tempers of one steel.

    Parameters
    ----------
    temper_c, hold_hours, hardness_hrc : array, shape (n,)
        [degC], [h], [HRC]. Readings below 20 HRC are left out: the scale is not used there.
    constant : float or None
        C of the parameter; None fits it.

    Returns
    -------
    TemperedSteel

    Raises
    ------
    EstimabilityError
        For too few tempers, or a constant that holds of about one length cannot tell.
    """
    temper, hours, hardness = (
        np.asarray(own, dtype=float) for own in (temper_c, hold_hours, hardness_hrc)
    )
    used = hardness >= LOWEST_HRC
    notes = []
    if not used.all():
        notes.append(
            f"{int((~used).sum())} readings below 20 HRC left out: the scale is not used there."
        )
    temper, hours, hardness = temper[used], hours[used], hardness[used]
    if len(np.unique(temper)) <= _DEGREE:
        raise EstimabilityError(
            f"{len(np.unique(temper))} temper temperatures do not tell a curve that may rise and "
            f"fall; at least {_DEGREE + 1} are needed."
        )
    if constant is None and hours.max() < _SPREAD_HOURS * hours.min():
        raise EstimabilityError(
            "Holds of about one length do not tell the constant of the tempering parameter. Give "
            "it, or temper for times that differ four times or more."
        )

    def columns(c: float) -> tuple[Array, float, float]:
        parameter = tempering_parameter(temper, hours, constant=c)
        low, high = float(parameter.min()), float(parameter.max())
        x = (2 * parameter - low - high) / (high - low)
        return np.asarray(np.polynomial.polynomial.polyvander(x, _DEGREE)), low, high

    first = HOURS_CONSTANT if constant is None else constant
    begin = np.linalg.lstsq(columns(first)[0], hardness, rcond=None)[0]
    names = [f"power {number}" for number in range(_DEGREE + 1)]
    if constant is None:
        fit = nonlinear_fit(
            lambda p: columns(float(p[-1]))[0] @ p[:-1],
            hardness,
            [*begin, first],
            names=[*names, "constant"],
        )
        found, error = float(fit.estimate[-1]), float(fit.std_error[-1])
    else:
        matrix = columns(constant)[0]
        fit = nonlinear_fit(
            lambda p: matrix @ p, hardness, begin.tolist(), names=names, jacobian=lambda _: matrix
        )
        found, error = constant, 0.0
    _, low, high = columns(found)
    return TemperedSteel(found, error, fit, low, high, tuple(notes))
