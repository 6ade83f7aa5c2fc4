"""Limits that standards set for hardness and impact testers, with edition and clause."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

from quenchbook.both_units import Printed, PrintedUnits

Bound = Literal["within", "at most", "at least"]

# below this hardness [HRC]: error either way, range of the readings; ASTM E18-19 Table A1.3 (a
# stored copy of the page). Older editions name the blocks 20-30, 35-55 and 59-65 (from memory).
_E18_BANDS: Final = ((35.0, 1.0, 2.0), (60.0, 1.0, 1.5), (math.inf, 0.5, 1.0))
_ISO_ERROR_HRC: Final = 1.5  # 20 to 70 HRC [from memory]
_E18: Final = "ASTM E18-19 Table A1.3"
_ISO: Final = "ISO 6508-2 (from memory)"
_IMPACT_J: Final = 1.4
_IMPACT_SHARE: Final = 0.05
IMPACT_COUPONS: Final = 5
CAPACITY_SHARE: Final = 0.8
CAPACITY_SOURCE: Final = "ASTM E23, ISO 148-1 (from memory): no more than 80\u00a0% of the capacity"
DAILY_SOURCE: Final = "NIST SP 960-5, 3.4.1"
UNKNOWN: Final = "limit not known here"


@dataclass(frozen=True)
class Limit:
    """What a result may be at most, at least, or within either way.

    Attributes
    ----------
    value : float
        In the unit of the result; nan when it is not known here.
    bound : str
        ``within`` (either way of zero), ``at most`` or ``at least``.
    clause : str
        Standard with edition and clause, or where else it is from.
    spare : float
        A result that keeps the limit by less than this may still break it.
    """

    value: float
    bound: Bound
    clause: str
    spare: float = 0.0


def hardness_error_limit(block_hrc: float, standard: str) -> Limit:
    """Limit of a tester's error: mean of the readings less the value of the block [HRC].

    Parameters
    ----------
    block_hrc : float
        Value of the block [HRC].
    standard : str
        ``ASTM E18-19`` or ``ISO 6508-2``.

    >>> hardness_error_limit(62.4, "ASTM E18-19").value
    0.5
    """
    if not 20 <= block_hrc <= 70:
        return Limit(math.nan, "within", UNKNOWN)
    if standard == "ISO 6508-2":
        return Limit(_ISO_ERROR_HRC, "within", _ISO)
    return Limit(next(own[1] for own in _E18_BANDS if block_hrc < own[0]), "within", _E18)


def hardness_range_limit(block_hrc: float, standard: str) -> Limit:
    """Limit of a tester's repeatability: largest less smallest reading on a block [HRC].

    Parameters
    ----------
    block_hrc : float
        Value of the block [HRC].
    standard : str
        ``ASTM E18-19`` or ``ISO 6508-2``.

    >>> round(hardness_range_limit(25.0, "ISO 6508-2").value, 3)
    1.5
    """
    if not 20 <= block_hrc <= 70:
        return Limit(math.nan, "at most", UNKNOWN)
    if standard == "ISO 6508-2":
        return Limit(max(0.02 * (100 - block_hrc), 0.8), "at most", _ISO)
    return Limit(next(own[2] for own in _E18_BANDS if block_hrc < own[0]), "at most", _E18)


def impact_error_limit(certified_j: float, *, units: PrintedUnits = "metric") -> Limit:
    """Limit of an impact tester's error: mean of five coupons less the certified value [J].

    Parameters
    ----------
    certified_j : float
        Certified value [J].
    units : str
        Units in print, for the clause: ``metric`` or ``both``.

    >>> impact_error_limit(20.0).value, round(impact_error_limit(101.9).value, 3)
    (1.4, 5.095)
    """
    clause = (
        "NIST page on its certified impact specimens (ASTM E23): mean of five within "
        f"{Printed('J', units).told(_IMPACT_J)} or {_IMPACT_SHARE * 100:g}\u00a0% of the certified "
        "value, whichever is greater"
    )
    return Limit(max(_IMPACT_J, _IMPACT_SHARE * certified_j), "within", clause)


def capacity_limit(capacity_j: float) -> Limit:
    """Largest reading that a pendulum of this capacity is good for [J]."""
    return Limit(CAPACITY_SHARE * capacity_j, "at most", CAPACITY_SOURCE)
