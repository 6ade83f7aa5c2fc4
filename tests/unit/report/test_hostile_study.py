"""A hostile study from its files to its report: shown literally, and nothing outside reports/."""

from __future__ import annotations

import io
import re
from html.parser import HTMLParser
from pathlib import Path

import pikepdf
import pytest
from tests.hostile_study import EMOJI, HEBREW, LONG, TEX, TEXTS, publish_hostile_study
from tests.pdf_text import page_texts, right_edges

from quenchbook.errors import StudyError
from quenchbook.report.characters import shown
from quenchbook.study.files import read_study

_ACTIVE = {
    "script", "iframe", "object", "embed", "link", "form", "input", "base", "frame", "video",
    "audio", "foreignobject", "animate", "set", "maction", "template",
}  # fmt: skip


class _Page(HTMLParser):
    """Elements, attributes and words of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: list[tuple[str, str]] = []
        self.words: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        self.attributes += [(name, value or "") for name, value in attrs]

    def handle_data(self, data):
        self.words.append(data)


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("around")
    publish_hostile_study(root / "in" / "deep" / "study")
    return root


@pytest.fixture(scope="module")
def reports(root: Path) -> Path:
    return root / "in" / "deep" / "study" / "reports"


def _squeezed(text: str) -> str:
    return re.sub(r"\s+", "", text)


def test_nothing_is_written_outside_the_reports(root, reports):
    before = {"study.toml", "05_report.ipynb", "coupon_matrix.csv", "plan.json",
              "resistance.csv", "deviations.csv"}  # fmt: skip
    outside = {
        path.name for path in root.rglob("*") if path.is_file() and reports not in path.parents
    }
    assert outside == before
    assert {path.name for path in reports.iterdir()} == {
        "hostile.html", "hostile.pdf", "hostile_supporters.html", "hostile_supporters.pdf",
        "reported_from.csv",
    }  # fmt: skip


@pytest.mark.parametrize("name", ["hostile.html", "hostile_supporters.html"])
def test_a_page_holds_the_hostile_texts_as_words_and_nothing_active(reports, name):
    page = _Page((reports / name).read_text(encoding="utf-8"))
    assert not page.tags & _ACTIVE
    for attribute, value in page.attributes:
        assert not attribute.startswith("on"), (attribute, value)
        if attribute in ("href", "src", "xlink:href"):
            assert value.startswith(("#", "data:image/png;base64,")), value
    words = "".join(page.words)
    for text in TEXTS:
        assert words.count(shown(text)) > 3, text
    assert "root:x:0" not in words


@pytest.mark.parametrize("name", ["hostile.pdf", "hostile_supporters.pdf"])
def test_a_pdf_holds_the_hostile_texts_as_words_and_no_action(reports, name):
    done = (reports / name).read_bytes()
    words = _squeezed("".join(page_texts(done)))
    for text in TEXTS:
        if text not in (HEBREW, EMOJI):  # placed from the right; in no font
            assert _squeezed(text) in words, text
    assert "bench□" in words
    assert "root:x:0" not in words
    with pikepdf.open(io.BytesIO(done)) as pdf:
        for own in pdf.objects:
            if isinstance(own, pikepdf.Dictionary):
                assert not {"/JS", "/JavaScript", "/Launch", "/AA", "/URI"} & set(own.keys())


def test_no_hostile_word_runs_over_the_edge_of_the_paper(reports):
    edges = right_edges((reports / "hostile.pdf").read_bytes())
    assert max(edges) < 210 * 72 / 25.4  # A4 [pt]


def test_formulas_of_a_hostile_author_stay_formulas_or_text(reports):
    page = (reports / "hostile.html").read_text(encoding="utf-8")
    assert page.count("<math ") == 2  # x^2 and y; the command that reads a file stays text
    assert r"<code>$\input{/etc/passwd}$</code>" in page
    assert TEX.count("$") == 4


def test_the_long_name_is_whole(reports):
    page = _Page((reports / "hostile.html").read_text(encoding="utf-8"))
    assert any(LONG in words for words in page.words)


@pytest.mark.parametrize("key", ["../../outside", "/etc/outside", "a\\\\..\\\\b", "con.html"])
def test_a_key_cannot_lead_out_of_the_folder(root, tmp_path, key):
    text = (root / "in" / "deep" / "study" / "study.toml").read_text(encoding="utf-8")
    (tmp_path / "study.toml").write_text(text.replace('"hostile"', f'"{key}"', 1), encoding="utf-8")
    with pytest.raises(StudyError, match="is not a short name"):
        read_study(tmp_path)


@pytest.mark.parametrize(
    "file", ["../../outside.png", "/etc/outside.png", "..\\\\outside.png", "photos/../../x.jpg",
             "javascript:alert(1)", "https://example.org/x.svg"],
)  # fmt: skip
def test_a_photograph_cannot_lie_outside_the_folder(root, tmp_path, file):
    text = (root / "in" / "deep" / "study" / "study.toml").read_text(encoding="utf-8")
    photo = f'photos = [{{ file = "{file}", caption = "c", alt = "a plate on the bench, seen" }}]\n'
    changed = text.replace("[publishing]\n", f"[publishing]\n{photo}", 1)
    (tmp_path / "study.toml").write_text(changed, encoding="utf-8")
    with pytest.raises(StudyError, match="photos"):
        read_study(tmp_path)
