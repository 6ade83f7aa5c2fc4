"""No value of any key of a study file ends in a raw exception: read, or refused in words.

Slow lane: ``pytest -m simulation``.
"""

from __future__ import annotations

import pytest
from tests.unit.study.test_wrong_types import CONTENT, WRONG, refused

pytestmark = pytest.mark.simulation


@pytest.mark.parametrize("table", list(CONTENT))
def test_a_value_of_any_type_is_read_or_refused_in_words(table: str) -> None:
    assert refused(table, WRONG)
