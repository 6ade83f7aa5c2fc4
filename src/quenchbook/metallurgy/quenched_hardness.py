"""Hardness of martensite by its carbon, and of a quenched steel as a mixture: ranges only.

Two published relations for martensite differ by 1.5 HRC at 0.6 % C, so a hardness is told to 2 HRC
either way at best, and a decimal would claim too much.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from quenchbook.errors import EstimabilityError
from quenchbook.metallurgy.austenite import Austenite
from quenchbook.metallurgy.expected import Array, Expected
from quenchbook.metallurgy.hardness_scales import rockwell_hardness
from quenchbook.metallurgy.martensite import (
    RATE,
    RATE_RANGE,
    ROOM_C,
    START_RANGE_C,
    martensite_start,
    retained_fraction,
)

# Vickers hardness [from memory]; MC is taken as M7C3, which moves the peak by a few degrees only
CARBIDE_HV: Final = {"cementite": 1000.0, "M7C3": 1500.0, "M23C6": 1200.0, "MC": 1500.0}
AUSTENITE_HV: Final = 400.0
AUSTENITE_HV_RANGE: Final = (300.0, 500.0)
COST_HRC: Final = (0.07, 0.18)  # of one per cent of retained austenite; low end from one thesis
_BETWEEN_RELATIONS_HRC: Final = 2.0  # 1.5 HRC between two relations, and the mixture
_BETWEEN_RELATIONS_HV: Final = 50.0  # the same at 60 to 64 HRC
_A255: Final = (35.395, 6.990, 312.330, -821.744, 1015.479, -538.346)
_A255_CARBON: Final = (0.10, 0.69)
_YURIOKA_MOST: Final = 0.8


def martensite_hardness(carbon: ArrayLike) -> Expected:
    """Rockwell hardness of a structure that is all martensite [HRC].

    HRC = 35.395 + 6.990 C + 312.330 C^2 - 821.744 C^3 + 1015.479 C^4 - 538.346 C^5.

    Parameters
    ----------
    carbon : array, shape (n,) or ()
        Dissolved in the martensite, 0.10 to 0.69 [mass per cent].

    Returns
    -------
    Expected
        With 2 HRC either way.

    Raises
    ------
    EstimabilityError
        Outside the carbon of the standard.

    References
    ----------
    ASTM A255 (one public copy).

    Examples
    --------
    >>> round(float(martensite_hardness(0.6).value), 1)
    64.3
    """
    places = np.asarray(carbon, dtype=float)
    least, most = _A255_CARBON
    if not np.all((places >= least) & (places <= most)):
        raise EstimabilityError(
            f"ASTM A255 tells the hardness of martensite from {least:.2f} to {most:.2f} % C, not "
            f"at {places} %."
        )
    value = np.polynomial.polynomial.polyval(places, _A255)
    half = _BETWEEN_RELATIONS_HRC
    return Expected(
        value, value - half, value + half, "ASTM A255", f"{least:.2f} to {most:.2f} % C"
    )


def martensite_vickers(carbon: ArrayLike) -> Expected:
    """Vickers hardness of a structure that is all martensite [HV].

    884 C (1 - 0.3 C^2) + 294, with C up to 1.

    Parameters
    ----------
    carbon : array, shape (n,) or ()
        Dissolved in the martensite [mass per cent]; above 1 it counts as 1.

    References
    ----------
    Yurioka et al. (1987) [from memory, not confirmed], stated below 0.8 % C.

    Examples
    --------
    >>> round(float(martensite_vickers(0.6).value))
    767
    """
    places = np.asarray(carbon, dtype=float)
    value = _vickers(places)
    half = _BETWEEN_RELATIONS_HV
    flags = ("carbon of 0.8 % or more",) if np.any(places >= _YURIOKA_MOST) else ()
    return Expected(
        value, value - half, value + half, "Yurioka et al. (1987), from memory", "below 0.8 % C",
        flags,
    )  # fmt: skip


def _vickers(carbon: Array) -> Array:
    capped = np.minimum(carbon, 1.0)
    return np.asarray(884.0 * capped * (1.0 - 0.3 * capped**2) + 294.0)


def mixture_vickers(
    austenite: Austenite,
    austenitize_c: ArrayLike,
    cold_c: float = ROOM_C,
    *,
    start_shift_c: float = 0.0,
    austenite_hv: float = AUSTENITE_HV,
    rate: float = RATE,
) -> Array:
    """Vickers hardness of carbide, martensite and retained austenite together [HV].

    carbide + (1 - carbide) [(1 - RA) HV_M(C) + RA HV_RA], RA by Koistinen and Marburger.

    Parameters
    ----------
    austenite : Austenite
    austenitize_c : array, shape (n,) or ()
        Inside the table [degC].
    cold_c : float
        Coldest temperature reached [degC].
    start_shift_c : float
        Added to the martensite start [degC].
    austenite_hv : float
        Hardness of austenite [HV].
    rate : float
        Of the transformation [1/K].
    """
    composition, carbides = austenite.at(austenitize_c), austenite.carbide_at(austenitize_c)
    start = martensite_start(composition).value + start_shift_c
    retained = retained_fraction(start, cold_c, rate)
    matrix = (1.0 - retained) * _vickers(composition["C"]) + retained * austenite_hv
    carbide = np.sum(list(carbides.values()), axis=0)
    hard = np.sum([CARBIDE_HV[name] * share for name, share in carbides.items()], axis=0)
    return np.asarray(hard + (1.0 - carbide) * matrix)


def quenched_hardness(
    austenite: Austenite, austenitize_c: ArrayLike, cold_c: float = ROOM_C
) -> Expected:
    """Rockwell hardness after quench and cold step, before any temper, as a range [HRC].

    Parameters
    ----------
    austenite : Austenite
        From `possible_austenites`.
    austenitize_c : array, shape (n,) or ()
        Inside the table [degC].
    cold_c : float
        Coldest temperature reached [degC].

    Returns
    -------
    Expected
        The mixture of `mixture_vickers` turned to HRC by ASTM E140; its range spans the martensite
        start (45 °C either way), the hardness and the rate of its parts, and 2 HRC either way.

    Notes
    -----
    A prior: plausible beside handbook values (52100 at 845 °C 64.8, published 64 to 67 HRC as
    quenched), not proven. Differences between routes of one steel are better founded than a value.
    """
    middle = rockwell_hardness(np.ravel(mixture_vickers(austenite, austenitize_c, cold_c)))
    ends = []
    for way, soft, rate in ((-1, 0, 0), (1, 1, 1)):
        hv = mixture_vickers(
            austenite, austenitize_c, cold_c, start_shift_c=way * START_RANGE_C,
            austenite_hv=AUSTENITE_HV_RANGE[soft], rate=RATE_RANGE[rate],
        )  # fmt: skip
        ends.append(rockwell_hardness(np.ravel(hv)).converted + way * _BETWEEN_RELATIONS_HRC)
    shape = np.shape(austenitize_c)
    flags: tuple[str, ...] = ()
    if austenite.steel.get("Cr", 0.0) > 8.0:
        flags = ("above 8 % chromium the chain leaves too little austenite",)
    return Expected(
        middle.converted.reshape(shape), ends[0].reshape(shape), ends[1].reshape(shape),
        "mixture of carbide, martensite (Yurioka, from memory) and austenite, in HRC by ASTM E140",
        "untempered, equilibrium at the austenitize temperature, quenched fast enough for "
        "martensite",
        flags,
    )  # fmt: skip


def austenite_cost(transformed_percent: ArrayLike) -> Expected:
    """Hardness gained when retained austenite becomes martensite [HRC].

    Parameters
    ----------
    transformed_percent : array, shape (n,) or ()
        Of the steel [%].

    Returns
    -------
    Expected
        0.07 to 0.18 HRC for one per cent.

    Examples
    --------
    >>> gain = austenite_cost(10.0)
    >>> round(float(gain.low), 1), round(float(gain.high), 1)
    (0.7, 1.8)
    """
    share = np.asarray(transformed_percent, dtype=float)
    low, high = COST_HRC
    return Expected(
        share * (low + high) / 2, share * low, share * high,
        "mixture rule 0.11 to 0.17 HRC for 1 %; one thesis on 52100 gives 0.07",
        "hard martensite near 60 to 66 HRC",
    )  # fmt: skip
