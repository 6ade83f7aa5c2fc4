"""What stands on the bench sheets, as plain texts: a page a furnace load, then blinded tests."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import pandas as pd

from quenchbook.bench.safety import Caution, cautions, reminders
from quenchbook.plan.randomization import CouponMatrix
from quenchbook.study.definition import Response, Study
from quenchbook.study.factors import Factor, Level
from quenchbook.units import minutes_text, unit_text

LOAD_ROWS: Final = 8  # rows of 16.6 mm that fit on A4 with everything around them
TEST_ROWS: Final = 20
MOST_FIELDS: Final = 8  # writing fields of a test row that a hand can still use

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


@dataclass(frozen=True)
class Entry:
    """One cell of a coupon's row: a text, how it is set, and the shape before it.

    Attributes
    ----------
    text : str
        Words or number; empty when the factor does not exist for the coupon.
    emphasis : str
        ``plain``, ``bold`` (a wait), ``framed`` (the hotter temper) or ``unframed`` (the others).
    shape : str
        ``circle``, ``square``, ``triangle``, ``diamond`` or empty.
    """

    text: str
    emphasis: str = "plain"
    shape: str = ""


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
    heads : tuple of str
        Titles of the factor columns.
    has_cold : bool
        Whether the sheet has columns for the time in the cold.
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
    heads: tuple[str, ...]
    has_cold: bool
    rows: tuple[CouponRow, ...]
    hint: str
    reminder: str
    foot_left: str
    foot_right: str
    coupon_word: str = "coupon"


@dataclass(frozen=True)
class TestSheet:
    """One page of a tester: codes in test order, nothing of the treatment.

    `checks` are writing lines above the rows; `fields` is the number of writing fields of a row.
    """

    __test__ = False  # pytest: not a test

    title: str
    line: str
    checks: tuple[str, ...]
    fields: int
    rows: tuple[tuple[int, str], ...]
    reminder: str
    foot_left: str
    foot_right: str
    coupon_word: str = "coupon"


@dataclass(frozen=True)
class BenchSheets:
    """All pages: cautions first, then loads in furnace order, then testers."""

    title: str
    study_title: str
    cautions: tuple[Caution, ...]
    cautions_foot: tuple[str, str]
    loads: tuple[LoadSheet, ...]
    tests: tuple[TestSheet, ...]


def bench_sheets(matrix: CouponMatrix) -> BenchSheets:
    """Texts of every bench sheet of a plan.

    Parameters
    ----------
    matrix : CouponMatrix

    Returns
    -------
    BenchSheets
    """
    study = matrix.study
    parts = _load_parts(matrix.frame)
    tests = [(r, part) for r in study.responses for part in _test_parts(matrix.frame, r)]
    pages = 1 + len(parts) + len(tests)
    foot = f"Study {study.key}, plan {matrix.short_hash}"
    loads = tuple(
        _load_sheet(matrix, load, part, foot, f"page {page} of {pages}")
        for page, (load, part) in enumerate(parts, start=2)
    )
    testers = tuple(
        _test_sheet(matrix, response, part, foot, f"page {page} of {pages}")
        for page, (response, part) in enumerate(tests, start=2 + len(parts))
    )
    return BenchSheets(
        title=f"Bench sheets of {study.key}, plan {matrix.short_hash}",
        study_title=study.title,
        cautions=cautions(study),
        cautions_foot=(foot, f"page 1 of {pages}"),
        loads=loads,
        tests=testers,
    )


# --- furnace loads --------------------------------------------------------------------------------


def _load_parts(frame: pd.DataFrame) -> list[tuple[int, pd.DataFrame]]:
    """Loads in furnace order, a large load in several parts of even size."""
    parts = []
    for load, rows in frame.groupby("furnace_load", sort=True):
        rows = rows.sort_values("load_place")
        pages = -(-len(rows) // LOAD_ROWS)
        size = -(-len(rows) // pages)
        parts += [(int(str(load)), rows.iloc[at : at + size]) for at in range(0, len(rows), size)]
    return parts


def _load_sheet(
    matrix: CouponMatrix, load: int, rows: pd.DataFrame, foot: str, page: str
) -> LoadSheet:
    study, frame = matrix.study, matrix.frame
    set_here = [factor for factor in study.factors if factor.set_for == "furnace_load"]
    inner = [factor for factor in study.factors if factor.set_for != "furnace_load"]
    first = rows.iloc[0]
    settings = tuple(factor.word(first[factor.column]) for factor in set_here)
    word = study.unit_word("furnace_load")
    has_cold = any(factor.set_for == "cold_batch" for factor in inner)
    loads = int(frame["furnace_load"].nunique())
    return LoadSheet(
        title=f"{word[:1].upper()}{word[1:]} {load}",
        line=_load_line(frame, load, study),
        settings=settings,
        times=_times(study, set_here, settings),
        heads=tuple(_head(factor) for factor in inner),
        has_cold=has_cold,
        rows=tuple(_coupon_row(row, inner, has_cold) for _, row in rows.iterrows()),
        hint=_hint(inner),
        reminder=_reminder(rows, study, inner),
        foot_left=foot,
        foot_right=f"{word.split()[-1]} {load} of {loads}, {page}",
        coupon_word=study.unit_word("coupon"),
    )


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
    soak = str(study.equipment.get("soak", "")).strip()
    hot = next((i for i, f in enumerate(set_here) if f.dimension == "temperature"), None)
    times = [
        ("in", "h:min"),
        (f"at {settings[hot]}" if hot is not None else "at temperature", "h:min"),
        (f"out, soak {soak}" if soak else "out", "h:min"),
        ("furnace read", "°C"),
    ]
    if "oil" in str(study.equipment.get("quench", "")).lower():
        times.append(("oil, start", "°C"))
    return tuple(times)


def _head(factor: Factor) -> str:
    if factor.name == "cold_route":
        return "route"
    if factor.name == "delay":
        return "wait"
    unit = f", {unit_text(factor.unit)}" if factor.unit and factor.dimension != "time" else ""
    return f"{factor.title}{unit}" if factor.set_for != "temper_batch" else factor.title


def _coupon_row(row: pd.Series, inner: list[Factor], has_cold: bool) -> CouponRow:
    return CouponRow(
        place=int(row["load_place"]),
        coupon=str(row["coupon"]),
        entries=tuple(_entry(factor, row[factor.column]) for factor in inner),
        is_cold=has_cold and row.get("cold_route", "") != "none",
    )


def _entry(factor: Factor, level: Level) -> Entry:
    if isinstance(level, str):
        shape = ROUTE_SHAPES.get(level, "") if factor.name == "cold_route" else ""
        return Entry(factor.word(level) if level else "", "plain", shape)
    if level != level:
        return Entry("")
    if factor.dimension == "time":
        return Entry(minutes_text(level), "bold")
    text = f"{level:g}"
    if factor.set_for == "temper_batch":
        return Entry(text, "framed" if _is_hotter_temper(factor, level) else "unframed")
    return Entry(text)


def _is_hotter_temper(factor: Factor, level: Level) -> bool:
    hottest = max(float(own) for own in factor.levels)
    return factor.set_for == "temper_batch" and factor.is_numeric and level == hottest


def _hint(inner: list[Factor]) -> str:
    for factor in inner:
        if factor.set_for == "temper_batch" and factor.is_numeric:
            which = "hotter one" if len(factor.levels) == 2 else "hottest one"
            title = factor.title[:1].upper() + factor.title[1:]
            return f"{title} in {unit_text(factor.unit)}, framed when it is the {which}."
    return ""


def _reminder(rows: pd.DataFrame, study: Study, inner: list[Factor]) -> str:
    """Safety line of a load: for its furnace, and for the cold it really uses."""
    used = {str(level) for f in inner if not f.is_numeric for level in rows[f.column]}
    names = ["furnace", "oil"]
    names += ["nitrogen"] if any("nitrogen" in level for level in used) else []
    names += ["dry_ice", "alcohol"] if "dry_ice" in used else []
    return " ".join(reminders(study, tuple(names)))


# --- testers --------------------------------------------------------------------------------------


def _test_parts(frame: pd.DataFrame, response: Response) -> list[pd.DataFrame]:
    order = f"{response.name}_order"
    rows = frame[frame[order].notna()].sort_values(order)
    return [rows.iloc[at : at + TEST_ROWS] for at in range(0, len(rows), TEST_ROWS)]


def _test_sheet(
    matrix: CouponMatrix, response: Response, rows: pd.DataFrame, foot: str, page: str
) -> TestSheet:
    study = matrix.study
    order = rows[f"{response.name}_order"].astype(int)
    word = study.unit_word("coupon", 2)
    if matrix.origin == "published":
        line = f"Order of the {word} as published: the tester is not blinded."
    else:
        line = "Test in this order. The codes say nothing of the treatment; keep it so."
    if response.readings > MOST_FIELDS:
        line += f" {response.readings} readings: use the entry form for the rest."
    names = {"hardness": ("grinding",), "impact": ("impact",)}.get(response.kind, ())
    blocks = ("block before", "block after") if response.kind == "hardness" else ()
    return TestSheet(
        title=response.axis_title,
        line=line,
        checks=("tester", "date", *blocks),
        fields=min(response.readings, MOST_FIELDS),
        rows=tuple(zip(order.tolist(), rows["coupon"].astype(str), strict=True)),
        reminder=" ".join(reminders(study, names)),
        foot_left=foot,
        foot_right=f"{response.quantity}, {page}",
        coupon_word=study.unit_word("coupon"),
    )
