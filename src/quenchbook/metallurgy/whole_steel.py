"""Refuse the mill sheet of a steel with carbide or ferrite where its austenite is asked for.

The carbon of undissolved carbide does not lower the martensite start: for seven published steels
the mill sheet in the formula missed by 106 °C (root mean square), the computed austenite by 23 °C.
Ferrite holds no carbon: what austenite there is beside it has more than the mill sheet.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from quenchbook.errors import EstimabilityError
from quenchbook.metallurgy.austenite import SOURCE, possible_austenites
from quenchbook.metallurgy.expected import Array, Expected, hull
from quenchbook.metallurgy.martensite import martensite_start
from quenchbook.metallurgy.martensite_formulas import Formula
from quenchbook.units import number_text

# Carbon that austenite of plain carbon steel can hold: temperature [degC], carbon [mass per cent];
# eutectoid and Acm by pycalphad and iron4cd (source as of the austenite table).
_SOLUBLE: Final = ((726.5, 0.763), (850.0, 1.084), (900.0, 1.227), (950.0, 1.377), (1000.0, 1.535))
# Ferrite is gone above 910 - 203 sqrt(C) + ... [degC]: Andrews, J. Iron Steel Inst. 203 (1965) 721,
# on heating, to 0.6 % C, each steel to some 17 degC [all from memory]. His terms of Mn, Ni, Cr and
# Cu, which lower it, are left out, so that a steel in doubt is refused.
_FERRITE_GONE_C: Final = 910.0
_BY_ROOT_OF_CARBON: Final = 203.0
_RAISED_BY: Final = {
    "Si": 44.7,
    "Mo": 31.5,
    "V": 104.0,
    "W": 13.1,
    "P": 700.0,
    "Al": 400.0,
    "Ti": 400.0,
}
_CARBIDE_FORMERS: Final = ("Cr", "Mo", "V", "W", "Nb", "Ti")
_PLAIN_MOST: Final = 0.3  # sum of carbide formers up to which a steel is plain; own limit
_DISSOLVED: Final = 0.001  # share of carbide below which nothing more is to be dissolved


def soluble_carbon(austenitize_c: ArrayLike) -> Array:
    """Most carbon that the austenite of plain carbon steel holds [mass per cent].

    Parameters
    ----------
    austenitize_c : array, shape (n,) or ()
        [degC], 726.5 to 1000.

    Raises
    ------
    EstimabilityError
        Outside these temperatures.

    Examples
    --------
    >>> float(soluble_carbon(850.0))
    1.084
    """
    places = np.asarray(austenitize_c, dtype=float)
    known = np.array(_SOLUBLE)
    if not np.all((places >= known[0, 0]) & (places <= known[-1, 0])):
        raise EstimabilityError(
            f"The carbon that dissolves in plain steel is known from {known[0, 0]:g} to "
            f"{known[-1, 0]:g} °C, not at {places} °C."
        )
    return np.asarray(np.interp(places, known[:, 0], known[:, 1]))


def ferrite_gone_c(steel: Mapping[str, float]) -> float:
    """Temperature above which a plain or low-alloy steel surely holds no ferrite [degC].

    910 - 203 sqrt(C) + 44.7 Si + 31.5 Mo + 104 V + 13.1 W + 700 P + 400 (Al + Ti) of Andrews,
    without the terms of Mn, Ni, Cr and Cu, which would lower it.

    Parameters
    ----------
    steel : mapping of element to float
        As on the mill sheet [mass per cent]; carbon counts up to the eutectoid, 0.763 %.

    References
    ----------
    Andrews, J. Iron Steel Inst. 203 (1965) 721, to 0.6 % C [from memory].

    Examples
    --------
    >>> round(ferrite_gone_c({"C": 0.3}))
    799
    """
    carbon = min(steel.get("C", 0.0), _SOLUBLE[0][1])
    raised = sum(slope * steel.get(element, 0.0) for element, slope in _RAISED_BY.items())
    return float(_FERRITE_GONE_C - _BY_ROOT_OF_CARBON * math.sqrt(carbon) + raised)


def steel_martensite_start(
    steel: Mapping[str, float],
    austenitize_c: float,
    *,
    grade: str = "",
    formula: Formula = "van Bohemen 2012",
) -> Expected:
    """Martensite start from the composition of a whole steel, where all of it is austenite.

    Parameters
    ----------
    steel : mapping of element to float
        As on the mill sheet [mass per cent].
    austenitize_c : float
        Austenitize temperature [degC].
    grade : str
        Such as ``A2``.
    formula : str
        As of `martensite_start`.

    Returns
    -------
    Expected
        [degC]

    Raises
    ------
    EstimabilityError
        If carbide or ferrite is left at that temperature, or it is not known whether any is.

    Notes
    -----
    For a steel with carbide take `possible_austenites` and give its composition at the austenitize
    temperature to `martensite_start`. Equilibrium: after a short soak more carbide is left.
    """
    formers = sum(steel.get(element, 0.0) for element in _CARBIDE_FORMERS)
    if formers <= _PLAIN_MOST and not grade:
        most = float(soluble_carbon(austenitize_c))
        if steel.get("C", 0.0) > most:
            raise EstimabilityError(
                f"At {austenitize_c:g} °C the austenite holds at most {number_text(most)} % carbon "
                f"and the steel has {number_text(steel['C'])} %: the rest is carbide. Give "
                "martensite_start the composition of the austenite."
            )
        free_c = ferrite_gone_c(steel)
        if austenitize_c < free_c:
            raise EstimabilityError(
                f"At {austenitize_c:g} °C ferrite may be left: this steel is surely all austenite "
                f"from {math.ceil(free_c)} °C (Andrews, 1965, without the elements that lower it). "
                "Austenite beside ferrite holds more carbon than the mill sheet says. Austenitize "
                "hotter, or give martensite_start the composition of the austenite."
            )
        return martensite_start(steel, formula=formula)
    try:
        austenites = possible_austenites(grade, steel)
    except EstimabilityError as error:
        raise EstimabilityError(
            f"Whether carbide is left at {austenitize_c:g} °C is not known: {error}. An equation "
            "for the martensite start takes the composition of the austenite; if you know it, give "
            "it to martensite_start."
        ) from None
    left = max(
        float(sum(share for share in own.carbide_at(austenitize_c).values())) for own in austenites
    )
    if left >= _DISSOLVED:
        raise EstimabilityError(
            f"At {austenitize_c:g} °C {austenites[0].grade} still holds "
            f"{number_text(100 * left, 1)} % carbide ({SOURCE}): its mill sheet is not its "
            "austenite. Take possible_austenites(...) at that temperature and give it to "
            "martensite_start."
        )
    parts = [
        martensite_start(
            {element: float(x) for element, x in own.at(austenitize_c).items()}, formula=formula
        )
        for own in austenites
    ]
    return hull(parts)
