"""How deep carbon is lost in the furnace, and how much is to be ground off: ranges, never a value.

A soft skin looks like low hardness, so the estimate only says where to begin; what is enough is
found on the coupon itself, see `VERIFY`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from quenchbook.errors import EstimabilityError
from quenchbook.metallurgy.expected import Array, Expected

Protection = Literal["none", "foil", "gas"]

VERIFY: Final = (
    "Verify it: grind, indent, grind 0.1 mm more, indent again; it is deep enough when the "
    "hardness stops rising."
)
"""Advice that goes with every estimate (common practice, no source)."""

# Carbon in austenite: factor [m2/s] and activation energy [J/mol]; page of the University of
# Liverpool, and a textbook value [from memory]
_DIFFUSIVITIES: Final = ((1.5e-5, 135e3), (2.3e-5, 148e3))
_GAS_CONSTANT: Final = 8.314462618  # J/(mol K), CODATA 2018
_NINE_TENTHS: Final = 2.326  # 2 erfinv(0.9): carbon is 90 % of that of the bulk
_LOWEST_C: Final = 727.0  # no austenite below, in plain carbon steel
_HIGHEST_C: Final = 1300.0
_BEYOND_MM: Final = 0.05  # ground off beyond the depth (common practice, no source)
_PROTECTED_MM: Final = (0.05, 0.1)  # in foil or protective gas (common practice, no source)
_BARE_SOURCE: Final = (
    "bare in the furnace, upper bound: the surface holds no carbon; by two published diffusivities "
    "of carbon in austenite; carbide and scale make it less"
)
_VALIDITY: Final = "austenite, 727 to 1300 °C; verify it on the coupon"
_PROTECTED: Final[Mapping[str, str]] = {"foil": "in foil", "gas": "in protective gas"}


def decarburized_depth(austenitize_c: ArrayLike, soak_minutes: ArrayLike) -> Expected:
    """Depth below a bare surface where carbon is 90 % of that of the bulk, each side [mm].

    C = C0 erf(x / (2 sqrt(D t))) for a surface held at zero carbon, so x = 2.326 sqrt(D t), with
    D = 1.5e-5 exp(-135 kJ / RT) or 2.3e-5 exp(-148 kJ / RT) [m2/s].

    Parameters
    ----------
    austenitize_c : array, shape (n,) or ()
        Furnace temperature [degC], 727 to 1300.
    soak_minutes : array, shape (n,) or ()
        Time at temperature [min].

    Returns
    -------
    Expected
        Depth by the two diffusivities [mm]; both are upper bounds, as carbide and scale hinder the
        loss and air takes carbon away only so fast.

    Raises
    ------
    EstimabilityError
        Outside the temperatures of austenite, or for a time below zero.

    References
    ----------
    Diffusivities: page of the University of Liverpool; textbook value [from memory].

    >>> depth = decarburized_depth(1050.0, 30.0)
    >>> round(float(depth.low), 2), round(float(depth.high), 2)
    (0.57, 0.83)
    """
    paths = _diffusion_paths(austenitize_c, soak_minutes)
    return _between([_NINE_TENTHS * path for path in paths], _BARE_SOURCE)


def grind_allowance(
    austenitize_c: ArrayLike, soak_minutes: ArrayLike, *, protection: Protection = "none"
) -> Expected:
    """How much is to be ground off each side before a hardness is believed [mm].

    Parameters
    ----------
    austenitize_c : array, shape (n,) or ()
        Furnace temperature [degC], 727 to 1300.
    soak_minutes : array, shape (n,) or ()
        Time at temperature [min].
    protection : str
        ``none``: bare in air, the decarburized depth and 0.05 mm beyond it. ``foil`` or ``gas``:
        0.05 to 0.1 mm whatever the soak.

    Returns
    -------
    Expected
        Allowance [mm], to be verified on the coupon, see `VERIFY`.

    Raises
    ------
    EstimabilityError
        Outside the temperatures of austenite, or for a time below zero.

    References
    ----------
    That foil restricts the loss: Pasang et al. (2013), H13 [title not read].

    >>> allowance = grind_allowance(1050.0, 30.0, protection="foil")
    >>> float(allowance.low), float(allowance.high)
    (0.05, 0.1)
    """
    depth = decarburized_depth(austenitize_c, soak_minutes)
    if protection == "none":
        ends = [depth.low + _BEYOND_MM, depth.high + _BEYOND_MM]
        return _between(ends, f"{_BARE_SOURCE}; with {_BEYOND_MM:g} mm beyond")
    words = f"{_PROTECTED[protection]}: common practice, no source"
    # never more than the same steel loses bare
    ends = [np.minimum(end, depth.high + _BEYOND_MM) for end in _PROTECTED_MM]
    return _between(ends, words)


def _diffusion_paths(austenitize_c: ArrayLike, soak_minutes: ArrayLike) -> list[Array]:
    """Square root of D t for each diffusivity [mm]."""
    celsius = np.asarray(austenitize_c, dtype=float)
    minutes = np.asarray(soak_minutes, dtype=float)
    if not np.all((celsius >= _LOWEST_C) & (celsius <= _HIGHEST_C)):
        raise EstimabilityError(
            f"The loss of carbon is computed for austenite, {_LOWEST_C:.0f} to {_HIGHEST_C:.0f} "
            f"degC; the furnace is at {celsius} degC."
        )
    if not np.all((minutes >= 0) & (minutes < math.inf)):
        raise EstimabilityError(f"A soak takes zero minutes or more, not {minutes}.")
    kelvin = celsius + 273.15
    seconds = 60.0 * minutes
    return [
        1e3 * np.sqrt(factor * np.exp(-energy / (_GAS_CONSTANT * kelvin)) * seconds)
        for factor, energy in _DIFFUSIVITIES
    ]


def _between(ends: list[Array], source: str) -> Expected:
    low, high = np.minimum(*ends), np.maximum(*ends)
    return Expected((low + high) / 2, low, high, source, _VALIDITY)
