"""Formulas of the author: what is one, what becomes of it in HTML and in PDF."""

from __future__ import annotations

import io
import re
import subprocess
import warnings

import pikepdf
import pytest
from nbformat.v4 import new_markdown_cell, new_notebook

from quenchbook.errors import QuenchbookWarning, ReportError
from quenchbook.report import formulas
from quenchbook.report.blocks import Paragraph, Run, from_json
from quenchbook.report.formulas import formula_views, formulas_in
from quenchbook.report.from_notebook import report_document
from quenchbook.report.html import html_page
from quenchbook.report.markdown import markdown_blocks
from quenchbook.report.pdf import pdf_bytes

PROSE = r"""# How sure is a mean?

With $n$ coupons the mean $\bar y$ is better, and salt is $5 and $6.

$$
s^2 = \frac{\sigma_L^2}{n_L}
- 0
% words: load variance over the number of loads
$$

\begin{equation}
E = m c^2 \label{e}
\end{equation}

- in a list $M_\mathrm{s}$, and

  \begin{align}
  a &= b \\
  c &= \sqrt{d}
  \end{align}

> quoted $$x \qquad (3)$$ words
"""


def _document(source):
    return report_document(new_notebook(cells=[new_markdown_cell(source)]))


def _keys(source):
    return list(formulas_in(markdown_blocks(source, where="cell 1")))


def _formula_words(pdf):
    with pikepdf.open(io.BytesIO(pdf)) as file:
        return [
            str(element.Alt)
            for element in file.objects
            if isinstance(element, pikepdf.Dictionary) and element.get("/S") == "/Formula"
        ]


@pytest.mark.parametrize(
    ("source", "found"),
    [
        ("$x$", [("x", "inline")]),
        ("$a_1$ and $b_1$", [("a_1", "inline"), ("b_1", "inline")]),
        ("**$x$**-ray", [("x", "inline")]),
        (r"$\alpha$-iron", [(r"\alpha", "inline")]),
        ("a $$x$$ b", [("x", "display")]),
        ("text\n$$\na\n- b\n$$\nmore", [("a\n- b", "display")]),
        ("> $$x$$", [("x", "display")]),
        ("1. one\n\n   $$\n   x\n   $$", [("x", "display")]),
        ("see \\begin{gather}x\\end{gather}", [("\\begin{gather}x\\end{gather}", "display")]),
        ("\\begin{align*}\n\nx\n\n\\end{align*}", [("\\begin{align*}\n\nx\n\n\\end{align*}", "display")]),
    ],
)  # fmt: skip
def test_a_formula_is_found(source, found):
    assert _keys(source) == found


@pytest.mark.parametrize(
    "source",
    [
        "$5 and $6", "US$5 and US$6", "between $5-$6", "$5/$6", "5$ and 6$", "$20,000 or $30,000",
        r"\$x\$", "`$x$`", "```\n$$x$$\n```", "    $$x$$", "$ x $", "$a\n\nb$", "$$ $$", "$$$$",
        "$10 (12 with tax), or 11$", "$5 for oil and 6$", r"\begin{equation} x",
    ],
)  # fmt: skip
def test_money_and_code_are_no_formulas(source):
    assert _keys(source) == []


def test_every_formula_that_goes_in_comes_out_in_both_files():
    document = _document(PROSE)
    count = len(list(formulas_in(document.blocks)))
    page = html_page(document)
    assert count == 7
    assert page.count("<math ") == count
    assert page.count("<math ") == page.count("alttext=")
    assert len(_formula_words(pdf_bytes(document))) == count


def test_a_formula_has_the_words_of_its_author_or_its_own():
    document = _document(PROSE)
    words = _formula_words(pdf_bytes(document))
    assert "load variance over the number of loads" in words
    assert "E equals m c squared" in words
    assert "M sub s" in words
    assert 'alttext="load variance over the number of loads"' in html_page(document)


def test_the_page_brings_the_font_of_its_formulas():
    face = re.search(r'"STIX Two Math";[^}]*base64,([^)]*)', html_page(_document(PROSE)))
    assert face
    assert 10_000 < len(face[1]) < 40_000


def test_the_same_formulas_give_the_same_bytes():
    first = _document(PROSE), _document(PROSE)
    assert html_page(first[0]) == html_page(first[1])
    assert pdf_bytes(first[0]) == pdf_bytes(first[1])


def test_all_formulas_of_a_document_go_through_one_process_for_each_target(monkeypatch):
    started = []
    run = subprocess.run
    monkeypatch.setattr(
        formulas.subprocess, "run", lambda *a, **k: started.append(a[0][3]) or run(*a, **k)
    )
    formulas._pandoc.cache_clear()
    _document(PROSE)
    assert started == ["--to=html5", "--to=typst"]


def test_nothing_is_started_without_a_formula(monkeypatch):
    monkeypatch.setattr(formulas, "_program", lambda: pytest.fail("started"))
    document = _document("# No formula\n\nSalt is $5 and $6.")
    assert '"STIX Two Math";' not in html_page(document)
    pdf_bytes(document)


@pytest.mark.parametrize("tex", [r"\frac{a", r"\nope{x}", r"\input{/etc/passwd}", r"\def\x{\x}\x"])
def test_what_is_no_formula_is_shown_as_written_and_its_cell_is_named(tex):
    with pytest.warns(QuenchbookWarning, match=r"cell 1: the formula .* shown as its text"):
        document = _document(f"# T\n\nA ${tex}$ b.")
    assert f"<code>${tex}$</code>" in html_page(document)
    assert not _formula_words(pdf_bytes(document))


HOSTILE = (
    r"\text{<script>alert(1)</script>}", r'\text{" \#panic("x") }', r"\text{</math><img src=x>}",
    r"\href{javascript:alert(1)}{x}", r"a // b /* c", r"\# read", r"\text{\$ \#x \$}", "x<b>y",
    r'\text{"] + read("/etc/passwd") + ["}', r"\style{color:red}{x}", r"\mathrm{panic}(x)",
    r"\operatorname{read}(\text{/etc/passwd})", "`#read`", r"\text{שלום}", "\x00\u202ex",
)  # fmt: skip


def test_a_hostile_formula_is_only_a_formula_or_a_text():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", QuenchbookWarning)
        document = _document("# T\n\n" + "\n\n".join(f"A $${tex}$$ b." for tex in HOSTILE))
        page = html_page(document)
        pdf = pdf_bytes(document)
    inside = page.partition("</style>")[2]
    assert not re.search(r"<(script|img|a href=\"java|b>)", inside)
    count = inside.count("<math ")
    assert len(HOSTILE) - inside.count("<code>$$") == count == len(_formula_words(pdf))
    assert 5 < count < len(HOSTILE)


def test_an_element_that_is_no_mathematics_is_refused():
    from xml.etree.ElementTree import fromstring

    from quenchbook.report.mathml import safe_mathml

    space = 'xmlns="http://www.w3.org/1998/Math/MathML"'
    assert safe_mathml(fromstring(f"<math {space}><mi>x</mi></math>"))
    for inside in (
        "<maction><mi>x</mi></maction>", "<mi href='javascript:x'>x</mi>", "<script>x</script>",
        "<mi onclick='x'>x</mi>", "<mi style='background:url(x)'>x</mi>", "<mi>x</mi>text",
        "<annotation-xml><p>x</p></annotation-xml>", "<mi xmlns='http://www.w3.org/2000/svg'/>",
    ):  # fmt: skip
        assert safe_mathml(fromstring(f"<math {space}>{inside}</math>")) is None, inside


@pytest.mark.parametrize(
    ("tex", "words"),
    [
        (r"\frac{\sigma_L^2}{n}", "sigma sub L squared over n"),
        (r"T \ge 25\,^\circ\mathrm{C}", "T is at least 25 degrees C"),
        (r"0.5\,\mathrm{HRC}", "0.5 HRC"),
        (r"\sum_{i=1}^n x_i", "sum from i equals 1 to n of x sub i"),
        (r"\hat\beta \pm \sqrt{x}", "beta hat plus or minus the square root of x"),
        (r"\bar{x}^{-1}", "x bar to the power of minus 1"),
    ],
)
def test_a_formula_is_read_in_words(tex, words):
    (view,) = formula_views([Paragraph((Run(tex, math="inline"),))]).values()
    assert view.words == words


def test_a_formula_in_a_heading_or_a_table_is_its_text():
    with pytest.warns(QuenchbookWarning, match=r"cell 1: the formula \$x\$ in a heading"):
        (heading,) = markdown_blocks("# The $x$", where="cell 1")
    assert heading.title == "The $x$"
    with pytest.warns(QuenchbookWarning, match=r"cell 2: the formula \$x\$ in a table"):
        markdown_blocks("| a |\n|---|\n| $x$ |", where="cell 2")


def test_a_formula_survives_json_and_is_text_in_the_notebook():
    block = Paragraph(("a ", Run("x<y", math="inline")))
    assert from_json(block.to_json()) == block
    assert "$x&lt;y$" in block._repr_mimebundle_()["text/html"]
    with pytest.raises(ReportError, match="inline or display"):
        Run("x", math="block")


def test_a_machine_without_pandoc_shows_the_text(monkeypatch):
    monkeypatch.setattr(formulas, "_program", lambda: "/no/such/pandoc")
    formulas._pandoc.cache_clear()
    with pytest.warns(QuenchbookWarning) as caught:
        document = _document("# T\n\n$x$")
    assert any("pip install pypandoc-binary" in str(one.message) for one in caught)
    assert "<code>$x$</code>" in html_page(document)
    formulas._pandoc.cache_clear()


def test_a_formula_the_pdf_cannot_set_is_its_text_there(monkeypatch):
    monkeypatch.setattr(
        formulas,
        "_typst",
        lambda keys: tuple("nosuchname(x)" if t == "x" else "y" for t, _ in keys),
    )
    with pytest.warns(QuenchbookWarning, match="cannot set the formula 'x'"):
        pdf = pdf_bytes(_document("# T\n\n$x$ and $y$"))
    assert _formula_words(pdf) == ["y"]
