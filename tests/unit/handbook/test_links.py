from __future__ import annotations

import pytest

from quenchbook.handbook.links import link_problems

GOOD = '<h1 id="top">A</h1><a href="b.html#x">b</a> <a href="#top">a</a>'


def problems(first: str, second: str = '<p id="x">B</p>') -> list[str]:
    return [str(own) for own in link_problems({"a.html": first, "b.html": second})]


def test_links_that_lead_somewhere_are_no_problem() -> None:
    outward = '<a href="https://example.org/">c</a> <img src="data:image/png;base64,AA" alt="">'
    assert problems(GOOD + outward) == []


@pytest.mark.parametrize(
    ("page", "found"),
    [
        ('<a href="c.html">c</a>', "a.html: the link to c.html leads to no page"),
        ('<a href="b.html#y">b</a>', "a.html: the link to b.html#y leads to no place on b.html"),
        ('<a href="#y">b</a>', "a.html: the link to #y leads to no place on a.html"),
        ('<a href="">b</a>', "a.html: a link has no target"),
        ('<a href="javascript:x()">b</a>', "leads out of the handbook"),
        ('<a href="file:///etc/passwd">b</a>', "leads out of the handbook"),
        ('<a href="//example.org/">b</a>', "leads out of the handbook"),
        ('<img src="https://example.org/a.png" alt="">', "leads out of the handbook"),
        ('<link rel="stylesheet" href="https://example.org/a.css">', "leads out of the handbook"),
        ('<script src="a.js"></script>', "a.html: the link to a.js leads to no page"),
    ],
)
def test_a_link_that_leads_nowhere_is_named_with_its_page(page: str, found: str) -> None:
    (told,) = problems(page)
    assert found in told
