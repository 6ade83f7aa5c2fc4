from __future__ import annotations

import pytest

from quenchbook.errors import ReportError
from quenchbook.handbook.building import words_page
from quenchbook.handbook.filled_places import filled
from quenchbook.handbook.glossary import terms_as_definitions
from quenchbook.handbook.own_blocks import Card, Cards, Definitions
from quenchbook.handbook.page_source import PageSource
from quenchbook.handbook.site_page import site_link
from quenchbook.report.blocks import Paragraph, TableBlock, plain_text
from quenchbook.report.markdown import markdown_blocks

PAGE = """# A page

```python
print(1)
```

```text
1
```

Words.

```python no-run
launch()  # needs a display
```

```text
{{ verdicts }}
```

{{ verdicts }}
"""


def test_code_has_its_output_and_its_marks() -> None:
    first, second = PageSource("page", PAGE).code()
    assert (first.language, first.marks, first.text, first.output) == (
        "python",
        (),
        "print(1)\n",
        "1\n",
    )
    assert (second.marks, second.output) == (("no-run",), "{{ verdicts }}\n")
    assert first.line == 3


def test_a_place_inside_of_code_is_not_filled() -> None:
    names = [name for name, _ in PageSource("page", PAGE).segments()]
    assert names == ["", "verdicts", ""]


@pytest.mark.parametrize(
    ("name", "text", "found"),
    [
        ("page", "No title", "has no title"),
        ("Page 1", "# A page", "has a name that is no address"),
    ],
)
def test_a_page_needs_a_title_and_a_name(name: str, text: str, found: str) -> None:
    with pytest.raises(ReportError, match=found):
        PageSource(name, text)


def test_code_without_an_end_is_named_with_its_line() -> None:
    with pytest.raises(ReportError, match=r"page.md line 3: a block of code has no end"):
        PageSource("page", "# A\n\n```python\nx = 1\n").code()


def test_an_unknown_place_is_named_with_what_there_is() -> None:
    with pytest.raises(
        ReportError, match=r"page.md: '\{\{ rates \}\}' is not known.*measured_rates"
    ):
        words_page(PageSource("page", "# A\n\n{{ rates }}\n"), {})


@pytest.mark.parametrize(
    "name", ["measured_rates", "glossary_columns", "cautions", "verdicts", "references"]
)
def test_every_place_is_filled_from_the_code(name: str) -> None:
    assert filled(name, where="page.md")


def test_measured_rates_are_those_of_the_file() -> None:
    (table,) = filled("measured_rates", where="page.md")
    assert isinstance(table, TableBlock)
    assert ("one level shared by all questions", "studies with any false statement") in [
        row[:2] for row in table.rows
    ]


def test_a_link_in_a_table_is_an_error_because_it_would_be_lost() -> None:
    text = "# A\n\n| a |\n|---|\n| [b](glossary.md) |\n"
    with pytest.raises(ReportError, match=r"page.md: the link to glossary.md stands in a table"):
        words_page(PageSource("page", text), {})


@pytest.mark.parametrize(
    "target", ["../x.html", "data/plane_irons", "javascript:x()", "file:///a.md"]
)
def test_a_link_that_no_page_can_carry_is_an_error(target: str) -> None:
    with pytest.raises(ReportError, match=r"page\.md: the link to .* leads to no page"):
        words_page(PageSource("page", f"# A\n\n[b]({target})\n"), {})


def test_cards_stand_where_the_page_names_them_and_the_rest_at_its_end() -> None:
    cards = {name: Card(f"{name}?", f"{name}.html", "") for name in ("a", "b", "c")}
    page = words_page(PageSource("index", "# A\n\n{{ gallery b }}\n\n## More\n"), cards)
    shown = [[card.question for card in own.cards] for own in page.blocks if isinstance(own, Cards)]
    assert shown == [["b?"], ["a?", "c?"]]
    with pytest.raises(ReportError, match=r"index.md: the gallery has no question d"):
        words_page(PageSource("index", "# A\n\n{{ gallery d }}\n"), cards)


def test_terms_of_the_glossary_are_places() -> None:
    blocks = markdown_blocks(
        "# Glossary\n\n- **Furnace load**: coupons heated together.\n- **Indent**: see **load**.\n",
        where="glossary",
    )
    _, terms = terms_as_definitions("glossary", blocks)
    assert isinstance(terms, Definitions)
    assert [(own.term, own.anchor) for own in terms.entries] == [
        ("Furnace load", "furnace-load"), ("Indent", "indent"),
    ]  # fmt: skip
    assert plain_text(terms.entries[0].meaning[0]) == "coupons heated together."


def test_links_between_sources_become_links_between_pages() -> None:
    assert site_link("glossary.md#load") == "glossary.html#load"
    assert site_link("../../notebooks/questions/which_temper.ipynb") == "which_temper.html"
    assert site_link("https://example.org/a.md") == "https://example.org/a.md"
    assert site_link("#load") == "#load"


def test_html_in_a_page_stays_words() -> None:
    page = words_page(PageSource("page", "# A\n\n<script>alert(1)</script>\n"), {})
    assert isinstance(page.blocks[1], Paragraph)
    assert plain_text(page.blocks[1].runs) == "<script>alert(1)</script>"
