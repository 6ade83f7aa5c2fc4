"""Typst source of the bench booklet: cover with contents, timetable, cut list, and all sheets."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from quenchbook.bench.breach_groups import breach_sentences
from quenchbook.bench.cover import INVENTED_WORDS, Cover
from quenchbook.bench.timetable import Timetable
from quenchbook.bench.timetable_list import ListDay
from quenchbook.report.bench_pages import (
    foot_line,
    part_pages,
    sequence,
    sheet_pages,
    typst_source,
)
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
from quenchbook.report.characters import breakable, shortened
from quenchbook.report.svg import svg_file, svg_ratio
from quenchbook.report.typst_source import literal

_QUESTION_SIZES: Final = ((90, "30pt"), (160, "25pt"), (260, "18pt"), (420, "14pt"))
_LONGEST_QUESTION: Final = 420
_ABOUT_LETTERS: Final = 340


def booklet_source(booklet: Booklet) -> str:
    """Typst source of the whole booklet; its pictures are those of `booklet_files`."""
    pages: dict[str, Sequence[str]] = dict(sheet_pages(booklet.sheets))
    pages["timetable"] = list(_timetable_pages(booklet))
    pages["bars"] = [*_cut_pages(booklet), *pages["bars"]]
    titles = {part.key: part.title for part in booklet.parts}
    return typst_source(
        [_cover_page(booklet.cover, booklet.parts, booklet.sheets.foot), *part_pages(titles, pages)]
    )


def booklet_files(booklet: Booklet) -> Mapping[str, bytes]:
    """Pictures of the booklet by their file names."""
    pictures = [*(picture for _, picture in booklet.days), *booklet.bars]
    return {_file(own): svg_file(own.svg, where=own.key) for own in pictures}


def _cover_page(cover: Cover, parts: Sequence[Part], foot: str) -> str:
    question = shortened(cover.question, _LONGEST_QUESTION)
    size = next(size for most, size in _QUESTION_SIZES if len(question) <= most)
    about = sequence(
        f"({literal(name)}, {_text(words, _ABOUT_LETTERS)})" for name, words in cover.about
    )
    counts = sequence(f"({literal(n)}, {_text(word, 22)})" for n, word in cover.counts)
    rows = sequence(
        f"({literal(part.key)}, {_text(part.title, 40)}, {literal(part.note)})" for part in parts
    )
    invented = INVENTED_WORDS if cover.invented else ""
    return (
        f"{foot_line(foot, '')}\n"
        f"#cover({literal(KIND)}, {_text(cover.study_title, 70)}, {_text(question, 420)}, {size}, "
        f"{literal(invented)}, {about}, {counts}, {literal(cover.plan)}, contents-table({rows}), "
        f"{sequence(map(literal, cover.fields))})"
    )


def _timetable_pages(booklet: Booklet) -> list[str]:
    foot = foot_line(booklet.sheets.foot, "timetable")
    pages = [f"{_first_page(booklet.timetable)}\n{foot}"]
    for day, picture in booklet.days:
        foot = foot_line(booklet.sheets.foot, day.title)
        if fits_one_page(day, picture):
            head = f"#plain-head({literal(day.title)}, under: {literal(day_minutes(day))})"
            pages.append(f"{head}\n{_picture(picture)}\n{_day_table(day)}\n{foot}")
            continue
        pages.append(f"#plain-head({literal(day.title)})\n{_picture(picture)}\n{foot}")
        pages.append(f"{_list_page(day)}\n{foot}")
    return pages


def _first_page(timetable: Timetable) -> str:
    lines = [
        f"#plain-head({literal('Timetable')})",
        f"#statements({sequence(map(literal, timetable_words(timetable)))})",
    ]
    if timetable.breaches:
        breaches = sequence(map(literal, breach_sentences(timetable.breaches)))
        lines.append(f"#framed({literal(NOT_MET)}, {breaches})")
    if timetable.hours.assumed:
        assumed = sequence(map(literal, assumed_lines(timetable)))
        lines.append(f"#assumed({literal(ASSUMED)}, {assumed})")
    return "\n".join(lines)


def _list_page(day: ListDay) -> str:
    title = f"{day.title}: what to do"
    return (
        f"#plain-head({literal(title)}, under: {literal(day_minutes(day))})\n"
        f"#v(3mm)\n{_day_table(day)}"
    )


def _day_table(day: ListDay) -> str:
    rows = sequence(
        f"\n  ({literal(own.start)}, {literal(own.words)}, {literal(own.coupons)})"
        for own in day.lines
    )
    return f"#day-table({rows})"


def _cut_pages(booklet: Booklet) -> list[str]:
    """Summary of the cut list above its first drawing, then the other drawings."""
    if booklet.cuts is None:
        return []
    foot = foot_line(booklet.sheets.foot, "cut list")
    words = sequence(map(literal, booklet.cuts.summary().split("\n")))
    head = f"#plain-head({literal('Cut list')})\n#statements({words}, size: 11pt)"
    pages = []
    for picture in booklet.bars:
        pages.append(f"{head}\n{_picture(picture)}\n{foot}")
        head = f"#plain-head({literal('Cut list, more bars')})"
    return pages


def _picture(picture: Picture) -> str:
    ratio = svg_ratio(picture.svg, where=picture.key)
    return (
        f"#big-picture({literal(_file(picture))}, {ratio:.4f}, {literal(picture.reading)}, "
        f"{literal(picture.alt)})"
    )


def _file(picture: Picture) -> str:
    return f"{picture.key}.svg"


def _text(words: str, most: int) -> str:
    """Words as a literal, on one line, that may break within a very long word."""
    return f"text({literal(breakable(shortened(words, most), 18))})"
