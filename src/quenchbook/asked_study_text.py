"""A study file from a few answers: the template with its comments, some lines changed."""

from __future__ import annotations

import datetime
import re
from pathlib import Path
from typing import Final

from quenchbook.asked_study import TEMPLATE_STEEL, AskedStudy
from quenchbook.errors import QuenchbookError
from quenchbook.forms.toml_edits import toml_text

ROUTE_WORDS: Final = {
    "none": "no cold step",
    "freezer": "the freezer",
    "dry_ice": "dry ice",
    "liquid_nitrogen": "liquid nitrogen",
}
_TEMPER_BATCHES: Final = 3
"""Batches of each temper: two are the least that shows their scatter, as with furnace loads."""
_BARS: Final = 3


def asked_study_text(asked: AskedStudy, *, today: datetime.date | None = None) -> str:
    """Study file of the answers, with the comments of the template.

    What was not asked keeps the example of the template; what holds only for the steel of the
    template (composition, soak, quench) becomes a comment if the steel is another.

    Parameters
    ----------
    asked : AskedStudy
    today : date, optional
        Date of the study.

    Returns
    -------
    str
    """
    text = _Text(
        Path(__file__).parent.joinpath("study", "template.toml").read_text(encoding="utf-8")
    )
    compared = _compared(asked)
    text.line("title", f"{compared[0].upper()}{compared[1:]}: {asked.grade}")
    text.line("question", _question(asked))
    text.line("author", asked.author)
    text.put(r"^date = \S+", f"date = {today or datetime.date.today()}")
    text.line("grade", asked.grade)
    text.line("condition", f"annealed, one mill heat, {_BARS} bars")
    if asked.grade.upper() != TEMPLATE_STEEL:
        for key in ("composition", "soak", "quench"):  # those of the template are for O1
            text.put(rf"^{key} = ", f"# {key} = ")
    _put_factors(text, asked)
    _put_layout(text, asked)
    margin = f"{asked.margin_hrc:.10g} HRC"
    text.put(r'^equivalence_margin = "0\.5 HRC"', f'equivalence_margin = "{margin}"')
    text.put(r"^\[\[questions\]\]\n.*?(?=^# Questions about curves)", f"{_questions(asked)}\n")
    return text.text


class _Text:
    """Text whose places are changed once each; a place that is not there is a fault of ours."""

    def __init__(self, text: str) -> None:
        self.text = text

    def put(self, pattern: str, new: str) -> None:
        self.text, found = re.subn(
            pattern, lambda _: new, self.text, count=1, flags=re.MULTILINE | re.DOTALL
        )
        if not found:
            raise QuenchbookError(
                f"The template of study.toml has no place '{pattern}'. Install quenchbook again."
            )

    def line(self, key: str, value: str) -> None:
        self.put(rf"^{key} = [^\n]*", f"{key} = {toml_text(value)}")


def _levels(levels: tuple[str, ...]) -> str:
    return f"levels = [{', '.join(map(toml_text, levels))}]"


def _put_factors(text: _Text, asked: AskedStudy) -> None:
    """Levels of what is varied; what has one level only is held constant."""
    held = []
    for name, levels in (
        ("austenitize", asked.austenitize),
        ("cold_route", asked.cold_routes),
        ("temper", asked.temper),
    ):
        if len(levels) > 1:
            text.put(
                rf"(?<=\[factors\.{name}\])([^\n]*)\nlevels = [^\n]*",
                f"{_COMMENTS.get(name, '')}\n{_levels(levels)}",
            )
        else:
            held.append(f"{name} = {toml_text(levels[0])}")
            text.put(rf"^\[factors\.{name}\][^\n]*\n(?:[^\n]+\n)+", f"# {name} is held constant\n")
    if len(asked.austenitize) == 2:  # two temperatures make a line, no curve
        text.put(r'^shape = "quadratic"(?= +# a load)', 'shape = "linear"   ')
    if held:
        lines = "\n".join(held)
        text.put(r"(?<=^\[held_constant\]\n)", f"{lines}\n")
    if asked.cold_routes == ("none",):
        text.put(r"^cold_time = ", "# cold_time = ")


_COMMENTS: Final = {
    "cold_route": "                 # none, freezer, dry_ice, liquid_nitrogen, or names of your own"
}


def _put_layout(text: _Text, asked: AskedStudy) -> None:
    loads = asked.furnace_loads
    each, rest = divmod(loads, len(asked.austenitize))
    words = "" if len(asked.austenitize) == 1 or rest else f"# {each} for each austenitize"
    room = -(-asked.coupons // (_TEMPER_BATCHES * len(asked.temper)))
    per_bar = -(-asked.coupons // _BARS)
    text.put(r"^furnace_loads = [^\n]*", f"{f'furnace_loads = {loads}':<37}{words}".rstrip())
    text.put(r"^coupons_per_load = \d+", f"coupons_per_load = {asked.coupons_per_load}")
    text.put(r"^coupons_per_temper_batch = \d+", f"coupons_per_temper_batch = {max(room, 1)}")
    text.put(r"^bars = 3", f"bars = {_BARS}")
    text.put(r"^coupons_per_bar = \d+", f"coupons_per_bar = {per_bar}")


def _compared(asked: AskedStudy) -> str:
    parts = []
    if len(asked.cold_routes) > 1:
        parts.append("cold route")
    if len(asked.austenitize) > 1:
        parts.append("austenitize temperature")
    if len(asked.temper) > 1:
        parts.append("temper")
    return f"{', '.join(parts[:-1])} and {parts[-1]}" if len(parts) > 1 else parts[0]


def _question(asked: AskedStudy) -> str:
    grade, routes = asked.grade, asked.cold_routes
    if len(routes) > 1:
        cold = " or ".join(ROUTE_WORDS[name] for name in routes[1:])
        first = f"Does {cold} make {grade} harder than {ROUTE_WORDS[routes[0]]}"
        if len(asked.austenitize) > 1:
            return f"{first}, and does that depend on the austenitize temperature?"
        return f"{first}?"
    what = _compared(asked)
    return f"How does the hardness of {grade} depend on {what}?"


def _questions(asked: AskedStudy) -> str:
    """Declared questions about what is varied, each against the first or the lowest level."""
    routes, hot, temper = asked.cold_routes, asked.austenitize, asked.temper
    entries: list[tuple[str, str, str, str]] = []  # key, words, compare, change
    for name in routes[1:]:
        against = f"{{ cold_route = [{toml_text(name)}, {toml_text(routes[0])}] }}"
        than = ROUTE_WORDS[routes[0]]
        words = f"Does {ROUTE_WORDS[name]} make it harder than {than}?"
        entries.append((name, words, against, ""))
        if len(hot) > 1:
            change = f"{{ austenitize = [{toml_text(hot[-1])}, {toml_text(hot[0])}] }}"
            words = f"Does {ROUTE_WORDS[name]} do more after a hot austenitize than {than}?"
            entries.append((f"{name}_when_hot", words, against, change))
    for key, levels, words in (
        ("austenitize", hot, "Does the hotter austenitize change the hardness?"),
        ("temper", temper, "Does the hotter temper soften it?"),
    ):
        if len(levels) > 1 and (key == "temper" or len(routes) == 1):
            against = f"{{ {key} = [{toml_text(levels[-1])}, {toml_text(levels[0])}] }}"
            entries.append((key, words, against, ""))
    blocks = []
    for number, (key, words, compare, change) in enumerate(entries):
        note = "        # the first less the second" if number == 0 else ""
        lines = [
            "[[questions]]", f'key = "{key}"', f"words = {toml_text(words)}",
            'response = "hardness"', f"compare = {compare}{note}",
        ]  # fmt: skip
        blocks.append("\n".join([*lines, *([f"change = {change}"] if change else []), ""]))
    return "\n".join(blocks)
