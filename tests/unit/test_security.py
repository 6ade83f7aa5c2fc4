"""A study folder of a stranger executes nothing, leaves its folder nowhere, and takes no memory."""

from __future__ import annotations

import ast
import io
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import tracemalloc
import zipfile
from collections.abc import Callable, Iterator
from importlib import metadata
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xlsxwriter
from packaging.requirements import Requirement
from tests.conftest import ROOT
from tests.hostile_folder import installed_folders, is_installed, is_outside

import quenchbook as qb
from quenchbook.errors import EstimabilityError, PlanError, QuenchbookError, RecordError, StudyError
from quenchbook.fit.formula_size import formula_fault
from quenchbook.reading_files import path_fault
from quenchbook.records.grids import workbook_grids
from quenchbook.records.kept_entries import kept_entries
from quenchbook.records.workbook_size import workbook_fault

SOURCE = ROOT / "src" / "quenchbook"

# --- what the source may not hold -----------------------------------------------------------------

NAMES = ("eval", "exec", "compile", "__import__", "getattr_static", "execfile")
MODULES = ("pickle", "cPickle", "dill", "cloudpickle", "marshal", "shelve", "yaml", "code", "runpy")
CALLS = (
    "os.system", "os.popen", "os.startfile", "pd.eval", "pd.read_pickle", "np.load",
    "subprocess.run", "subprocess.call", "subprocess.Popen", "subprocess.check_output",
    "importlib.import_module",
)  # fmt: skip
ATTRIBUTES = ("eval", "query", "read_pickle", "to_pickle", "model_matrix", "get_model_matrix")
REVIEWED = {
    ("__init__.py", "importlib.import_module"): "names of our own modules, from _HOME",
    ("publishing_steps.py", "importlib.import_module"): "names of our own modules, from WRITERS",
    ("shown.py", "importlib.import_module"): "quenchbook itself, for a figure of a result",
    ("work_backends.py", "importlib.import_module"): "distributed, where a cluster is asked for",
    ("lab.py", "subprocess.Popen"): "quenchbook lab: JupyterLab of this Python, a list",
    ("jupyter_checkup.py", "subprocess.run"): "doctor: the program of a kernel says it loads us",
    ("report/browser_print.py", "subprocess.run"): "a browser prints our own page, a list",
    ("report/formulas.py", "subprocess.run"): "pandoc turns a formula into MathML, a list",
}
"""Every place that runs or loads something, with the reason why it may; none is on reading."""


def _dotted(node: ast.expr) -> str:
    return ast.unparse(node) if isinstance(node, ast.Name | ast.Attribute) else ""


def risks_in(text: str) -> Iterator[str]:
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import | ast.ImportFrom):
            modules = [own.name for own in node.names] if isinstance(node, ast.Import) else []
            modules += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            yield from (f"import {own}" for own in modules if own.split(".")[0] in MODULES)
        if isinstance(node, ast.Call):
            name = _dotted(node.func)
            if name in NAMES or name in CALLS:
                yield name
            elif isinstance(node.func, ast.Attribute) and node.func.attr in ATTRIBUTES:
                yield f".{node.func.attr}"
            for word in node.keywords:
                if word.arg in ("shell", "allow_pickle") and not (
                    isinstance(word.value, ast.Constant) and word.value.value is False
                ):
                    yield f"{word.arg}="


def test_the_source_runs_and_loads_only_what_was_reviewed() -> None:
    found = {
        (path.relative_to(SOURCE).as_posix(), risk)
        for path in SOURCE.rglob("*.py")
        for risk in risks_in(path.read_text(encoding="utf-8"))
    }
    assert found == set(REVIEWED)


@pytest.mark.parametrize(
    "text",
    ["eval('1')", "import pickle", "from yaml import load", "pd.read_pickle(x)", "frame.query(x)",
     "subprocess.run(x, shell=True)", "np.load(x, allow_pickle=True)", "os.system(x)",
     "__import__('os')", "formula.get_model_matrix(frame)"],
)  # fmt: skip
def test_the_check_of_the_source_finds_what_it_is_for(text: str) -> None:
    assert list(risks_in(text))


# --- nothing is executed on reading ---------------------------------------------------------------

MARK = Path(tempfile.gettempdir()) / f"quenchbook_was_here_{os.getpid()}"
EVIL = f"__import__('os').system('touch {MARK}')"


@pytest.fixture(autouse=True)
def nothing_was_executed() -> Iterator[None]:
    yield
    assert not MARK.exists()


def test_the_mark_shows_what_is_executed() -> None:
    eval(EVIL)
    assert MARK.exists()
    MARK.unlink()


@pytest.fixture
def hostile(tmp_path: Path) -> Path:
    """The demonstration, with code in every place that takes a text, and files that are code."""
    place = Path(shutil.copytree(ROOT / "data" / "plane_irons", tmp_path / "study"))
    path = place / "study.toml"
    text = path.read_text(encoding="utf-8")
    text = re.sub(r'^(title|author|question|grade) = ".*"$', f'\\1 = "{EVIL}"', text, flags=re.M)
    path.write_text(text, encoding="utf-8")
    (place / "conftest.py").write_text(EVIL, encoding="utf-8")
    (place / "quenchbook.py").write_text(EVIL, encoding="utf-8")
    (place / "records" / "__init__.py").write_text(EVIL, encoding="utf-8")
    (place / "records" / "hardness.pkl").write_bytes(f"cos\nsystem\n(S'touch {MARK}'\ntR.".encode())
    notes = place / "records" / "deviations.csv"
    notes.write_text(
        notes.read_text(encoding="utf-8") + f'furnace_load,1,note,,"={EVIL}"\n', encoding="utf-8"
    )
    (place / "reports").mkdir()
    (place / "reports" / "findings.csv").write_text(f'verdict\n"{EVIL}"\n', encoding="utf-8")
    (place / "reports" / "answered_from.csv").write_text(
        "file,sha256\n../secret.csv,0\nstudy.toml,0\n", encoding="utf-8"
    )
    return place


@pytest.mark.parametrize("kind", ["texts", "hostile values", "link"])
def test_reading_a_hostile_folder_executes_writes_and_asks_nothing(
    hostile: Path, kind: str
) -> None:
    if kind == "hostile values":
        path = hostile / "records" / "impact.csv"
        path.write_text(path.read_text(encoding="utf-8") + f'"{EVIL}",1\n', encoding="utf-8")
    if kind == "link":
        (hostile.parent / "secret.csv").write_text("coupon,hardness_hrc\n", encoding="utf-8")
        (hostile / "records" / "more.csv").symlink_to(hostile.parent / "secret.csv")
        for name in ("findings.csv", "answered_from.csv"):
            (hostile / "reports" / name).unlink()
            (hostile / "reports" / name).symlink_to(hostile.parent / "secret.csv")
    command = [sys.executable, str(ROOT / "tests" / "hostile_folder.py"), str(hostile)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=hostile)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout.splitlines()[-1]) == []
    assert ("read" in done.stderr.split()) == (kind == "texts"), done.stderr
    assert "looked" in done.stderr.split(), done.stderr  # forms tell mistakes, they do not fail
    if kind == "link":
        assert "more.csv: is a link that leads out of the study folder" in done.stderr


def test_code_of_a_study_is_not_taken_for_that_of_a_library(hostile: Path) -> None:
    libraries = installed_folders()
    assert is_installed(qb.__file__, libraries)
    assert is_installed(pd.__file__, libraries)
    assert not is_installed(str(hostile / "quenchbook.py"), libraries)


def test_each_file_that_is_neither_of_the_study_nor_installed_lies_outside(hostile: Path) -> None:
    libraries = installed_folders()
    outside = ("/etc/passwd", str(hostile.parent / "secret.csv"), f"{hostile}_2/a.csv")
    assert all(is_outside(path, hostile, libraries) for path in outside)
    own = (str(hostile / "records" / "impact.csv"), qb.__file__)
    assert not any(is_outside(path, hostile, libraries) for path in own)


FRAME = pd.DataFrame(
    {
        "temp": np.repeat(["low", "high"], 8), "route": ["a", "b"] * 8,
        "y": np.random.default_rng(1).normal(size=16), "load": np.repeat(range(8), 2),
    }
)  # fmt: skip
FORMULAS = [
    EVIL, "temp.__class__", "C(temp)", "exec('1')", "[x for x in ()]", "{temp}", "`temp`", "temp @ y",
    "lambda: 0", "np.exp(temp)", "temp if temp else 1", "temp = 1", "I(temp)", "poly(temp, 2)",
    "temp ~ route", "temp; route", "'temp'", "temp\\x00", "(" * 500 + "temp" + ")" * 500,
    "+".join(["temp"] * 400), "(temp + route + y) ^ 99", "(temp + route) ** 999999999",
    "temp ^ temp", "*".join(f"x{n}" for n in range(40)), "-" * 300 + "temp", "((temp+route)^9)^9",
    "((((temp", "temp ^ -1", "^", "temp route", "(-temp)/route", "(temp-temp)/route",
]  # fmt: skip


@pytest.mark.parametrize("formula", FORMULAS, ids=lambda text: text[:24])
def test_a_formula_is_names_and_operators_or_is_refused_in_words(formula: str) -> None:
    tracemalloc.start()
    try:
        with pytest.raises(EstimabilityError, match=r"Write|have no column|expected"):
            qb.mixed_model(FRAME, "y", fixed=formula, strata=["load"])
        assert tracemalloc.get_traced_memory()[1] < 50_000_000
    finally:
        tracemalloc.stop()


@pytest.mark.parametrize(
    "formula",
    ["temp * route + temper", "a / b / c", "(a + b + c + d) ^ 3", "a*b*c*d*e*f*g*h*i*j", "a:b - c"],
)
def test_a_formula_of_the_size_of_a_study_may_be_taken_apart(formula: str) -> None:
    assert formula_fault(formula) == ""


# --- names stay in the folder ---------------------------------------------------------------------

PATHS = [
    "../x.jpg", "a/../../x.jpg", "/etc/x.jpg", "C:/x.jpg", "C:x.jpg", "\\\\server\\x.jpg",
    "a\\x.jpg", "con.jpg", "photos/NUL.jpg", "a/com1.jpg", "x\x00.jpg", "x\x1b.jpg", "a /x.jpg",
    "CONIN$.jpg", "a/conout$", "COM¹.jpg", "photos/com³", "LPT².jpg",
    "n" * 300 + ".jpg", "x?.jpg", "file:///x.jpg", "~/../x.jpg", "x.jpg:stream.jpg",
]  # fmt: skip


@pytest.mark.parametrize("path", PATHS, ids=lambda text: repr(text)[:24])
def test_a_path_that_could_leave_the_folder_is_refused(path: str, tmp_path: Path) -> None:
    assert path_fault(path)
    place = Path(shutil.copytree(ROOT / "data" / "coated_bars", tmp_path / "study"))
    entry = "\n[[publishing.photos]]\n" + "\n".join(
        f"{key} = {json.dumps(text)}"
        for key, text in (("file", path), ("caption", "c"), ("alt", "a picture of a furnace"))
    )
    text = (place / "study.toml").read_text(encoding="utf-8")
    (place / "study.toml").write_text(text + entry, encoding="utf-8")
    with pytest.raises(StudyError, match="no JPEG or PNG file below the study folder"):
        qb.read_study(place)


@pytest.mark.parametrize("key", ["../up", "a/b", "con", "lpt1", "k" * 200, "", "a\\b", "ab\u0000"])
def test_a_key_that_cannot_name_a_file_is_refused(key: str, tmp_path: Path) -> None:
    place = Path(shutil.copytree(ROOT / "data" / "coated_bars", tmp_path / "study"))
    path = place / "study.toml"
    text = re.sub(
        r"(?m)^key = .*$", lambda _: f"key = {json.dumps(key)}", path.read_text("utf-8"), count=1
    )
    path.write_text(text, encoding="utf-8")
    with pytest.raises(
        StudyError, match=r"key is missing|not a short name|cannot be in the name|control|Illegal"
    ):
        qb.read_study(place)


@pytest.mark.parametrize(
    "name", ["study.toml", "plan/plan.json", "plan/coupon_matrix.csv", "records/hardness_session_1.csv",
             "evidence.csv", "records", "plan"],
)  # fmt: skip
@pytest.mark.parametrize("target", ["outside", "device"])
def test_a_link_out_of_the_folder_is_not_followed(name: str, target: str, tmp_path: Path) -> None:
    place = Path(shutil.copytree(ROOT / "data" / "plane_irons", tmp_path / "study"))
    path = place / name
    if target == "outside":
        shutil.move(path, tmp_path / "outside")
        path.symlink_to(tmp_path / "outside")
    else:
        shutil.rmtree(path) if path.is_dir() else None
        path.unlink(missing_ok=True)
        path.symlink_to("/dev/zero")
    with pytest.raises(QuenchbookError, match=r"is a link that leads out|there is no such f"):
        qb.read_folder(place)


def test_a_link_inside_the_folder_is_followed(tmp_path: Path) -> None:
    place = Path(shutil.copytree(ROOT / "data" / "coated_bars", tmp_path / "study"))
    shutil.move(place / "records" / "resistance.csv", place / "resistance.csv")
    (place / "records" / "resistance.csv").symlink_to(place / "resistance.csv")
    assert len(qb.read_folder(place)[2].readings) == 24


@pytest.mark.parametrize("file", ["../../study.toml", "/etc/passwd", "a\\b", "con.csv"])
def test_an_accepted_file_of_another_folder_is_refused(file: str, tmp_path: Path) -> None:
    from quenchbook.records.kept_entries import _COLUMNS, Entry, _sealed

    place = tmp_path / "records" / "kept"
    place.mkdir(parents=True)
    cells = dict.fromkeys(_COLUMNS, "") | {"kind": "file", "file": file, "sha256": "0" * 64}
    (place / "entries_0001.csv").write_bytes(_sealed([Entry(**cells)], "nothing"))
    with pytest.raises(RecordError, match="outside it"):
        kept_entries(tmp_path / "records")


# --- nothing takes the memory ---------------------------------------------------------------------


def _changed(place: Path, change: Callable[[str], str]) -> None:
    path = place / "study.toml"
    path.write_text(change(path.read_text(encoding="utf-8")), encoding="utf-8")


BOMBS: dict[str, Callable[[str], str]] = {
    "loads": lambda t: re.sub(r"(?m)^furnace_loads = \d+", "furnace_loads = 1000000000", t),
    "coupons": lambda t: re.sub(r"(?m)^coupons_per_load = \d+", "coupons_per_load = 99999", t),
    "levels": lambda t: re.sub(
        r'levels = \["C1".*\]', "levels = [" + ",".join(f'"L{n}"' for n in range(9000)) + "]", t
    ),
    "infinite": lambda t: re.sub(r'levels = \["360.*\]', "levels = [1e999, 1e998]", t),
    "exponent": lambda t: re.sub(r'levels = \["360.*\]', 'levels = ["1e999999 degC", "1 degC"]', t),
    "digits": lambda t: t + "\nnotes_2 = " + "9" * 100_000,
    "deep": lambda t: t + "\nnotes_2 = " + "[" * 100_000,
    "long": lambda t: t + "\n#" + "x" * 3_000_000,
    "factors": lambda t: t + "".join(
        f'\n[factors.f{n}]\nlevels = ["a", "b"]\n' for n in range(2000)
    ),
}  # fmt: skip


@pytest.mark.parametrize("bomb", list(BOMBS))
def test_a_study_file_that_would_take_the_memory_is_refused(bomb: str, tmp_path: Path) -> None:
    place = Path(shutil.copytree(ROOT / "data" / "coated_bars", tmp_path / "study"))
    before = (place / "study.toml").read_text(encoding="utf-8")
    _changed(place, BOMBS[bomb])
    assert (place / "study.toml").read_text(encoding="utf-8") != before
    tracemalloc.start()
    try:
        with pytest.raises(StudyError):
            qb.read_study(place)
        assert tracemalloc.get_traced_memory()[1] < 100_000_000
    finally:
        tracemalloc.stop()


def test_combinations_without_number_are_refused_when_they_are_laid_out(tmp_path: Path) -> None:
    more = "".join(
        f'\n[factors.f{n}]\nlevels = ["a", "b", "c", "d"]\nset_for = "coupon"\n' for n in range(20)
    )
    text = (ROOT / "data" / "two_lots" / "study.toml").read_text(encoding="utf-8")
    (tmp_path / "study.toml").write_text(text + more, encoding="utf-8")
    with pytest.raises((PlanError, StudyError), match="combinations of levels"):
        qb.treatments(qb.read_study(tmp_path))


@pytest.mark.parametrize("text", ["[" * 100_000, '{"seed": ' + "9" * 10_000 + "}", "[]", "\x00"])
def test_a_plan_file_of_nonsense_is_refused(text: str, tmp_path: Path) -> None:
    place = Path(shutil.copytree(ROOT / "data" / "coated_bars", tmp_path / "study"))
    (place / "plan" / "plan.json").write_text(text, encoding="utf-8")
    with pytest.raises(PlanError, match="is damaged"):
        qb.read_folder(place)


def workbook(cell: str = "A1") -> bytes:
    page = io.BytesIO()
    book = xlsxwriter.Workbook(page, {"in_memory": True})
    sheet = book.add_worksheet()
    sheet.write("A1", "coupon")
    sheet.write(cell, 1)
    book.close()
    return page.getvalue()


def zipped(parts: dict[str, bytes]) -> bytes:
    page = io.BytesIO()
    with zipfile.ZipFile(page, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return page.getvalue()


def renamed(data: bytes, name: str) -> bytes:
    """The workbook with its first sheet under another name, which the other parts tell."""
    with zipfile.ZipFile(io.BytesIO(data)) as book:
        parts = {own: book.read(own) for own in book.namelist()}
    parts["xl/" + name] = parts.pop("xl/worksheets/sheet1.xml")
    old, new = b"worksheets/sheet1.xml", name.encode()
    return zipped({own: text.replace(old, new) for own, text in parts.items()})


def open_document(cell: str, row: str = "") -> bytes:
    text = f"<d><table:table><table:table-row {row}>{cell}</table:table-row></table:table></d>"
    return zipped({"content.xml": text.encode()})


FILLED = '<table:table-cell office:value="1" table:number-columns-repeated="{}"/>'
BLANK = '<table:table-cell table:number-columns-repeated="{}"/>'
WORKBOOKS = {
    "unpacks to 200 MB": (zipped({"xl/worksheets/sheet1.xml": bytes(200_000_000)}), "unpacks to"),
    "last cell": (workbook("XFD1048576"), "1048576 rows and 16384 columns"),
    "far down and right": (workbook("ZZ900000"), "900000 rows"),
    "entities": (zipped({"xl/a.xml": b"<!DOCTYPE x [<!ENTITY a 'a'>]><x/>"}), "entities"),
    "other encoding": (zipped({"xl/a.xml": "<x r='XFD1'/>".encode("utf-16")}), "encoding"),
    "many parts": (zipped({f"a{n}": b"" for n in range(6000)}), "6000 parts"),
    "repeated cell": (open_document(FILLED.format(10**9)), "1000000000 columns"),
    "repeated row": (
        open_document(FILLED.format(9), 'table:number-rows-repeated="99999999"'), "99999999 rows",
    ),
    "blank before": (open_document(BLANK.format(10**8) + FILLED.format(1)), "100000001 columns"),
    "cut": (workbook()[:-40], "no sound zip archive"),
    "a byte before": (b"x" + workbook("XFD1048576"), "no sound zip archive"),
    "sheet without .xml": (renamed(workbook("XFD1048576"), "worksheets/sheet1.dat"), "16384 columns"),
    "sheet as a picture": (renamed(workbook("XFD1048576"), "media/image1.png"), "16384 columns"),
    "other encoding without .xml": (zipped({"xl/a.dat": "<x r='XFD1'/>".encode("utf-16-le")}), "encoding"),
    "fault before a repeated cell": (
        open_document('<x a="1" a="2"/>' + FILLED.format(10**9)), "damaged table",
    ),
}  # fmt: skip


@pytest.mark.parametrize("kind", list(WORKBOOKS))
def test_a_workbook_that_would_take_the_memory_is_not_opened(kind: str) -> None:
    data, words = WORKBOOKS[kind]
    assert words in workbook_fault(data)


def test_a_usual_workbook_is_opened() -> None:
    assert workbook_fault(workbook("F2000")) == ""
    assert workbook_fault(open_document(FILLED.format(3) + BLANK.format(16384 - 3))) == ""
    picture = b"\x89PNG\r\n\x1a\n" + np.random.default_rng(1).bytes(1_000_000)
    assert workbook_fault(zipped({"xl/media/image1.png": picture})) == ""


def test_a_sheet_under_another_name_is_read_by_the_reader_of_workbooks() -> None:
    """So the judge of sizes must look at it; the bombs of the table above are real."""
    data = renamed(workbook("C3"), "media/image1.png")
    assert workbook_fault(data) == ""
    ((grid,), problems) = workbook_grids("a.xlsx", data)
    assert (len(grid.lines), problems) == (3, [])


def test_a_file_that_is_far_too_large_is_refused_before_it_is_read(tmp_path: Path) -> None:
    place = Path(shutil.copytree(ROOT / "data" / "coated_bars", tmp_path / "study"))
    os.truncate(place / "records" / "resistance.csv", 2_000_000_000)  # sparse: takes no disk
    with pytest.raises(RecordError, match="has 2000 MB, expected at most 50 MB"):
        qb.read_folder(place)


# --- what we stand on -----------------------------------------------------------------------------


def test_what_is_installed_is_inside_the_bounds_that_each_library_asks_for() -> None:
    problems, seen, wanted = [], set(), ["quenchbook"]
    while wanted:
        name = wanted.pop()
        if name in seen:
            continue
        seen.add(name)
        for text in metadata.requires(name) or ():
            own = Requirement(text)
            if own.marker is not None and not own.marker.evaluate({"extra": ""}):
                continue
            try:
                version = metadata.version(own.name)
            except metadata.PackageNotFoundError:
                problems.append(f"{name} asks for {text}, which is not installed")
                continue
            if not own.specifier.contains(version, prereleases=True):
                problems.append(f"{name} asks for {text}, installed is {version}")
            wanted.append(own.name)
    assert problems == []
    assert len(seen) > 50


def test_every_dependency_of_ours_has_an_upper_bound() -> None:
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    for text in project["dependencies"]:
        assert any(own.operator in ("<", "<=", "==", "~=") for own in Requirement(text).specifier)
