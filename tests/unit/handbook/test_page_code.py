"""All code of the pages of words runs, one namespace a page, and prints what stands below it."""

from __future__ import annotations

import contextlib
import io
import warnings
from pathlib import Path
from typing import Any

import pytest

from quenchbook.errors import QuenchbookWarning
from quenchbook.handbook.building import page_sources
from quenchbook.handbook.gallery import data_copy
from quenchbook.handbook.page_source import FencedCode, PageSource

PAGES = page_sources()


def plain(text: str) -> list[str]:
    return text.replace("\u00a0", " ").split()


def run(page: PageSource) -> list[tuple[int, str, str]]:
    """Line, printed and expected words of each block that was run."""
    names: dict[str, Any] = {"__name__": page.name}
    found = []
    for own in page.code():
        if own.language != "python" or "no-run" in own.marks:
            continue
        printed = io.StringIO()
        with contextlib.redirect_stdout(printed), warnings.catch_warnings():
            warnings.simplefilter("ignore", QuenchbookWarning)  # told beside, as in a terminal
            exec(compile("\n" * own.line + own.text, page.where, "exec"), names)  # our own page
        found.append((own.line, " ".join(plain(printed.getvalue())), own.output or ""))
    return found


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_the_code_of_a_page_runs_and_prints_what_stands_below_it(
    page: PageSource, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    if any(own.language == "python" for own in page.code()):
        monkeypatch.chdir(data_copy(tmp_path))
    for line, printed, expected in run(page):
        assert printed == " ".join(plain(expected)), f"{page.where} line {line}"


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_code_that_does_not_run_says_why(page: PageSource) -> None:
    for own in page.code():
        if "no-run" in own.marks:
            assert own.text.startswith("# "), f"{page.where} line {own.line}"


def test_code_that_prints_something_else_is_found() -> None:
    page = PageSource("page", "# A\n\n```python\nx = 2\nprint(x)\n```\n\n```text\n3\n```\n")
    assert run(page) == [(3, "2", "3\n")]
    assert page.code() == [FencedCode(3, "python", (), "x = 2\nprint(x)\n", "3\n")]
