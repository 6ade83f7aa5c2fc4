"""HTML of the bench booklet: one page without script or request, for phone and printer."""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Mapping, Sequence
from importlib import resources
from typing import TypeVar

from quenchbook.bench.at_hand import NOT_A_RISK_ASSESSMENT
from quenchbook.bench.breach_groups import breach_sentences
from quenchbook.bench.cover import INVENTED_WORDS
from quenchbook.bench.safety import COMMON
from quenchbook.bench.timetable_list import ListDay
from quenchbook.report.bench_pages import UNSOURCED
from quenchbook.report.booklet import (
    ASSUMED,
    KIND,
    NOT_MET,
    Booklet,
    Part,
    Picture,
    assumed_lines,
    day_minutes,
    fits_one_page,
    timetable_words,
)
from quenchbook.report.booklet_tables import (
    TICK,
    Cell,
    bar_html,
    head_html,
    label_html,
    line,
    load_html,
    table,
    temper_html,
    test_html,
)
from quenchbook.report.html import POLICY, escape
from quenchbook.report.page_fonts import font_faces
from quenchbook.report.svg import inline_svg
from quenchbook.units import capital

Sheet = TypeVar("Sheet")


def booklet_html(booklet: Booklet) -> str:
    """HTML of a booklet, as one file with everything in it."""
    parts = _part_sheets(booklet)
    body = _cover(booklet) + "".join(_part(part, parts[part.key]) for part in booklet.parts)
    codes = "".join(row.coupon for sheet in booklet.sheets.loads for row in sheet.rows)
    style = resources.files("quenchbook.report").joinpath("booklet.css").read_text(encoding="utf-8")
    faces = font_faces(html.unescape(body), codes=codes + booklet.cover.plan)
    foot = f"{booklet.sheets.foot} ({booklet.cover.plan_hash})"
    return "\n".join(
        (
            "<!DOCTYPE html>",
            '<html lang="en">',
            "<head>",
            '<meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            '<meta name="referrer" content="no-referrer">',
            f"<title>{escape(booklet.title)}</title>",
            f"<style>\n{faces}\n{style}\n:root {{ --foot: {_css_string(booklet.sheets.foot)}; }}\n"
            "</style>",
            "</head>",
            "<body>",
            f'<main id="top">\n{body}\n</main>',
            f'<footer class="foot">{escape(foot)}</footer>',
            "</body>",
            "</html>",
            "",
        )
    )


def _css_string(words: str) -> str:
    """Words as a string of a style sheet, without any letter that could end it."""
    return '"' + re.sub(r"[^\w ,.:-]", "", words) + '"'


def _part_sheets(booklet: Booklet) -> Mapping[str, list[tuple[str, str]]]:
    """Anchor and HTML of each sheet, by part."""
    sheets = booklet.sheets
    needs = [] if sheets.needs is None else [("needs", _needs(booklet))]
    return {
        "cautions": [("cautions", _cautions(booklet))],
        "needs": needs,
        "timetable": [("timetable", _timetable(booklet)), *_days(booklet)],
        "bars": [*_cuts(booklet), *_numbered("bar", sheets.bars, bar_html)],
        "labels": _numbered("label", sheets.labels, label_html),
        "loads": _numbered("load", sheets.loads, load_html),
        "tempers": _numbered("temper", sheets.tempers, temper_html),
        "tests": _numbered("test", sheets.tests, test_html),
    }


def _numbered(
    key: str, sheets: Sequence[Sheet], page: Callable[[Sheet], str]
) -> list[tuple[str, str]]:
    return [(f"{key}-{number}", page(sheet)) for number, sheet in enumerate(sheets, start=1)]


def _part(part: Part, sheets: Sequence[tuple[str, str]]) -> str:
    """A part: its title in small print above its first sheet."""
    found = []
    for number, (anchor, page) in enumerate(sheets):
        title = "" if number else f'<h2 id="part-{part.key}">{escape(part.title)}</h2>'
        found.append(f'<section class="page" id="sheet-{escape(anchor)}">{title}{page}</section>')
    return "\n".join(found)


def _cover(booklet: Booklet) -> str:
    cover = booklet.cover
    about = "".join(f"<dt>{escape(n)}</dt><dd>{escape(words)}</dd>" for n, words in cover.about)
    counts = "".join(f"<li><b>{number}</b> {escape(word)}</li>" for number, word in cover.counts)
    contents = "".join(
        f'<li><a href="#part-{part.key}">{escape(part.title)}</a> <span>{escape(part.note)}</span>'
        "</li>"
        for part in booklet.parts
    )
    invented = f"<p>{INVENTED_WORDS}</p>" if cover.invented else ""
    fields = "".join(line("", name) for name in cover.fields)
    return (
        '<section class="page cover" id="sheet-cover">'
        f'<p class="kind"><b>{KIND}</b> <span>{escape(cover.study_title)}</span></p>'
        f"<h1>{escape(cover.question)}</h1>{invented}<dl>{about}</dl>"
        f'<div class="counts"><ul>{counts}</ul>'
        f'<p class="plan">plan <span class="code">{escape(cover.plan)}</span></p></div>'
        f'<nav aria-label="Contents"><ol class="contents">{contents}</ol></nav>'
        f'<div class="lines wide">{fields}</div></section>\n'
    )


def _cautions(booklet: Booklet) -> str:
    *own, last = booklet.sheets.cautions
    blocks = []
    for caution in own:
        sentences = "".join(f"<li>{escape(sentence)}</li>" for sentence in caution.sentences)
        source = "" if caution.source == COMMON else caution.source
        blocks.append(
            f'<div class="caution"><h4>{escape(caution.hazard)}</h4><ul>{sentences}</ul>'
            + (f"<p>{escape(source)}</p>" if source else "")
            + "</div>"
        )
    return (
        head_html("Before you begin", booklet.sheets.study_title, (), dated=False)
        + "".join(blocks)
        + f'<p class="held">{escape(UNSOURCED)}</p>'
        + f'<p class="framed-words"><b>{escape(" ".join(last.sentences))}</b></p>'
    )


def _needs(booklet: Booklet) -> str:
    needs = booklet.sheets.needs
    assert needs is not None  # the part has no sheet without it
    rows = [
        [
            Cell(escape(capital(own.item)), "code words"),
            Cell(f"<b>{escape(own.amount_words())}</b>", "entry large"),
            Cell(escape(own.note), "note"),
            Cell(TICK, "ticks", "there"),
        ]
        for own in needs.lines
    ]
    found = head_html("Have at hand", "", (), dated=False)
    found += table("needs", ("item", "amount", "counted with", "there"), rows)
    if needs.air:
        air = [
            [
                Cell(escape(capital(own.what)), "code words"),
                Cell(f"<b>{escape(own.value_words())}</b>", "entry large"),
                Cell(escape(own.note), "note"),
            ]
            for own in needs.air
        ]
        found += table("needs", ("air of the room", "figure", "against"), air)
        found += f'<p class="framed-words"><b>{escape(NOT_A_RISK_ASSESSMENT)}</b></p>'
    return found + "".join(f"<p>{escape(own)}</p>" for own in needs.asked)


def _timetable(booklet: Booklet) -> str:
    timetable = booklet.timetable
    found = head_html("Timetable", "", (), dated=False)
    found += "".join(f"<p>{escape(own)}</p>" for own in timetable_words(timetable))
    if timetable.breaches:
        told = breach_sentences(timetable.breaches)
        lines = "".join(f"<li>{escape(own)}</li>" for own in told)
        found += f'<div class="framed-words"><p><b>{NOT_MET}</b></p><ul>{lines}</ul></div>'
    if timetable.hours.assumed:
        lines = "".join(f"<li>{escape(own)}</li>" for own in assumed_lines(timetable))
        found += f'<h4>{escape(ASSUMED)}</h4><ul class="assumed">{lines}</ul>'
    return found


def _days(booklet: Booklet) -> list[tuple[str, str]]:
    """Picture and list of each day."""
    found = []
    for day, picture in booklet.days:
        if fits_one_page(day, picture):
            head = head_html(day.title, day_minutes(day), (), dated=False)
            drawn = f'<div class="short">{_picture(picture)}</div>'
            found.append((f"day-{day.day}", head + drawn + _day_table(day)))
            continue
        head = head_html(day.title, "", (), dated=False)
        found.append((f"day-{day.day}", head + _picture(picture)))
        head = head_html(f"{day.title}: what to do", day_minutes(day), (), dated=False)
        found.append((f"day-{day.day}-list", head + _day_table(day)))
    return found


def _day_table(day: ListDay) -> str:
    rows = [
        [
            Cell(f"<b>{escape(own.start)}</b>", "time"),
            Cell(escape(own.words), "do"),
            Cell(escape(own.coupons), "codes"),
            Cell(TICK, "ticks"),
        ]
        for own in day.lines
    ]
    return table("day", ("from", "do", "coupons", "done"), rows)


def _cuts(booklet: Booklet) -> list[tuple[str, str]]:
    """Summary of the cut list with its drawings."""
    if booklet.cuts is None:
        return []
    words = "".join(f"<p>{escape(own)}</p>" for own in booklet.cuts.summary().split("\n"))
    found = head_html("Cut list", "", (), dated=False) + words
    sheets = []
    for number, picture in enumerate(booklet.bars, start=1):
        sheets.append((f"cuts-{number}", found + _picture(picture)))
        found = head_html("Cut list, more bars", "", (), dated=False)
    return sheets


def _picture(picture: Picture) -> str:
    drawn = inline_svg(
        picture.svg, prefix=picture.key, title=picture.alt, where=f"picture '{picture.key}'"
    )
    return f"<figure>{drawn}<figcaption>{escape(picture.reading)}</figcaption></figure>"
