"""A study whose every text is hostile.

Scripts, markup of pages and of Typst, TeX, spreadsheet formulas, right-to-left text, emoji, long
names, paths that lead out of the folder.
"""

from __future__ import annotations

import csv
import io
import json
import warnings
from pathlib import Path
from typing import Final

import nbformat
import numpy as np
from nbformat.v4 import new_markdown_cell

from quenchbook.errors import QuenchbookWarning
from quenchbook.planning_steps import plan_study
from quenchbook.publishing_steps import report_study
from quenchbook.study_folder import resource

SCRIPT: Final = "<script>alert(1)</script>"
PICTURE: Final = "</style></title></svg><img src=x onerror=alert(2)>"
ADDRESS: Final = '<iframe src="https://example.org/frame"></iframe>'
TYPST: Final = '"] #panic("x") #read("/etc/passwd") $'
TEX: Final = r"$\input{/etc/passwd}$ and $x^2$ \begin{equation}y\end{equation}"
SHEET: Final = '=HYPERLINK("https://example.org","x")'
HEBREW: Final = "שלום K7 \N{RIGHT-TO-LEFT OVERRIDE}turned"
EMOJI: Final = "bench \N{FIRE}"
LONG: Final = "w" * 300
PATH: Final = "../../../outside"
TEMPLATE: Final = "{{ 7*7 }} {% include 'x' %} ${jndi:x} %s {0}"

TEXTS: Final = (SCRIPT, PICTURE, ADDRESS, TYPST, TEX, SHEET, HEBREW, EMOJI, LONG, PATH, TEMPLATE)
ALL: Final = " ".join(TEXTS)

_STUDY: Final = """
format = 1
key = "hostile"
title = {all}
question = {all}
author = {all}
date = 2026-01-14
licence = {all}
invented = true
notes = [{each}]
unit_names = {{ furnace_load = {script}, coupon = {picture} }}

[steel]
grade = {all}
condition = {typst}

[equipment]
furnace = {all}
bench = {address}

[held_constant]
quench = {all}

[factors.furnace_temp]
title = {script}
levels = ["360 degC", "380 degC"]
set_for = "furnace_load"

[factors.coating]
title = {picture}
levels = ["C1", "C2", "C3", "C4"]
set_for = "coupon"

[responses.resistance]
unit = {script}
quantity = {picture}
equivalence_margin = {margin}

[layout]
furnace_loads = 4
coupons_per_load = 4

[[questions]]
key = "coating"
words = {all}
response = "resistance"
compare = {{ coating = ["C1", "C2"] }}

[[questions]]
key = "temperature"
words = {typst}
response = "resistance"
term = "furnace_temp"

[publishing]
support = {all}
reader_questions = [
    {{ words = {all}, answer_from = "coating" }},
    {{ words = {script} }},
]
"""


def write_hostile_study(folder: Path) -> Path:
    """Write the study with a plan and records; nothing in it is refused, so all of it is shown."""
    folder.mkdir(parents=True)
    names = {
        "all": ALL, "script": SCRIPT, "picture": PICTURE, "address": ADDRESS, "typst": TYPST,
        "margin": f"5 {SCRIPT}",
    }  # fmt: skip
    words = {name: _toml(text) for name, text in names.items()}
    text = _STUDY.format(each=", ".join(map(_toml, TEXTS)), **words)
    (folder / "study.toml").write_text(text, encoding="utf-8")
    matrix, _ = plan_study(folder, seed=7)
    rng = np.random.default_rng(7)
    records = folder / "records"
    records.mkdir(exist_ok=True)
    coupons = [str(code) for code in matrix.frame["coupon"]]
    _write(
        records / "resistance.csv",
        ["coupon", "resistance_scriptalert1script", "note"],
        [[code, f"{rng.normal(70, 3):.1f}", ALL] for code in coupons],
    )
    _write(
        records / "deviations.csv",
        ["what", "which", "item", "actual", "note"],
        [
            ["furnace_load", "1", "note", "", ALL],
            *(
                ["coupon", code, "note", "", text]
                for code, text in zip(coupons, TEXTS, strict=False)
            ),
            ["coupon", coupons[-1], "lost", "", TYPST],
        ],
    )
    _write_notebook(folder / "notebooks" / "05_report.ipynb")
    return folder


def publish_hostile_study(folder: Path) -> list[Path]:
    """Write the study and both editions of its report."""
    write_hostile_study(folder)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", QuenchbookWarning)  # of the emoji, the picture, the TeX
        return report_study(folder, editions=("public", "supporters"), show_code=True)


def _write_notebook(path: Path) -> None:
    """The usual notebook with an author's cell of all that Markdown could do."""
    notebook = nbformat.read(resource("notebooks", "05_report.ipynb"), as_version=4)
    links = "[go](javascript:alert(6)) <b onclick=alert(7)>b</b> ![p](https://example.org/p.png)"
    source = "\n\n".join([*(text for text in TEXTS if text != TEX), TEX, links])
    cell = new_markdown_cell(source, id="hostile")
    notebook.cells.insert(4, cell)
    path.parent.mkdir()
    nbformat.write(notebook, path)


def _toml(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\u202e", "\\u202e")


def _write(path: Path, head: list[str], rows: list[list[str]]) -> None:
    page = io.StringIO()
    csv.writer(page, lineterminator="\n").writerows([head, *rows])
    path.write_text(page.getvalue(), encoding="utf-8")
