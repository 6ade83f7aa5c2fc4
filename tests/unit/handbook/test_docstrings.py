from __future__ import annotations

import quenchbook as qb
from quenchbook.handbook.docstrings import doc_blocks, doc_runs, doc_sections, first_sentence
from quenchbook.handbook.own_blocks import Definitions
from quenchbook.report.blocks import Bullets, Paragraph, Preformatted, plain_text

DOC = """Hold of a load, in one sentence. And another.

    More words that `finding` explains::

        quench -> cold

    Parameters
    ----------
    temper_c : float
        Temper temperature [degC].

        - at least 100
        - at most 700
    *asks : str
        Kinds.
    low, high : float, optional

    Returns
    -------
    Expected
        The range.
    note : str
        Or nothing.

    Raises
    ------
    EstimabilityError
        If there is none.

    Examples
    --------
    >>> 1 + 1
    2

    References
    ----------
    Somebody (1945), a paper.
    """


def section(title: str) -> list:
    return dict(doc_blocks(DOC))[title]


def test_sections_are_found_in_their_order() -> None:
    titles = [own.title for own in doc_sections(DOC)]
    assert titles == ["", "Parameters", "Returns", "Raises", "Examples", "References"]


def test_a_parameter_has_its_name_its_type_and_all_its_words() -> None:
    (found,) = section("Parameters")
    assert isinstance(found, Definitions)
    assert [own.term for own in found.entries] == ["temper_c", "*asks", "low, high"]
    assert [own.aside for own in found.entries] == ["float", "str", "float, optional"]
    first = [plain_text(words) for words in found.entries[0].meaning]
    assert first == ["Temper temperature [degC].", "– at least 100\n– at most 700"]
    assert found.entries[2].meaning == ()


def test_what_is_returned_may_have_a_name_or_only_a_type() -> None:
    (found,) = section("Returns")
    assert [(own.term, own.aside, own.is_code) for own in found.entries] == [
        ("Expected", "", False), ("note", "str", True),
    ]  # fmt: skip


def test_words_code_and_examples_are_told_apart() -> None:
    first, more, code = section("")
    assert plain_text(first.runs) == "Hold of a load, in one sentence. And another."
    assert plain_text(more.runs) == "More words that finding explains:"
    assert code == Preformatted("quench -> cold")
    assert section("Examples") == [Preformatted(">>> 1 + 1\n2")]


def test_a_star_of_arithmetic_is_no_emphasis() -> None:
    assert doc_runs("names and ``+ * : /`` or a * b * c") == (
        "names and ", doc_runs("``+ * : /``")[0], " or a * b * c",
    )  # fmt: skip


def test_html_and_marks_in_a_docstring_stay_words() -> None:
    (found,) = dict(doc_blocks("<script>alert(1)</script> & `<b>`."))[""]
    assert isinstance(found, Paragraph)
    assert plain_text(found.runs) == "<script>alert(1)</script> & <b>."


def test_a_list_is_a_list() -> None:
    (found,) = dict(doc_blocks("- one\n  and more\n- two"))[""]
    assert isinstance(found, Bullets)
    assert [plain_text(item) for item in found.items] == ["one and more", "two"]


def test_no_docstring_of_ours_loses_a_word() -> None:
    for name in sorted(set(qb.__all__) - {"__version__"}):
        text = getattr(qb, name).__doc__
        kept = "".join(own.title + "".join(own.lines) for own in doc_sections(text))
        assert _without_rules(text) == _without_rules(kept), name


def _without_rules(text: str) -> str:
    return "".join(text.split()).replace("-", "")


def test_every_public_name_begins_with_a_sentence() -> None:
    for name in sorted(set(qb.__all__) - {"__version__"}):
        assert first_sentence(getattr(qb, name).__doc__).endswith((".", ":")), name
