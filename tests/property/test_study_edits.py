"""Any allowed edit of a study file gives the edited value, and leaves every other line alone."""

from __future__ import annotations

import copy
import itertools
import tomllib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.conftest import ROOT

from quenchbook.errors import StudyError
from quenchbook.forms.study_edits import StudyEdits, study_edits
from quenchbook.forms.study_fields import Field
from quenchbook.forms.toml_edits import Value, with_value
from quenchbook.forms.toml_places import toml_places

STUDIES = [*sorted(ROOT.glob("data/*/study.toml")), ROOT / "src/quenchbook/study/template.toml"]

words = st.text(st.characters(exclude_categories=["Cs"]), max_size=30)
amounts = st.tuples(st.floats(0.01, 30), st.just(" HRC")).map(lambda own: f"{own[0]:.3g}{own[1]}")


def new_value(field: Field) -> st.SearchStrategy[Value]:
    if field.kind == "count":
        return st.integers(1, 400)
    if field.kind == "number":
        return st.floats(0, 1e6, allow_subnormal=False) | st.integers(0, 10**6)
    if field.kind == "list":
        levels = st.integers(100, 1100).map(lambda level: f"{level} degC")
        return st.lists(levels | words.filter(str.strip), min_size=1, max_size=7)
    return words | amounts


def same_lines(before: str, after: str, line: str) -> list[str]:
    """Lines of `before` that are not in `after`, other than one."""
    left = after.splitlines()
    lost = []
    for own in before.splitlines():
        if own in left:
            left.remove(own)
        elif own != line:
            lost.append(own)
    return lost


@pytest.fixture(scope="module", params=STUDIES, ids=lambda path: path.parent.name)
def edits(request: pytest.FixtureRequest) -> StudyEdits:
    path: Path = request.param
    data = path.read_bytes()
    return StudyEdits(path, data, data.decode("utf-8-sig"))


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_an_edit_gives_its_value_and_leaves_every_other_line(
    edits: StudyEdits, data: st.DataObject
) -> None:
    field = data.draw(st.sampled_from(edits.fields))
    value = data.draw(new_value(field))
    after = with_value(edits.text, field.key, value)
    wanted = copy.deepcopy(tomllib.loads(edits.text))
    inner = wanted
    for part in field.key[:-1]:
        inner = inner.setdefault(part, {}) if isinstance(inner, dict) else inner[part]
    inner[field.key[-1]] = value
    assert tomllib.loads(after) == wanted
    span = toml_places(edits.text).values.get(field.key)
    line = edits.text[span.statement :].splitlines()[0] if span else ""
    assert same_lines(edits.text, after, line) == []
    if span:
        assert after.startswith(edits.text[: span.start])
        assert after.endswith(edits.text[span.end :])
    back = with_value(after, field.key, field.value)
    assert tomllib.loads(back) == tomllib.loads(edits.text) or field.value is None


@settings(
    max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_an_edit_that_the_reader_allows_is_what_the_form_then_shows(
    data: st.DataObject, tmp_path_factory: pytest.TempPathFactory
) -> None:
    edits = study_edits(ROOT / "data" / "plane_irons")
    name = data.draw(
        st.sampled_from(["layout.loads_per_day", "costs.indent", "responses.hardness.readings"])
    )
    value = data.draw(st.integers(1, 12))
    folder = tmp_path_factory.mktemp("edited")
    (folder / "study.toml").write_bytes(edits.on_disk)
    path = study_edits(folder).with_changes({name: str(value)}).write()
    assert study_edits(path).field(name).value == value
    changed = [
        a
        for a, b in zip(path.read_bytes().splitlines(), edits.on_disk.splitlines(), strict=True)
        if a != b
    ]
    assert len(changed) <= 1


levels = st.lists(st.integers(1, 9), min_size=1, max_size=6, unique=True)


@settings(max_examples=200, deadline=None)
@given(
    before=levels, after=levels, last_comma=st.booleans(), end=st.sampled_from(["\n", "\r\n"]),
    above=st.sets(st.integers(0, 6)), crowded=st.sets(st.integers(0, 6)),
)  # fmt: skip
def test_an_edit_of_a_list_over_several_lines_leaves_each_entry_its_own_comment(
    before: list[int],
    after: list[int],
    last_comma: bool,
    end: str,
    above: set[int],
    crowded: set[int],
) -> None:
    """Comments beside and above entries, and lines that two entries share."""
    lines = ["l = ["]
    for place, level in enumerate(before):
        comma = "," if last_comma or place < len(before) - 1 else ""
        lines += [f"  # above {level}"] if place in above else []
        if place in crowded and place not in above and place:
            lines[-1] = f"{lines[-1].partition(' #')[0]} {level}{comma}"
        else:
            lines.append(f"  {level}{comma} # beside {level}")
    text = end.join([*lines, "] # list", "m = 1", ""])
    assert tomllib.loads(text)["l"] == before
    try:
        edited = with_value(text, ("l",), after)
    except StudyError:
        return
    assert tomllib.loads(edited) == {"l": after, "m": 1}
    rows = edited.splitlines()
    for row, following in itertools.pairwise(rows):
        words, _, comment = row.partition(" # ")
        where, _, level = comment.partition(" ")
        own = words if where == "beside" else following.partition(" #")[0]
        stands_for = own.replace(",", " ").split()
        if where in ("beside", "above") and int(level) in after:
            assert level in stands_for
        elif where in ("beside", "above"):  # another value in its place, none that was there
            assert not {int(word) for word in stands_for if word.isdecimal()} & set(before)
