"""Simulated studies of toughness and hardness with a known difference at equal hardness."""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd

UNITS = ["load", "batch"]
FIXED = "route + temper"


def toughness_plan(
    *, loads: int = 3, tempers: int = 3, coupons: int = 2, routes: str = "ab"
) -> pd.DataFrame:
    """One row for each coupon; each batch of load and temper holds all routes."""
    rows = [
        (f"L{load}", f"L{load}T{temper}", f"T{temper}", route)
        for load in range(loads)
        for temper in range(tempers)
        for route in routes
        for _ in range(coupons)
    ]
    frame = pd.DataFrame(rows, columns=["load", "batch", "temper", "route"])
    return frame.assign(coupon=[f"K{n}" for n in range(len(frame))])


def incomplete_plan(*, loads: int = 6, tempers: int = 2, coupons: int = 2) -> pd.DataFrame:
    """Each batch of load and temper holds two of three routes, in turn."""
    pairs = list(itertools.combinations("abc", 2))
    rows = [
        (f"L{load}", f"L{load}T{temper}", f"T{temper}", route)
        for load in range(loads)
        for temper in range(tempers)
        for route in pairs[(load + temper) % 3]
        for _ in range(coupons)
    ]
    frame = pd.DataFrame(rows, columns=["load", "batch", "temper", "route"])
    return frame.assign(coupon=[f"K{n}" for n in range(len(frame))])


def toughness_values(
    frame: pd.DataFrame,
    rng: np.random.Generator,
    studies: int,
    *,
    tau: float = 0.10,
    line: float = -0.12,
    scatter: float = -0.12,
    harder: float = 1.0,
    step: float = 1.5,
    cv: float = 0.15,
    batch_sd: float = 0.03,
    bend: float = 0.0,
) -> tuple[np.ndarray, np.ndarray]:
    """Logarithm of the impact energy and mean hardness, shape (coupons, studies) each.

    Route b is `harder`, and differs by `tau` at equal hardness. `scatter` is the slope of what
    coupons differ by otherwise; `bend` makes the line of route b steeper than that of a.
    """

    def of(unit: str, sd: float) -> np.ndarray:
        codes = pd.factorize(frame[unit])[0]
        return rng.normal(0, sd, (codes.max() + 1, studies))[codes]

    cold = (frame["route"] == "b").to_numpy()[:, None] * 1.0
    soft = frame["temper"].str[1:].astype(int).to_numpy()[:, None] * step
    own = rng.normal(0, 0.45, (len(frame), studies))
    made = harder * cold - soft + of("load", 0.3) + of("batch", 0.15)
    hardness = 61.0 + made + own + rng.normal(0, 0.6 / np.sqrt(5), own.shape)
    noise = rng.normal(0, np.sqrt(np.log1p(cv**2)), own.shape)
    steep = line + bend * cold
    energy = 3.0 + tau * cold + steep * made + scatter * own
    return energy + of("load", 0.03) + of("batch", batch_sd) + noise, hardness


def toughness_frame(seed: int = 1, **more: float) -> pd.DataFrame:
    """One study as a data frame: impact in J, hardness in HRC."""
    layout = {k: int(more.pop(k)) for k in ("loads", "tempers", "coupons") if k in more}
    frame = toughness_plan(**layout)
    energy, hardness = toughness_values(frame, np.random.default_rng(seed), 1, **more)
    return frame.assign(impact=np.exp(energy[:, 0]), hrc=hardness[:, 0])
