"""Which hazards a study really has, from what its file tells."""

from __future__ import annotations

import re
from typing import Final

from quenchbook.study.definition import Study
from quenchbook.study.factors import ROUTE_WORDS, Factor, Level, perhaps_meant, route_key

_UNSAID: Final = re.compile(r"\b(?:no|without|never)\b[^,;.]*")
_NOTHING: Final = ("", "no", "none", "not used", "-")

_HARDENS: Final = r"\b(?:quench|austeniti[sz]|hardening\b|hardened\b)"
_MEDIUM: Final = r"\b(?:oils?|water|brine|polymer|salt|plates?|air|gas)\b"
_HEAT: Final = r"\b(?:furnaces?|heat treat\w*)\b"
_LIQUID_NITROGEN: Final = r"\b(?:liquid nitrogen|ln2)\b"
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


def hazards(study: Study, *, only_settings: bool = False) -> tuple[str, ...]:
    """Names of the hazards that the study file tells of, in the order of the work.

    Tables ``[equipment]`` and ``[held_constant]``, names of factors and of their levels, title,
    questions and notes are read as words; what follows "no" or "without" is not counted. Where a
    study hardens and does not tell the quench, oil is named. One caution too many is the smaller
    mistake.

    Parameters
    ----------
    study : Study
    only_settings : bool
        Whether questions and notes are left out, which may speak of what others do.

    Returns
    -------
    tuple of str
    """
    phrases = told_phrases(study)
    said = () if only_settings else said_phrases(study)
    quench = " / ".join(
        [own for own in phrases if own.startswith("quench")]
        + [own for own in said if _has(r"\bquench", own) and _has(_MEDIUM, own)]
    )
    told = " / ".join((*phrases, *_factor_names(study), *said))
    heats = any(f.set_for == "furnace_load" and f.dimension == "temperature" for f in study.factors)
    hardens = _has(_HARDENS, told)
    tempers = any(f.set_for == "temper_batch" or f.name.startswith("temper") for f in study.factors)
    nitrogen = [own for own in phrases if "nitrogen" in own or re.search(r"\bln2\b", own)]
    as_gas = [_is_gas(own) for own in nitrogen]
    as_gas += [False for own in said if _has(_LIQUID_NITROGEN, own)]
    dry_ice = "dry ice" in told
    bath = bool(re.search(_BURNING_BATH, told))
    salt = _has(_SALT_BATH, told) or (_has(r"\bsalt\b", quench) and not _has(_WATER, quench))
    there = {
        "furnace": heats or hardens or "furnace" in study.equipment or _has(_HEAT, told),
        "gas": _has(_GAS, told) or any(as_gas),
        "oil": oil_told(study) or (hardens and not quench),
        "water": _has(_WATER, quench),
        "salt": salt,
        "plates": "plate" in quench,
        "foil": _has(r"\bfoils?\b", told),
        "untempered": hardens,
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
        (factor.name, f"{level} {factor.set_word(level)}{_coolant(factor, level)}")
        for factor in study.factors
        if not factor.is_numeric
        for level in factor.levels
    ]
    phrases = []
    for key, value in entries:
        if value.strip().lower() not in _NOTHING:
            phrases.append(f"{_plain(key)} {_plain(value)}".strip())
    return tuple(phrases)


def _coolant(factor: Factor, level: Level) -> str:
    """Coolant that a cold route is, or may be: one caution too many is the smaller mistake."""
    if factor.name != "cold_route" or level in ROUTE_WORDS:
        return ""
    key = perhaps_meant(level) or route_key(level)
    return f" {ROUTE_WORDS[key]}" if key in ROUTE_WORDS else ""


def said_phrases(study: Study) -> tuple[str, ...]:
    """What the study file says elsewhere: title, questions, notes.

    Parameters
    ----------
    study : Study

    Returns
    -------
    tuple of str
        In lower case, without what is said not to be there.
    """
    texts = [study.title, study.question, *study.notes]
    texts += [own.words for own in study.questions]
    texts += [own.words for own in study.trade_questions]
    sentences = [part for text in texts for part in re.split(r"[.;?!](?:\s|$)", text)]
    return tuple(filter(None, map(_plain, sentences)))


def oil_quench(study: Study) -> bool:
    """Whether the study file tells of a quench in oil: by name, or by the warmth of the oil."""
    settings = [own for own in told_phrases(study) if own.startswith(("quench", "oil "))]
    return any(_has(_OIL, own) for own in (*settings, *_factor_names(study)))


def oil_told(study: Study) -> bool:
    """Whether the study file tells of a quench in oil, or speaks of oil beside a quench."""
    phrases = (*told_phrases(study), *_factor_names(study), *said_phrases(study))
    if oil_quench(study) or any(_has(_OIL_BATH, own) for own in phrases):
        return True
    quenches = any(_has(r"\bquench", own) for own in phrases)
    return quenches and any(_has(_OIL, own) for own in said_phrases(study))


def quench_told(study: Study) -> bool:
    """Whether the study file tells how coupons are quenched."""
    return any(own.startswith("quench") for own in told_phrases(study))


def _factor_names(study: Study) -> tuple[str, ...]:
    return tuple(_plain(f"{own.name} {own.title}") for own in study.factors)


def _plain(text: str) -> str:
    """Words in lower case, without what is said not to be there."""
    plain = _UNSAID.sub("", text.lower().replace("_", " "))
    return " ".join(plain.replace("-", " ").replace(":", "").split())


def _is_gas(phrase: str) -> bool:
    return _has(_AS_GAS, phrase) and not _has(_LIQUID, phrase)


def _has(pattern: str, text: str) -> bool:
    return re.search(pattern, text) is not None
