"""SVG inside a page: drawing stays, everything else goes."""

from __future__ import annotations

import pytest

from quenchbook.errors import ReportError
from quenchbook.report.svg import inline_svg, svg_file, svg_ratio

HEAD = (
    '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
    'viewBox="0 0 20 10">'
)


def _inline(body, head=HEAD):
    return inline_svg(f"{head}{body}</svg>", prefix="p", title="Words <b>", where="figure 'x'")


@pytest.mark.parametrize(
    "body",
    [
        "<script>alert(1)</script>",
        "<style>*{display:none}</style>",
        "<metadata>me</metadata>",
        "<foreignObject><p xmlns='http://www.w3.org/1999/xhtml'>p</p></foreignObject>",
        '<a href="javascript:alert(1)"><text>t</text></a>',
        '<set attributeName="href" to="javascript:alert(1)"/>',
        '<animate onbegin="alert(1)"/>',
        "<!-- note --><?php x ?>",
    ],
)
def test_what_does_not_draw_goes(body):
    assert _inline(body) == _inline("")


@pytest.mark.parametrize(
    "attribute",
    [
        'onload="alert(1)"', 'ONCLICK="x()"', 'href="https://example.org/x"',
        'xlink:href="//example.org/x"', 'fill="url(https://example.org/#a)"',
        "style=\"fill: url('https://example.org/x')\"", 'style="@import x"',
        'style="background: u\\72l(x)"', 'href="data:text/html,x"', 'fill="url(#a"',
    ],
)  # fmt: skip
def test_what_leads_out_or_runs_goes(attribute):
    assert _inline(f"<rect {attribute} width='1'/>") == _inline("<rect width='1'/>")


def test_data_of_a_colour_bar_stay_and_other_pictures_go():
    kept = _inline('<image xlink:href="data:image/png;base64,iVBO"/>')
    assert 'href="data:image/png;base64,iVBO"' in kept
    assert "example" not in _inline('<image href="https://example.org/x.png"/>')
    assert "svg+xml" not in _inline('<image href="data:image/svg+xml;base64,iVBO"/>')


def test_ids_get_the_prefix_wherever_they_are_used():
    text = _inline(
        '<defs><path id="m"/><clipPath id="c"/></defs><use xlink:href="#m" clip-path="url(#c)"/>'
        "<g style=\"fill: url('#c'); stroke: url(#m)\"/>"
    )
    for part in (
        'id="p-m"',
        'href="#p-m"',
        'clip-path="url(#p-c)"',
        "url(#p-c); stroke: url(#p-m)",
    ):
        assert part in text


def test_the_words_of_the_figure_are_its_title():
    text = _inline("<title>old</title>")
    assert '<title id="p-title">Words &lt;b&gt;</title>' in text
    assert 'role="img"' in text
    assert 'aria-labelledby="p-title"' in text
    assert "old" not in text
    decoration = inline_svg(f"{HEAD}</svg>", prefix="p", title="", where="glyph")
    assert 'aria-hidden="true"' in decoration


def test_a_file_for_the_printed_page_has_white_ground():
    data = svg_file(f'{HEAD}<rect style="fill: #fdfcf9; stroke: #22262b"/></svg>', where="x")
    assert b'style="fill: #ffffff; stroke: #22262b"' in data
    assert b'xmlns="http://www.w3.org/2000/svg"' in data


@pytest.mark.parametrize(
    ("svg", "message"),
    [
        ("<svg", "cannot be read"),
        ("<html/>", "begins with <html>, expected <svg>"),
        ('<!DOCTYPE svg [<!ENTITY a "b">]><svg/>', "declares entities"),
    ],
)
def test_what_is_no_svg_is_named(svg, message):
    with pytest.raises(ReportError, match=f"figure 'x'.*{message}"):
        inline_svg(svg, prefix="p", title="t", where="figure 'x'")


@pytest.mark.parametrize(
    ("head", "ratio"),
    [
        (HEAD, 0.5),
        ('<svg xmlns="http://www.w3.org/2000/svg" width="10pt" height="30pt">', 3.0),
        ('<svg xmlns="http://www.w3.org/2000/svg">', 1.0),
    ],
)
def test_the_shape_of_a_figure_is_known(head, ratio):
    assert svg_ratio(f"{head}</svg>", where="x") == pytest.approx(ratio)
