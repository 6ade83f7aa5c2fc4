"""How much is ground off the coupons of a study before they are tested, as told or as a range."""

from __future__ import annotations

from dataclasses import replace
from math import ceil

from quenchbook.errors import EstimabilityError, UnitError
from quenchbook.metallurgy.decarburization import VERIFY, grind_allowance
from quenchbook.metallurgy.expected import Expected
from quenchbook.study.definition import Study
from quenchbook.study.factors import Factor
from quenchbook.study.stock import Stock
from quenchbook.units import interval_text, number_text, parse_quantity, with_unit


def expected_allowance(study: Study) -> Expected | None:
    """Grind allowance for the hottest austenitize and the longest soak of a study, each side [mm].

    Parameters
    ----------
    study : Study

    Returns
    -------
    Expected or None
        None where temperature or soak are not told, or the equation does not hold.
    """
    furnace = [_highest(factor) for factor in study.factors if _is_austenitize(factor)]
    soak = _soak_minutes(study)
    if not furnace or soak is None:
        return None
    protection = study.stock.protection if study.stock is not None else "none"
    try:
        return grind_allowance(max(furnace), soak, protection=protection)
    except EstimabilityError:
        return None


def grinding_words(study: Study) -> tuple[str, ...]:
    """What to grind off each side, with its source and the advice to verify it.

    Parameters
    ----------
    study : Study
        With a stock.
    """
    stock = study.stock
    told = None if stock is None else stock.grind_allowance_mm
    if told is not None:
        amount = with_unit(number_text(told, 2), "mm")
        return (f"Grind {amount} off each side, as the study tells. {VERIFY}",)
    allowance = expected_allowance(study)
    if allowance is None:
        return (
            "Grind allowance: not known, the study tells no austenitize temperature with a soak "
            f"that it could be estimated from. {VERIFY}",
        )
    amount = with_unit(interval_text(float(allowance.low), float(allowance.high), 2), "mm")
    return (f"Grind {amount} off each side ({allowance.source}). {VERIFY}",)


def sawn_stock(study: Study, stock: Stock) -> tuple[Stock, tuple[str, ...]]:
    """Stock with the length that is sawn, and what to say of it where it was not told.

    Parameters
    ----------
    study : Study
    stock : Stock

    Returns
    -------
    stock : Stock
        Where only the finished length is told, both ends longer by the high end of the estimated
        grind allowance, up to the next tenth of a millimetre.
    words : tuple of str
    """
    if not stock.is_finished_length:
        return stock, ()
    finished = stock.coupon_length_mm
    told = with_unit(f"{finished:g}", "mm")
    ask = 'Write grind_allowance = "0.3 mm" or coupon_length below [stock] if you know better.'
    allowance = expected_allowance(study)
    if allowance is None:
        return stock, (
            f"Coupons are sawn at their finished length, {told}: nothing is left to grind off the "
            f"ends, because how much is not known. {ask}",
        )
    more = ceil(round(20 * float(allowance.high), 6)) / 10
    longer = with_unit(number_text(more, 1), "mm")
    return replace(stock, coupon_length_mm=finished + more), (
        f"Coupons are sawn {longer} longer than finished ({told}): twice the high end of the "
        f"estimate, for both ends. {ask}",
    )


def _is_austenitize(factor: Factor) -> bool:
    return factor.name.startswith("austenitiz") and factor.dimension == "temperature"


def _highest(factor: Factor) -> float:
    return max(float(level) for level in factor.levels)


def _soak_minutes(study: Study) -> float | None:
    """Longest soak [min]; None where it is not told."""
    for factor in study.factors:
        if factor.name.startswith("soak") and factor.dimension == "time":
            return _highest(factor)
    try:
        return parse_quantity(study.held_constant.get("soak", ""), "time")
    except UnitError:
        return None
