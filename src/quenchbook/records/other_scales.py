"""Hardness on other scales, and readings below the range in which the C scale is used."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final

from quenchbook.metallurgy.hardness_scales import HIGHEST_HRC, LOWEST_HRC
from quenchbook.study.definition import Study
from quenchbook.units import with_unit

# ASTM E140 Table 1 relates other scales to HRC from 20 to 68; ASTM E18 uses the C scale from 20.
LOWEST_RELATED_HRC: Final = float(LOWEST_HRC)
HIGHEST_RELATED_HRC: Final = float(HIGHEST_HRC)
_SCALE = re.compile(r"h(v|k|bw?|bs|r[abdefgk]|r?(15|30|45)[nt]|l|s)[\d ./]*", re.IGNORECASE)

Key = tuple[str, str, int]  # response, coupon, reading


def is_other_scale(words: str) -> bool:
    """Whether words name a hardness scale other than Rockwell C.

    >>> is_other_scale("HV 10"), is_other_scale("hrc"), is_other_scale("hrb")
    (True, False, True)
    """
    return _SCALE.fullmatch(words.strip()) is not None


NOT_CONVERTED: Final = (
    f"Readings are never converted: ASTM E140 relates other scales to {LOWEST_RELATED_HRC:g} to "
    f"{HIGHEST_RELATED_HRC:g} HRC only, and only approximately. Read HRC, or declare a response in "
    "that scale."
)


def scale_notes(readings: Mapping[Key, Mapping[str, Any]], study: Study) -> list[str]:
    """Notes on readings below the range of the C scale; they stay in the analysis.

    Parameters
    ----------
    readings : mapping
        Response, coupon and reading to ``value``, ``file`` and ``row``.
    study : Study
    """
    notes = []
    for response in study.responses:
        if response.unit != "HRC":
            continue
        low = [
            (coupon, entry)
            for (name, coupon, _), entry in readings.items()
            if name == response.name and entry["value"] < LOWEST_RELATED_HRC
        ]
        if low:
            coupon, first = low[0]
            count = f"{len(low)} reading{'s' if len(low) > 1 else ''}"
            limit = with_unit(f"{LOWEST_RELATED_HRC:g}", "HRC")
            notes.append(
                f"{count} of {response.quantity} below {limit} (first: {first['file']} row "
                f"{first['row']}, coupon {coupon}): the C scale is used from 20 up (ASTM E18), and "
                "no table converts them to another scale (ASTM E140)."
            )
    return notes
