"""HTML page: complete, quiet, harmless."""

from __future__ import annotations

import base64
import io
import re
from html.parser import HTMLParser

import pandas as pd
import pytest

from quenchbook.report.blocks import (
    Column,
    FindingRow,
    FindingRows,
    Paragraph,
    Run,
    Section,
    TableBlock,
    table,
)
from quenchbook.report.characters import shown
from quenchbook.report.from_notebook import report_document
from quenchbook.report.html import POLICY, html_page

VOID = {"meta", "br", "img", "hr", "link", "input"}


class Reader(HTMLParser):
    """Elements with attributes, text by element, and whether every element is closed."""

    def __init__(self, page):
        super().__init__()
        self.elements, self.text, self.open = [], [], []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if "style" not in self.open:
            self.text.append(data)

    def all(self, tag):
        return [attrs for name, attrs in self.elements if name == tag]


@pytest.mark.parametrize("name", ["careful_page", "hostile_page"])
def test_nothing_runs_and_nothing_is_fetched(name, request):
    reader = Reader(request.getfixturevalue(name))
    assert not reader.open
    tags = {tag for tag, _ in reader.elements}
    assert not tags & {
        "script",
        "iframe",
        "object",
        "embed",
        "foreignobject",
        "base",
        "form",
        "link",
    }
    for tag, attrs in reader.elements:
        for key, value in attrs.items():
            assert not key.startswith("on")
            assert not re.match(r"\s*(javascript|vbscript):", value or "", re.IGNORECASE)
            if key in ("src", "href", "xlink:href", "action", "srcset"):
                assert tag == "a" or value.startswith(("#", "data:image/png;base64,"))
            elif "url(" in (value or "") and key not in ("content", "alt"):
                assert re.findall(r"url\((.)", value) == ["#"] * value.count("url(")
    policies = [a["content"] for a in reader.all("meta") if "http-equiv" in a]
    assert policies == [POLICY]
    assert "default-src 'none'" in POLICY
    assert "script-src" not in POLICY


def test_style_sheets_fetch_nothing(hostile_page):
    style = "".join(re.findall(r"<style>(.*?)</style>", hostile_page, re.DOTALL))
    assert set(re.findall(r"url\((.{10})", style)) == {"data:font/"}
    assert "@import" not in style


def test_hostile_words_are_read_as_they_are_written(hostile_page, hostile_words):
    text = "".join(Reader(hostile_page).text)
    for words in hostile_words:
        assert text.count(shown(words)) >= 10
    assert "\x07" not in hostile_page
    assert "\u202e" not in hostile_page


def test_every_id_is_the_only_one_and_every_anchor_leads_somewhere(hostile_page, careful_page):
    for page in (hostile_page, careful_page):
        reader = Reader(page)
        ids = [attrs["id"] for _, attrs in reader.elements if "id" in attrs]
        assert len(ids) == len(set(ids))
        targets = {attrs["href"] for attrs in reader.all("a") if attrs["href"].startswith("#")}
        assert targets <= {f"#{own}" for own in ids}
        named = [a["aria-labelledby"] for _, a in reader.elements if "aria-labelledby" in a]
        assert set(named) <= set(ids)


def test_headings_of_the_page_are_those_of_the_document(careful, careful_page):
    tags = [tag for tag, _ in Reader(careful_page).elements if re.fullmatch("h[1-6]", tag)]
    assert tags == ["h1", "h2", "h2", "h3", "h2"]


def test_captions_and_heads_of_tables(careful_page):
    reader = Reader(careful_page)
    text = "".join(reader.text)
    assert "Table 1. Differences of marginal means." in text
    assert "Table 2. Every coupon." in text
    assert "not known" in text
    assert len([a for a in reader.all("th") if a.get("scope") == "row"]) == 2 + 2 + 70
    assert {a["tabindex"] for a in reader.all("div") if a.get("role") == "region"} == {"0"}


def test_a_figure_has_its_words_as_title_and_its_caption_beside_it(careful_page):
    text = "".join(Reader(careful_page).text)
    assert "Peak 956 °C without a cold step, 1000 °C with dry ice." in text
    assert "Figure 1. Colder routes peak at a hotter austenitize." in text
    assert "Means over an even mix of tempers. Mixed model" in text
    assert careful_page.count('role="img"') == 2


def test_a_footnote_leads_there_and_back(careful_page):
    assert 'id="noteref-1" href="#note-1"' in careful_page
    assert 'href="#noteref-1"' in careful_page
    assert "Peak of the fitted curve" in careful_page


def test_invented_data_are_named_on_the_page_and_in_its_head(careful_page, notebook_showing):
    assert "Plane irons, A2, invented data" in careful_page
    assert "The data are invented" in careful_page
    assert "invented" not in html_page(report_document(notebook_showing())).partition("</head>")[2]


def test_contents_follow_the_findings_and_stay_away_from_short_reports(
    careful_page, notebook_showing
):
    assert careful_page.index('class="findings"') < careful_page.index('aria-label="Contents"')
    short = html_page(report_document(notebook_showing(Section("One"), Section("Two"))))
    assert 'aria-label="Contents"' not in short


def test_links_without_a_place_or_with_another_scheme_are_words(notebook_showing):
    block = Paragraph(
        (
            Run("lost", link="#nowhere"),
            Run("bad", link="javascript:alert(1)"),
            Run("good", link="https://example.org/?a=1&b=2"),
        )
    )
    page = html_page(report_document(notebook_showing(block)))
    assert '<p>lostbad<a href="https://example.org/?a=1&amp;b=2">good</a></p>' in page


def test_a_finding_without_a_gauge_keeps_its_numbers(notebook_showing):
    row = FindingRow("differs", "", "", "Loads differ", "F = 4.1", "p = 0.02")
    page = html_page(report_document(notebook_showing(FindingRows((row,)))))
    assert '<span class="numbers">F = 4.1<span>p = 0.02</span></span>' in page


def test_the_font_of_the_page_has_the_characters_of_its_figures(careful_page):
    from fontTools.ttLib import TTFont

    fonts = re.findall(r'"DejaVu Sans";[^}]*data:font/woff;base64,([A-Za-z0-9+/=]+)', careful_page)
    assert len(fonts) == 2
    for data in fonts:
        with TTFont(io.BytesIO(base64.b64decode(data))) as font:
            assert set(map(ord, "Hardness, HRC°−0123456789")) <= set(font.getBestCmap())
    assert sum(map(len, fonts)) < 60_000


def test_the_text_of_the_page_brings_its_font_in_three_styles(careful_page):
    from fontTools.ttLib import TTFont

    face = r'"Libertinus Serif";([^}]*?)src:url\(data:font/woff;base64,([^)]+)\)'
    faces = re.findall(face, careful_page)
    styles = {style for style, _ in faces}
    assert styles == {"font-weight:400;", "font-weight:400;font-style:italic;", "font-weight:700;"}
    for style in styles:
        found = set()
        for own, data in faces:
            if own == style:
                with TTFont(io.BytesIO(base64.b64decode(data))) as font:
                    found |= set(font.getBestCmap())
        assert set(map(ord, "Does dry ice move it by 44\u00a0°C, −0.04 to 0.22?")) <= found
    assert sum(len(data) for _, data in faces) < 90_000


def test_letters_of_another_script_come_from_their_own_file(notebook_showing):
    page = html_page(report_document(notebook_showing(Paragraph("Łódź, Müller, σ and שלום"))))
    ranges = re.findall(r'"Libertinus Serif";font-weight:400;src[^}]*unicode-range:([^}]*)', page)
    assert len(ranges) == 3  # Latin, more Latin, Greek; Hebrew is left to the machine
    assert "U+141" in ranges[1]
    assert "U+3C3" in ranges[2]
    assert not any("U+5E9" in one for one in ranges)


def test_the_same_notebook_gives_the_same_page(careful, careful_page):
    assert html_page(report_document(careful)) == careful_page


def test_cells_of_a_table_may_hold_line_ends(notebook_showing):
    block = table(pd.DataFrame({"a": ["x\ny"]}), key="k", caption="c")
    assert "x<br>y" in html_page(report_document(notebook_showing(block)))


def test_a_sentence_in_a_table_gets_room_and_short_cells_do_not(notebook_showing):
    rows = (
        ("load 7", "The clock stopped, so the soak was timed by hand with a stop watch instead."),
    )
    block = TableBlock("t", "c", (Column("where"), Column("note")), rows)
    page = html_page(report_document(notebook_showing(block)))
    assert '<td class="long">The clock' in page
    assert '<th scope="row">load 7' in page
