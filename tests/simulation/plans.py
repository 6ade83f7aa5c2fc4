"""Plans for simulations: balanced, with losses, with odd loads a level, with crossed temper batches."""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd

from quenchbook.fit.formula import formula_terms
from quenchbook.fit.strata import Strata, strata_of
from quenchbook.study.terms import Array

COUPON_SD = 0.45
INDENT_SD = 0.6
INDENTS = 5


def two_strata(per_level: tuple[int, ...], *, routes: str = "abcd", each: int = 2) -> pd.DataFrame:
    rows = [
        (f"L{temp}{number}", f"T{temp}", route)
        for temp, count in enumerate(per_level)
        for number in range(count)
        for route, _ in itertools.product(routes, range(each))
    ]
    return pd.DataFrame(rows, columns=["load", "temp", "route"])


def three_strata(per_level: int = 2) -> pd.DataFrame:
    """3 temperatures, 3 routes as cold batches in each load, 2 tempers in 3 crossed batches each."""
    rows = []
    for temp, number in itertools.product(range(3), range(per_level)):
        load = f"L{temp}{number}"
        for route, temper, batch in itertools.product("abc", "pq", range(3)):
            rows.append((load, f"T{temp}", f"{load}{route}", route, f"{temper}{batch}", temper))
    columns = ["load", "temp", "cold", "route", "oven", "temper"]
    return pd.DataFrame(rows, columns=columns)


def with_losses(frame: pd.DataFrame, share: float, seed: int) -> pd.DataFrame:
    kept = frame.sample(frac=1 - share, random_state=seed).sort_index()
    return kept.reset_index(drop=True)


def without_load(frame: pd.DataFrame, load: str) -> pd.DataFrame:
    return frame[frame["load"] != load].reset_index(drop=True)


def prepared(frame: pd.DataFrame, formula: str, units: list[str]) -> Strata:
    strata = strata_of(frame, formula_terms(formula, frame)[0], units)
    assert not strata.dropped
    return strata


def noise(
    frame: pd.DataFrame, sds: dict[str, float], responses: int, rng: np.random.Generator
) -> Array:
    """Coupon means without any effect, shape (coupons, responses)."""
    sd = np.sqrt(COUPON_SD**2 + INDENT_SD**2 / INDENTS)
    y = rng.normal(0.0, sd, (len(frame), responses))
    for unit, own in sds.items():
        codes = pd.factorize(frame[unit])[0]
        y += rng.normal(0.0, own, (codes.max() + 1, responses))[codes] if own else 0.0
    return y
