"""The [tester] table of a study file."""

from __future__ import annotations

from dataclasses import replace

import pytest

from quenchbook.errors import StudyError
from quenchbook.study.definition import Study
from quenchbook.study.tester import Tester, told_tester, told_tester_mistakes


def test_units_are_read_into_storage_units(plane_irons: Study) -> None:
    told = {"standard": "ISO 6508-2", "indent_spacing": "0.1 in", "impact_capacity": "10 ft lbf"}
    own = told_tester(replace(plane_irons, tester=told))
    assert own.standard == "ISO 6508-2"
    assert own.indent_spacing == pytest.approx(2.54)
    assert own.impact_capacity == pytest.approx(13.558, abs=5e-4)
    assert own.error_limit is None


def test_a_study_that_tells_nothing_is_held_to_e18(coated_bars: Study) -> None:
    assert told_tester(coated_bars) == Tester()
    assert Tester().standard == "ASTM E18-19"


@pytest.mark.parametrize(
    ("key", "value", "found", "remedy"),
    [
        (
            "error_limt", "0.5 HRC", "'error_limt' is not known here", "Did you mean error_limit?",
        ),
        (
            "error_limit", 0.5, "error_limit is 0.5",
            'Write a number above zero with its unit: error_limit = "0.5 HRC".',
        ),
        (
            "indent_spacing", "2.5", "indent_spacing is '2.5'",
            'Write a number above zero with its unit: indent_spacing = "2.5 mm".',
        ),
        (
            "impact_capacity", "-50 J", "impact_capacity is '-50 J'",
            'Write a number above zero with its unit: impact_capacity = "50 J".',
        ),
        (
            "standard", "ASTM E18-03", "the limits of 'ASTM E18-03' are not known here",
            'Write "ASTM E18-19" or "ISO 6508-2", or leave it out and give error_limit and the '
            "others.",
        ),
    ],
)  # fmt: skip
def test_mistakes_say_what_to_write(key: str, value: object, found: str, remedy: str) -> None:
    assert told_tester_mistakes({key: value}) == [(key, found, remedy)]


def test_mistakes_are_raised_where_there_was_no_file(plane_irons: Study) -> None:
    with pytest.raises(StudyError, match=r"tester\.error_limit: error_limit is 1"):
        told_tester(replace(plane_irons, tester={"error_limit": 1}))
