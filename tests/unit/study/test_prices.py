from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

import quenchbook as qb
from quenchbook.errors import StudyError
from quenchbook.study.definition import Study
from quenchbook.study.prices import AMOUNTS, PRICES, Prices, price_mistakes, prices_of


def test_prices_of_the_demonstration(plane_irons: Study) -> None:
    prices = prices_of(plane_irons)
    assert (prices.currency, prices.coupon, prices.furnace_load) == ("EUR", 3.2, 6.5)
    assert prices.impact_test is None


def test_a_study_without_costs_has_no_price(plane_irons: Study) -> None:
    prices = prices_of(replace(plane_irons, costs={}))
    assert [getattr(prices, key) for key in PRICES] == [None] * len(PRICES)
    assert prices.assumed == tuple(AMOUNTS)


def test_a_price_of_zero_is_told(plane_irons: Study) -> None:
    assert prices_of(replace(plane_irons, costs={"coupon": 0})).coupon == 0.0


def test_an_amount_that_is_told_is_not_assumed(plane_irons: Study) -> None:
    prices = prices_of(replace(plane_irons, costs={"minutes_an_indent": 2}))
    assert prices.minutes_an_indent == 2.0
    assert "minutes_an_indent" not in prices.assumed
    assert len(prices.assumed) == len(AMOUNTS) - 1


@pytest.mark.parametrize(
    ("costs", "key", "found", "remedy"),
    [
        ({"cupon": 3}, "cupon", "'cupon' is not known here", "Did you mean coupon?"),
        ({"zzz": 3}, "zzz", "'zzz' is not known here", "Known: currency, coupon,"),
        (
            {"coupon": "3.20 EUR"},
            "coupon",
            "coupon is '3.20 EUR'",
            "Write a number in the currency",
        ),
        ({"coupon": -1}, "coupon", "coupon is -1", "zero or more"),
        ({"indent": True}, "indent", "indent is True", "zero or more"),
        ({"dry_ice_kg": float("nan")}, "dry_ice_kg", "dry_ice_kg is nan", "zero or more"),
        ({"minutes_an_indent": "1 min"}, "minutes_an_indent", "is '1 min'", "a number in min"),
        ({"currency": 5}, "currency", "currency is 5", 'Write currency = "EUR".'),
        ({"coupon": 3, "bar": 40}, "bar", "steel is priced twice", "Keep coupon or bar, not both."),
    ],
)
def test_a_mistake_says_what_was_found_and_what_to_write(
    costs: dict[str, object], key: str, found: str, remedy: str
) -> None:
    ((at, what, do),) = price_mistakes(costs)
    assert at == key
    assert found in what
    assert remedy in do


def test_all_mistakes_of_a_study_file_come_at_once_with_their_lines(
    plane_irons: Study, tmp_path: Path
) -> None:
    text = (plane_irons.folder / "study.toml").read_text(encoding="utf-8")
    text = text.replace("coupon = 3.20", 'coupon = "cheap"').replace("dry_ice_kg =", "dry_ice =")
    path = tmp_path / "study.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(StudyError) as caught:
        qb.read_study(path)
    lines = text.splitlines()
    first = lines.index('coupon = "cheap"') + 1
    second = lines.index("dry_ice = 3.00") + 1
    found = [str(problem) for problem in caught.value.problems]
    assert found == [
        f"study.toml line {first}: coupon is 'cheap'. Write a number in the currency, zero or "
        "more: coupon = 2.50.",
        f"study.toml line {second}: 'dry_ice' is not known here. Did you mean dry_ice_kg?",
    ]


def test_prices_that_were_not_read_from_a_file_are_checked_too(plane_irons: Study) -> None:
    with pytest.raises(StudyError, match=r"costs\.cupon: 'cupon' is not known here"):
        prices_of(replace(plane_irons, costs={"cupon": 3}))


def test_every_default_is_an_amount_and_no_price_has_one() -> None:
    prices = Prices()
    assert all(getattr(prices, key) > 0 for key in AMOUNTS)
    assert all(getattr(prices, key) is None for key in PRICES)
