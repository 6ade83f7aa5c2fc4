"""A few questions in the terminal, from which a study file is made."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final, TypeVar

from quenchbook.errors import Problem, QuenchbookError, StudyError
from quenchbook.study.mistakes import Mistakes
from quenchbook.study.plausible_levels import check_temperatures
from quenchbook.study_place import folder_name
from quenchbook.units import convert, listed, parse_quantity, unit_named

Ask = Callable[[str], str]
Say = Callable[[str], None]
_T = TypeVar("_T")

ROUTES: Final = ("none", "freezer", "dry_ice", "liquid_nitrogen")
_ALSO: Final = {"no": "none", "no_cold_step": "none", "ln2": "liquid_nitrogen",
                "nitrogen": "liquid_nitrogen"}  # fmt: skip
TEMPLATE_STEEL: Final = "O1"
"""Steel of the template: its temperatures are the defaults for this steel and for no other."""
_MOST_LEVELS: Final = 6
_SAME_LEVEL: Final = 6  # decimals [degC]: 392 degF and 200 degC are one level, not rounding
_WIDE_HRC: Final = 3.0
"""Margin that is asked about [HRC]: steels this far apart are seldom alike in use (common practice,
no source)."""
_OIL_GRADE: Final = re.compile(r"0([1267])")
"""Zero for the letter: O1, O2, O6 and O7 are oil hardening grades (ASTM A681) [from memory]."""
_MOST: Final = 200  # furnace loads, or coupons in one; more is a slip of the keys


@dataclass(frozen=True)
class AskedStudy:
    """Answers that make a study file.

    Attributes
    ----------
    folder : str
        Study folder, not made yet.
    grade : str
        Steel.
    cold_routes : tuple of str
        Of `ROUTES`; one is no comparison.
    austenitize, temper : tuple of str
        Temperatures with their unit, lowest first: ``790 degC``; one is not varied.
    furnace_loads, coupons_per_load : int
    margin_hrc : float
        Equivalence margin of the hardness [HRC].
    author : str
    """

    folder: str
    grade: str = TEMPLATE_STEEL
    cold_routes: tuple[str, ...] = ("none", "freezer")
    austenitize: tuple[str, ...] = ("790 degC", "805 degC", "820 degC")
    temper: tuple[str, ...] = ("175 degC", "205 degC")
    furnace_loads: int = 9
    coupons_per_load: int = 4
    margin_hrc: float = 0.5
    author: str = "your name"

    @property
    def coupons(self) -> int:
        """Coupons in all."""
        return self.furnace_loads * self.coupons_per_load

    def summary(self) -> str:
        """Say the study in two lines."""
        varied = {
            "cold routes": self.cold_routes,
            "austenitize temperatures": self.austenitize,
            "temper temperatures": self.temper,
        }
        words = [f"{len(own)} {name}" for name, own in varied.items() if len(own) > 1]
        return (
            f"{self.coupons} coupons of {self.grade}: {self.furnace_loads} furnace loads of "
            f"{self.coupons_per_load}.\nCompared: {listed(words)}."
        )


def asked_study(ask: Ask, say: Say) -> AskedStudy:
    """Ask the few questions that a study file cannot do without; write nothing.

    Parameters
    ----------
    ask : callable
        Shows a prompt and returns what was typed (`input`). Whatever it raises ends the questions.
    say : callable
        Shows a line of help, or what is wrong with an answer, which is then asked again.

    Returns
    -------
    AskedStudy
    """
    say("A few questions; the Enter key takes what stands in brackets. Ctrl-C writes nothing.")
    put = _Asking(ask, say)
    folder = put.question("Folder of the study", "It is made here.", "my_study", _new_folder)
    grade = put.question("Steel", "Its grade, as on the mill sheet.", TEMPLATE_STEEL, _words)
    if (zero := _OIL_GRADE.fullmatch(grade)) and agreed(
        ask, say, f"'{grade}' begins with the number zero. Is O{zero[1]} meant, with the letter O?"
    ):
        grade = f"O{zero[1]}"
    known = grade.upper() == TEMPLATE_STEEL
    sheet = "" if known else " No default: see the data sheet of your steel."
    routes = put.question(
        "Cold routes to compare",
        f"Of {', '.join(ROUTES)}; one alone is not compared.",
        "none, freezer",
        lambda text: _routes(text, say),
    )
    hot = put.question(
        "Austenitize temperatures",
        f"With their unit, degC or degF; three show a peak, one is not varied.{sheet}",
        "790, 805, 820 degC" if known else "",
        lambda text: temperature_levels(text, "austenitize"),
    )
    varied = len(routes) > 1 or len(hot) > 1
    temper = put.question(
        "Temper temperatures",
        f"With their unit; one is not varied.{sheet}",
        "175, 205 degC" if known else "",
        lambda text: _temper(text, varied),
    )
    loads = put.question(
        "Furnace loads",
        "Each has one austenitize temperature; three for each are a beginning, more tell more.",
        str(max(6, 3 * len(hot))),
        lambda text: _count(text, least=len(hot), what="furnace loads"),
    )
    per_load = put.question(
        "Coupons in a furnace load",
        f"{len(routes) * len(temper)} would hold each cold route and temper once.",
        str(max(4, len(routes) * len(temper))),
        lambda text: _count(text, least=1, what="coupons in a load"),
    )
    margin_asked = (
        "Margin",
        "The hardness difference that is too small to matter in use, decided before any test.",
        "0.5 HRC",
        _margin,
    )
    margin = put.question(*margin_asked)
    if margin > _WIDE_HRC and not agreed(
        ask,
        say,
        f"Coupons that are {margin:.10g} HRC apart would count as alike. Is that meant?",
        default=False,
    ):
        margin = put.question(*margin_asked)
    author = put.question("Your name", "For the report.", "your name", _words)
    asked = AskedStudy(
        folder, grade, routes, hot, temper, loads, per_load, margin, author
    )  # fmt: skip
    say(asked.summary())
    return asked


def agreed(ask: Ask, say: Say, words: str, *, default: bool = True) -> bool:
    """Whether a question is answered with yes; asked again until it is yes or no.

    Parameters
    ----------
    ask, say
        See `asked_study`.
    words : str
        The question.
    default : bool
        Answer of the Enter key alone.

    Examples
    --------
    >>> agreed(lambda prompt: "y", print, "Write it?")
    True
    """
    answers = {"": default, "y": True, "yes": True, "n": False, "no": False}
    while True:
        text = ask(f"{words} [{'yes' if default else 'no'}] ").strip().lower()
        if text in answers:
            return answers[text]
        say("Write yes or no.")


def temperature_levels(text: str, name: str) -> tuple[str, ...]:
    """Temperatures as a person lists them, each with its unit, lowest first.

    Parameters
    ----------
    text : str
        Such as ``790, 805, 820 degC`` or ``1450 degF 1500 degF``; a unit holds for the numbers
        before it.
    name : str
        Factor, whose plausible range is checked.

    Raises
    ------
    StudyError, UnitError
        If a number or the unit is missing, a level stands twice, or no steel is treated there.

    Examples
    --------
    >>> temperature_levels("1475, 1450 degF", "austenitize")
    ('1450 degF', '1475 degF')
    """
    parts = [own for own in re.split(r"[,;]|\band\b|(?<=\w)\s+(?=\d)", text) if own.strip()]
    found: list[tuple[float, str]] = []
    for part in reversed(parts):
        match = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(.*?)\s*", part)
        if match is None:
            raise StudyError(
                Problem("", f"'{part.strip()}' is not a temperature", "Write 790, 805, 820 degC.")
            )
        if not match[2] and not found:
            raise StudyError(Problem("", "The unit is missing", "Write degC or degF at the end."))
        unit = unit_named(match[2], "temperature") if match[2] else found[-1][1]
        found.append((float(match[1]), unit))
    celsius = {own: convert(*own, "temperature") for own in found}
    different = {round(own, _SAME_LEVEL) for own in celsius.values()}
    if not found or len(different) < len(found) or len(found) > _MOST_LEVELS:
        raise StudyError(
            Problem("", f"'{text}' is not a list of 1 to {_MOST_LEVELS} different temperatures")
        )
    mistakes = Mistakes("", "")
    check_temperatures(name, [(unit, celsius[value, unit]) for value, unit in found], "", mistakes)
    if mistakes.problems:
        first = mistakes.problems[0]  # the others are mostly the same slip
        raise StudyError(Problem("", first.problem, first.remedy))
    return tuple(f"{value:.10g} {unit}" for value, unit in sorted(found, key=celsius.__getitem__))


@dataclass(frozen=True)
class _Asking:
    """Asks until an answer can be read."""

    ask: Ask
    say: Say

    def question(self, words: str, help_line: str, default: str, read: Callable[[str], _T]) -> _T:
        self.say(f"\n{help_line}")
        prompt = f"{words} [{default}]: " if default else f"{words}: "
        while True:
            try:
                return read(self.ask(prompt).strip() or default)
            except QuenchbookError as error:
                self.say(str(error))


def _new_folder(text: str) -> str:
    place = Path(text).expanduser()
    folder_name(place.name)
    if place.exists() and (not place.is_dir() or any(place.iterdir())):
        raise StudyError(Problem(text, "is there already", "Name a new folder."))
    if not place.absolute().parent.is_dir():
        raise StudyError(
            Problem(str(place.parent), "there is no such folder", "Name one that is there.")
        )
    return str(place)


def _words(text: str) -> str:
    if not text or not text.isprintable() or len(text) > 100:
        raise StudyError("Write some words on one line, 100 characters at most.")
    return text


def _routes(text: str, say: Say) -> tuple[str, ...]:
    routes = []
    for part in re.split(r"[,;]|\band\b", text.lower()):
        name = re.sub(r"[\s-]+", "_", part.strip())
        if name in _ALSO:
            name = _ALSO[name]
            more = ", which is no cold step" if name == "none" else ""
            say(f"'{part.strip()}' is taken for {name}{more}.")
        if name and name not in ROUTES:
            near = difflib.get_close_matches(name, ROUTES, n=1)
            raise StudyError(
                Problem(
                    "",
                    f"'{part.strip()}' is not one of {', '.join(ROUTES)}",
                    f"Is {near[0]} meant?"
                    if near
                    else "A route of your own can be written into study.toml afterwards.",
                )
            )
        routes.append(name)
    found = tuple(name for name in ROUTES if name in routes)
    if not found:
        raise StudyError(f"Write at least one of {', '.join(ROUTES)}.")
    return found


def _temper(text: str, varied: bool) -> tuple[str, ...]:
    levels = temperature_levels(text, "temper")
    if not varied and len(levels) == 1:
        raise StudyError(
            "With one cold route, one austenitize temperature and one temper nothing would be "
            "compared. Write two temper temperatures, or press Ctrl-C and begin again."
        )
    return levels


def _count(text: str, *, least: int, what: str) -> int:
    if not re.fullmatch(r"[0-9]{1,6}", text) or not least <= int(text) <= _MOST:
        raise StudyError(f"'{text}' is not a number of {what}: write {least} to {_MOST}.")
    return int(text)


def _margin(text: str) -> float:
    value = parse_quantity(text, "hardness", unit="HRC")
    if not 0 < value <= 10:
        raise StudyError(f"'{text}' is no margin: write more than 0 and at most 10 HRC.")
    return value
