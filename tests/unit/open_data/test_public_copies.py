"""Copies of a study file for the public say the rest exactly, and nothing of what is private."""

from __future__ import annotations

import re
import tomllib

import pytest
from tests.conftest import ROOT

from quenchbook.report.public_copies import left_out_of, public_study

BASE = 'key = "a"\ndate = 2026-01-14\n\n[layout]\nfurnace_loads = 3 # three\n'


def copied(text: str) -> tuple[str, tuple[str, ...]]:
    data, left_out = public_study(text.encode("utf-8"))
    return data.decode("utf-8"), left_out


def test_a_file_without_private_tables_keeps_its_bytes() -> None:
    data = b"\xef\xbb\xbf" + BASE.replace("\n", "\r\n").encode()
    assert public_study(data) == (data, ())


def test_no_comment_is_left_where_something_is_left_out() -> None:
    text, left_out = copied(
        f"{BASE}\n# secret\n[costs]\ncoupon = 3 # secret\n# secret\nbar = 2\n# secret\n\n"
        "[steel] # secret\ngrade = 'A2 # 3' # secret\n# secret\n"
    )
    assert left_out == ("[costs]", "comments")
    assert "secret" not in text
    assert [line for line in text.splitlines() if "#" in line] == [
        "# Public copy of a study file. Left out: [costs], comments.",
        "# Neither the plan nor the declaration nor the analysis depends on what is left out.",
        'grade = "A2 # 3"',
    ]
    assert left_out_of(text.encode()) == left_out


@pytest.mark.parametrize(
    "comment", ["# photos = ['Pierrot.jpg']", "#support = 'Pierrot'", "# [costs] of Pierrot"]
)
def test_an_entry_that_was_taken_out_with_a_comment_mark_is_private(comment: str) -> None:
    text, left_out = copied(f"{BASE}\n[publishing]\nunits = 'both'\n{comment}\n")
    assert "Pierrot" not in text
    assert left_out == ("comments",)


@pytest.mark.parametrize("name", ["plane_irons", "springs", "two_lots"])
def test_factors_and_questions_keep_their_order(name: str) -> None:
    text = (ROOT / "data" / name / "study.toml").read_text("utf-8")
    bare = re.sub(r"(?m)^\[costs\]\n(?:[^\[\n].*\n)*", "", text)
    expected = tomllib.loads(bare)
    copy = tomllib.loads(copied(bare + "\n[costs]\ncoupon = 3\n")[0])
    assert copy == expected
    for key in ("factors", "responses"):
        assert list(copy[key]) == list(expected[key])


@pytest.mark.parametrize(
    "private",
    [
        "\n[publishing]\nsupport = 'Pierrot'\nunits = 'both'\n",
        "\n[publishing]\nunits = 'both'\nsupport = '''\n[steel]\nPierrot\n'''\n",
        "\n[publishing]\nunits = 'both'\nphotos = [\n  { file = 'Pierrot.png' },\n]\n",
        "\n['publishing']\nunits = 'both'\nsupport = 'Pierrot'\n",
        '\n["publishing"]\nunits = "both"\n[["publishing"."photos"]]\nfile = "Pierrot"\n',
        "\n# Pierrot paid\n[layout.more]\na = 1\n[publishing]\nsupport = 'Pierrot'\nunits = 'both'\n",
        "\n[publishing]\nunits = 'both'\nsupport = 'Pierrot'\n[costs]\ncurrency = 'Pierrot'\n",
    ],
)
def test_however_it_is_written_the_private_words_are_gone(private: str) -> None:
    text, left_out = copied(BASE + private)
    assert "Pierrot" not in text
    content = tomllib.loads(text)
    expected = tomllib.loads(BASE + private)
    expected.pop("costs", None)
    assert expected["publishing"].pop("support", expected["publishing"].pop("photos", None))
    expected["publishing"].pop("photos", None)
    assert content == expected
    assert content["publishing"] == {"units": "both"}
    assert left_out


@pytest.mark.parametrize(
    "text",
    [
        'publishing = { support = "Pierrot", units = "both" }\n' + BASE,
        'publishing.support = "Pierrot"\npublishing.units = "both"\n' + BASE,
        "costs = { coupon = 3 }\n" + BASE,
    ],
)
def test_tables_inside_a_line_are_written_anew(text: str) -> None:
    copy, _ = copied(text)
    assert "Pierrot" not in copy
    assert "coupon" not in copy
    assert tomllib.loads(copy)["layout"] == {"furnace_loads": 3}


def test_all_kinds_of_values_survive_a_new_writing() -> None:
    text = (
        'costs = { a = 1 }\nt = "q\\" \\\\ \\n \\u007f é"\nd = 2026-01-14\nz = 2026-01-14T10:00:00Z\n'
        'c = 10:30:00\nf = 1.5\ni = -3\nb = true\nl = [1, [2.0, "x"]]\n"odd key" = 1\n'
        "[a.b]\nx = inf\n[[q]]\nk = 1\n[[q]]\nk = 2\n"
    )
    copy, _ = copied(text)
    expected = tomllib.loads(text)
    del expected["costs"]
    assert tomllib.loads(copy) == expected


@pytest.mark.parametrize("name", ["plane_irons"])
def test_the_copy_of_the_demonstration_lacks_its_prices_only(name: str) -> None:
    data = (ROOT / "data" / name / "study.toml").read_bytes()
    copy, left_out = public_study(data)
    expected = tomllib.loads(data.decode())
    del expected["costs"]
    assert tomllib.loads(copy.decode()) == expected
    assert left_out == ("[costs]", "comments")
