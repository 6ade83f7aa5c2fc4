from __future__ import annotations

from importlib import resources
from pathlib import Path
from typing import Any

import pytest

from quenchbook.bench.coupon_size import coupon_size
from quenchbook.errors import StudyError
from quenchbook.study.definition import Study
from quenchbook.study.files import read_study
from quenchbook.study.mistakes import Mistakes
from quenchbook.study.room import Room, read_room


def read(table: Any) -> tuple[Room | None, list[str]]:
    mistakes = Mistakes("study.toml", "[room]\nvolume = 1\nair_changes = 1\n")
    room = read_room({"room": table}, mistakes)
    return room, [f"{own.where}: {own.problem}. {own.remedy}" for own in mistakes.problems]


@pytest.mark.parametrize(
    ("told", "cubic_metres"),
    [("30 m3", 30), ("30 m³", 30), ("30,5 m3", 30.5), ("30m^3", 30), ("1000 ft3", 28.316847)],
)
def test_volume_is_read_with_its_unit(told: str, cubic_metres: float) -> None:
    room, problems = read({"volume": told})
    assert not problems
    assert room is not None
    assert room.volume_m3 == pytest.approx(cubic_metres)
    assert room.air_changes is None
    assert room.fresh_m3_an_hour is None


def test_fresh_air_is_air_changes_times_volume() -> None:
    room, _ = read({"volume": "30 m3", "air_changes": 0.4})
    assert room is not None
    assert room.fresh_m3_an_hour == pytest.approx(12)


@pytest.mark.parametrize(
    "told", [30, "30", "30 kg", "m3", "0 m3", "-3 m3", "30 m2", "1e9 m3", True]
)
def test_a_volume_that_cannot_be_read_is_asked_for(told: object) -> None:
    room, [problem] = read({"volume": told})
    assert room is None
    assert problem.startswith(f"study.toml line 2: volume is {told!r}. Write length times width")


@pytest.mark.parametrize("told", ["0.4", -1, 101, True, float("nan")])
def test_air_changes_are_a_number(told: object) -> None:
    room, [problem] = read({"volume": "30 m3", "air_changes": told})
    assert room == Room(30.0)
    assert problem.startswith(f"study.toml line 3: air_changes is {told!r}. Write the air changes")


def test_all_mistakes_are_told_at_once() -> None:
    _, problems = read({"volume": "30", "air_changes": "x", "volum": 3})
    assert len(problems) == 3
    assert "Did you mean volume?" in problems[0]


@pytest.mark.parametrize("table", [{}, {"air_changes": 1}])
def test_a_room_without_volume_is_a_mistake(table: dict[str, object]) -> None:
    room, problems = read(table)
    assert room is None
    assert any("room has no volume" in problem for problem in problems)


def test_no_room_is_no_mistake() -> None:
    mistakes = Mistakes("study.toml", "")
    assert read_room({}, mistakes) is None
    assert not mistakes.problems


def test_a_study_file_tells_its_room(plane_irons: Study, tmp_path: Path) -> None:
    text = (plane_irons.folder / "study.toml").read_text(encoding="utf-8")
    (tmp_path / "study.toml").write_text(
        text + '\n[room]\nvolume = "30 m3"\nair_changes = 0.4\n', encoding="utf-8"
    )
    assert read_study(tmp_path).room == Room(30.0, 0.4)
    (tmp_path / "study.toml").write_text(text + "\n[room]\nvolume = 30\n", encoding="utf-8")
    with pytest.raises(StudyError, match="volume is 30"):
        read_study(tmp_path)


def test_the_template_without_its_comment_marks_tells_a_room_and_a_size(tmp_path: Path) -> None:
    text = resources.files("quenchbook.study").joinpath("template.toml").read_text("utf-8")
    for key in ("[room]", "volume =", "air_changes =", "coupon_length =", "coupon_width ="):
        assert f"# {key}" in text
        text = text.replace(f"# {key}", key, 1)
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    study = read_study(tmp_path)
    assert study.room == Room(30.0, 0.4)
    assert coupon_size(study).sides == (25.0, 25.0, 3.0)
