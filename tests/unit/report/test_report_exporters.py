"""nbconvert exporters and the files they write."""

from __future__ import annotations

import subprocess
import sys

import pytest

from quenchbook.errors import ReportError
from quenchbook.report.exporters import ReportHTML, ReportPDF, write_html, write_pdf


def test_both_exporters_render_a_notebook(careful, careful_page, careful_pdf):
    page, resources = ReportHTML().from_notebook_node(careful)
    assert page == careful_page
    assert resources["output_extension"] == ".html"
    done, resources = ReportPDF().from_notebook_node(careful)
    assert done == careful_pdf
    assert resources["output_extension"] == ".pdf"


def test_options_reach_the_document(careful):
    page, _ = ReportHTML(edition="supporters", show_code=True, author="B. Hand").from_notebook_node(
        careful
    )
    for words in ("paid for the steel", "qb.report(...)", "B. Hand"):
        assert words in page


def test_nbconvert_knows_the_exporters():
    from nbconvert.exporters import get_exporter

    assert get_exporter("quenchbook") is ReportHTML
    assert get_exporter("quenchbook-pdf") is ReportPDF


def test_the_module_loads_nothing_heavy():
    code = (
        "import sys; import quenchbook.report.exporters as e; e.ReportHTML(); e.ReportPDF(); "
        "print([m for m in ('matplotlib', 'typst', 'pandas', 'fontTools') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize(("write", "name"), [(write_html, "a.html"), (write_pdf, "a.pdf")])
def test_a_different_file_is_never_replaced_in_silence(write, name, careful, tmp_path):
    path = write(careful, tmp_path / "new" / name)
    first = path.read_bytes()
    assert write(careful, path).read_bytes() == first
    path.write_bytes(b"the author's own")
    with pytest.raises(ReportError, match="exists and is different"):
        write(careful, path)
    assert path.read_bytes() == b"the author's own"
    assert write(careful, path, overwrite=True).read_bytes() == first
    assert [own.name for own in path.parent.iterdir()] == [name]


def test_a_report_that_fails_leaves_no_file(tmp_path, notebook_showing):
    with pytest.raises(ReportError):
        write_html(notebook_showing(), tmp_path / "a.html", details={"date": "soon"})
    assert list(tmp_path.iterdir()) == []
