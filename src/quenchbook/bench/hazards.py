"""Which hazards a study really has, from what its file tells."""

from __future__ import annotations

import re
from typing import Final

from quenchbook.study.definition import Study

_UNSAID: Final = re.compile(r"\b(?:no|without|never)\b[^,;.]*")
_NOTHING: Final = ("", "no", "none", "not used", "-")

_OIL: Final = r"\boils?\b"
_OIL_BATH: Final = r"\b(?:quench\w* oils?|oil quench\w*|oil (?:bath|tank))\b"
_WATER: Final = r"\b(?:water|brine|polymer)\b"
_SALT_BATH: Final = r"\b(?:salt (?:bath|pot|furnace)s?|molten salts?|nitrate|nitrite)\b"
_BURNING_BATH: Final = r"alcohol|ethanol|propanol|acetone|spirit"
_GAS: Final = (
    r"\b(?:argon|helium|(?:forming|protective|inert|shielding) gas|gas (?:cylinder|bottle))\b"
)
# of nitrogen that is told together with these, none is liquid
_AS_GAS: Final = r"\b(?:gas|gaseous|atmosphere|purged?|flow|l/min|cylinder|bottle|furnace)\b"
_LIQUID: Final = r"\b(?:liquid|ln2|dewar)\b"


def hazards(study: Study) -> tuple[str, ...]:
    """Names of the hazards that the study file tells of, in the order of the work.

    Tables ``[equipment]`` and ``[held_constant]``, names of factors and of their levels are read as
    words; what follows "no" or "without" is not counted. Where a study hardens and does not tell
    the quench, oil is named.

    Parameters
    ----------
    study : Study

    Returns
    -------
    tuple of str
    """
    phrases = told_phrases(study)
    quench = " / ".join(own for own in phrases if own.startswith("quench"))
    told = " / ".join(phrases)
    heats = any(f.set_for == "furnace_load" and f.dimension == "temperature" for f in study.factors)
    hardens = any(f.name.startswith("austenitiz") for f in study.factors)
    tempers = any(f.set_for == "temper_batch" for f in study.factors)
    nitrogen = [own for own in phrases if "nitrogen" in own or re.search(r"\bln2\b", own)]
    as_gas = [_is_gas(own) for own in nitrogen]
    dry_ice = "dry ice" in told
    bath = bool(re.search(_BURNING_BATH, told))
    salt = _has(_SALT_BATH, told) or (_has(r"\bsalt\b", quench) and not _has(_WATER, quench))
    there = {
        "furnace": heats or "furnace" in study.equipment,
        "gas": _has(_GAS, told) or any(as_gas),
        "oil": _has(_OIL, quench) or _has(_OIL_BATH, told) or (hardens and not quench),
        "water": _has(_WATER, quench),
        "salt": salt,
        "plates": "plate" in quench,
        "foil": _has(r"\bfoils?\b", told),
        "untempered": hardens and tempers,
        "freezer": "freezer" in told,
        "dry_ice": dry_ice,
        "alcohol": bath or (dry_ice and not study.equipment.get("dry_ice")),
        "nitrogen": not all(as_gas),
        "temper": tempers or any(own.startswith("temper ") for own in phrases),
        "grinding": study.layout.bars > 0 or any(r.kind == "hardness" for r in study.responses),
        "impact": any(r.kind == "impact" for r in study.responses),
    }
    return tuple(name for name, is_there in there.items() if is_there)


def told_phrases(study: Study) -> tuple[str, ...]:
    """What the study file tells of the work: keys with their values, factors with their levels.

    Parameters
    ----------
    study : Study

    Returns
    -------
    tuple of str
        In lower case, ``_`` as a space, without what is said not to be there.
    """
    entries = [
        (key, str(value))
        for table in (study.equipment, study.held_constant)
        for key, value in table.items()
    ]
    entries += [
        (factor.name, f"{level} {factor.set_word(level)}")
        for factor in study.factors
        if not factor.is_numeric
        for level in factor.levels
    ]
    phrases = []
    for key, value in entries:
        if value.strip().lower() not in _NOTHING:
            plain = f"{key}: {_UNSAID.sub('', value.lower())}".replace("_", " ")
            phrases.append(" ".join(plain.replace("-", " ").replace(":", "").split()))
    return tuple(phrases)


def oil_quench(study: Study) -> bool:
    """Whether the study file tells of a quench in oil."""
    return any(_has(_OIL, own) for own in told_phrases(study) if own.startswith("quench"))


def oil_told(study: Study) -> bool:
    """Whether the study file tells of a quench in oil, or of an oil bath."""
    return oil_quench(study) or any(_has(_OIL_BATH, own) for own in told_phrases(study))


def quench_told(study: Study) -> bool:
    """Whether the study file tells how coupons are quenched."""
    return any(own.startswith("quench") for own in told_phrases(study))


def _is_gas(phrase: str) -> bool:
    return _has(_AS_GAS, phrase) and not _has(_LIQUID, phrase)


def _has(pattern: str, text: str) -> bool:
    return re.search(pattern, text) is not None
