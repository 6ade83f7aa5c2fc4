from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from tests.conftest import ROOT

import quenchbook as qb
from quenchbook import writing
from quenchbook.errors import PlanError, StudyError
from quenchbook.forms.toml_edits import with_value


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The demonstration before its plan was kept."""
    shutil.copy(ROOT / "data" / "plane_irons" / "study.toml", tmp_path)
    return tmp_path


@pytest.fixture
def planned(folder: Path) -> Path:
    shutil.copytree(ROOT / "data" / "plane_irons" / "plan", folder / "plan")
    return folder


@pytest.mark.parametrize(
    ("before", "key", "value", "after"),
    [
        ('a = "x" # why\n', ("a",), "y", 'a = "y" # why\n'),
        ("a = 1\r\n[b]\r\nc = 2\r\n", ("b", "d"), 3, "a = 1\r\n[b]\r\nc = 2\r\nd = 3\r\n"),
        ("[a]\nb = 1", ("a", "c"), 2, "[a]\nb = 1\nc = 2\n"),
        ("[a]\nb = 1 # one\n# end\n", ("a", "b"), None, "[a]\n# end\n"),
        ("n = { a = 1, b = 2 }\n", ("n", "c"), 3, "n = { a = 1, b = 2, c = 3 }\n"),
        ("n = { a = 1, b = 2 }\n", ("n", "a"), None, "n = { b = 2 }\n"),
        ("n = { a = 1, b = 2 }\n", ("n", "b"), None, "n = { a = 1 }\n"),
        ("n = { a = 1 }\n", ("n", "a"), None, "n = {}\n"),
        ("n = {}\n", ("n", "a"), 1, "n = { a = 1 }\n"),
        ("a.b = 1\n", ("a", "b"), 2, "a.b = 2\n"),
        ("x = 1\n", ("c", "d"), 2, "x = 1\n\n[c]\nd = 2\n"),
        ('"a b" = \'it\'\n', ("a b",), 'say "it"', '"a b" = "say \\"it\\""\n'),
        ('l = [\n  1, # one\n  2, # two\n  3, # three\n]\n', ("l",), [1, 5, 3], 'l = [\n  1, # one\n  5, # two\n  3, # three\n]\n'),
        ('l = [\n  1, # one\n  2, # two\n]\n', ("l",), [1, 2, 3], 'l = [\n  1, # one\n  2, # two\n  3,\n]\n'),
        ('l = [\n  1, # one\n  2, # two\n]\n', ("l",), [1], 'l = [\n  1, # one\n]\n'),
        ('l = [\n  1, # one\n  2, # two\n]\n', ("l",), [2], 'l = [\n  2, # two\n]\n'),
        ('l = [\n  1, # one\n  2 # two\n]\n', ("l",), [0, 1, 2, 3], 'l = [\n  0,\n  1, # one\n  2, # two\n  3,\n]\n'),
        ("l = [\n  1,\n  2,\n  3,\n]\n", ("l",), [1, 3], "l = [\n  1,\n  3,\n]\n"),
        ("l = [1, 2, 3]\n", ("l",), [1, 3], "l = [1, 3]\n"),
        ("l = [1, 2, 3]\n", ("l",), [2, 3], "l = [2, 3]\n"),
        ("[[q]]\nw = 1\n[[q]]\nw = 1\n[q.t]\nv = 2\n", ("q", 1, "t", "v"), 3, "[[q]]\nw = 1\n[[q]]\nw = 1\n[q.t]\nv = 3\n"),
        ('t = """\na = 1\n"""\na = 2\n', ("a",), 3, 't = """\na = 1\n"""\na = 3\n'),
    ],
)  # fmt: skip
def test_only_the_value_of_a_key_changes(
    before: str, key: tuple[str | int, ...], value: object, after: str
) -> None:
    assert with_value(before, key, value) == after


@pytest.mark.parametrize(
    ("before", "value"),
    [
        ("l = [\n  1, 2, # both\n]\n", [1]),
        ("l = [\n  1, # one\n  # the shop's own\n  2,\n]\n", [1]),
        ("l = [\n  1, # one\n  2, # two\n]\n", [2, 1]),
        ("l = [1, # one\n  2]\n", [2]),
        ("l = [\n  1, # one\n]\n", []),
    ],
)
def test_a_list_is_not_changed_where_a_comment_would_come_beside_another_entry(
    before: str, value: list[int]
) -> None:
    with pytest.raises(StudyError, match="l has comments between its entries: use an editor"):
        with_value(before, ("l",), value)


def test_a_level_is_changed_wherever_the_file_names_it(folder: Path) -> None:
    edits = qb.study_edits(folder).with_changes(
        {"factors.delay.levels": ["0 min", "60 min", "2 days"]}
    )
    assert edits.problems == ()
    question = edits.study().question_of("day")
    assert (question.level, question.against) == (2880.0, 0.0)
    assert "1 day" not in edits.text


def test_levels_of_another_number_leave_the_questions_to_the_reader(folder: Path) -> None:
    edits = qb.study_edits(folder).with_changes({"factors.delay.levels": "0 min, 60 min"})
    found = edits.problems_by_field()
    assert list(found) == ["questions.day.compare.delay", "questions.half_loss_nitrogen.words"]
    assert "not a level of delay" in found["questions.day.compare.delay"][0].problem


def test_a_mistake_stands_beside_its_field_and_is_not_written(folder: Path) -> None:
    before = (folder / "study.toml").read_bytes()
    edits = qb.study_edits(folder).with_changes({"responses.hardness.equivalence_margin": "half"})
    (problem,) = edits.problems_by_field()["responses.hardness.equivalence_margin"]
    assert "no unit 'HRC'" in problem.problem
    with pytest.raises(StudyError, match="no unit 'HRC'"):
        edits.write()
    assert (folder / "study.toml").read_bytes() == before


def test_a_file_changed_on_disk_is_not_written_over(folder: Path) -> None:
    edits = qb.study_edits(folder).with_changes({"costs.indent": "0.2"})
    other = (folder / "study.toml").read_bytes() + b"# mine\n"
    (folder / "study.toml").write_bytes(other)
    with pytest.raises(StudyError, match="changed on disk"):
        edits.write()
    assert (folder / "study.toml").read_bytes() == other


def test_a_change_saved_while_the_file_is_written_is_kept(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    edits = qb.study_edits(folder).with_changes({"costs.indent": "0.2"})
    other, real = (folder / "study.toml").read_bytes() + b"# mine\n", writing._part

    @contextmanager
    def slow_disk(of: Path, data: bytes) -> Iterator[Path]:
        with real(of, data) as part:
            (folder / "study.toml").write_bytes(other)
            yield part

    monkeypatch.setattr(writing, "_part", slow_disk)
    with pytest.raises(StudyError, match="changed on disk"):
        edits.write()
    assert (folder / "study.toml").read_bytes() == other


def test_after_the_plan_a_change_is_written_only_when_said(planned: Path) -> None:
    edits = qb.study_edits(planned).with_changes(
        {"responses.hardness.equivalence_margin": "0.3 HRC"}
    )
    assert any("Margin of hardness was" in line for line in edits.exploratory())
    with pytest.raises(PlanError, match="exploratory"):
        edits.write()
    edits.write(although_planned=True)
    assert qb.read_study(planned).equivalence_margin("hardness_hrc") == 0.3


def test_a_byte_order_mark_and_line_ends_stay(folder: Path) -> None:
    path = folder / "study.toml"
    before = b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n")
    path.write_bytes(before)
    qb.study_edits(folder).with_changes({"layout.loads_per_day": 3}).write()
    assert path.read_bytes() == before.replace(b"loads_per_day = 4", b"loads_per_day = 3")


def test_noise_that_was_not_told_gets_a_table_of_its_own(folder: Path) -> None:
    edits = qb.study_edits(folder).with_changes({"responses.hardness.noise.coupon": "0.4 HRC"})
    noise = edits.study().response("hardness_hrc").noise
    assert noise is not None
    assert dict(noise.sds) == {"coupon": 0.4}


def test_an_unknown_field_is_named_with_the_nearest(folder: Path) -> None:
    with pytest.raises(StudyError, match=r"Did you mean layout\.furnace_loads"):
        qb.study_edits(folder).with_changes({"layout.furnace_load": 3})


def test_a_preview_of_the_kept_plan_is_that_plan(planned: Path) -> None:
    from quenchbook.forms.plan_preview import preview_of_edits

    edits = qb.study_edits(planned)
    assert "plan 3db02e10, which is kept" in preview_of_edits(edits).finding
    assert (
        "which is kept"
        not in preview_of_edits(edits.with_changes({"layout.coupons_per_load": 7})).finding
    )


def test_a_preview_says_what_the_plan_and_cost_functions_say(folder: Path) -> None:
    study = qb.read_study(folder)
    preview, matrix = qb.plan_preview(study), qb.coupon_matrix(study, seed=1)
    assert preview.cost.total == qb.plan_cost(matrix).total
    assert preview.to_frame().equals(qb.question_outlooks(matrix).to_frame())
    assert f"{len(matrix.frame)} coupons in 12 furnace loads" in preview.finding
