"""Read study.toml: every mistake at once, with its line and what to write instead."""

from __future__ import annotations

import datetime
import re
import tomllib
import warnings
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final, cast

from quenchbook.errors import Problem, QuenchbookWarning, StudyError
from quenchbook.reading_files import MOST_BYTES_OF_A_STUDY, file_fault, is_reserved
from quenchbook.study.definition import Multiplicity, Study
from quenchbook.study.factors import UNIT_WORDS, Factor
from quenchbook.study.mistakes import NAME, Mistakes, shown
from quenchbook.study.prices import price_mistakes
from quenchbook.study.publishing import read_publishing
from quenchbook.study.reading_factors import near_routes, read_factors
from quenchbook.study.reading_hours import hours_mistakes
from quenchbook.study.reading_plan import read_layout, read_plan_wish
from quenchbook.study.reading_questions import read_questions
from quenchbook.study.reading_responses import read_responses
from quenchbook.study.reading_treatments import read_extra_coupons, read_forbidden
from quenchbook.study.room import read_room
from quenchbook.study.sizes import side_mistakes, size_mistakes
from quenchbook.study.stock import read_stock
from quenchbook.study.tester import told_tester_mistakes

FORMAT: Final = 1

_TABLES: Final = (
    "steel", "factors", "responses", "questions", "layout", "equipment", "costs", "held_constant",
    "tester", "plan", "forbidden", "extra_coupons", "room", "stock", "timetable",
    "publishing",
)  # fmt: skip
_TOP_KEYS: Final = (
    "format", "key", "title", "question", "author", "date", "licence", "invented", "published",
    "order_told", "confidence", "multiplicity", "notes", "unit_names", *_TABLES,
)  # fmt: skip
_LONGEST_KEY: Final = 80
_HELD_TIMES: Final = {"soak": "15 min", "cold_time": "12 h", "temper_time": "2 h"}


def read_study(path: str | Path) -> Study:
    """Read a study file.

    Parameters
    ----------
    path : str or Path
        A ``study.toml``, or the folder that holds one.

    Returns
    -------
    Study

    Raises
    ------
    StudyError
        With every mistake of the file: line, what was found, what to write.
    """
    path = Path(path)
    if path.is_dir():
        path = path / "study.toml"
    if not path.exists() and not path.is_symlink():
        raise StudyError(
            Problem(
                str(path),
                f"there is no such {'file' if path.suffix == '.toml' else 'folder'}",
                "Make one with: quenchbook new FOLDER",
            )
        )
    wrong, remedy = file_fault(path, path.parent, most=MOST_BYTES_OF_A_STUDY)
    if wrong:
        raise StudyError(Problem(str(path), wrong, remedy))
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise StudyError(
            Problem(str(path), "is not UTF-8 text", "Save it as UTF-8 in the editor.")
        ) from None
    return study_from_text(text, path)


def study_from_text(text: str, path: Path) -> Study:
    """Read the text of a study file that lies, or will lie, at this path.

    Parameters
    ----------
    text : str
        All of the file.
    path : Path
        Its place; nothing is read there.

    Raises
    ------
    StudyError
        As `read_study`.
    """
    try:
        content = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # also a number of thousands of digits
        raise StudyError(
            Problem(
                path.name,
                str(error) or "is nested too deeply",
                "Texts stand in straight quotes, numbers have a decimal point, a key stands once; "
                "compare with the comments of a new study file.",
            )
        ) from None
    study = _study(path, content, Mistakes(path.name, text))
    for words in [] if study.published else near_routes(study.factors):
        warnings.warn(f"{path.name}: {words}", QuenchbookWarning, stacklevel=3)
    return study


def _check_whole_numbers(table: Mapping[str, Any], where: str, mistakes: Mistakes) -> None:
    """Refuse whole numbers beyond 64 bits, as TOML 1.0 asks of a reader that cannot keep them."""
    for key, value in table.items():
        inside = f"{where}.{key}" if where else key
        entries = value if isinstance(value, list) else [value]
        for number, entry in enumerate(entries, start=1):
            if isinstance(entry, Mapping):
                place = f"{inside}.{number}" if isinstance(value, list) else inside
                _check_whole_numbers(entry, place, mistakes)
            elif isinstance(entry, list):
                _check_whole_numbers({key: entry}, where, mistakes)
            elif isinstance(entry, int) and not -(2**63) <= entry < 2**63:
                mistakes.wrong(
                    where, key, f"{key} has a whole number too large to be kept",
                    "Write a smaller number.",
                )  # fmt: skip


def _study(path: Path, content: Mapping[str, Any], mistakes: Mistakes) -> Study:
    _check_whole_numbers(content, "", mistakes)
    if mistakes.problems:  # such a number can be put into no calculation
        raise StudyError(mistakes.problems)
    mistakes.known_keys(content, _TOP_KEYS, "")
    if content.get("format") != FORMAT:
        mistakes.wrong(
            "", "format", f"format is {content.get('format')!r}", f"Write format = {FORMAT}."
        )
    factors = read_factors(content, mistakes)
    responses = read_responses(content, factors, mistakes)
    for key, found, remedy in price_mistakes(mistakes.table(content, "costs")):
        mistakes.wrong("costs", key, found, remedy)
    for key, found, remedy in told_tester_mistakes(mistakes.table(content, "tester")):
        mistakes.wrong("tester", key, found, remedy)
    for where, key, found, remedy in hours_mistakes(mistakes.table(content, "timetable")):
        mistakes.wrong(where, key, found, remedy)
    forbidden = read_forbidden(content, factors, mistakes)
    extra = read_extra_coupons(content, factors, forbidden, mistakes)
    named = dict(zip(map(str, mistakes.table(content, "responses")), responses, strict=False))
    questions, trade_questions = read_questions(content, factors, responses, mistakes)
    question_keys = tuple(
        told if isinstance(told := entry.get("key"), str) else f"question_{number}"
        for number, (_, entry) in enumerate(mistakes.tables(content, "questions"), start=1)
    )
    study = Study(
        key=_text(content, "key", mistakes, default=re.sub(r"\W+", "_", path.parent.name.lower())),
        title=_text(content, "title", mistakes),
        question=_text(content, "question", mistakes),
        author=_text(content, "author", mistakes, default="author not named"),
        date=_date(content, mistakes),
        licence=_text(content, "licence", mistakes, default="CC-BY-4.0"),
        factors=factors,
        responses=responses,
        questions=questions,
        trade_questions=trade_questions,
        question_keys=question_keys,
        layout=read_layout(content, factors, extra, mistakes),
        plan=read_plan_wish(content, named, mistakes),
        forbidden=forbidden,
        extra_coupons=extra,
        invented=mistakes.yes_or_no(content, "invented", ""),
        published=mistakes.yes_or_no(content, "published", ""),
        order_told=_order_told(content, mistakes),
        steel=mistakes.table(content, "steel"),
        equipment=mistakes.table(content, "equipment"),
        costs=mistakes.table(content, "costs"),
        tester=mistakes.table(content, "tester"),
        stock=read_stock(content, named, mistakes),
        timetable=mistakes.table(content, "timetable"),
        held_constant=_held_constant(content, factors, mistakes),
        notes=_notes(content, mistakes),
        confidence=_confidence(content, mistakes),
        multiplicity=cast(Multiplicity, _multiplicity(content, mistakes)),
        room=read_room(content, mistakes),
        publishing=read_publishing(content, question_keys, mistakes),
        unit_names=_unit_names(content, mistakes),
        folder=path.parent,
    )
    for key, found, remedy in side_mistakes(study.steel):
        mistakes.wrong("steel", key, found, remedy)
    for key, found, remedy in size_mistakes(study.steel, study.stock):
        mistakes.wrong("stock", key, found, remedy)
    if not NAME.fullmatch(study.key):
        mistakes.wrong("", "key", f"'{study.key}' is not a short name", "Use a-z, 0-9 and _ only.")
    elif len(study.key) > _LONGEST_KEY or is_reserved(study.key):  # files are named after it
        mistakes.wrong(
            "", "key", f"'{study.key:.80}' cannot be in the name of a file",
            f"Use at most {_LONGEST_KEY} characters, and no name of a device such as con.",
        )  # fmt: skip
    if mistakes.problems:
        raise StudyError(mistakes.problems)
    return study


def _date(content: Mapping[str, Any], mistakes: Mistakes) -> str:
    """Date as ISO 8601; texts are kept as they are written."""
    date = content.get("date", "")
    if isinstance(date, datetime.date):
        return date.isoformat()
    if not isinstance(date, str):
        mistakes.wrong("", "date", f"date is {shown(date)}", "Write date = 2026-01-15.")
        return ""
    return date


def _notes(content: Mapping[str, Any], mistakes: Mistakes) -> tuple[str, ...]:
    """Sentences for the report."""
    notes = content.get("notes", [])
    if not isinstance(notes, list) or not all(isinstance(note, str) for note in notes):
        mistakes.wrong("", "notes", "notes is no list of texts", 'Write notes = ["A sentence."].')
        return ()
    return tuple(notes)


def _unit_names(content: Mapping[str, Any], mistakes: Mistakes) -> dict[str, str]:
    """Words of this study for units."""
    table, names = mistakes.table(content, "unit_names"), {}
    mistakes.known_keys(table, UNIT_WORDS, "unit_names")
    for unit, word in table.items():
        if not isinstance(word, str) or not word.strip():
            mistakes.wrong(
                "unit_names", unit, f"the word for {unit} is {shown(word)}",
                f'Write {unit} = "piece".',
            )  # fmt: skip
            continue
        names[unit] = word
    return names


def _held_constant(
    content: Mapping[str, Any], factors: tuple[Factor, ...], mistakes: Mistakes
) -> dict[str, str]:
    """What is the same for all coupons, in words."""
    table, where = mistakes.table(content, "held_constant"), "held_constant"
    varied = {name for factor in factors for name in (factor.name, factor.column)}
    held: dict[str, str] = {}
    for key, raw in table.items():
        example = _HELD_TIMES.get(key, "2")
        if not NAME.fullmatch(key):
            mistakes.wrong(where, key, f"'{key}' is not a short name", "Use a-z, 0-9 and _ only.")
        elif key in varied:
            mistakes.wrong(
                where,
                key,
                f"'{key}' is a factor, so it is not held constant",
                "Delete it here, or delete the factor.",
            )
        elif isinstance(raw, bool) or not isinstance(raw, str | int | float):
            mistakes.wrong(where, key, f"{key} is {raw!r}", f'Write {key} = "{example}".')
        elif not str(raw).strip():
            mistakes.wrong(where, key, f"{key} is empty", f'Write {key} = "{example}".')
        elif key in _HELD_TIMES and re.fullmatch(r"[\d.,\s]*", str(raw)):
            mistakes.wrong(
                where, key, f"{key} is {raw!r}, without a unit", f'Write {key} = "{example}".'
            )
        else:
            held[key] = " ".join(str(raw).split())
    return held


def _text(
    content: Mapping[str, Any], key: str, mistakes: Mistakes, *, default: str | None = None
) -> str:
    value = content.get(key, default)
    if not isinstance(value, str) or not value.strip():
        told = isinstance(value, str) or key not in content
        found = f"{key} is {'missing' if told else shown(value)}"
        mistakes.wrong("", key, found, f'Write {key} = "..." in words.')
        return ""
    return value.strip()


def _order_told(content: Mapping[str, Any], mistakes: Mistakes) -> bool:
    """Whether the order of the work is told; only published data may leave it open."""
    told = mistakes.yes_or_no(content, "order_told", "", default=True)
    if not told and not content.get("published", False):
        mistakes.wrong(
            "",
            "order_told",
            "only published data may have an order that is not told",
            "Delete order_told: the plan makes the order.",
        )
    return told


def _confidence(content: Mapping[str, Any], mistakes: Mistakes) -> float:
    value = content.get("confidence", 0.95)
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0.5 <= value < 1:
        mistakes.wrong("", "confidence", f"confidence is {value!r}", "Write a number such as 0.95.")
        return 0.95
    return float(value)


def _multiplicity(content: Mapping[str, Any], mistakes: Mistakes) -> str:
    value = content.get("multiplicity", "each")
    return mistakes.choice("", "multiplicity", value, ("each", "together"))
