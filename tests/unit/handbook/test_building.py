"""The whole handbook without running its notebooks: quick, and all its links are there."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from html.parser import HTMLParser
from pathlib import Path

import pytest

import quenchbook as qb
from quenchbook.cli import main
from quenchbook.errors import ReportError
from quenchbook.handbook.building import bare_html, handbook_pages, page_sources, write_handbook
from quenchbook.handbook.gallery import NOT_RUN, question_notebooks, question_page
from quenchbook.handbook.own_blocks import PythonCode
from quenchbook.handbook.page_source import PageSource
from quenchbook.handbook.reference import error_classes, known_names
from quenchbook.handbook.reference_groups import GROUPS, group_of
from quenchbook.handbook.site_page import SitePage, with_links
from quenchbook.report.blocks import Section


class Places(HTMLParser):
    def __init__(self, page: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.targets: list[str] = []
        self.heads: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        own = dict(attrs)
        self.ids += [own["id"]] if own.get("id") else []
        self.targets += [own["href"]] if own.get("href") else []
        self.heads += [tag] if tag in ("h1", "h2", "h3", "h4") else []


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Pages by file name, written by the command."""
    folder = tmp_path_factory.mktemp("handbook") / "book"
    assert main(["handbook", str(folder), "--without-running"]) == 0
    return {path.name: path.read_text("utf-8") for path in sorted(folder.glob("*.html"))}


@pytest.fixture(scope="module")
def places(site: Mapping[str, str]) -> dict[str, Places]:
    return {name: Places(page) for name, page in site.items()}


def test_every_public_name_has_its_place_in_the_reference(places: Mapping[str, Places]) -> None:
    known = known_names().targets
    for name in [*sorted(set(qb.__all__) - {"__version__"}), *error_classes()]:
        file, _, anchor = known[name].partition("#")
        assert anchor in places[file].ids, name


def test_no_public_name_is_left_over() -> None:
    over = [name for name, home in qb._HOME.items() if group_of(home) is GROUPS[-1]]
    assert over == []


def test_every_page_can_be_reached_from_the_first(places: Mapping[str, Places]) -> None:
    reached, open_pages = set(), ["index.html"]
    while open_pages:
        page = open_pages.pop()
        if page in reached or page not in places:
            continue
        reached.add(page)
        open_pages += [target.partition("#")[0] or page for target in places[page].targets]
    assert sorted(places) == sorted(reached)


def test_every_page_and_every_notebook_becomes_one_page(site: Mapping[str, str]) -> None:
    wanted = {f"{own.name}.html" for own in page_sources()}
    wanted |= {f"{path.stem}.html" for path in question_notebooks()}
    assert wanted <= set(site)
    assert NOT_RUN in site[f"{question_notebooks()[0].stem}.html"]


def test_every_page_has_its_language_landmarks_policy_and_one_title(
    site: Mapping[str, str], places: Mapping[str, Places]
) -> None:
    for name, page in site.items():
        assert '<html lang="en">' in page
        assert "default-src 'none'" in page
        assert page.count("<main") == page.count("<header") == page.count("<footer") == 1, name
        assert '<a class="skip" href="#main">' in page
        assert places[name].heads.count("h1") == 1
        assert "<script" not in page
        assert len(set(places[name].ids)) == len(places[name].ids), name


def test_every_verb_of_the_command_line_is_told(site: Mapping[str, str]) -> None:
    page = site["reference_commands.html"]
    for verb in ("demo", "new", "plan", "report", "handbook", "doctor"):
        assert f'id="verb-{verb}"' in page
    assert "verb-analyze" not in page


def test_the_width_of_the_terminal_does_not_reach_the_pages(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from quenchbook.verbs import _help_texts

    def helped(columns: str) -> dict[str, str]:
        monkeypatch.setenv("COLUMNS", columns)
        parser = argparse.ArgumentParser(prog="a", epilog="b")
        parser.add_argument("--long", help="words " * 40)
        return _help_texts({"a": parser, "alias": parser})

    assert helped("40") == helped("200")
    assert list(helped("40")) == ["a"]


def test_questions_follow_one_another_as_their_cards_do() -> None:
    cell = {"cell_type": "markdown", "source": "# A?", "metadata": {}}
    notebooks = {name: {"cells": [cell], "metadata": {}} for name in ("a", "b", "c")}
    index = PageSource("index", "# A\n\n{{ gallery c }}\n\n{{ gallery }}\n")
    pages = handbook_pages([index], notebooks, {})
    assert [own.name for own in pages if own.part == "questions"] == ["c", "a", "b"]


def test_a_name_in_words_and_in_code_leads_to_the_reference() -> None:
    page = SitePage(
        "a", "A", (Section("A", level=1), *_blocks("Call `qb.finding()`.\n\n```python\nqb.pairs(m)\n```")),
        "words",
    )  # fmt: skip
    _, words, code = with_links(page, known_names()).blocks
    assert words.runs[1].link == "reference_findings.html#finding"
    assert isinstance(code, PythonCode)
    assert dict(code.targets) == {"pairs": "reference_analysis.html#pairs"}


def test_hostile_words_of_a_notebook_stay_words() -> None:
    cells = [
        {"cell_type": "markdown", "source": "# A <script>x</script>?", "metadata": {}},
        {"cell_type": "code", "source": "qb.finding('</pre><script>')", "metadata": {}, "outputs": [
            {"output_type": "display_data", "data": {"text/html": "<p onclick='x()'>&lt;img&gt;</p><script>x</script>"}},
        ]},
    ]  # fmt: skip
    page = with_links(question_page("a", {"cells": cells, "metadata": {}}), known_names())
    (text,) = bare_html([page]).values()
    body = text[text.index("<body>") :]
    assert "<script" not in body
    assert "onclick" not in body
    assert "&lt;img&gt;" in body
    assert "&lt;/pre&gt;&lt;script&gt;" in body


def test_a_broken_link_stops_the_command_before_anything_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from quenchbook.handbook import building

    source = PageSource("index", "# A\n\n[gone](gone.md), [where](#nowhere).\n")
    monkeypatch.setattr(building, "page_sources", lambda: [source])
    with pytest.raises(ReportError) as caught:
        write_handbook(tmp_path / "book", notebooks={})
    told = [str(own) for own in caught.value.problems]
    assert (
        "index.html: the link to gone.html leads to no page. Mend the link or its target." in told
    )
    assert any("#nowhere" in own for own in told)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_of_somebody_else_is_refused_before_anything_is_run(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(ReportError, match=r"the first is mine\.txt"):
        write_handbook(tmp_path)


def _blocks(text: str) -> list:
    from quenchbook.report.markdown import markdown_blocks

    return markdown_blocks(text, where="a")
