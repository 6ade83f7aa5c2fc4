"""Published formulas for the martensite start, each with the steels it was shown for.

Composition is that of the *austenite*, in mass per cent. How far each formula lies from published
measurements was computed once on a public compilation (tests/reference/metallurgy).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from quenchbook.metallurgy.expected import Array

Formula = Literal[
    "van Bohemen 2012", "Barbier 2014", "Andrews 1965", "Andrews 1965, product",
    "Steven and Haynes 1956", "Payson and Savage 1944", "Nehrenberg 1946", "Capdevila 2002",
    "Ingber and Kunert 2022",
]  # fmt: skip

# Nine of ten of 105 published starts with 0.6 % C or more lie this near by van Bohemen's formula.
_RANGE_C: Final = 45.0
_Carbon = Callable[[Array], Array]


@dataclass(frozen=True)
class StartFormula:
    """One published formula: constant, what carbon does, degC for each per cent of the others.

    Attributes
    ----------
    constant : float
        [degC]
    carbon : callable
        What the carbon takes off [degC].
    slopes : mapping of element to float
        What one per cent takes off [degC].
    carbon_most : float
        Carbon from which on the formula is flagged [mass per cent].
    chromium_most : float
        Chromium above which it is flagged [mass per cent].
    range_c, range_beyond_c : float
        Range either way inside and beyond those limits [degC]: about nine of ten published
        measurements.
    source : str
    carbon_products : mapping of element to float
        What one per cent takes off for each per cent of carbon [degC].
    """

    constant: float
    carbon: _Carbon
    slopes: Mapping[str, float]
    carbon_most: float
    chromium_most: float
    range_c: float
    range_beyond_c: float
    source: str
    carbon_products: Mapping[str, float]

    def start_c(self, composition: Mapping[str, Array]) -> Array:
        """Martensite start [degC]; a missing element is none."""
        carbon = composition["C"]
        start = self.constant - self.carbon(carbon)
        for element, slope in self.slopes.items():
            start = start - slope * composition.get(element, np.zeros(()))
        for element, slope in self.carbon_products.items():
            start = start - slope * carbon * composition.get(element, np.zeros(()))
        return np.asarray(start)


def _straight(slope: float) -> _Carbon:
    return lambda carbon: slope * carbon


def _levelling(amplitude: float, rate: float) -> _Carbon:
    return lambda carbon: amplitude * (1.0 - np.exp(-rate * carbon))


def _with_square(slope: float, square: float) -> _Carbon:
    return lambda carbon: slope * carbon - square * carbon**2


def _straight_and_levelling(slope: float, amplitude: float, rate: float) -> _Carbon:
    return lambda carbon: slope * carbon + amplitude * (1.0 - np.exp(-rate * carbon))


def _formula(
    constant: float,
    carbon: _Carbon,
    slopes: Mapping[str, float],
    source: str,
    *,
    carbon_most: float = 0.6,
    chromium_most: float = 14.0,
    beyond_c: float = 200.0,
    products: Mapping[str, float] | None = None,
) -> StartFormula:
    return StartFormula(
        constant, carbon, slopes, carbon_most, chromium_most, _RANGE_C, beyond_c, source,
        products or {},
    )  # fmt: skip


# Limits of carbon: Andrews [from memory]; Steven and Haynes 0.55 % C and 3.3 % Cr (their data).
# The others were compared with measurements up to 2 % C and flagged where the root mean square
# error of a range of carbon passed 50 degC (shared notes, section 1).
FORMULAS: Final[Mapping[str, StartFormula]] = {
    "van Bohemen 2012": _formula(
        565.0, _levelling(600.0, 0.96),
        {"Mn": 31.0, "Si": 13.0, "Cr": 10.0, "Ni": 18.0, "Mo": 12.0},
        "van Bohemen, Mater. Sci. Technol. 28 (2012) 487", carbon_most=2.0, beyond_c=90.0,
    ),
    "Barbier 2014": _formula(
        545.0, _levelling(601.2, 0.868),
        {"Mn": 34.4, "Si": 13.7, "Cr": 9.2, "Ni": 17.3, "Mo": 15.4},
        "Barbier, Adv. Eng. Mater. 16 (2014) 122; terms of V, Co, Cu, Nb left out [from memory]",
        carbon_most=2.0, beyond_c=90.0,
    ),
    "Andrews 1965": _formula(
        539.0, _straight(423.0), {"Mn": 30.4, "Ni": 17.7, "Cr": 12.1, "Mo": 7.5},
        "Andrews, J. Iron Steel Inst. 203 (1965) 721, linear; limit of carbon from memory",
    ),
    # +15 Cr: one copy prints -15, which fails on measured starts
    "Andrews 1965, product": _formula(
        512.0, _with_square(453.0, 217.0), {"Ni": 16.9, "Cr": -15.0, "Mo": 9.5},
        "Andrews, J. Iron Steel Inst. 203 (1965) 721, with products; limit of carbon from memory",
        products={"Mn": 71.5, "Cr": 67.6},
    ),
    "Steven and Haynes 1956": _formula(
        561.0, _straight(474.0), {"Mn": 33.0, "Cr": 17.0, "Ni": 17.0, "Mo": 21.0},
        "Steven and Haynes, J. Iron Steel Inst. 183 (1956) 349",
        carbon_most=0.55, chromium_most=3.3,
    ),
    "Payson and Savage 1944": _formula(
        898.0 / 1.8, _straight(570.0 / 1.8),  # printed in degF: 930 - 570 C - 60 Mn - 50 Cr ...
        {"Mn": 60 / 1.8, "Cr": 50 / 1.8, "Ni": 30 / 1.8, "Mo": 20 / 1.8, "Si": 20 / 1.8,
         "W": 20 / 1.8},
        "Payson and Savage, Trans. ASM 33 (1944) 261, turned from degF", carbon_most=1.0,
    ),
    "Nehrenberg 1946": _formula(
        498.9, _straight(300.0), {"Mn": 33.3, "Cr": 22.2, "Ni": 16.7, "Mo": 11.1, "Si": 11.1},
        "Nehrenberg, Trans. AIME 167 (1946) 494, as later papers quote it", carbon_most=1.3,
    ),
    "Capdevila 2002": _formula(
        491.05, _straight(302.6),
        {"Mn": 30.6, "Ni": 16.6, "Cr": 8.9, "Mo": -2.4, "Si": 14.5, "Co": -8.58, "W": -7.4,
         "Cu": 11.3},
        "Capdevila, Caballero and Garcia de Andres, ISIJ Int. 42 (2002) 894; terms of W and Cu "
        "from memory", carbon_most=1.3,
    ),
    "Ingber and Kunert 2022": _formula(
        530.2, _straight_and_levelling(290.3, 75.0, 0.96),
        {"Mn": 35.5, "Si": 6.8, "Ni": 17.2, "Cr": 20.8, "Mo": 10.4, "Al": -7.1, "Co": -4.8},
        "Ingber and Kunert, steel research int. 93 (2022) 2100576", carbon_most=1.3,
    ),
}  # fmt: skip
