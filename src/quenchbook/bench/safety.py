"""The usual cautions for the hazards that a study really has."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from quenchbook.bench.hazards import hazards, oil_told
from quenchbook.bench.room_check import ppm_text
from quenchbook.both_units import Printed, PrintedUnits
from quenchbook.metallurgy.room_air import (
    CARBON_DIOXIDE_DAY,
    CARBON_DIOXIDE_SHORT,
    DRY_ICE_GAS,
    GAS_C,
    NITROGEN_GAS,
    OXYGEN_LOW,
    carbon_dioxide_at_oxygen,
    dry_ice_for,
    oxygen_after_spill,
)
from quenchbook.study.definition import Study
from quenchbook.units import NO_BREAK, capital

COMMON: Final = "Common practice, no source."
LAST_WORD: Final = (
    "This list is not a risk assessment; local codes and licensed practice come first."
)
ROOM_M3: Final = 30.0  # a small workshop, as an example
_OIL_UNTOLD: Final = "If the quench is oil: "
_SPILL_LITRES: Final = 5.0


@dataclass(frozen=True)
class Caution:
    """What can hurt somebody.

    Attributes
    ----------
    hazard : str
        Such as ``Liquid nitrogen``.
    sentences : tuple of str
        What it does and what is usually done about it.
    source : str
        Where the facts are from, or "Common practice, no source."
    reminder : str
        The shortest form, for the foot of a sheet.
    """

    hazard: str
    sentences: tuple[str, ...]
    source: str
    reminder: str = ""


def cautions(study: Study, *, units: PrintedUnits = "metric") -> tuple[Caution, ...]:
    """Cautions for the hazards that the study file tells of, and the last word.

    Parameters
    ----------
    study : Study
    units : str
        Units in print; sheets at the bench keep to one.

    Returns
    -------
    tuple of Caution
        In the order of the work. The last one says that the list is not a risk assessment.
    """
    found = [_of_study(_printed(name, units), study) for name in hazards(study)]
    return (*found, Caution("Before all", (LAST_WORD,), ""))


def _printed(name: str, units: PrintedUnits) -> Caution:
    """Caution with its temperatures in these units."""
    own = CAUTIONS[name]
    if name == "dry_ice":
        return replace(own, source=_dry_ice_source(units))
    if name == "alcohol":
        return replace(own, sentences=(_flash_points(units), *own.sentences[1:]))
    return own


def _degrees(celsius: float, units: PrintedUnits) -> str:
    return Printed("degC", units).place(celsius).replace(NO_BREAK, " ")


def _dry_ice_source(units: PrintedUnits) -> str:
    return (
        f"Amounts are arithmetic ({DRY_ICE_GAS:.0f} L of gas from 1 kg at "
        f"{_degrees(GAS_C, units)}). Ceiling of {ppm_text(CARBON_DIOXIDE_SHORT.value)}: "
        f"{CARBON_DIOXIDE_SHORT.source}. Other limits quoted at second hand; look up your own."
    )


def _flash_points(units: PrintedUnits) -> str:
    ethanol, isopropanol, acetone = (_degrees(own, units) for own in (13.0, 12.0, -20.0))
    return (
        "Alcohol and acetone burn. At bath temperature they give off little vapour, but while "
        f"being filled, when warm again and on wet parts they light (ethanol near {ethanol}, "
        f"isopropanol near {isopropanol}, acetone near {acetone})."
    )


def _of_study(caution: Caution, study: Study) -> Caution:
    """Caution without its "if" where the study file tells of the oil."""
    if not caution.sentences[0].startswith(_OIL_UNTOLD) or not oil_told(study):
        return caution
    first = capital(caution.sentences[0].removeprefix(_OIL_UNTOLD))
    return replace(caution, sentences=(first, *caution.sentences[1:]))


def reminders(study: Study, names: tuple[str, ...]) -> tuple[str, ...]:
    """Shortest forms of the cautions among `names` that the study has."""
    return tuple(CAUTIONS[name].reminder for name in hazards(study) if name in names)


CAUTIONS: Final = {
    "furnace": Caution(
        "Hot furnace",
        (
            "Hot steel does not always glow: treat every coupon and tray as hot.",
            "Face shield, dry leather gloves, long sleeves of natural fibre, closed shoes, long "
            "tongs.",
            "Switch the heating off before reaching in. Keep the way to the quench clear, and "
            "try it cold.",
        ),
        COMMON,
        "Hot furnace: face shield, dry gloves, clear way.",
    ),
    "gas": Caution(
        "Protective gas",
        (
            "It displaces the oxygen and nobody smells it: fresh air, valve closed when nobody is "
            "there. Argon sinks into pits.",
            "Chain the cylinder, use its own regulator. Gas with hydrogen burns and explodes.",
        ),
        COMMON,
        "Gas: fresh air, cylinder chained.",
    ),
    "oil": Caution(
        "Quench oil",
        (
            f"{_OIL_UNTOLD}its flash point must lie well above the bath temperature, and no water "
            "may get in.",
            "Put the whole coupon under at once: a half-dipped hot coupon lights the oil.",
            "Keep a lid and an extinguisher for burning liquids within reach; never put water on "
            "it.",
        ),
        COMMON,
        "Oil: whole coupon under at once, lid and extinguisher at hand.",
    ),
    "water": Caution(
        "Quench in water or brine",
        (
            "Steam and spray burn; steel that cracks in water can throw splinters: face shield, "
            "long tongs.",
            "Keep water away from oil, molten salt and the furnace.",
        ),
        COMMON,
        "Water quench: steam, face shield.",
    ),
    "salt": Caution(
        "Molten salt",
        (
            "A drop of water, wet or cold oily parts make it burst out: preheat and dry all that "
            "goes in.",
            "Never mix kinds of salt: nitrate explodes with cyanide, oil, soot or magnesium, and "
            "when too hot.",
            "Full face and body cover, extraction, lid on while it melts; no water on a salt fire.",
        ),
        COMMON,
        "Salt: everything dry, full cover.",
    ),
    "plates": Caution(
        "Quench plates",
        (
            "The plates stay hot enough to burn after each coupon: thick gloves until coupon and "
            "plates are cold to a drop of water.",
        ),
        COMMON,
        "Plates: hot.",
    ),
    "foil": Caution(
        "Foil",
        ("Cut foil has edges like a blade, and a packet stays hot inside: thick gloves.",),
        COMMON,
        "Foil: sharp, hot inside.",
    ),
    "untempered": Caution(
        "Hardened steel before its temper",
        (
            "Untempered steel can crack by itself, hours later, and throw splinters.",
            "Keep waiting coupons in a closed box, do not strike, bend or clamp them, wear eye "
            "protection.",
        ),
        COMMON,
        "Untempered steel can burst: eye protection.",
    ),
    "freezer": Caution(
        "Freezer",
        (
            "Bare metal below freezing sticks to wet skin: dry gloves.",
            "A freezer for coupons and oil-wet parts is no longer a freezer for food.",
        ),
        COMMON,
        "Freezer: dry gloves.",
    ),
    "dry_ice": Caution(
        "Dry ice",
        (
            "Its gas, carbon dioxide, is poisonous long before it displaces the oxygen: when "
            f"oxygen has fallen to {OXYGEN_LOW.value:g} %, carbon dioxide is near "
            f"{carbon_dioxide_at_oxygen(OXYGEN_LOW.value) / 1e4:.0f} %. An oxygen alarm does not "
            "protect; only a carbon dioxide meter tells.",
            f"Usual limits are {ppm_text(CARBON_DIOXIDE_DAY.value)} over 8 hours and "
            f"{ppm_text(CARBON_DIOXIDE_SHORT.value)} for a short time (15 000 in some countries). "
            f"About {dry_ice_for(CARBON_DIOXIDE_DAY.value, ROOM_M3):.2f} kg turned to gas in a "
            f"closed room of {ROOM_M3:.0f} m³ reaches {ppm_text(CARBON_DIOXIDE_DAY.value)}. The "
            "gas sinks: fresh air at floor level, no pits, no closed car.",
            "Never seal it in: it bursts any closed vessel. Insulated gloves, face shield.",
        ),
        _dry_ice_source("metric"),
        "Dry ice: fresh air, it poisons; never seal it.",
    ),
    "alcohol": Caution(
        "Alcohol in a cold bath",
        (
            _flash_points("metric"),
            "No furnace, flame, spark or hot coupon near it. No coupon above room temperature "
            "goes in.",
            "Add dry ice in small pieces: it boils over.",
        ),
        "Flash points from general knowledge, not looked up. Practice: common, no source.",
        "Alcohol: no flame or hot coupon near.",
    ),
    "nitrogen": Caution(
        "Liquid nitrogen",
        (
            f"One litre becomes about {NITROGEN_GAS:.0f} litres of gas that nobody can smell. "
            f"A spill "
            f"of {_SPILL_LITRES:.0f} litres leaves "
            f"{oxygen_after_spill(_SPILL_LITRES, ROOM_M3):.1f} % oxygen in a closed room of "
            f"{ROOM_M3:.0f} m³; below {OXYGEN_LOW.value:g} % counts as too little. "
            "Oxygen alarm, door open, never alone, never in a closed car or cold room.",
            "Never a closed lid: it bursts any sealed vessel. Only vessels made for it.",
            "Face shield, loose dry insulated gloves, no cuffs that catch splashes. Lower dry "
            "coupons "
            "slowly: it boils over, and wet or oily ones crack and spatter.",
            "Air condenses on surfaces that cold and drips oxygen: no oil, no flame.",
        ),
        "Amounts are arithmetic (density 806 kg/m³; spill formula of a University of Nottingham "
        "form). "
        f"{OXYGEN_LOW.value:g} %: {OXYGEN_LOW.source}. Handling: common practice, no source.",
        "Nitrogen: face shield, gloves, door open. Never a closed lid.",
    ),
    "temper": Caution(
        "Temper oven",
        (
            "Coupons at temper heat look cold: gloves. Oil left on them smokes and can light: wipe "
            "them dry, air the room.",
            "An oven for tempers is no longer an oven for food.",
        ),
        COMMON,
        "Temper oven: dry coupons, gloves.",
    ),
    "grinding": Caution(
        "Cutting and grinding",
        (
            "Eye protection, guards on, no loose gloves or sleeves at a wheel.",
            "Steel dust and coolant mist are not for breathing. Keep the coupons cool: heat "
            "undoes the "
            "treatment.",
        ),
        COMMON,
        "Grinding: eyes, guards, no loose gloves.",
    ),
    "impact": Caution(
        "Impact tester",
        (
            "A raised pendulum is never reached under: lock it before placing a coupon.",
            "Broken halves fly. Screens closed, eye protection, nobody in the plane of the swing.",
        ),
        COMMON,
        "Pendulum: locked before you reach in, screens closed.",
    ),
}
