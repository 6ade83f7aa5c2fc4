"""Bench page for a phone: one file, nothing fetched, codes and numbers as in Python."""

from __future__ import annotations

import base64
import csv
import hashlib
import io
import json
import re
import shutil
import subprocess
from dataclasses import replace
from html.parser import HTMLParser
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

from quenchbook.bench.phone_content import phone_content
from quenchbook.errors import ReportError, UnitError
from quenchbook.plan.labels import CHARACTERS, all_codes, nearest_codes
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.report.phone_page import SCRIPTS, phone_page, write_phone_page
from quenchbook.steps import bench_study, copy_example
from quenchbook.units import parse_number

HOSTILE = "</script><script>alert(1)</script>{{script}}\u2028<img src=x onerror=alert(1)>\"'&\x07"

needs_node = pytest.mark.skipif(
    shutil.which("node") is None, reason="no node here; tests/browser runs the same comparison"
)


def part(name: str) -> str:
    return resources.files("quenchbook.report").joinpath(name).read_text(encoding="utf-8")


def from_node(expression: str, value: object) -> Any:
    """Value of an expression of `given`, after the texts part of the page."""
    script = (
        f"{part('phone_text.js')}\nconst given = JSON.parse(require('fs').readFileSync(0, 'utf8'));"
        f"\nconsole.log(JSON.stringify({expression}));"
    )
    done = subprocess.run(
        ["node", "-e", script], input=json.dumps(value), capture_output=True, text=True, check=True
    )
    return json.loads(done.stdout)


class Reader(HTMLParser):
    """Elements with their attributes."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))


def hostile(matrix: CouponMatrix) -> CouponMatrix:
    study = matrix.study
    factors = tuple(
        replace(own, words=dict.fromkeys(map(str, own.levels), HOSTILE))
        if not own.is_numeric
        else own
        for own in study.factors
    )
    held = {"soak": HOSTILE, "wrap": HOSTILE}
    study = replace(study, title=HOSTILE, key="hostile", factors=factors, held_constant=held)
    return replace(matrix, study=study)


@pytest.mark.parametrize("study", ["plane_irons_matrix", "coated_bars_matrix"])
def test_the_page_fetches_nothing(study: str, request: pytest.FixtureRequest) -> None:
    page = phone_page(request.getfixturevalue(study))
    assert not re.search(
        r"https?:|//[a-z]|\bsrc=|\bhref=|@import|url\(", page.partition("<script>")[0]
    )
    scripts = "".join(map(part, SCRIPTS))
    assert not re.search(
        r"https?:|fetch\(|XMLHttpRequest|WebSocket|sendBeacon|EventSource|import\(|innerHTML|eval\(",
        scripts,
    )
    tags = {tag for tag, _ in Reader(page).elements}
    assert tags == {"html", "head", "meta", "title", "style", "body", "header", "h1", "p", "noscript", "nav", "main", "div", "script"}  # fmt: skip


def test_only_its_own_style_and_script_may_run(plane_irons_matrix: CouponMatrix) -> None:
    page = phone_page(plane_irons_matrix)
    [policy] = re.findall(r'Security-Policy" content="([^"]+)"', page)

    def source(text: str) -> str:
        return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()

    [style] = re.findall(r"<style>(.*?)</style>", page, re.DOTALL)
    [script] = re.findall(r"<script>(.*?)</script>", page, re.DOTALL)
    assert policy == (
        f"default-src 'none'; style-src '{source(style)}'; script-src '{source(script)}'; "
        "base-uri 'none'; form-action 'none'"
    )


def test_the_parts_that_are_the_same_for_all_plans_are_small() -> None:
    names = ("phone_page.html", "phone_page.css", *SCRIPTS)
    assert sum(len(part(name).encode()) for name in names) < 60_000


def test_hostile_words_of_a_study_stay_words(plane_irons_matrix: CouponMatrix) -> None:
    page = phone_page(hostile(plane_irons_matrix))
    clean = phone_page(plane_irons_matrix)
    tags = [tag for tag, _ in Reader(page).elements]
    assert tags == [tag for tag, _ in Reader(clean).elements]
    assert re.findall(r"<script>.*?</script>", page, re.DOTALL) == re.findall(
        r"<script>.*?</script>", clean, re.DOTALL
    )
    assert "\x07" not in page
    [data] = re.findall(r'id="plan">(.*?)</script>', page, re.DOTALL)
    assert json.loads(data)["title"] == HOSTILE.replace("\x07", "\u25a1")


def test_the_page_holds_every_coupon_of_every_load_in_quench_order(
    plane_irons_matrix: CouponMatrix,
) -> None:
    content = phone_content(plane_irons_matrix)
    frame = plane_irons_matrix.frame.sort_values(["furnace_load", "load_place"])
    assert [own.code for load in content.loads for own in load.coupons] == frame["coupon"].tolist()
    assert {len(load.coupons) for load in content.loads} == {8}
    first = content.loads[0]
    assert first.settings == ("1030\u00a0°C",)
    assert first.hold == 20
    assert [field.column for field in first.fields] == ["austenitize_actual_degC"]
    assert first.coupons[0].words == ("freezer", "temper 175\u00a0°C (batch 2)", "wait 0\u00a0min")
    assert [(own.label, own.codes, own.wait, own.cold) for own in first.colds] == [
        ("1-1", ("R9HH", "YFXJ"), 0, 60),
        ("1-4", ("DDDF", "AYPR"), 60, 60),
        ("1-2", ("CTFT", "JD7H"), 1440, 60),
    ]
    assert len(content.tempers) == 12
    assert content.tempers[0].hold == 120
    assert content.characters == CHARACTERS


def test_coupons_that_go_into_the_cold_are_those_with_a_cold_route(
    plane_irons_matrix: CouponMatrix,
) -> None:
    content = phone_content(plane_irons_matrix)
    frame = plane_irons_matrix.frame
    cold = {code for load in content.loads for group in load.colds for code in group.codes}
    assert cold == set(frame.loc[frame["cold_route"] != "none", "coupon"])


def test_tests_do_not_depend_on_the_treatment(plane_irons_matrix: CouponMatrix) -> None:
    frame = plane_irons_matrix.frame.copy()
    seen = ["coupon", "hardness_hrc_order", "impact_j_order"]
    others = [name for name in frame if name not in seen]
    frame[others] = frame[others].iloc[::-1].to_numpy()
    other = replace(
        plane_irons_matrix, frame=frame.astype(plane_irons_matrix.frame.dtypes.to_dict())
    )
    assert phone_content(other).tests == phone_content(plane_irons_matrix).tests
    assert phone_content(other).loads != phone_content(plane_irons_matrix).loads
    [hardness, impact] = phone_content(plane_irons_matrix).tests
    assert [order for order, _ in hardness.rows] == list(range(1, 97))
    assert len(impact.rows) == 48


def test_codes_of_somebody_else_are_checked_without_the_error_correcting_code(
    coated_bars_matrix: CouponMatrix,
) -> None:
    content = phone_content(coated_bars_matrix)
    assert content.characters == ""
    assert not content.blinded
    assert content.loads[0].coupons[0].words == ("coating C2",)
    assert content.loads[0].hold is None


def test_a_page_is_written_again_for_its_plan_and_for_no_other(
    plane_irons_matrix: CouponMatrix, coated_bars_matrix: CouponMatrix, tmp_path: Path
) -> None:
    path = write_phone_page(coated_bars_matrix, tmp_path / "bench" / "phone.html")
    before = path.read_bytes()
    assert write_phone_page(coated_bars_matrix, path).read_bytes() == before
    with pytest.raises(ReportError, match="is not the page of this plan"):
        write_phone_page(plane_irons_matrix, path)
    assert path.read_bytes() == before


def test_the_bench_step_writes_the_page(tmp_path: Path) -> None:
    folder = copy_example("coated_bars", tmp_path / "study")
    assert folder / "bench" / "phone.html" in bench_study(folder)


# --- the script against Python --------------------------------------------------------------------


@needs_node
@pytest.mark.parametrize("length", [4, 5])
def test_the_script_makes_the_codes_of_the_plan(length: int) -> None:
    assert tuple(from_node("allCodes(given[0], given[1])", [CHARACTERS, length])) == all_codes(
        length
    )


@needs_node
def test_the_script_proposes_what_python_proposes(plane_irons_matrix: CouponMatrix) -> None:
    codes = plane_irons_matrix.frame["coupon"].tolist()
    read = [
        code[:at] + character + code[at + 1 :]
        for code in all_codes(4)
        for at in range(4)
        for character in CHARACTERS[::4]
    ]
    found = from_node("given[0].map((text) => nearestCodes(text, given[1]))", [read, codes])
    assert found == [nearest_codes(text, codes) for text in read]


@needs_node
def test_every_single_misread_character_of_every_code_is_corrected() -> None:
    misread = """given.flatMap((code) => [...code].flatMap((own, at) => [...given.join("")]
        .slice(0, 68).filter((c) => c !== own)
        .map((c) => [code, nearestCodes(code.slice(0, at) + c + code.slice(at + 1), given)])))
        .filter(([code, near]) => near.length !== 1 || near[0] !== code).length"""
    assert from_node(misread, list(all_codes(4))) == 0


@needs_node
def test_a_swap_is_proposed_and_a_code_of_another_plan_is_told(
    plane_irons_matrix: CouponMatrix,
) -> None:
    codes = plane_irons_matrix.frame["coupon"].tolist()
    foreign = next(code for code in all_codes(4) if code not in codes)
    given = [["r9hh", "9RHH", foreign, "????"], codes, CHARACTERS]
    found = from_node("given[0].map((text) => codeRead(text, given[1], given[2]))", given)
    assert found[0] == {"code": "R9HH"}
    assert found[1] == {"near": ["R9HH"], "how": "two characters are swapped"}
    assert found[2] == {"near": [], "other": True}
    assert found[3] == {"near": [], "other": False}


NUMBERS = ["62", "62.5", "62,5", " 62,5 ", "+61", "\u22123,5", "-3.5", ",5", ".5", "7.", "0,125", "1234", "1234,5", "12,3456", "64.125"]  # fmt: skip


@needs_node
def test_numbers_are_read_as_the_reader_of_the_records_reads_them() -> None:
    found = from_node("given.map(numberRead)", NUMBERS)
    for typed, own in zip(NUMBERS, found, strict=True):
        mark = "," if "," in typed else "."
        assert own["value"] == parse_number(typed, decimal=mark), typed
        assert parse_number(own["text"], decimal=".") == own["value"], typed


@needs_node
def test_what_is_no_number_or_could_be_two_is_refused() -> None:
    found = from_node("given.map(numberRead)", ["6 2 5 a", "abc", "1,2,3", "1e3", "--1", "NaN"])
    assert [own["problem"].endswith("is not a number.") for own in found] == [True] * 6
    [two] = from_node("given.map(numberRead)", ["1,234"])
    assert two == {"problem": "1,234 can be read in two ways. Write 1234 or 1.234."}
    with pytest.raises(UnitError):
        parse_number("1,234")
    assert from_node("given.map(numberRead)", ["", "  "]) == [{}, {}]


@needs_node
def test_cells_of_a_file_come_back_as_they_were() -> None:
    cells = ["plain", 'a "b", c;d|e', "line\nend\u2028\x00here", "=1+1", "\u00e9\u4e2d"]
    text = from_node("csvText('abc', ['a','b','c','d','e'], [given])", cells)
    first, *rest = text.split("\n")
    assert first == "# plan abc"
    rows = list(csv.reader(io.StringIO("\n".join(rest))))
    assert rows[1] == ["plain", 'a "b", c;d|e', "line end here", "=1+1", "\u00e9\u4e2d"]
