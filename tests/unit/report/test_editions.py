"""Editions and the outputs beside the page: what they hold, what they keep back, same bytes."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from pathlib import Path

import pytest
from PIL import Image
from tests.conftest import ROOT
from tests.pdf_text import page_texts
from tests.unit.report.editions import ONLY_SUPPORTERS, report_notebook, supported

import quenchbook as qb
from quenchbook.errors import QuenchbookWarning, ReportError
from quenchbook.findings.answers import Analysis
from quenchbook.publishing_steps import WRITERS, _writer, report_study
from quenchbook.report.blocks import FigureBlock, from_json
from quenchbook.report.edition import Edition, edition_of
from quenchbook.report.figure_files import figure_files
from quenchbook.report.from_notebook import report_document
from quenchbook.report.guarded_csv import guarded
from quenchbook.report.html import html_page
from quenchbook.report.summary_page import summary_of, summary_pdf
from quenchbook.steps import copy_example


@pytest.fixture(scope="module")
def analysis(plane_irons_analysis: Analysis, tmp_path_factory: pytest.TempPathFactory) -> Analysis:
    return supported(plane_irons_analysis, tmp_path_factory.mktemp("study"))


@pytest.fixture(scope="module")
def editions(analysis: Analysis, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Edition]:
    notebook = report_notebook(analysis)
    place = tmp_path_factory.mktemp("reports")
    return {
        name: edition_of(notebook, analysis.study, name, place) for name in ("public", "supporters")
    }


@pytest.fixture(scope="module")
def written(editions: dict[str, Edition]) -> dict[str, dict[str, bytes]]:
    """Name and bytes of every file of each edition."""
    found: dict[str, dict[str, bytes]] = {}
    for name, edition in editions.items():
        before = set(edition.folder.rglob("*"))
        for target in WRITERS:
            if target != "archive":
                _writer(target)(edition)
        after = sorted(set(edition.folder.rglob("*")) - before)
        found[name] = {
            path.relative_to(edition.folder).as_posix(): path.read_bytes()
            for path in after
            if path.is_file()
        }
    return found


def words_of(files: dict[str, bytes]) -> str:
    """Names of all files, the text of those with text, and the words of the PDFs."""
    parts = list(files)
    for name, data in files.items():
        if name.endswith(".pdf"):
            parts += page_texts(data)
        elif not name.endswith((".png", ".jpg")):
            parts.append(data.decode("utf-8"))
    return " ".join(" ".join(parts).split())


def test_nothing_that_supporters_get_is_in_any_public_file(
    written: dict[str, dict[str, bytes]],
) -> None:
    public, fuller = words_of(written["public"]), words_of(written["supporters"])
    assert [word for word in ONLY_SUPPORTERS if word not in fuller] == []
    assert [word for word in ONLY_SUPPORTERS if word in public] == []


def test_no_photograph_lies_in_a_public_folder(written: dict[str, dict[str, bytes]]) -> None:
    assert not [name for name in written["public"] if name.endswith(".jpg")]
    photos = [data for name, data in written["supporters"].items() if name.endswith(".jpg")]
    assert len(photos) == 2  # figures and fragment
    for data in written["public"].values():
        assert photos[0] not in data


def test_every_output_is_the_same_bytes_twice(
    editions: dict[str, Edition], written: dict[str, dict[str, bytes]], tmp_path: Path
) -> None:
    again = replace(editions["public"], folder=tmp_path)
    for target in ("summary", "fragment", "figures"):
        _writer(target)(again)
    files = {
        path.relative_to(tmp_path).as_posix(): path.read_bytes()
        for path in tmp_path.rglob("*")
        if path.is_file()
    }
    assert files == {name: written["public"][name] for name in files}
    assert len(files) > 8


def test_the_summary_is_one_page_with_question_answer_limits_and_plan(
    analysis: Analysis, written: dict[str, dict[str, bytes]]
) -> None:
    (page,) = page_texts(written["public"]["plane_irons_summary.pdf"])
    text = " ".join(page.replace("\u00a0", " ").split())
    assert "make A2 plane irons harder and still tough" in text
    assert "Dry ice against no cold step: hardness +1.27 HRC" in text
    assert "95 % interval 1.12 to 1.43 HRC" in text
    assert "The data are invented" in text
    assert "A2 (annealed, one mill heat, eight bars), one furnace, 12 furnace loads, 3 days" in text
    assert "Not answered: At the same hardness, is dry ice tougher than no cold step?" in text
    assert analysis.records.matrix.plan_hash in text
    for question in ("Is a freezer enough", "does the hottest austenitize"):
        assert question in text


def test_a_summary_with_far_too_many_rows_stays_on_one_page_and_counts_the_rest(
    editions: dict[str, Edition],
) -> None:
    document = editions["public"].document
    longer = tuple(
        replace(block, rows=block.rows * 5) if hasattr(block, "rows") else block
        for block in document.blocks
    )
    (page,) = page_texts(summary_pdf(replace(document, blocks=longer)))
    assert "In the report only:" in page


def test_a_report_without_words_for_a_summary_says_which_cell_is_missing(careful) -> None:
    with pytest.raises(ReportError, match=r"qb\.report_summary\(analysis\)"):
        summary_of(report_document(careful))


def test_the_words_of_the_summary_are_on_no_page_of_the_report(
    editions: dict[str, Edition],
) -> None:
    document = editions["public"].document
    assert "Holds for" not in html_page(document)
    summary = summary_of(document)
    assert from_json(summary.to_json()) == summary


@pytest.mark.parametrize("size", [(1200, 675), (1080, 1080), (1080, 1350)])
def test_share_pictures_have_their_sizes(
    written: dict[str, dict[str, bytes]], size: tuple[int, int]
) -> None:
    data = written["public"][f"plane_irons_share_{size[0]}x{size[1]}.png"]
    with Image.open(io.BytesIO(data)) as picture:
        assert picture.size == size


def test_the_text_to_paste_names_the_pictures_and_says_that_data_are_invented(
    written: dict[str, dict[str, bytes]],
) -> None:
    text = written["public"]["plane_irons_share.txt"].decode()
    for name in ("1200x675", "1080x1080", "1080x1350"):
        assert f"plane_irons_share_{name}.png" in text
    for words in ("invented data", "+1.27", "96 coupons", "undecided"):
        assert words in text


def test_the_fragment_is_plain_and_every_image_is_there(
    written: dict[str, dict[str, bytes]],
) -> None:
    files = written["supporters"]
    page = files["plane_irons_supporters_fragment/fragment.html"].decode()
    allowed = {
        "h2", "h3", "h4", "p", "br", "strong", "em", "sup", "code", "pre", "blockquote", "ul", "ol",
        "li", "a", "figure", "img", "figcaption", "table", "caption", "thead", "tbody", "tr", "th",
        "td",
    }  # fmt: skip
    assert set(re.findall(r"<([a-z0-9]+)", page)) <= allowed
    assert not re.search(r"\s(class|style|id|on\w+)=", page)
    assert page.startswith("<h2>")
    images = re.findall(r'<img src="([^"]+)" alt="([^"]+)" width="\d+">', page)
    assert images
    for name, alt in images:
        assert files[f"plane_irons_supporters_fragment/{name}"]
        assert len(alt) >= 20


def test_the_fragment_has_no_appendix_and_no_words_about_gauges(
    editions: dict[str, Edition], written: dict[str, dict[str, bytes]]
) -> None:
    page = written["public"]["plane_irons_fragment/fragment.html"].decode()
    whole = html_page(editions["public"].document)
    for words in ("Appendix", "At the right of a row", "Short strokes in the band", "Grey field"):
        assert words in whole
        assert words not in page
    assert page.count("<td") < 0.2 * whole.count("<td")


def test_pictures_that_are_the_same_for_all_are_written_once(
    editions: dict[str, Edition], written: dict[str, dict[str, bytes]]
) -> None:
    assert not [name for name in written["supporters"] if "_share" in name or "_summary" in name]
    named = [path.name for path in _writer("summary")(editions["supporters"])]
    assert named == [
        "plane_irons_summary.pdf",
        *(f"plane_irons_share_{size}.png" for size in ("1200x675", "1080x1080", "1080x1350")),
        "plane_irons_share.txt",
    ]


def test_supporters_get_a_summary_of_their_own_where_theirs_differs(
    editions: dict[str, Edition], tmp_path: Path
) -> None:
    other = tmp_path / "plane_irons_share_1200x675.png"
    other.write_bytes(b"other words")
    named = {
        path.name for path in _writer("summary")(replace(editions["supporters"], folder=tmp_path))
    }
    assert "plane_irons_supporters_share_1200x675.png" in named
    assert other.read_bytes() == b"other words"


def test_figures_come_with_their_numbers_and_an_index(
    written: dict[str, dict[str, bytes]],
) -> None:
    files = written["supporters"]
    folder = "plane_irons_supporters_figures"
    rows = list(csv.DictReader(io.StringIO(files[f"{folder}/figures.csv"].decode())))
    assert [row["figure"] for row in rows] == [str(n) for n in range(1, len(rows) + 1)]
    for row in rows:
        assert row["finding"]
        assert row["alt"]
        for name in filter(None, (row["svg"], row["png"], row["csv"])):
            assert files[f"{folder}/{name}"]


def test_tables_of_figures_are_guarded_as_those_of_the_archive(
    editions: dict[str, Edition], drawn: FigureBlock
) -> None:
    hostile = replace(
        drawn, data_csv='name,value\n"=1+1",-18\n"a;+b",-inf\n', finding="@SUM(1)", alt="'-1"
    )
    document = replace(editions["public"].document, blocks=(hostile,))
    files = figure_files(document)
    (table,) = [data for name, data in files.items() if name != "figures.csv" and ".csv" in name]
    assert table.decode() == "name,value\n'=1+1,-18\na;'+b,-inf\n"
    (row,) = csv.DictReader(io.StringIO(files["figures.csv"].decode()))
    assert (row["finding"], row["alt"]) == (guarded("@SUM(1)"), guarded("'-1"))


def test_a_missing_photograph_is_told_before_the_run_and_only_to_supporters_editions(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = copy_example("coated_bars", tmp_path / "bars")
    with (folder / "study.toml").open("a", encoding="utf-8") as file:
        file.write(
            "\n[publishing]\nphotos = [{ file = 'gone.jpg', caption = 'Load.', "
            "alt = 'A load of bars in a furnace.' }]\n"
        )
    runs: list[dict[str, object]] = []

    def stopped(_path: Path, **options: object) -> None:
        runs.append(options)
        raise ReportError("stopped")

    monkeypatch.setattr("quenchbook.report.run.executed", stopped)
    with pytest.raises(ReportError, match=r"'gone\.jpg' is not in the study folder"):
        report_study(folder, editions=("public", "supporters"))
    assert not runs
    with pytest.raises(ReportError, match="stopped"):
        report_study(folder)
    assert [options["without"] for options in runs] == [("supporters",)]


def test_progress_counts_cells_and_outputs_and_all_editions_come_of_one_run(tmp_path: Path) -> None:
    folder = copy_example("coated_bars", tmp_path / "bars")
    seen: list[tuple[int, int]] = []
    targets = [name for name in WRITERS if name != "archive"]
    paths = report_study(
        folder,
        editions=("public", "supporters"),
        to=targets,
        progress=lambda *own: seen.append(own),
    )
    assert all(path.is_file() for path in paths)
    assert seen[-1][0] == seen[-1][1]
    assert [done for done, _ in seen] == sorted(done for done, _ in seen)
    names = {path.name for path in (folder / "reports").iterdir()}
    assert {"coated_bars_figures", "coated_bars_supporters_fragment"} <= names
    cost = (folder / "reports" / "coated_bars_supporters.html").read_text(encoding="utf-8")
    assert "what it cost is not told" in cost


def test_hostile_words_stay_words_in_fragment_and_index(hostile, tmp_path: Path) -> None:
    document = report_document(hostile)
    study = replace(qb.read_study(ROOT / "data" / "coated_bars"), key="hostile")
    edition = Edition("public", study, document, tmp_path)
    _writer("fragment")(edition)
    _writer("figures")(edition)
    page = (tmp_path / "hostile_fragment" / "fragment.html").read_text(encoding="utf-8")
    assert "<script" not in page
    assert "<img src=x" not in page
    assert "javascript:" not in re.sub(r">[^<]*<", "><", page)
    for path in tmp_path.rglob("*"):
        assert re.fullmatch(r"[a-z0-9_.]+", path.name)
        if path.suffix == ".svg":
            svg = path.read_text(encoding="utf-8")
            assert "<script" not in svg
            assert not re.search(r'\son\w+="|href="(?!#|data:image/)', svg)
    assert {path.name for path in tmp_path.iterdir()} == {"hostile_fragment", "hostile_figures"}


def test_a_photograph_says_in_its_json_what_it_is(drawn: FigureBlock) -> None:
    assert from_json(replace(drawn, bitmap="jpeg").to_json()) == replace(drawn, bitmap="jpeg")
    with pytest.raises(ReportError, match="png or jpeg"):
        replace(drawn, bitmap="svg")


def test_hostile_words_stay_words_in_the_summary(hostile, tmp_path: Path) -> None:
    study = replace(qb.read_study(ROOT / "data" / "coated_bars"), key="hostile")
    edition = Edition("public", study, report_document(hostile), tmp_path)
    with pytest.warns(QuenchbookWarning, match=r"U\+1F525"):
        _writer("summary")(edition)
    text = " ".join(page_texts((tmp_path / "hostile_summary.pdf").read_bytes()))
    assert "alert(1)" in text
    assert "root:" not in text
    assert len(list(tmp_path.iterdir())) == 5
