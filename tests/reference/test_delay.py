"""Check numbers of delay and half-loss (provenance: trade_delay/PROVENANCE.toml)."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from tests.conftest import REFERENCE
from tests.delay_studies import written_study

import quenchbook as qb
from quenchbook.findings.answers import Analysis
from quenchbook.findings.verdicts import Finding
from quenchbook.fit.half_loss import HalfLoss

DELAYS_H = (0.1, 0.442, 1.95, 8.614, 38.041, 168.0)


def reference_frame(name: str) -> pd.DataFrame:
    data = pd.read_csv(REFERENCE / "trade_delay" / f"{name}.csv", keep_default_na=False)
    hours = pd.to_numeric(data["delay_h"])
    return pd.DataFrame(
        {
            "furnace_load": data["load"].str[1:].astype(int),
            "cold_route": data["route"],
            "delay_minutes": (hours * 60).round(9),
            "hardness_hrc": data["hrc_mean_of_2_coupons"],
        }
    )


@pytest.fixture(scope="module", params=["b_delay_log", "b_delay_break"])
def answered(request: pytest.FixtureRequest, tmp_path_factory) -> tuple[str, Analysis]:
    folder = tmp_path_factory.mktemp(request.param)
    return request.param, analysed(request.param, folder)


def analysed(name: str, folder: Path) -> Analysis:
    words = [f"{hours:g} h" for hours in DELAYS_H]
    return qb.analyse(written_study(folder, reference_frame(name), levels=words))


CHECKS = {
    "b_delay_log": {
        "mean_square": 0.147563, "slope": -0.382765, "std_error": 0.082191,
        "limits": (-0.56184, -0.20369), "best": 2.10, "set": (1.25, 3.20),
    },
    "b_delay_break": {
        "mean_square": 0.104685, "slope": -0.910129, "best": 1.90, "set": (1.60, 2.15),
    },
}  # fmt: skip


def test_the_change_for_each_decade_is_that_of_the_check_numbers(answered) -> None:
    name, analysis = answered
    own, check = analysis.finding("decade"), CHECKS[name]
    assert isinstance(own, Finding)
    assert own.df == 12
    assert own.estimate == pytest.approx(check["slope"], abs=0.51e-6)
    if "limits" in check:
        assert own.std_error == pytest.approx(check["std_error"], abs=0.51e-6)
        assert own.conf_low == pytest.approx(check["limits"][0], abs=0.51e-5)
        assert own.conf_high == pytest.approx(check["limits"][1], abs=0.51e-5)


def test_the_pure_error_is_that_of_the_check_numbers(answered) -> None:
    name, analysis = answered
    result = analysis.finding("half").result
    assert isinstance(result, HalfLoss)
    assert result.df == 12
    assert result.mean_square == pytest.approx(CHECKS[name]["mean_square"], abs=0.51e-6)


def test_best_time_and_set_lie_on_the_grid_where_the_check_numbers_have_them(answered) -> None:
    name, analysis = answered
    result, check = analysis.finding("half").result, CHECKS[name]
    assert isinstance(result, HalfLoss)
    found = [result.estimate, result.conf_low, result.conf_high]
    decades = [math.log10(minutes / 6.0) for minutes in found]
    assert decades == pytest.approx([check["best"], *check["set"]], abs=1e-9)


def test_the_profile_is_that_of_brute_force_least_squares() -> None:
    """Residual sums of squares with load dummies, from numpy alone, at some half-loss times."""
    from quenchbook.fit.half_loss_profile import broken_lines, explained_squares

    data = reference_frame("b_delay_log")
    loads = pd.get_dummies(data["furnace_load"]).to_numpy(dtype=float)
    y = data["hardness_hrc"].to_numpy(dtype=float)
    x = np.log10(data["delay_minutes"].to_numpy(dtype=float) / 6.0)
    cold = np.isfinite(x)

    def left(column: np.ndarray | None) -> float:
        matrix = loads if column is None else np.column_stack([loads, column])
        coefficients = np.linalg.lstsq(matrix, y, rcond=None)[0]
        if column is not None and coefficients[-1] < 0:
            return left(None)
        return float(((y - matrix @ coefficients) ** 2).sum())

    def brute(g: float) -> float:
        best = math.inf
        breaks = np.round(np.arange(0, min(g, np.nanmax(x)) + 1e-9, 0.05), 9)
        for start in breaks[breaks < g]:
            shape = 1 - np.maximum(0, np.nan_to_num(x) - start) / (2 * (g - start))
            best = min(best, left(np.where(cold, shape, 0.0)))
        return left(None) - best

    kinds = data.groupby("delay_minutes")["hardness_hrc"].mean()
    gains = (kinds - data.loc[~cold, "hardness_hrc"].mean()).to_numpy()
    covariance = (np.eye(6) + 1.0) / 3
    decades = tuple(np.log10(kinds.index.to_numpy() / 6.0).round(12))
    lines = broken_lines(decades)
    squares = explained_squares(lines, gains, covariance)
    for g in (0.5, 1.25, 2.1, 3.2, 5.0):
        place = int(np.argmin(np.abs(lines.grid - g)))
        assert squares[place] == pytest.approx(brute(g), rel=1e-6)
