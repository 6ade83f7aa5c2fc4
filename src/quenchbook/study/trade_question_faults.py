"""What the study file alone tells of a question about a curve: why nothing could ever answer it.

A plan freezes its questions, so one that no record can answer is refused before there is a plan.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from quenchbook.errors import UnitError
from quenchbook.study.definition import Response
from quenchbook.study.factors import Factor, Level
from quenchbook.study.plausible_readings import plausible
from quenchbook.study.trade_questions import Asks, TradeQuestion
from quenchbook.units import listed, parse_number

_CURVES: Final[tuple[Asks, ...]] = ("peak", "peak_shift", "curve_shift", "working_window")
_LEAST_OF_A_CURVE: Final = 3
_TIMES: Final[Mapping[Asks, int]] = {"per_decade": 2, "half_loss": 3}
"""Kinds that go along a time, and the fewest levels they take."""
_TEMPERS: Final[tuple[Asks, ...]] = ("temper_for", "equal_hardness")


@dataclass(frozen=True)
class Fault:
    """Why a question cannot be asked: key of the file, what is wrong, what to write."""

    key: str
    problem: str
    remedy: str


def faults_of(
    question: TradeQuestion,
    response: Response,
    factors: Mapping[str, Factor],
    responses: Sequence[Response],
) -> list[Fault]:
    """Every reason in the study file why a question cannot be answered.

    Parameters
    ----------
    question : TradeQuestion
        Read without a mistake of its own.
    response : Response
    factors : mapping of name to Factor
    responses : sequence of Response
        All of the study.

    Returns
    -------
    list of Fault
        Empty where the file tells none.
    """
    along = factors[question.along]
    return [
        *_along_faults(question, along, factors),
        *_place_faults(question, along, factors),
        *_compare_faults(question, response, along, factors),
        *_half_loss_faults(question, along, factors),
        *_hardness_faults(question, response, responses),
        *_target_faults(question, response),
    ]


def _along_faults(
    question: TradeQuestion, along: Factor, factors: Mapping[str, Factor]
) -> list[Fault]:
    asks, count = question.asks, len(along.levels)
    other = _along_for(asks, factors)
    write = f'Write along = "{other}".' if other and other != along.name else ""
    if asks in _CURVES and (along.shape != "quadratic" or count < _LEAST_OF_A_CURVE):
        return [
            Fault(
                "along",
                f'asks = "{asks}" needs a curve, and {along.name} has shape = "{along.shape}" with '
                f"{count} level{'s' if count != 1 else ''}",
                write
                or f'Give {along.name} shape = "quadratic" and three levels or more '
                "(better four or five).",
            )
        ]
    if asks == "target_window" and along.shape == "levels":
        return [
            Fault(
                "along",
                f'asks = "{asks}" needs a curve or a line, and {along.name} has shape = "levels"',
                write or f'Give {along.name} shape = "quadratic".',
            )
        ]
    if asks in _TIMES:
        if along.dimension != "time":
            return [
                Fault(
                    "along",
                    f'asks = "{asks}" goes along a time, and {along.name} is none',
                    write or 'Ask along a factor with levels such as "1 h" and "1 day".',
                )
            ]
        if count < _TIMES[asks]:
            return [
                Fault(
                    "along",
                    f'asks = "{asks}" needs {_TIMES[asks]} levels of {along.name} or more; it has '
                    f"{count}",
                    f"Add levels to {along.name}"
                    + (', or ask "per_decade".' if asks == "half_loss" and count > 1 else "."),
                )
            ]
    if asks in _TEMPERS and not _is_temper(along):
        return [
            Fault(
                "along",
                f'asks = "{asks}" goes along a temper, and {along.name} is set for a '
                f"{along.set_for.replace('_', ' ')}",
                write or 'Ask along a factor with set_for = "temper_batch".',
            )
        ]
    return []


def _place_faults(
    question: TradeQuestion, along: Factor, factors: Mapping[str, Factor]
) -> list[Fault]:
    """Levels of ``at`` and ``change`` that contradict the rest of the question."""
    found = []
    for key, names in (("at", [*question.at]), ("change", [*question.change])):
        if question.along in names:
            found.append(
                Fault(
                    key,
                    f"{key} names {question.along}, along which the question goes",
                    f"Leave {question.along} out of {key}.",
                )
            )
    for name in question.at:
        if name in question.change:
            found.append(
                Fault("at", f"{name} stands in at and in change", "Keep it in one of them.")
            )
    if len(question.change) > 1:
        found.append(
            Fault("change", f"change names {listed([*question.change])}", "Keep one factor.")
        )
    for name, (first, second) in question.change.items():
        if first == second:
            found.append(_same_levels("change", factors[name], first))
    for factor in (along, *(factors[name] for name in (*question.at, *question.change))):
        pair = question.change.get(factor.nested_in, ())
        for key, levels in (("at", [question.at.get(factor.nested_in)]), ("change", [*pair])):
            for level in levels:
                if factor.nested_in and level is not None and level not in factor.exists_for:
                    where = ", ".join(f'"{own}"' for own in factor.exists_for)
                    found.append(
                        Fault(
                            key,
                            f"{factor.name} does not exist with {factor.nested_in} {level}",
                            f"Ask where it exists: {where}.",
                        )
                    )
    return found


def _compare_faults(
    question: TradeQuestion, response: Response, along: Factor, factors: Mapping[str, Factor]
) -> list[Fault]:
    if not question.factor:
        return []
    factor = factors[question.factor]
    if factor.name == along.name:
        return [
            Fault(
                "compare",
                f"compares levels of {along.name}, along which the question goes",
                example_of("compare", question.asks, response, factors, along.name),
            )
        ]
    if question.level == question.against:
        return [_same_levels("compare", factor, question.level)]
    if question.asks != "half_loss" and along.nested_in == factor.name:
        for level in (question.level, question.against):
            if level not in along.exists_for:
                return [
                    Fault(
                        "compare",
                        f"{along.name} does not exist with {factor.name} {level}",
                        f"Compare levels that have it: {', '.join(map(str, along.exists_for))}.",
                    )
                ]
    return []


def _half_loss_faults(
    question: TradeQuestion, along: Factor, factors: Mapping[str, Factor]
) -> list[Fault]:
    if question.asks != "half_loss" or question.level == question.against:
        return []
    if not along.nested_in:
        return [
            Fault(
                "along",
                f"{along.name} exists for every coupon, so no level is without it and there is no "
                "gain that it could take away",
                f"Say where it exists: exists_for below [factors.{along.name}], with one level "
                "left out.",
            )
        ]
    parent = factors[along.nested_in]
    without = [level for level in parent.levels if level not in along.exists_for]
    if question.factor != parent.name:
        first, second = along.exists_for[0], without[0] if without else ""
        return [
            Fault(
                "compare",
                f"compares levels of {question.factor}, and {along.name} exists inside levels of "
                f"{parent.name}",
                _compare_text(parent, first, second) if without else "",
            )
        ]
    has = [level in along.exists_for for level in (question.level, question.against)]
    if has == [True, False]:
        return []
    if has == [False, True]:
        return [
            Fault(
                "compare",
                f"the gain is that of the first level, and {question.level} has no {along.name}",
                "Swap them: " + _compare_text(parent, question.against, question.level, "write"),
            )
        ]
    problem = (
        f"the second level is the one without {along.name}, and {question.against} has one of its "
        "own"
        if has[0]
        else f"neither {question.level} nor {question.against} has a {along.name}"
    )
    first = question.level if has[0] else along.exists_for[0]
    remedy = (
        _compare_text(parent, first, without[0])
        if without
        else f"No level of {parent.name} is without {along.name}: plan one."
    )
    return [Fault("compare", problem, remedy)]


def _hardness_faults(
    question: TradeQuestion, response: Response, responses: Sequence[Response]
) -> list[Fault]:
    if question.asks != "equal_hardness":
        return []
    if response.kind == "hardness":
        others = [own.quantity for own in responses if own.kind != "hardness"]
        return [
            Fault(
                "response",
                f"{response.quantity} at equal hardness is always the same",
                f"Ask of another response: {listed(others)}."
                if others
                else "Ask of another response, such as impact energy.",
            )
        ]
    if not any(own.kind == "hardness" for own in responses):
        return [
            Fault(
                "asks",
                "no response is a hardness, so nothing tells where it is equal",
                'Add [responses.hardness] with unit = "HRC".',
            )
        ]
    return []


def _target_faults(question: TradeQuestion, response: Response) -> list[Fault]:
    if question.target is None or plausible(response).holds(question.target):
        return []
    return [
        Fault(
            "target",
            f"{question.target:g} {response.unit} is no plausible {response.quantity} "
            f"({plausible(response).words} {response.unit})",
            f'Write target = "{amount_example("target", response)}".',
        )
    ]


def example_of(
    key: str, asks: Asks, response: Response, factors: Mapping[str, Factor], along: str
) -> str:
    """What to write for a missing key, with names of this study; empty where it has none.

    Parameters
    ----------
    key : str
        ``along``, ``compare``, ``within`` or ``target``.
    asks : str
    response : Response
    factors : mapping of name to Factor
    along : str
        Factor along which it is asked; may be unknown.
    """
    if key == "along":
        own = _along_for(asks, factors)
        return f'Write along = "{own}".' if own else ""
    if key != "compare":
        return f'Write {key} = "{amount_example(key, response)}".'
    if asks == "half_loss" and along in factors and factors[along].nested_in:
        parent, having = factors[factors[along].nested_in], factors[along].exists_for
        without = [level for level in parent.levels if level not in having]
        if without:
            return _compare_text(parent, having[0], without[0])
    for factor in sorted(factors.values(), key=lambda own: own.is_numeric):
        if factor.name != along and len(factor.levels) > 1 and not factor.nested_in:
            first, second = factor.levels[:2]
            if first == "none":
                first, second = second, first
            return _compare_text(factor, first, second)
    return ""


def amount_example(key: str, response: Response, written: str = "") -> str:
    """An amount of ``within`` or ``target`` in the unit of the response: ``60 HRC``.

    Parameters
    ----------
    key : str
    response : Response
    written : str
        What stands in the file; a bare number there is kept.
    """
    try:
        number = f"{parse_number(written):g}" if written and parse_number(written) > 0 else ""
    except UnitError:
        number = ""
    if not number:
        hard = response.kind == "hardness"
        number = {"within": "0.3" if hard else "2"}.get(key, "60" if hard else "15")
    return f"{number} {response.unit}".strip()


def _is_temper(factor: Factor) -> bool:
    return factor.set_for == "temper_batch" or f"{factor.name}_".startswith("temper_")


def _along_for(asks: Asks, factors: Mapping[str, Factor]) -> str:
    """Factor of the study along which a kind can be asked; empty where there is none."""
    for factor in factors.values():
        if not factor.is_numeric:
            continue
        if asks in _TIMES:
            fits = factor.dimension == "time" and len(factor.levels) >= _TIMES[asks]
        elif asks in _TEMPERS:
            fits = factor.set_for == "temper_batch" and len(factor.levels) > 1
        else:
            fits = factor.shape == "quadratic"
        if fits:
            return factor.name
    return ""


def _same_levels(key: str, factor: Factor, level: Level) -> Fault:
    other = next(own for own in factor.levels if own != level)  # every factor has two
    pair = (other, level) if level == "none" else (level, other)
    texts = ", ".join(_quoted(factor, own) for own in pair)
    return Fault(
        key,
        f"{key} names {_quoted(factor, level)} of {factor.name} twice",
        f"Write {key} = {{ {factor.name} = [{texts}] }}.",
    )


def _compare_text(factor: Factor, first: Level, second: Level, verb: str = "Write") -> str:
    pair = f"[{_quoted(factor, first)}, {_quoted(factor, second)}]"
    return f"{verb} compare = {{ {factor.name} = {pair} }}."


def _quoted(factor: Factor, level: Level) -> str:
    """A level as the study file has it."""
    if isinstance(level, str):
        return f'"{level}"'
    return f'"{level:.10g} {factor.unit.replace("minutes", "min")}"'
