"""What was declared when a plan was made, and what the study file says now."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any, Final

from quenchbook.study.definition import PlanWish, Question, Response, Study
from quenchbook.study.factors import Factor, Level
from quenchbook.study.trade_questions import TradeQuestion
from quenchbook.units import NO_BREAK, capital, unit_text

Declaration = Mapping[str, Any]

LATER_KEYS: Final = ("bar_ends", "cold_batches_per_load", "furnace_places")
"""Keys of the layout that earlier plans do not have; 0 stands for without."""

ONLY_WHERE_SAID: Final = ("multiplicity", "repeats", "forbidden", "extra_coupons", "plan")
"""Parts that a declaration has only where the study file says something about them."""


def declaration(study: Study) -> dict[str, Any]:
    """What must be fixed before the data, as plain texts and numbers for ``plan.json``.

    Parameters
    ----------
    study : Study

    Returns
    -------
    dict
        ``factors`` and ``shapes``; ``tested``, ``analysed`` and ``margins`` of the responses;
        ``questions`` and ``words``; ``layout``, ``confidence``; where the study file says them
        ``multiplicity``, ``repeats``, ``forbidden``, ``extra_coupons`` and ``plan``.
    """
    together = {"multiplicity": study.multiplicity} if study.multiplicity != "each" else {}
    return {
        "factors": {factor.name: _factor_text(factor) for factor in study.factors},
        "shapes": {factor.name: factor.shape for factor in study.factors},
        "tested": {response.name: response.coupons for response in study.responses},
        "analysed": {response.name: _analysed(response) for response in study.responses},
        "margins": {response.name: response.equivalence_margin for response in study.responses},
        "questions": {question.key: _question_text(question) for question in _all(study)},
        "words": {question.key: question.words for question in _all(study)},
        "layout": _layout(study),
        "confidence": study.confidence,
        **together,
        **_special_wishes(study),
    }


def changed_factors(stored: Declaration, study: Study) -> list[str]:
    """Factors that are no longer those the coupons were planned for, in one sentence each.

    Parameters
    ----------
    stored : mapping
        From `declaration` at plan time; empty when it is not known.
    study : Study
        As the study file is now.
    """
    if not stored:
        return []
    before, now = dict(stored["factors"]), declaration(study)["factors"]
    lines = [
        f"{_title(study, name)} was {before[name]} when the plan was made, now {now[name]}"
        for name in before
        if name in now and now[name] != before[name]
    ]
    lines += [f"factor {name} is gone" for name in before if name not in now]
    return lines + [f"factor {name} is new" for name in now if name not in before]


def changed_layout(stored: Declaration, study: Study) -> list[str]:
    """What study.toml now asks for that the plan has not: ``9 furnace loads, the plan has 12``."""
    if not stored:
        return []
    now = dataclasses.asdict(study.layout)
    before = {**dict.fromkeys(LATER_KEYS, 0), **dict(stored["layout"])}
    words = {
        "furnace_loads": study.unit_word("furnace_load", 2),
        "coupons_per_load": f"{study.unit_word('coupon', 2)} a {study.unit_word('furnace_load')}",
        "loads_per_day": f"{study.unit_word('furnace_load', 2)} a day (0: no days)",
        "coupons_per_temper_batch": (
            f"{study.unit_word('coupon', 2)} a {study.unit_word('temper_batch')}"
        ),
        "coupons_per_bar": f"{study.unit_word('coupon', 2)} a bar of steel",
        "bars": "bars of steel",
        "bar_ends": "end pieces at each end of a bar",
        "cold_batches_per_load": f"{study.unit_word('cold_batch', 2)} a load (0: as needed)",
        "furnace_places": "marked places in the furnace (0: not recorded)",
    }
    lines = [
        f"{now[name]} {words.get(name, name.replace('_', ' '))}, the plan has {before[name]}"
        for name in before
        if name in now and now[name] != before[name]
    ]
    lines += _changed_wishes(stored, study)
    for response in study.responses:
        if response.name not in stored["tested"]:
            lines.append(f"readings of {response.quantity}, which the plan has not")
        elif stored["tested"][response.name] != response.coupons:
            lines.append(
                f"{response.quantity} on {response.coupons or 'all'} {study.unit_word('coupon', 2)}"
                f", the plan has {stored['tested'][response.name] or 'all'}"
            )
    return lines


def change_of(stored: Declaration, study: Study, question: Question | TradeQuestion) -> str:
    """Why a question is exploratory; empty when it stands as it did when the plan was made.

    Parameters
    ----------
    stored : mapping
        From `declaration` at plan time; empty when it is not known.
    study : Study
    question : Question or TradeQuestion
        Of the study as it is now.
    """
    if not stored:
        return "What was declared when the plan was made is not known: exploratory."
    response = study.response(question.response)
    reasons = [
        *(f"this question {reason}" for reason in _question_changes(stored, question)),
        *_response_changes(stored, response),
        *_study_changes(stored, study),
    ]
    return f"{capital('; '.join(reasons))}: exploratory." if reasons else ""


def declaration_changes(stored: Declaration, study: Study) -> tuple[str, ...]:
    """Everything that was changed after the plan was made, one sentence each.

    Parameters
    ----------
    stored : mapping
        From `declaration` at plan time; empty when it is not known.
    study : Study
        As the study file is now.
    """
    if not stored:
        return (
            "The study file was changed after this plan was made, and the plan does not tell what "
            "was declared then: everything is exploratory.",
        )
    lines = [f"{reason}: exploratory." for reason in _study_changes(stored, study)]
    for response in study.responses:
        lines += [f"{reason}: exploratory." for reason in _response_changes(stored, response)]
    for question in _all(study):
        for reason in _question_changes(stored, question):
            lines.append(f"“{question.words}” {reason}: exploratory.")
        words = dict(stored["words"]).get(question.key)
        if words is not None and words != question.words:
            lines.append(f"“{question.words}” was asked as “{words}” when the plan was made.")
    asked = {question.key for question in _all(study)}
    for key, words in dict(stored["words"]).items():
        if key not in asked:
            lines.append(f"“{words}” was declared when the plan was made and is no longer asked.")
    lines += [f"The study file now asks for {line}." for line in changed_layout(stored, study)]
    return tuple(capital(line) for line in lines)


def _study_changes(stored: Declaration, study: Study) -> list[str]:
    """Changes that touch every answer: curves or levels, the confidence level."""
    lines = []
    shapes = dict(stored["shapes"])
    for factor in study.factors:
        before = shapes.get(factor.name, factor.shape)
        if before != factor.shape:
            lines.append(
                f"{factor.title} was to be analysed as {before} when the plan was made, now as "
                f"{factor.shape}"
            )
    if stored.get("multiplicity", "each") != study.multiplicity:
        lines.append(
            f"questions are judged {study.multiplicity}, which was not so when the plan was made"
        )
    if stored["confidence"] != study.confidence:
        lines.append(
            f"the confidence level was {_per_cent(stored['confidence'])} when the plan was made, "
            f"now {_per_cent(study.confidence)}"
        )
    return lines


def _response_changes(stored: Declaration, response: Response) -> list[str]:
    if response.name not in stored["margins"]:
        return [f"{response.quantity} was added after the plan was made"]
    lines = []
    before, now = stored["margins"][response.name], response.equivalence_margin
    if before != now:
        lines.append(
            f"margin of {response.quantity} was {_margin_text(before, response)} when the plan "
            f"was made, now {_margin_text(now, response)}"
        )
    then, text = str(stored["analysed"][response.name]), _analysed(response)
    if then != text:
        lines.append(
            f"{response.quantity} was to be analysed on {then} when the plan was made, now on "
            f"{text}"
        )
    return lines


def _all(study: Study) -> tuple[Question | TradeQuestion, ...]:
    return (*study.questions, *study.trade_questions)


def _question_changes(stored: Declaration, question: Question | TradeQuestion) -> list[str]:
    before = dict(stored["questions"]).get(question.key)
    if before is None:
        return ["was added after the plan was made"]
    if before != _question_text(question):
        return ["compared something else when the plan was made"]
    return []


# --- texts -------------------------------------------------------------------------------------


def _special_wishes(study: Study) -> dict[str, Any]:
    """What a study may say about its plan beside factors and layout; only what it says."""
    wishes: dict[str, Any] = {
        "repeats": {f.name: list(f.repeats) for f in study.factors if f.repeats},
        "forbidden": sorted(_levels_text(study, entry.levels) for entry in study.forbidden),
        "extra_coupons": {
            extra.key: f"{extra.coupons} with {_levels_text(study, extra.levels) or 'no step'}"
            for extra in study.extra_coupons
        },
        "plan": _plan_wish(study),
    }
    return {key: wish for key, wish in wishes.items() if wish}


def _changed_wishes(stored: Declaration, study: Study) -> list[str]:
    """What study.toml now says about the plan beside the layout, and what the plan was made for."""
    now = _special_wishes(study)
    words = {
        "repeats": "repeats of levels",
        "forbidden": "forbidden treatments",
        "extra_coupons": "extra coupons",
        "plan": "kind of plan",
    }
    return [
        f"{word}: {_wish_text(now.get(key))}, the plan has {_wish_text(stored.get(key))}"
        for key, word in words.items()
        if now.get(key) != stored.get(key)
    ]


def _wish_text(wish: object) -> str:
    if not wish:
        return "none"
    if isinstance(wish, Mapping):
        return "; ".join(f"{key} {_wish_text(part)}" for key, part in wish.items())
    if isinstance(wish, list):
        return ", ".join(map(str, wish))
    return str(wish)


def _plan_wish(study: Study) -> dict[str, Any]:
    """Wishes that are not the usual ones."""
    usual = dataclasses.asdict(PlanWish())
    return {key: own for key, own in dataclasses.asdict(study.plan).items() if own != usual[key]}


def _levels_text(study: Study, levels: Mapping[str, Level]) -> str:
    return ", ".join(
        f"{name} {_level_text(study.factor(name), level)}" for name, level in levels.items()
    )


def _layout(study: Study) -> dict[str, int]:
    layout = dataclasses.asdict(study.layout)
    return {key: value for key, value in layout.items() if value or key not in LATER_KEYS}


def _title(study: Study, name: str) -> str:
    return study.factor(name).title if study.has(name) else name


def _factor_text(factor: Factor) -> str:
    """What the coupon matrix depends on, for people and for comparison."""
    levels = ", ".join(_level_text(factor, level) for level in factor.levels)
    text = f"{levels} (for each {factor.set_for.replace('_', ' ')}"
    if factor.nested_in:
        inside = ", ".join(str(level) for level in factor.exists_for)
        text += f"; only with {factor.nested_in.replace('_', ' ')} {inside}"
    return text + ")"


def _level_text(factor: Factor, level: Level) -> str:
    if isinstance(level, str):
        return level
    return f"{level:.10g}{NO_BREAK}{unit_text(factor.unit)}"


def _analysed(response: Response) -> str:
    combinations = response.combinations
    pairs = "all pairs" if combinations is None else ", ".join(combinations) or "no combinations"
    return f"the {response.scale} scale with {pairs} of factors"


def _question_text(question: Question | TradeQuestion) -> str:
    """What a question compares, whatever its words."""
    if isinstance(question, TradeQuestion):
        return _trade_text(question)
    if question.term:
        parts: Sequence[str] = sorted(question.term.split(":"))
        return f"{question.response}: term {' by '.join(parts)}"
    text = f"{question.response}: {question.factor} {question.level} less {question.against}"
    text += "".join(f"; at {name} {level}" for name, level in sorted(question.at.items()))
    changes = sorted(question.change.items())
    return text + "".join(f"; {name} {a} less {b}" for name, (a, b) in changes)


def _trade_text(question: TradeQuestion) -> str:
    text = f"{question.response}: {question.asks.replace('_', ' ')} along {question.along}"
    if question.factor:
        text += f"; {question.factor} {question.level} less {question.against}"
    text += "".join(f"; at {name} {level}" for name, level in sorted(question.at.items()))
    changes = sorted(question.change.items())
    text += "".join(f"; {name} {a} less {b}" for name, (a, b) in changes)
    amounts = (("margin", question.margin), ("within", question.within), ("at", question.target))
    return text + "".join(f"; {word} {own:.10g}" for word, own in amounts if own is not None)


def _margin_text(margin: float | None, response: Response) -> str:
    if margin is None:
        return "not declared"
    if response.scale == "log":
        return _per_cent(margin)
    return response.printed.told(margin)


def _per_cent(share: float) -> str:
    return f"{share * 100:g}{NO_BREAK}%"
