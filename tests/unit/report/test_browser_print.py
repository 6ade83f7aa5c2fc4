"""What happens where Typst does not work: another way to a PDF, or one clear error."""

from __future__ import annotations

import base64
import os
import subprocess
import sys
from pathlib import Path

import pytest
import typst  # before it is hidden: its machine code loads only once

from quenchbook import doctor
from quenchbook.cli import main
from quenchbook.errors import QuenchbookWarning, ReportError, TypesettingError
from quenchbook.report.blocks import FigureBlock
from quenchbook.report.browser_print import (
    PROGRAMS,
    installed_browser,
    printed_page,
    usual_places,
)
from quenchbook.report.exporters import ReportPDF, write_pdf
from quenchbook.report.from_notebook import report_document
from quenchbook.report.html import html_page
from quenchbook.report.pdf import pdf_bytes
from quenchbook.steps import copy_example

PRINTED = (
    b"%PDF-1.4 <</Title (t)\n/CreationDate (D:20261126015350+00'00')\n"
    b"/ModDate (D:20261126015350-05'00')>>"
)
PRINTS = f"""
import pathlib, sys
(out,) = [own.partition("=")[2] for own in sys.argv if own.startswith("--print-to-pdf=")]
page = pathlib.Path(sys.argv[-1].removeprefix("file://")).read_text(encoding="utf-8")
assert page.startswith("<!DOCTYPE html>")
pathlib.Path(out).write_bytes({PRINTED!r})
"""


@pytest.fixture
def bare(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """Neither Typst nor a browser; the only folder on the path."""
    folder = tmp_path / "bin"
    folder.mkdir()
    monkeypatch.setitem(sys.modules, "typst", None)
    monkeypatch.setenv("PATH", str(folder))
    monkeypatch.delenv("QUENCHBOOK_BROWSER", raising=False)
    monkeypatch.setattr(sys, "platform", "linux")
    return folder


def program(path: Path, source: str) -> Path:
    path.write_text(f"#!{sys.executable}\n{source}", encoding="utf-8")
    path.chmod(0o755)
    return path


def test_a_browser_prints_the_same_page_and_the_reader_is_told_by_whom(careful, bare) -> None:
    program(bare / "chromium", PRINTS)
    with pytest.warns(QuenchbookWarning, match="printed by chromium instead.*not PDF/UA") as told:
        done = pdf_bytes(report_document(careful))
    assert "typst, which sets the PDF, cannot be loaded" in str(told[0].message)
    assert done.startswith(b"%PDF")


def test_dates_of_a_printed_page_are_those_of_the_report_and_nothing_else_moves(bare) -> None:
    browser = program(bare / "msedge", PRINTS)
    done = printed_page("<!DOCTYPE html>", browser, seconds=86400)
    assert done.count(b"(D:19700102000000+00'00')") == 2
    assert len(done) == len(PRINTED)


@pytest.mark.parametrize("fails", ["raise SystemExit(7)", "import sys; sys.exit('no display')"])
def test_a_browser_that_prints_nothing_is_one_error(careful, bare, fails: str) -> None:
    path = program(bare / "chrome", fails)
    with pytest.raises(TypesettingError, match=f"{path} did not print the page: (it|no) "):
        pdf_bytes(report_document(careful))


def test_a_page_that_typst_cannot_set_is_printed(
    notebook_showing, drawn, bare, monkeypatch
) -> None:
    monkeypatch.setitem(sys.modules, "typst", typst)
    program(bare / "chromium", PRINTS)
    whole = base64.b64decode(drawn.png_base64)
    pixels = whole.index(b"IDAT") + 4  # the size of the picture is told, its pixels are not there
    head = base64.b64encode(whole[:pixels] + b"no pixels").decode("ascii")
    broken = FigureBlock("one", "", head, "It is so.", alt="Words.")
    with pytest.warns(QuenchbookWarning, match="could not be set: .*printed by chromium instead"):
        pdf_bytes(report_document(notebook_showing(broken)))


def test_a_mistake_of_the_author_is_told_and_not_printed_around(
    notebook_showing, bare, drawn
) -> None:
    program(bare / "chromium", PRINTS)
    silent = FigureBlock("one", drawn.svg, "", "It is so.", alt=" ")
    with pytest.raises(ReportError, match="it has no alternative text") as told:
        pdf_bytes(report_document(notebook_showing(silent)))
    assert not isinstance(told.value, TypesettingError)


def test_with_neither_the_page_is_written_and_the_error_says_what_to_install(
    careful, bare, tmp_path: Path
) -> None:
    path = tmp_path / "report.pdf"
    with pytest.raises(TypesettingError) as told:
        write_pdf(careful, path)
    page = path.with_suffix(".html")
    assert page.read_text(encoding="utf-8") == html_page(report_document(careful))
    assert not path.exists()
    message = str(told.value)
    assert message.endswith(f"The HTML was written: {page}.")
    assert "install typst (pip install typst) or one of Chromium, Chrome and Edge" in message


def test_the_exporter_of_nbconvert_gives_the_same_error(careful, bare) -> None:
    with pytest.raises(TypesettingError, match="No browser was found"):
        ReportPDF().from_notebook_node(careful)


def test_the_bench_booklet_is_written_as_a_page_where_no_pdf_can_be_made(
    bare, tmp_path: Path, capsys
) -> None:
    folder = copy_example("coated_bars", tmp_path / "study")
    assert main(["bench", str(folder)]) == 2
    assert f"The HTML was written: {folder / 'bench' / 'booklet.html'}" in capsys.readouterr().err
    assert (folder / "bench" / "timetable.csv").exists()
    assert not (folder / "bench" / "booklet.pdf").exists()


def test_a_warning_stands_on_the_command_line_without_a_place_in_the_code(
    bare, tmp_path: Path
) -> None:
    program(bare / "chromium", PRINTS)
    folder = copy_example("coated_bars", tmp_path / "study")
    code = (
        "import sys; sys.modules['typst'] = None; from quenchbook.cli import main; "
        "sys.exit(main(['bench', sys.argv[1]]))"
    )
    done = subprocess.run([sys.executable, "-c", code, folder], capture_output=True, text=True)
    assert done.returncode == 0
    assert done.stderr.startswith("typst, which sets the PDF, cannot be loaded")
    assert (folder / "bench" / "booklet.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize("name", PROGRAMS)
def test_a_browser_is_found_by_its_usual_names(bare, name: str) -> None:
    assert installed_browser() is None
    path = program(bare / name, "")
    assert installed_browser() == path


def test_a_browser_that_is_named_goes_before_all_others(bare, tmp_path, monkeypatch) -> None:
    program(bare / "chromium", "")
    own = program(tmp_path / "my browser", "")
    monkeypatch.setenv("QUENCHBOOK_BROWSER", str(own))
    assert installed_browser() == own
    monkeypatch.setenv("QUENCHBOOK_BROWSER", str(tmp_path / "gone"))
    with pytest.raises(TypesettingError, match="which is no program here"):
        installed_browser()


@pytest.mark.parametrize(
    ("system", "environment", "place"),
    [
        ("darwin", {}, "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome"),
        ("darwin", {}, "/home/a/Applications/Chromium.app/Contents/MacOS/Chromium"),
        ("win32", {"PROGRAMFILES": "/c/Programs"}, "/c/Programs/Google/Chrome/Application/chrome.exe"),
        ("win32", {"PROGRAMFILES(X86)": "/c/x86"}, "/c/x86/Microsoft/Edge/Application/msedge.exe"),
        ("win32", {"LOCALAPPDATA": "/c/me"}, "/c/me/Google/Chrome/Application/chrome.exe"),
    ],
)  # fmt: skip
def test_the_usual_places_of_other_systems_are_searched(
    system: str, environment: dict[str, str], place: str
) -> None:
    """Places as the makers of the browsers document them; from memory, not run on those systems."""
    assert Path(place) in usual_places(system, environment, Path("/home/a"))


def test_the_checkup_says_what_makes_a_pdf_and_what_would_in_its_place(
    bare, monkeypatch, capsys
) -> None:
    def said() -> tuple[str, bool]:
        lines, healthy = doctor.checkup()
        return "\n".join(lines), healthy

    text, healthy = said()
    assert "PDF reports: NO. typst, which sets the PDF, cannot be loaded" in text
    assert "none found. Install typst" in text
    assert not healthy
    path = program(bare / "google-chrome", "")
    text, healthy = said()
    assert f"PDF reports: printed by {path}, not PDF/UA." in text
    assert healthy
    monkeypatch.setitem(sys.modules, "typst", typst)
    text, healthy = said()
    assert "PDF reports: yes, set by Typst" in text
    assert f"browser that would print a PDF if Typst fails: {path}" in text
    monkeypatch.setenv("QUENCHBOOK_BROWSER", os.devnull)
    text, healthy = said()
    assert "which is no program here" in text
    assert healthy
