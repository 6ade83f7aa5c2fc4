"""PDF by the print command of an installed browser: where Typst does not work.

The file has tags, bookmarks and the words of the page, but is neither PDF/UA nor PDF/A: links
have no description, no standard is declared.
"""

from __future__ import annotations

import datetime
import os
import re
import shutil
import subprocess
import sys
import tempfile
import warnings
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from quenchbook.errors import QuenchbookWarning, TypesettingError

NAMED_BY: Final = "QUENCHBOOK_BROWSER"
"""Environment variable that names the browser to print with, as a path or a program."""

PROGRAMS: Final = (
    "chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome",
    "microsoft-edge", "microsoft-edge-stable", "msedge",
)  # fmt: skip
"""Names on the path, in the order they are looked for."""

_MAC: Final = ("Google Chrome", "Chromium", "Microsoft Edge")
_WINDOWS: Final = (
    "Google/Chrome/Application/chrome.exe",
    "Chromium/Application/chrome.exe",
    "Microsoft/Edge/Application/msedge.exe",
)
_WINDOWS_FOLDERS: Final = ("PROGRAMFILES", "PROGRAMFILES(X86)", "LOCALAPPDATA")

_OPTIONS: Final = (
    "--headless",
    "--disable-gpu",
    "--no-first-run",
    "--no-default-browser-check",
    "--disable-extensions",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-pdf-header-footer",
    "--generate-pdf-document-outline",
)
_LONGEST_PRINT: Final = 120  # seconds; the demonstration takes 2
_DATE: Final = re.compile(
    rb"(/(?:CreationDate|ModDate) ?\(D:)(\d{14})((?:Z|[+-]\d\d'\d\d'?)?)(?=\))"
)


def installed_browser() -> Path | None:
    """Browser of this machine that can print a page; None if there is none.

    The one that ``QUENCHBOOK_BROWSER`` names, else the first of `PROGRAMS` on the path, else the
    usual places of macOS or Windows.

    Raises
    ------
    TypesettingError
        If ``QUENCHBOOK_BROWSER`` names no program.
    """
    named = os.environ.get(NAMED_BY, "").strip()
    if named:
        found = shutil.which(named)
        if found is None:
            raise TypesettingError(
                f"{NAMED_BY} names '{named}', which is no program here. "
                "Name another browser, or take the variable away."
            )
        return Path(found)
    for program in PROGRAMS:
        if (found := shutil.which(program)) is not None:
            return Path(found)
    places = usual_places(sys.platform, os.environ, Path.home())
    return next((path for path in places if path.is_file()), None)


def printed_page(html: str, browser: Path, seconds: int) -> bytes:
    """PDF of a page, printed by a browser.

    The same browser gives the same pages, words and date each time, and nearly always the same
    bytes: a busy Chromium numbers its tags differently or sets a line a tenth of a pixel elsewhere
    (3 of 175 prints of one page on two loaded cores).

    Parameters
    ----------
    html : str
        A whole page with everything in it.
    browser : Path
        Program, as of `installed_browser`.
    seconds : int
        Date written into the file, seconds since 1970.

    Raises
    ------
    TypesettingError
        If the browser does not start, does not end, or writes no PDF.
    """
    with tempfile.TemporaryDirectory(
        prefix="quenchbook-print-", ignore_cleanup_errors=True
    ) as place:
        folder = Path(place)
        page, done = folder / "page.html", folder / "page.pdf"
        page.write_text(html, encoding="utf-8", newline="\n")
        command = [
            str(browser),
            *_OPTIONS,
            *_as_root(),
            f"--user-data-dir={folder / 'profile'}",  # a browser that is open stays out of it
            f"--print-to-pdf={done}",
            page.as_uri(),
        ]
        try:
            ended = subprocess.run(
                command,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.PIPE,
                timeout=_LONGEST_PRINT,
                check=False,
            )
        except OSError as error:
            raise _not_printed(browser, error.strerror or str(error)) from None
        except subprocess.TimeoutExpired:
            raise _not_printed(browser, f"it took longer than {_LONGEST_PRINT} s") from None
        data = done.read_bytes() if done.is_file() else b""
    if not data.startswith(b"%PDF"):
        last = ended.stderr.decode(errors="replace").strip().splitlines()[-1:]
        raise _not_printed(browser, *(last or [f"it ended with {ended.returncode}"]))
    return _dated(data, seconds)


def printed_instead(html: str, why: str, seconds: int) -> bytes:
    """PDF of a page by the browser of this machine, told in a `QuenchbookWarning`.

    Parameters
    ----------
    html : str
        A whole page with everything in it.
    why : str
        What kept Typst from setting it, a sentence.
    seconds : int
        Date written into the file, seconds since 1970.

    Raises
    ------
    TypesettingError
        If there is no browser, or it fails.
    """
    try:
        browser = installed_browser()
        if browser is None:
            raise TypesettingError(
                "No browser was found to print the page instead. To get a PDF, install typst "
                "(pip install typst) or one of Chromium, Chrome and Edge; "
                f"{NAMED_BY} may name it."
            )
        done = printed_page(html, browser, seconds)
    except TypesettingError as error:
        raise TypesettingError(f"{why} {error}") from None
    warnings.warn(
        f"{why} The page was printed by {browser.stem} instead: readable, but not PDF/UA, so less "
        "fit for a screen reader, and not PDF/A.",
        QuenchbookWarning,
        stacklevel=3,
    )
    return done


def usual_places(system: str, environment: Mapping[str, str], home: Path) -> list[Path]:
    """Where browsers stand that are not on the path.

    Parameters
    ----------
    system : str
        As ``sys.platform``.
    environment : mapping
        Variables of Windows that name its folders of programs.
    home : Path
    """
    if system == "darwin":
        folders: tuple[Path, ...] = (Path("/Applications"), home / "Applications")
        ends = [f"{name}.app/Contents/MacOS/{name}" for name in _MAC]
    elif system == "win32":
        folders = tuple(Path(environment[own]) for own in _WINDOWS_FOLDERS if own in environment)
        ends = list(_WINDOWS)
    else:
        return []
    return [folder / end for end in ends for folder in folders]


def _as_root() -> list[str]:
    """Chromium refuses its sandbox to root; the page has no script and asks for nothing."""
    return ["--no-sandbox"] if sys.platform != "win32" and os.geteuid() == 0 else []


def _dated(data: bytes, seconds: int) -> bytes:
    """PDF with its dates overwritten, each by as many bytes, so that places stay true."""
    then = datetime.datetime.fromtimestamp(seconds, tz=datetime.UTC)
    digits = then.strftime("%Y%m%d%H%M%S").encode()

    def same_length(found: re.Match[bytes]) -> bytes:
        zone = re.sub(rb"[-+]\d\d'\d\d", b"+00'00", found[3])
        return found[1] + digits + zone

    return _DATE.sub(same_length, data)


def _not_printed(browser: Path, *why: str) -> TypesettingError:
    told = "; ".join(why).rstrip(".")
    return TypesettingError(f"{browser} did not print the page: {told:.300}.")
