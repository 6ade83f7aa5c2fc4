"""Depth and diameter of a Rockwell C indent, and how much steel it needs around and under it."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from quenchbook.errors import EstimabilityError
from quenchbook.metallurgy.expected import Array, Expected
from quenchbook.metallurgy.hardness_scales import LOWEST_HRC, vickers_hardness

DEPTH_AT_ZERO_MM: Final = 0.2  # HRC = 100 - h / 0.002 mm: ASTM E18, ISO 6508-1
DEPTH_PER_HRC_MM: Final = 0.002
SPACING_DIAMETERS: Final = 3.0
EDGE_DIAMETERS: Final = 2.5
SPACING_SOURCE: Final = (
    "ASTM E18, ISO 6508-1:2015 as a tester manual tells them (ISO 6508-1:2005 asked for "
    "4\u00a0diameters and 2\u00a0mm between indents: from memory)"
)
THICKNESS_DEPTHS: Final = 10.0
THICKNESS_SOURCE: Final = (
    "ISO 6508-1 Annex B as a maker's page tells it; the thickness tables of ASTM E18 were not seen"
)
DIAMETER_SOURCE: Final = (
    "own estimate: from the nominal cone at the permanent depth to 150\u00a0kgf over the pressure "
    "of a Vickers indent (ASTM E140 Table 1)"
)
_TIP_RADIUS_MM: Final = 0.2  # diamond cone of 120 degrees with this tip radius [from memory]
_HALF_ANGLE: Final = np.radians(60.0)
_FORCE_KGF: Final = 150.0
_VICKERS_PROJECTED: Final = float(np.sin(np.radians(68.0)))  # pyramid of 136 degrees


def indent_depth(hardness_hrc: ArrayLike) -> Array:
    """Permanent depth of a Rockwell C indent [mm].

    h = 0.2 mm - 0.002 mm x HRC.

    Parameters
    ----------
    hardness_hrc : array_like, shape (n,) or ()
        Rockwell hardness, 20 to 100 [HRC].

    Raises
    ------
    EstimabilityError
        Below 20 HRC, where the scale is not used.

    References
    ----------
    ASTM E18, ISO 6508-1: definition of the scale.
    """
    hardness = np.asarray(hardness_hrc, dtype=float)
    wrong = hardness[~((hardness >= LOWEST_HRC) & (hardness <= 100))]
    if wrong.size:
        raise EstimabilityError(
            f"{wrong.flat[0]:g} HRC: the scale is used from {LOWEST_HRC} HRC on (ASTM E18) and "
            "ends at 100, so depth and diameter of the indent are not told."
        )
    return np.asarray(DEPTH_AT_ZERO_MM - DEPTH_PER_HRC_MM * hardness)


def least_thickness(hardness_hrc: ArrayLike) -> Array:
    """Thickness that a coupon needs under a diamond indent [mm]: ten times the permanent depth.

    Parameters
    ----------
    hardness_hrc : array_like, shape (n,) or ()
        Rockwell hardness, 20 HRC or more.

    References
    ----------
    ISO 6508-1 Annex B, as a maker's page tells it; the tables of ASTM E18 were not seen.

    >>> print(f"{least_thickness(60):.2f}")
    0.80
    """
    return THICKNESS_DEPTHS * indent_depth(hardness_hrc)


def indent_diameter(hardness_hrc: ArrayLike) -> Expected:
    """Diameter of a Rockwell C indent, as a range [mm].

    The lower end is the nominal cone (120 degrees, tip of 0.2 mm) at the permanent depth: too
    small, because depth springs back and the preliminary force is left out. The upper end is the
    circle that carries 150 kgf at the pressure of a Vickers indent of the same hardness.

    Parameters
    ----------
    hardness_hrc : array_like, shape (n,) or ()
        Rockwell hardness, 20 to 68 [HRC].

    Returns
    -------
    Expected
        An estimate, no measurement: a diameter measured under a microscope goes before it.
    """
    hardness = np.asarray(hardness_hrc, dtype=float)
    hidden_tip = _TIP_RADIUS_MM * (1 / np.sin(_HALF_ANGLE) - 1)
    low = 2 * (indent_depth(hardness) + hidden_tip) * np.tan(_HALF_ANGLE)
    vickers = vickers_hardness(hardness).converted.reshape(hardness.shape)
    area = _FORCE_KGF * _VICKERS_PROJECTED / vickers
    high = 2 * np.sqrt(area / np.pi)
    return Expected((low + high) / 2, low, high, DIAMETER_SOURCE, "20 to 68 HRC")
