"""Typst source to the bytes of a tagged PDF, the same bytes for the same source."""

from __future__ import annotations

import datetime
import os
import re
import shutil
import tempfile
import warnings
from collections.abc import Mapping
from pathlib import Path, PurePosixPath
from typing import Any, Final, Literal

from quenchbook.errors import QuenchbookWarning, ReportError, TypesettingError
from quenchbook.report.blocks import Paragraph, Run, Section
from quenchbook.report.characters import BOX, shortened
from quenchbook.report.document import Document
from quenchbook.report.formulas import Formula, Key, formula_views
from quenchbook.report.page_fonts import MATH_FONT, font_file
from quenchbook.report.typst_source import literal, typst_page

STANDARDS: Final[tuple[Literal["ua-1", "a-2a"], ...]] = ("ua-1", "a-2a")
_ROUNDS = 6  # Typst names all characters it cannot show in one message; SVG files may add some
_NOT_SHOWN = re.compile(
    r'^error: .*(?:the text|the codepoint|codepoint) `"(.+?)"`(?: could not be displayed.*)?$',
    re.MULTILINE,
)


def compile_typst(
    source: str,
    files: Mapping[str, bytes],
    *,
    title: str,
    date: datetime.date | None = None,
    language: str = "en",
) -> bytes:
    """Set Typst source as a PDF (PDF/UA-1 and PDF/A-2a, fonts embedded).

    Fonts are Libertinus Serif, DejaVu Sans and DejaVu Sans Mono, never those of the machine.
    A character that none of them has is printed as ``□`` and a `QuenchbookWarning` names it.

    Parameters
    ----------
    source : str
        Typst markup; texts in it come from `quenchbook.report.typst_source.literal`. Its own
        ``#set`` rules follow ours, so they win.
    files : mapping of str to bytes
        Pictures the source names, by relative path. An SVG shows its text in DejaVu Sans.
    title : str
        Title of the PDF.
    date : datetime.date, optional
        Date written into the file; SOURCE_DATE_EPOCH goes before it. The clock is never read.
    language : str
        Language of the text, as in ``en``.

    Returns
    -------
    bytes
        The PDF, the same bytes each time.

    Raises
    ------
    TypesettingError
        If Typst cannot be loaded or cannot set the source.
    """
    seconds = pdf_seconds(date)
    preamble = (
        f"#set document(title: {literal(title)})\n"
        f'#set text(font: ("Libertinus Serif", "DejaVu Sans"), lang: {literal(language)})\n'
    )
    text, pictures, gone = preamble + source, dict(files), set[str]()
    for _ in range(_ROUNDS):
        done, message = _attempt(text, pictures, seconds)
        if done is not None:
            if gone:
                warnings.warn(_gone_text(gone), QuenchbookWarning, stacklevel=2)
            return done
        missing = {found for found in _not_shown(message) if not found.isascii()} - gone
        if not missing:
            break
        gone |= missing
        for characters in missing:
            text = text.replace(characters, BOX)
            pictures = {
                name: data.replace(characters.encode(), BOX.encode())
                if name.lower().endswith(".svg")
                else data
                for name, data in pictures.items()
            }
    first = next(
        (line.removeprefix("error: ") for line in message.splitlines() if line), "no reason told"
    )
    raise TypesettingError(f"The PDF '{shortened(title, 60)}' could not be set: {first}.")


def pdf_bytes(document: Document) -> bytes:
    """PDF of a document: set by Typst or, where Typst does not work, printed by a browser.

    Raises
    ------
    TypesettingError
        If there is no browser either.
    """
    try:
        return _set_or_as_text(document)
    except TypesettingError as error:
        from quenchbook.report.browser_print import printed_instead
        from quenchbook.report.html import html_page

        return printed_instead(html_page(document), str(error), pdf_seconds(document.date))


def _set_or_as_text(document: Document) -> bytes:
    """Set by Typst; a formula that it refuses is shown as its text."""
    _typst()  # where it does not load, no formula is at fault
    formulas = formula_views(document.blocks)
    try:
        return _compiled(document, formulas)
    except ReportError:
        sound = {key: formula for key, formula in formulas.items() if _sets(formula)}
        if len(sound) == len(formulas):
            raise
    for tex, _ in formulas.keys() - sound.keys():
        warnings.warn(
            f"The PDF cannot set the formula '{shortened(tex, 60)}'; it is shown as its text.",
            QuenchbookWarning,
            stacklevel=2,
        )
    return _compiled(document, sound)


def _compiled(document: Document, formulas: Mapping[Key, Formula]) -> bytes:
    source, files = typst_page(document, formulas)
    return compile_typst(
        source, files, title=document.title, date=document.date, language=document.language
    )


def _sets(formula: Formula) -> bool:
    """Whether Typst takes a formula on a page of its own."""
    document = Document("formula", (Section("formula", 1), Paragraph((Run("x", math="inline"),))))
    try:
        _compiled(document, {("x", "inline"): formula})
    except ReportError:
        return False
    return True


def _attempt(
    source: str, files: Mapping[str, bytes], seconds: int | None
) -> tuple[bytes | None, str]:
    """Compile once in an empty folder; the PDF, or Typst's whole message."""
    typst = _typst()

    with tempfile.TemporaryDirectory(prefix="quenchbook-pdf-") as folder:
        root = Path(folder) / "source"
        for name, data in files.items():
            path = root / _inside(name)
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
        root.mkdir(exist_ok=True)
        main = root / "main.typ"
        main.write_text(source, encoding="utf-8", newline="\n")
        try:
            done = typst.compile(
                str(main),
                root=str(root),
                font_paths=[_fonts(Path(folder) / "fonts")],
                ignore_system_fonts=True,
                format="pdf",
                pdf_standards=list(STANDARDS),
                timestamp=seconds,
            )
        except typst.TypstError as error:
            return None, str(error.diagnostic or error.message)
    assert isinstance(done, bytes)  # one file without an output path is always bytes
    return done, ""


def _typst() -> Any:
    """Load Typst; its wheel holds machine code and may fail to load where it is installed."""
    try:
        import typst
    except (ImportError, OSError) as error:
        raise TypesettingError(
            f"typst, which sets the PDF, cannot be loaded ({str(error).rstrip('.')})."
        ) from None
    return typst


def _fonts(folder: Path) -> str:
    """Copy matplotlib's DejaVu Sans: its own folder also holds a font of empty boxes.

    Formulas are set in the font they have in HTML.
    """
    import matplotlib

    folder.mkdir()
    for path in sorted(
        (Path(matplotlib.get_data_path()) / "fonts" / "ttf").glob("DejaVuSans*.ttf")
    ):
        shutil.copyfile(path, folder / path.name)
    shutil.copyfile(font_file(MATH_FONT), folder / MATH_FONT)
    return str(folder)


def _inside(name: str) -> PurePosixPath:
    path = PurePosixPath(name)
    if path.is_absolute() or ".." in path.parts or "\\" in name or name == "main.typ":
        raise ReportError(f"'{name}' cannot be the name of a picture in a PDF.")
    return path


def pdf_seconds(date: datetime.date | None) -> int:
    """Seconds since 1970 for the PDF's dates, which PDF/A demands; 0 without any date."""
    given = os.environ.get("SOURCE_DATE_EPOCH", "").strip()
    if given.isdecimal():
        return int(given)
    if date is None:
        return 0
    noon = datetime.datetime(date.year, date.month, date.day, 12, tzinfo=datetime.UTC)
    return int(noon.timestamp())


def _not_shown(message: str) -> set[str]:
    """Texts Typst could not show, with the escapes of its message undone."""
    return {
        re.sub(r"\\u\{([0-9a-f]+)\}", lambda found: chr(int(found[1], 16)), text)
        for text in _NOT_SHOWN.findall(message)
    }


def _gone_text(gone: set[str]) -> str:
    names = ", ".join(
        " ".join(f"U+{ord(character):04X}" for character in text) for text in sorted(gone)
    )
    return f"No font of the PDF has {names}; printed as {BOX}."
