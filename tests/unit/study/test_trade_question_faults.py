"""Questions about curves that the study file alone shows to have no answer."""

from __future__ import annotations

from pathlib import Path

import pytest

import quenchbook as qb
from quenchbook.errors import StudyError

STUDY = """\
format = 1
key = "little"
title = "A title"
question = "A question?"

[factors.austenitize]
levels = ["800 degC", "820 degC", "840 degC"]
set_for = "furnace_load"
shape = "quadratic"

[factors.cold_route]
levels = ["none", "freezer", "dry_ice"]
set_for = "cold_batch"

[factors.delay]
levels = ["10 min", "1 h", "1 day"]
set_for = "cold_batch"
exists_for = { cold_route = ["freezer", "dry_ice"] }

[factors.temper]
levels = ["150 degC", "200 degC"]
set_for = "temper_batch"

[responses.hardness]
unit = "HRC"

[responses.impact]
unit = "J"

[layout]
furnace_loads = 9
coupons_per_load = 12
coupons_per_temper_batch = 12

[[questions]]
key = "own"
words = "Own?"
"""
HARD, ALONG = 'response = "hardness"\n', 'along = "austenitize"\n'
FREEZER = 'compare = { cold_route = ["freezer", "none"] }\n'


def problems(folder: Path, question: str, study: str = STUDY) -> list[str]:
    path = folder / "study.toml"
    path.write_text(study + question, encoding="utf-8")
    with pytest.raises(StudyError) as caught:
        qb.read_study(path)
    return [str(problem) for problem in caught.value.problems]


CASES = [
    (
        HARD + 'asks = "peak_shift"\n' + ALONG + 'compare = { cold_route = ["none", "none"] }',
        'line 41: compare names "none" of cold_route twice. '
        'Write compare = { cold_route = ["freezer", "none"] }.',
    ),
    (
        HARD + 'asks = "curve_shift"\n' + ALONG
        + 'compare = { austenitize = ["800 degC", "820 degC"] }',
        "line 41: compares levels of austenitize, along which the question goes. "
        'Write compare = { cold_route = ["freezer", "none"] }.',
    ),
    (
        HARD + 'asks = "peak"\nalong = "temper"',
        'line 40: asks = "peak" needs a curve, and temper has shape = "levels" with 2 levels. '
        'Write along = "austenitize".',
    ),
    (
        HARD + 'asks = "target_window"\nalong = "temper"\ntarget = "60 HRC"',
        'line 40: asks = "target_window" needs a curve or a line, and temper has shape = "levels". '
        'Write along = "austenitize".',
    ),
    (
        HARD + 'asks = "per_decade"\nalong = "temper"',
        'line 40: asks = "per_decade" goes along a time, and temper is none. '
        'Write along = "delay".',
    ),
    (
        HARD + 'asks = "per_decade"\nalong = "delay"\nat = { cold_route = "none" }',
        "line 41: delay does not exist with cold_route none. "
        'Ask where it exists: "freezer", "dry_ice".',
    ),
    (
        HARD + 'asks = "per_decade"\nalong = "delay"\n'
        'change = { cold_route = ["freezer", "none"] }',
        "line 41: delay does not exist with cold_route none. ",
    ),
    (
        HARD + 'asks = "half_loss"\nalong = "delay"\n'
        'compare = { cold_route = ["none", "freezer"] }',
        "line 41: the gain is that of the first level, and none has no delay. "
        'Swap them: write compare = { cold_route = ["freezer", "none"] }.',
    ),
    (
        HARD + 'asks = "half_loss"\nalong = "delay"\n'
        'compare = { cold_route = ["dry_ice", "freezer"] }',
        "line 41: the second level is the one without delay, and freezer has one of its own. "
        'Write compare = { cold_route = ["dry_ice", "none"] }.',
    ),
    (
        HARD + 'asks = "half_loss"\nalong = "delay"\n'
        'compare = { temper = ["150 degC", "200 degC"] }',
        "line 41: compares levels of temper, and delay exists inside levels of cold_route. "
        'Write compare = { cold_route = ["freezer", "none"] }.',
    ),
    (
        HARD + 'asks = "half_loss"\nalong = "delay"',
        'has no compare. Write compare = { cold_route = ["freezer", "none"] }.',
    ),
    (
        HARD + 'asks = "temper_for"\n' + ALONG + 'target = "60 HRC"',
        'line 40: asks = "temper_for" goes along a temper, and austenitize is set for a furnace '
        'load. Write along = "temper".',
    ),
    (
        HARD + 'asks = "equal_hardness"\nalong = "temper"\n' + FREEZER,
        "line 38: hardness at equal hardness is always the same. Ask of another response: impact",
    ),
    (
        'response = "impact"\nasks = "equal_hardness"\n' + ALONG + FREEZER,
        'line 40: asks = "equal_hardness" goes along a temper, and austenitize is set for a '
        'furnace load. Write along = "temper".',
    ),
    (
        'response = "impact"\nasks = "equal_hardness"\nalong = "temper"\n'
        'compare = { temper = ["150 degC", "200 degC"] }',
        "line 41: compares levels of temper, along which the question goes. ",
    ),
    (
        HARD + 'asks = "peak"\n' + ALONG + 'at = { austenitize = "820 degC" }',
        "line 41: at names austenitize, along which the question goes. "
        "Leave austenitize out of at.",
    ),
    (
        HARD + 'asks = "peak"\n' + ALONG + 'at = { cold_route = "none", delay = "1 h" }',
        "line 41: delay does not exist with cold_route none. ",
    ),
    (
        HARD + 'asks = "temper_for"\nalong = "temper"\ntarget = "620 HRC"',
        "line 41: 620 HRC is no plausible hardness (0 to 70 HRC). "
        'Write target = "60 HRC".',
    ),
    (
        HARD + 'asks = "temper_for"\nalong = "temper"\ntarget = "62"',
        "line 41: '62' has no unit 'HRC'. Write target = \"62 HRC\".",
    ),
    (
        'response = "impact"\nasks = "temper_for"\nalong = "temper"\ntarget = "15 HRC"',
        "line 41: '15 HRC' has no unit 'J'. Write target = \"15 J\".",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("question", "message"), CASES)
def test_what_no_record_can_answer_is_refused_with_its_line(
    tmp_path: Path, question: str, message: str
) -> None:
    found = problems(tmp_path, question)
    assert len(found) == 1
    assert message in found[0]


@pytest.mark.parametrize(
    ("old", "new", "question", "message"),
    [
        (
            '["10 min", "1 h", "1 day"]',
            '["10 min", "1 h"]',
            HARD + 'asks = "half_loss"\nalong = "delay"\n' + FREEZER,
            'asks = "half_loss" needs 3 levels of delay or more; it has 2. '
            'Add levels to delay, or ask "per_decade".',
        ),
        (
            'exists_for = { cold_route = ["freezer", "dry_ice"] }\n',
            "",
            HARD + 'asks = "half_loss"\nalong = "delay"\n' + FREEZER,
            "delay exists for every coupon, so no level is without it",
        ),
        (
            '[responses.hardness]\nunit = "HRC"\n',
            "",
            'response = "impact"\nasks = "equal_hardness"\nalong = "temper"\n' + FREEZER,
            "no response is a hardness, so nothing tells where it is equal.",
        ),
        (
            'shape = "quadratic"\n',
            "",
            HARD + 'asks = "peak"\n' + ALONG,
            'Give austenitize shape = "quadratic" and three levels or more',
        ),
    ],
)  # fmt: skip
def test_factors_that_cannot_carry_the_question_are_named(
    tmp_path: Path, old: str, new: str, question: str, message: str
) -> None:
    assert old in STUDY
    found = problems(tmp_path, question, STUDY.replace(old, new, 1))
    assert any(message in own for own in found)


@pytest.mark.parametrize(
    "question",
    [
        HARD + 'asks = "peak"\n' + ALONG + 'at = { cold_route = "freezer", delay = "1 h" }',
        HARD + 'asks = "per_decade"\nalong = "delay"\nat = { cold_route = "freezer" }',
        HARD + 'asks = "half_loss"\nalong = "delay"\n' + FREEZER,
        'response = "impact"\nasks = "equal_hardness"\nalong = "temper"\n' + FREEZER,
        HARD + 'asks = "temper_for"\nalong = "temper"\ntarget = "60 HRC"',
    ],
)
def test_what_records_can_answer_is_read(tmp_path: Path, question: str) -> None:
    path = tmp_path / "study.toml"
    path.write_text(STUDY + question, encoding="utf-8")
    assert qb.read_study(path).trade_questions[0].key == "own"
