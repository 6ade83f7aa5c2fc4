"""The worked questions of the template can be asked once their factors are there."""

from __future__ import annotations

import re
from importlib import resources
from pathlib import Path

import quenchbook as qb
from quenchbook.study.trade_questions import ASKS


def test_every_kind_of_question_in_the_template_is_read(tmp_path: Path) -> None:
    text = resources.files("quenchbook.study").joinpath("template.toml").read_text("utf-8")
    head, examples = text.split("as they stand above.\n")
    delay = (
        '[factors.delay]\nlevels = ["10 min", "1 h", "1 day"]\nset_for = "cold_batch"\n'
        'exists_for = { cold_route = ["freezer"] }\n'
    )
    impact = '[responses.impact]\nunit = "J"\n'
    asked = re.sub(r"(?m)^# ?", "", examples)
    path = tmp_path / "study.toml"
    path.write_text("\n".join((head, delay, impact, asked)), encoding="utf-8")
    kinds = {question.asks for question in qb.read_study(path).trade_questions}
    assert kinds == set(ASKS) - {"curve_shift"}  # named beside peak_shift


def test_the_template_tells_every_key_of_publishing(tmp_path: Path) -> None:
    text = resources.files("quenchbook.study").joinpath("template.toml").read_text("utf-8")
    before, rest = text.split("# [publishing]\n")
    table, after = rest.split("# --- questions, declared")
    opened = re.sub(r"(?m)^# ?", "", f"# [publishing]\n{table}")
    path = tmp_path / "study.toml"
    path.write_text(f"{before}{opened}# --- questions, declared{after}", encoding="utf-8")
    publishing = qb.read_study(path).publishing
    assert publishing.support
    (photo,) = publishing.photos
    assert photo.file == "photos/load_3.jpg"
    assert photo.caption
    assert len(publishing.reader_questions) == 2


def test_the_condition_of_the_template_has_as_many_bars_as_its_layout() -> None:
    text = resources.files("quenchbook.study").joinpath("template.toml").read_text("utf-8")
    assert "bars = 3 " in text
    assert 'condition = "annealed, one mill heat, three bars"' in text
