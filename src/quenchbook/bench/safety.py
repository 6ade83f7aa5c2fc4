"""The usual cautions for the hazards that a study really has."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from quenchbook.study.definition import Study

COMMON: Final = "Common practice, no source."
LAST_WORD: Final = (
    "This list is not a risk assessment; local codes and licensed practice come first."
)

# Litres of gas from one litre of liquid nitrogen (at 20 degC) and from one kilogram of dry ice (at
# 25 degC), computed from published densities at one atmosphere.
NITROGEN_EXPANSION: Final = 692
DRY_ICE_LITRES_PER_KG: Final = 553
OXYGEN_IN_AIR: Final = 20.95  # per cent by volume
ROOM_M3: Final = 30.0  # a small workshop, as an example


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


def oxygen_after_spill(litres: float, room_m3: float) -> float:
    """Oxygen left when liquid nitrogen boils off into a closed, well mixed room.

    Parameters
    ----------
    litres : float
        Liquid nitrogen [L].
    room_m3 : float
        Volume of the room [m3].

    Returns
    -------
    float
        Oxygen [per cent by volume], 20.95 (V - Vg) / V.

    References
    ----------
    University of Nottingham, form for work with liquid nitrogen (spill formula).

    >>> round(oxygen_after_spill(5, 30), 1)
    18.5
    """
    gas_m3 = min(litres * NITROGEN_EXPANSION / 1000, room_m3)
    return OXYGEN_IN_AIR * (room_m3 - gas_m3) / room_m3


def dry_ice_for(ppm: float, room_m3: float) -> float:
    """Dry ice that brings a closed room to a carbon dioxide content, by arithmetic alone.

    Parameters
    ----------
    ppm : float
        Carbon dioxide added [parts per million by volume].
    room_m3 : float
        Volume of the room [m3].

    Returns
    -------
    float
        Dry ice [kg].

    >>> round(dry_ice_for(4600, 30), 2)
    0.25
    """
    return ppm * 1e-6 * room_m3 * 1000 / DRY_ICE_LITRES_PER_KG


def cautions(study: Study) -> tuple[Caution, ...]:
    """Cautions for the hazards that the study file tells of, and the last word.

    Parameters
    ----------
    study : Study

    Returns
    -------
    tuple of Caution
        In the order of the work. The last one says that the list is not a risk assessment.
    """
    found = [_CAUTIONS[name] for name in hazards(study)]
    return (*found, Caution("Before all", (LAST_WORD,), ""))


def hazards(study: Study) -> tuple[str, ...]:
    """Names of the hazards that the study file tells of, in the order of the work."""
    routes = [str(level) for factor in study.factors for level in factor.levels]
    tables = {**study.equipment, **study.held_constant}
    told = " ".join([*routes, *(f"{k} {v}" for k, v in tables.items())]).lower()
    quench = quench_words(study)
    heats = any(f.set_for == "furnace_load" and f.dimension == "temperature" for f in study.factors)
    hardens = any(f.name.startswith("austenitiz") for f in study.factors)
    dry_ice = "dry_ice" in routes or "dry ice" in told
    bath = any(word in told for word in ("alcohol", "ethanol", "propanol", "acetone", "spirit"))
    there = {
        "furnace": heats or "furnace" in study.equipment,
        "oil": "oil" in quench or (hardens and not quench),
        "plates": "plate" in quench,
        "untempered": hardens and any(f.set_for == "temper_batch" for f in study.factors),
        "freezer": "freezer" in told,
        "dry_ice": dry_ice,
        "alcohol": bath or (dry_ice and not study.equipment.get("dry_ice")),
        "nitrogen": "nitrogen" in told,
        "grinding": study.layout.bars > 0 or any(r.kind == "hardness" for r in study.responses),
        "impact": any(r.kind == "impact" for r in study.responses),
    }
    return tuple(name for name, is_there in there.items() if is_there)


def quench_words(study: Study) -> str:
    """What the study file says about the quench, in lower case; empty if nothing."""
    tables = (study.equipment, study.held_constant)
    keys = ("quench", "quenchant")
    return " ".join(str(table[key]) for table in tables for key in keys if key in table).lower()


def reminders(study: Study, names: tuple[str, ...]) -> tuple[str, ...]:
    """Shortest forms of the cautions among `names` that the study has."""
    return tuple(_CAUTIONS[name].reminder for name in hazards(study) if name in names)


_CAUTIONS: Final = {
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
    "oil": Caution(
        "Quench oil",
        (
            "If the quench is oil: its flash point must lie well above the bath temperature, and "
            "no "
            "water may get in.",
            "Put the whole coupon under at once: a half-dipped hot coupon lights the oil.",
            "Keep a lid and an extinguisher for burning liquids within reach; never put water on "
            "it.",
        ),
        COMMON,
        "Oil: whole coupon under at once, lid and extinguisher at hand.",
    ),
    "plates": Caution(
        "Quench plates and foil",
        (
            "The plates stay hot enough to burn after each coupon. Cut foil has edges like a "
            "blade.",
            "Thick gloves until coupon, foil and plates are cold to a drop of water.",
        ),
        COMMON,
        "Plates and foil: hot and sharp.",
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
            "oxygen has "
            "fallen to 19.5 %, carbon dioxide is near 7 %. An oxygen alarm does not protect; "
            "only a "
            "carbon dioxide meter tells.",
            "Usual limits are 5 000 ppm over 8 hours and 30 000 ppm for a short time (15 000 in "
            "some "
            f"countries). About {dry_ice_for(4600, ROOM_M3):.2f} kg turned to gas in a closed "
            f"room of "
            f"{ROOM_M3:.0f} m³ reaches 5 000 ppm. The gas sinks: fresh air at floor level, no "
            f"pits, "
            "no closed car.",
            "Never seal it in: it bursts any closed vessel. Insulated gloves, face shield.",
        ),
        "Amounts are arithmetic (553 L of gas from 1 kg at 25 °C). Ceiling of 30 000 ppm: NIOSH "
        "criteria "
        "document on carbon dioxide. Other limits quoted at second hand; look up your own.",
        "Dry ice: fresh air, it poisons; never seal it.",
    ),
    "alcohol": Caution(
        "Alcohol in a cold bath",
        (
            "Alcohol and acetone burn. At bath temperature they give off little vapour, but "
            "while being "
            "filled, when warm again and on wet parts they light (ethanol near 13 °C, "
            "isopropanol near "
            "12 °C, acetone near -20 °C).",
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
            f"One litre becomes about {NITROGEN_EXPANSION} litres of gas that nobody can smell. "
            f"A spill "
            f"of 5 litres leaves {oxygen_after_spill(5, ROOM_M3):.1f} % oxygen in a closed room of "
            f"{ROOM_M3:.0f} m³; below 19.5 % counts as too little. Oxygen alarm, door open, "
            f"never alone, "
            "never in a closed car or cold room.",
            "Never a closed lid: it bursts any sealed vessel. Only vessels made for it.",
            "Face shield, loose dry insulated gloves, no cuffs that catch splashes. Lower dry "
            "coupons "
            "slowly: it boils over, and wet or oily ones crack and spatter.",
            "Air condenses on surfaces that cold and drips oxygen: no oil, no flame.",
        ),
        "Amounts are arithmetic (density 806 kg/m³; spill formula of a University of Nottingham "
        "form). "
        "19.5 %: line of the United States workplace rules, quoted at second hand. Handling: "
        "common "
        "practice, no source.",
        "Nitrogen: face shield, gloves, door open. Never a closed lid.",
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
