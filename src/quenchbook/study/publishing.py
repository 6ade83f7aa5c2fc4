"""How a study is published: units in print, what readers ask, photographs, supporters."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Any, Final, cast

from quenchbook.both_units import PrintedUnits
from quenchbook.reading_files import path_fault
from quenchbook.study.mistakes import Mistakes, nearest, shown

_KEYS: Final = ("units", "support", "photos", "reader_questions")
_PICTURES: Final = (".jpg", ".jpeg", ".png")
YES_IF: Final = ("different", "higher", "lower", "alike")
"""What yes can mean in a question of readers, of the first level against the second."""

_SHORTEST_ALT: Final = 20  # characters that can say what a photograph shows


@dataclass(frozen=True)
class Photo:
    """A photograph from the bench.

    Attributes
    ----------
    file : str
        Path below the study folder, with ``/``.
    caption, alt : str
        What it shows, for readers and for those who do not see it.
    """

    file: str
    caption: str
    alt: str


@dataclass(frozen=True)
class ReaderQuestion:
    """A question that readers ask, answered from a result of the study or from none.

    Attributes
    ----------
    words : str
        As readers ask it.
    answer_from : str
        Key of the question of the study that answers it; empty: not tested here.
    yes_if : str
        For what it is answered by yes, one of `YES_IF`: nobody but the author knows which way the
        words ask. Empty: the answer starts with neither yes nor no.
    """

    words: str
    answer_from: str = ""
    yes_if: str = ""


@dataclass(frozen=True)
class Publishing:
    """What a report takes from the study file beside the study itself; no part of the plan.

    Attributes
    ----------
    units : str
        ``metric``, or ``both``: °C with °F, J with ft lbf.
    support : str
        What the support of readers paid for, in words; only in the edition for supporters.
    photos : tuple of Photo
        Only in the edition for supporters.
    reader_questions : tuple of ReaderQuestion
    """

    units: PrintedUnits = "metric"
    support: str = ""
    photos: tuple[Photo, ...] = ()
    reader_questions: tuple[ReaderQuestion, ...] = ()


def read_publishing(
    content: Mapping[str, Any], question_keys: tuple[str, ...], mistakes: Mistakes
) -> Publishing:
    """Table ``[publishing]`` of a study file.

    Parameters
    ----------
    content : mapping
        The study file.
    question_keys : tuple of str
        Keys of the questions of the study, which answer those of readers.
    mistakes : Mistakes
        Gets everything that is wrong with the table.
    """
    table = mistakes.table(content, "publishing")
    mistakes.known_keys(table, _KEYS, "publishing")
    units = mistakes.choice("publishing", "units", table.get("units", "metric"), ("metric", "both"))
    support = table.get("support", "")
    if not isinstance(support, str):
        mistakes.wrong("publishing", "support", f"support is {shown(support)}", "Write a sentence.")
        support = ""
    return Publishing(
        units=cast(PrintedUnits, units),
        support=" ".join(support.split()),
        photos=tuple(
            _photo(own, f"publishing.photos.{number}", mistakes)
            for number, own in enumerate(
                _entries(table, "photos", mistakes, '{ file = "..." }'), start=1
            )
        ),
        reader_questions=tuple(
            _reader_question(own, question_keys, f"publishing.reader_questions.{number}", mistakes)
            for number, own in enumerate(
                _entries(table, "reader_questions", mistakes, '{ words = "..." }'), start=1
            )
        ),
    )


def _entries(
    table: Mapping[str, Any], key: str, mistakes: Mistakes, example: str
) -> list[Mapping[str, Any]]:
    """Entries of a list of tables inside ``[publishing]``."""
    found = table.get(key, [])
    if not isinstance(found, list) or not all(isinstance(own, Mapping) for own in found):
        mistakes.wrong(
            "publishing",
            key,
            f"{key} is not a list of tables",
            f"Write {key} = [{example}], or [[publishing.{key}]] above each entry.",
        )
        return []
    return found


def _photo(own: Mapping[str, Any], where: str, mistakes: Mistakes) -> Photo:
    texts = _texts(own, ("file", "caption", "alt"), where, mistakes)
    path = PurePosixPath(texts["file"])
    outside = bool(path_fault(str(path)))
    if texts["file"] and (outside or path.suffix.lower() not in _PICTURES):
        mistakes.wrong(
            where,
            "file",
            f"{shown(texts['file'])} is no JPEG or PNG file below the study folder",
            'Write a path such as file = "photos/load_3.jpg".',
        )
    if texts["alt"] and len(texts["alt"]) < _SHORTEST_ALT:
        mistakes.wrong(
            where,
            "alt",
            f"alt of '{texts['file']}' is '{texts['alt']}'",
            "Say in a sentence what the photograph shows to one who cannot see it.",
        )
    return Photo(**texts)


def _reader_question(
    own: Mapping[str, Any], question_keys: tuple[str, ...], where: str, mistakes: Mistakes
) -> ReaderQuestion:
    mistakes.known_keys(own, ("words", "answer_from", "yes_if"), where)
    words = own.get("words", "")
    source = mistakes.text(own, "answer_from", where)
    if not isinstance(words, str) or not words.strip():
        mistakes.wrong(
            where,
            "words",
            "a question of readers has no words",
            'Write words = "Is a freezer enough?"',
        )
        words = ""
    if source and source not in question_keys:
        mistakes.wrong(
            where,
            "answer_from",
            f"'{words}' is answered from '{source}', which is no question of this study",
            nearest(source, question_keys) or "Leave answer_from out: not tested here.",
        )
        source = ""
    yes_if = own.get("yes_if", "")
    if yes_if and yes_if not in YES_IF:
        mistakes.wrong(
            where,
            "yes_if",
            f"yes_if of '{words}' is {yes_if!r}",
            f"Write one of {', '.join(YES_IF)}: for which result yes is the answer.",
        )
        yes_if = ""
    return ReaderQuestion(" ".join(words.split()), source, str(yes_if))


def _texts(
    own: Mapping[str, Any], keys: tuple[str, ...], where: str, mistakes: Mistakes
) -> dict[str, str]:
    """The texts of an entry; each must be there."""
    mistakes.known_keys(own, keys, where)
    texts = {}
    name = where.split(".")[1]
    for key in keys:
        value = own.get(key)
        if not isinstance(value, str) or not value.strip():
            mistakes.wrong(
                where,
                "" if key not in own else key,
                f"an entry of {name} has no {key}",
                f"Write {', '.join(f'{one} = ...' for one in keys)} in each.",
            )
        texts[key] = " ".join(str(value or "").split())
    return texts
