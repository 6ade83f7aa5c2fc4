"""What stands on the sheet of a furnace load: setting, times, coupons in quench order."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import pandas as pd

from quenchbook.bench.hazards import oil_quench
from quenchbook.bench.safety import reminders
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import Study, held_value, held_words
from quenchbook.study.factors import Factor, Level, perhaps_meant, route_key
from quenchbook.units import capital, minutes_text, unit_text

LOAD_ROWS: Final = 8  # rows of 16.6 mm that fit on A4 with everything around them

ROUTE_SHAPES: Final = {
    "none": "circle",
    "freezer": "square",
    "dry_ice": "triangle",
    "liquid_nitrogen": "diamond",
}
_ORDINALS: Final = (
    "First", "Second", "Third", "Fourth", "Fifth", "Sixth", "Seventh", "Eighth", "Ninth", "Tenth",
    "Eleventh", "Twelfth",
)  # fmt: skip
_LONGEST_BESIDE: Final = 12  # letters that fit beside the name of a blank


@dataclass(frozen=True)
class Entry:
    """One cell of a coupon's row: a text, how it is set, the shape before it, words under it.

    Attributes
    ----------
    text : str
        Words or number; empty when the factor does not exist for the coupon.
    emphasis : str
        ``plain``, ``bold`` (a wait), ``framed`` (the hotter temper) or ``unframed`` (the others).
    shape : str
        ``circle``, ``square``, ``triangle``, ``diamond`` or empty.
    under : str
        Small words under the text: the temper batch.
    """

    text: str
    emphasis: str = "plain"
    shape: str = ""
    under: str = ""


@dataclass(frozen=True)
class CouponRow:
    """One coupon on a load sheet; `is_cold` says whether its time in the cold is to be written."""

    place: int
    coupon: str
    entries: tuple[Entry, ...]
    is_cold: bool


@dataclass(frozen=True)
class LoadSheet:
    """One page for a furnace load.

    Attributes
    ----------
    title, line : str
        ``Furnace load 7``; ``Day 2. Third load of the day.``
    settings : tuple of str
        What the furnace is set to, framed.
    times : tuple of (str, str)
        Label and unit of the writing lines above the coupons.
    held : str
        What is held constant and has no blank of its own.
    heads : tuple of str
        Titles of the factor columns; the marked place in the furnace stands second.
    has_cold : bool
        Whether the sheet has columns for the time in the cold.
    cold_out : str
        Title of the second of them, with the planned time in the cold.
    rows : tuple of CouponRow
        In quench order.
    hint, reminder : str
        How to read the sheet; safety line.
    foot_left, foot_right : str
    coupon_word : str
        Word of the study for a coupon.
    """

    title: str
    line: str
    settings: tuple[str, ...]
    times: tuple[tuple[str, str], ...]
    held: str
    heads: tuple[str, ...]
    has_cold: bool
    cold_out: str
    rows: tuple[CouponRow, ...]
    hint: str
    reminder: str
    foot_left: str
    foot_right: str
    coupon_word: str = "coupon"


def load_sheets(matrix: CouponMatrix, foot: str) -> Iterator[LoadSheet]:
    """Sheets of all furnace loads in furnace order, several for a large load.

    Parameters
    ----------
    matrix : CouponMatrix
    foot : str
        Left foot of each page.
    """
    for load, rows in matrix.in_loads.groupby("furnace_load", sort=True):
        for part in even_parts(rows.sort_values("load_place"), LOAD_ROWS):
            yield _load_sheet(matrix, int(str(load)), part, foot)


def even_parts(rows: pd.DataFrame, most: int) -> list[pd.DataFrame]:
    """Rows in as few parts of even size as hold `most` rows each."""
    pages = -(-len(rows) // most)
    size = -(-len(rows) // pages) if pages else 1
    return [rows.iloc[at : at + size] for at in range(0, len(rows), size)]


def _load_sheet(matrix: CouponMatrix, load: int, rows: pd.DataFrame, foot: str) -> LoadSheet:
    study, frame = matrix.study, matrix.in_loads
    set_here = [factor for factor in study.factors if factor.set_for == "furnace_load"]
    inner = [factor for factor in study.factors if factor.set_for not in ("furnace_load", "bar")]
    first = rows.iloc[0]
    settings = tuple(factor.set_word(first[factor.column]) for factor in set_here)
    word = study.unit_word("furnace_load")
    has_cold = any(factor.set_for == "cold_batch" for factor in inner)
    loads = int(frame["furnace_load"].nunique())
    cold_time = beside_blank(study, "cold_time") if has_cold else ""
    heads = [_head(factor) for factor in inner]
    if _needs_batch_column(frame, inner):
        heads.append(study.unit_word("temper_batch"))
    if "furnace_place" in frame:
        heads.insert(1, "furnace place")
    return LoadSheet(
        title=f"{capital(word)} {load}",
        line=_load_line(frame, load, study),
        settings=settings,
        times=_times(study, set_here, settings),
        held=held_line(
            study,
            ("soak", *(("cold_time",) if has_cold else ())),
            temper=None if "temper_batch" not in frame else False,
        ),
        heads=tuple(heads),
        has_cold=has_cold,
        cold_out=f"cold, out after {cold_time}" if cold_time else "cold, out",
        rows=tuple(_coupon_row(row, inner, has_cold, study) for _, row in rows.iterrows()),
        hint=" ".join(filter(None, [_hint(inner, study, has_cold), _untreated(matrix, load)])),
        reminder=_reminder(rows, study, inner),
        foot_left=foot,
        foot_right=f"{word.split()[-1]} {load} of {loads}",
        coupon_word=study.unit_word("coupon"),
    )


def beside_blank(study: Study, key: str) -> str:
    """Planned time that stands beside its blank; empty if there is none or it is too long."""
    text = held_value(study.held_constant.get(key, ""))
    return text if len(text) <= _LONGEST_BESIDE else ""


def held_line(study: Study, beside: tuple[str, ...], *, temper: bool | None) -> str:
    """What is held constant and does not stand beside a blank.

    Parameters
    ----------
    study : Study
    beside : tuple of str
        Keys that have a blank on this sheet.
    temper : bool or None
        Whether the sheet is about the temper; None for all keys, where there is one kind of sheet.
    """
    held = {
        key: text
        for key, text in study.held_constant.items()
        if (temper is None or key.startswith("temper") == temper)
        and not (key in beside and beside_blank(study, key))
    }
    return f"Held constant: {held_words(held)}." if held else ""


def _load_line(frame: pd.DataFrame, load: int, study: Study) -> str:
    days = frame.groupby("furnace_load")["day"].first()
    last = study.unit_word("furnace_load").split()[-1]
    if days.nunique() == 1:
        return f"{_ordinal(load)} {last} of {len(days)}."
    day = int(days[load])
    place = sorted(days.index[days == day]).index(load) + 1
    return f"Day {day}. {_ordinal(place)} {last} of the day."


def _ordinal(number: int) -> str:
    return _ORDINALS[number - 1] if number <= len(_ORDINALS) else f"Number {number}:"


def _times(
    study: Study, set_here: list[Factor], settings: tuple[str, ...]
) -> tuple[tuple[str, str], ...]:
    """Writing lines: when it went in, reached the temperature and came out, and what was read."""
    soak = beside_blank(study, "soak")
    hot = next((i for i, f in enumerate(set_here) if f.dimension == "temperature"), None)
    times = [
        ("in", "h:min"),
        (f"at {settings[hot]}" if hot is not None else "at temperature", "h:min"),
        (f"out, soak {soak}" if soak else "out", "h:min"),
        ("furnace read", "°C"),
    ]
    if oil_quench(study):
        times.append(("oil, start", "°C"))
    return tuple(times)


def _head(factor: Factor) -> str:
    if factor.name == "cold_route":
        return "route"
    if factor.name == "delay":
        return "wait"
    has_unit = factor.dimension in ("temperature", "length")
    unit = f", {unit_text(factor.unit)}" if has_unit else ""
    return f"{factor.title}{unit}" if factor.set_for != "temper_batch" else factor.title


def _needs_batch_column(frame: pd.DataFrame, inner: list[Factor]) -> bool:
    """Whether temper batches have no factor under which their number could stand."""
    return "temper_batch" in frame and not any(f.set_for == "temper_batch" for f in inner)


def _coupon_row(row: pd.Series, inner: list[Factor], has_cold: bool, study: Study) -> CouponRow:
    entries: list[Entry] = []
    batch = f"batch {int(row['temper_batch'])}" if row.get("temper_batch", 0) else ""
    words = {extra.key: extra.words for extra in study.references}.get(row.get("reference", ""), "")
    for factor in inner:
        under = batch if factor.set_for == "temper_batch" else ""
        if words and row[factor.column] not in factor.levels:
            under, words = words, ""
        entries.append(_entry(factor, row[factor.column], under))
        batch = "" if under == batch else batch
    if batch:
        entries.append(Entry(batch.removeprefix("batch ")))
    if "furnace_place" in row:
        entries.insert(1, Entry(str(int(row["furnace_place"]))))
    return CouponRow(
        place=int(row["load_place"]),
        coupon=str(row["coupon"]),
        entries=tuple(entries),
        is_cold=has_cold and row.get("cold_route", "") != "none" and bool(row.get("cold_batch", 1)),
    )


def _entry(factor: Factor, level: Level, under: str) -> Entry:
    if isinstance(level, str):
        shape = ROUTE_SHAPES.get(route_key(level), "") if factor.name == "cold_route" else ""
        return Entry(factor.set_word(level) if level else "", "plain", shape, under)
    if level != level:
        return Entry("", under=under)
    if factor.dimension == "time":
        return Entry(minutes_text(level), "bold", under=under)
    if factor.dimension == "count":
        return Entry(factor.set_word(level), under=under)
    text = f"{level:g}"
    if factor.set_for == "temper_batch":
        hottest = max(float(own) for own in factor.levels)
        return Entry(text, "framed" if level == hottest else "unframed", under=under)
    return Entry(text, under=under)


def _hint(inner: list[Factor], study: Study, has_cold: bool) -> str:
    hints: list[str] = []
    for factor in inner:
        if factor.set_for == "temper_batch" and factor.dimension == "temperature" and not hints:
            which = "hotter one" if len(factor.levels) == 2 else "hottest one"
            hints.append(
                f"{capital(factor.title)} in {unit_text(factor.unit)}, framed when it is the "
                f"{which}; under it the {study.unit_word('temper_batch')}."
            )
    if has_cold:
        hints.append("In the cold on another day: write the day beside the time.")
    return " ".join(hints)


def _untreated(matrix: CouponMatrix, load: int) -> str:
    """References that go into no load, for the first sheet where there are no bar sheets."""
    frame = matrix.frame
    first = int(matrix.in_loads["furnace_load"].min())
    if load != first or "bar" in frame or "reference" not in frame:
        return ""
    own = frame[frame["furnace_load"] == 0]
    return f"{untreated_words(matrix.study, own)}." if len(own) else ""


def untreated_words(study: Study, rows: pd.DataFrame) -> str:
    """References that go into no furnace load: ``In no furnace load: K7TC (untreated)``."""
    words = {extra.key: extra.words for extra in study.references}
    parts = [
        f"{', '.join(own['coupon'].astype(str))} ({words.get(str(key), key)})"
        for key, own in rows.groupby("reference", sort=False)
    ]
    return f"In no {study.unit_word('furnace_load')}: {'; '.join(parts)}"


def _reminder(rows: pd.DataFrame, study: Study, inner: list[Factor]) -> str:
    """Safety line of a load: for its furnace, and for the cold it really uses."""
    used = {str(level) for f in inner if not f.is_numeric for level in rows[f.column]}
    coolants = {perhaps_meant(level) or route_key(level) for level in used}
    names = ["furnace", "gas", "oil", "water", "salt"]
    names += ["nitrogen"] if any("nitrogen" in level for level in coolants) else []
    names += ["dry_ice", "alcohol"] if "dry_ice" in coolants else []
    return " ".join(reminders(study, tuple(names)))
