from __future__ import annotations

import pytest

from quenchbook.errors import UnitError
from quenchbook.units import (
    convert,
    interval_text,
    minutes_text,
    number_text,
    parse_number,
    parse_quantity,
)


@pytest.mark.parametrize(
    ("value", "unit", "dimension", "expected"),
    [
        # NIST SP 811; values computed for shared/reference/tables/units.csv
        (1475, "degF", "temperature", 801.6667),
        (1850, "°F", "temperature", 1010.0),
        (400, "F", "temperature", 204.4444),
        (-320.8, "degF", "temperature", -196.0),
        (25, "degF", "temperature_difference", 13.8889),
        (10, "ft lbf", "energy", 13.5582),
        (1, "ft-lb", "energy", 1.3558),
        (2, "h", "time", 120.0),
        (1, "day", "time", 1440.0),
        (1, "inch", "length", 25.4),
    ],
)
def test_units_are_converted(value, unit, dimension, expected) -> None:
    assert convert(value, unit, dimension) == pytest.approx(expected, abs=5e-5)


@pytest.mark.parametrize(
    ("text", "dimension", "expected"),
    [
        ("1900 degF", "temperature", 1037.778),
        ("1 900 °F", "temperature", 1037.778),
        ("1,925 degF", "temperature", None),
        ("62,5 min", "time", 62.5),
        ("−78.5 °C", "temperature", -78.5),
        ("1050 ℃", "temperature", 1050.0),
        ("850 C", "temperature", 850.0),
        ("850", "temperature", None),
        ("850 farad", "temperature", None),
        ("n/a", "temperature", None),
        ("20 ft lb", "energy", 27.116),
    ],
)
def test_text_is_read_or_refused_with_words(text, dimension, expected) -> None:
    if expected is None:
        with pytest.raises(UnitError, match=r"Write|not a"):
            parse_quantity(text, dimension)
    else:
        assert parse_quantity(text, dimension) == pytest.approx(expected, abs=1e-3)


@pytest.mark.parametrize(
    ("text", "decimal", "expected"),
    [
        ("62,5", None, 62.5), ("62.5", None, 62.5), ("1.234,5", None, 1234.5),
        ("1,234.5", None, 1234.5), ("1,925", ",", 1.925), ("1,925", ".", 1925.0),
        ("-0,5", None, -0.5), (".5", None, 0.5), ("1 234", None, 1234.0),
    ],
)  # fmt: skip
def test_decimal_marks_are_understood(text, decimal, expected) -> None:
    assert parse_number(text, decimal=decimal) == expected


@pytest.mark.parametrize("text", ["", "abc", "1,925", "6..5", "nan", "--3", "6O.5"])
def test_what_is_not_a_number_is_refused(text) -> None:
    with pytest.raises(UnitError):
        parse_number(text)


def test_numbers_are_written_for_people() -> None:
    assert number_text(-0.04, 2, sign=True) == "−0.04"
    assert number_text(0.94, 2, sign=True) == "+0.94"
    assert number_text(-0.001, 2) == "0.00"
    assert number_text(float("nan")) == "not known"
    assert interval_text(-0.29, 0.22) == "−0.29 to 0.22"
    assert minutes_text(60) == "60\u00a0min"
