from __future__ import annotations

import shutil
from pathlib import Path

import nbformat
import pytest
from tests.conftest import ROOT

import quenchbook as qb
from quenchbook.errors import QuenchbookWarning


def test_the_report_warns_of_words_of_the_template(tmp_path: Path) -> None:
    folder = tmp_path / "bars"
    shutil.copytree(ROOT / "data" / "coated_bars", folder)
    study = folder / "study.toml"
    text = study.read_text(encoding="utf-8")
    own = "Data: Box, Hunter and Hunter (2005); analysis: quenchbook"
    study.write_text(text.replace(own, "your name"), encoding="utf-8")
    cells = [
        nbformat.v4.new_code_cell('study_folder = "."', metadata={"tags": ["parameters"]}),
        nbformat.v4.new_code_cell(
            "import quenchbook as qb\nanalysis = qb.analyse(qb.read_folder(study_folder)[2])\n"
            "qb.show(qb.report_answer(analysis))"
        ),
    ]
    (folder / "notebooks").mkdir()
    nbformat.write(nbformat.v4.new_notebook(cells=cells), folder / "notebooks" / "05_report.ipynb")
    with pytest.warns(QuenchbookWarning, match="the author is still 'your name'"):
        qb.report_study(folder, to=["html"])
