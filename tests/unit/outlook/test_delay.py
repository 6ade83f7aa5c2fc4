from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from tests.conftest import REFERENCE
from tests.delay_studies import simulated_frame, written_study

import quenchbook as qb
from quenchbook.errors import EstimabilityError
from quenchbook.outlook.half_loss_chances import DRAWS, gain_left
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import Noise

NOISE = Noise({"furnace_load": 0.3, "cold_batch": 0.15, "coupon": 0.45, "indent": 0.6}, "note")
CELLS = pd.read_csv(REFERENCE / "trade_delay" / "b_cells.csv")
STUDIES = 5000  # of a cell of the note
SETTLED = CELLS[
    (CELLS["kind"] == "log") & (CELLS["par"] == 2.25)
]  # at 1.5 its gain falls below zero


def matrix_of(folder: Path, loads: int, delays: int, each: int) -> CouponMatrix:
    minutes = np.geomspace(6.0, 10080.0, delays).round(3)
    frame = simulated_frame([1.0] * delays, minutes, loads=loads, each=each)
    kinds = frame["delay_minutes"].fillna(-1).groupby(frame["furnace_load"])
    frame["cold_batch"] = (
        frame["furnace_load"].astype(str) + "-" + kinds.rank("dense").astype(int).astype(str)
    )
    response = 'unit = "HRC"\nequivalence_margin = "0.5 HRC"'
    return written_study(folder, frame, set_for="cold_batch", response=response).matrix


@pytest.mark.parametrize(
    (
        "gain",
        "par",
        "loads",
        "delays",
        "each",
        "beyond",
    ),  # all cells: tests/simulation/test_delay.py
    SETTLED.iloc[[0, -1]][["g1", "par", "L", "D", "m", "beyond_F1"]].to_numpy().tolist(),
)
def test_chances_of_an_upper_limit_are_those_of_the_note_in_two_cells(
    tmp_path: Path, gain, par, loads, delays, each, beyond
) -> None:
    """Shares of the note's own simulation; both have binomial noise."""
    matrix = matrix_of(tmp_path, int(loads), int(delays), int(each))
    # one indent with the noise of the mean of five
    noise = Noise({**NOISE.sds, "indent": 0.6 / math.sqrt(5)}, "note")
    half = 6.0 * 10**par
    own = qb.delay_outlook(matrix, level="cold", gains=[gain], half_losses=[half], noise=noise)
    found = own.table.set_index("fall").loc["steady", "upper_limit"]
    share = 1 - beyond
    spread = math.sqrt(max(share * (1 - share), 0.001) * (1 / DRAWS + 1 / STUDIES))
    assert found == pytest.approx(share, abs=3 * spread + 0.01)  # .01: delays rounded to seconds


def test_the_chance_without_a_shape_is_that_of_the_formula(tmp_path: Path) -> None:
    """Mean square times 1 + 1/4 + 1/4 over the loads, with a noncentral t from scipy."""
    from scipy import stats

    own = qb.delay_outlook(
        matrix_of(tmp_path, 4, 6, 2), level="cold", gains=[3.0], half_losses=[1080.0],
        noise=Noise({**NOISE.sds, "indent": 0.6 / math.sqrt(5)}, "note"),
    )  # fmt: skip
    square = (0.45**2 + 0.6**2 / 5) / 2 + 0.15**2
    error = math.sqrt(square * 1.5 / 4)
    decades = math.log10(10080 / 6)
    last = 3.0 * (1 - decades / (2 * math.log10(180)))
    df = 3 * 6
    t = stats.t.ppf(0.975, df)
    expected = stats.nct.sf(t, df, (1.5 - last) / error)
    found = own.table.set_index("fall").loc["steady", "upper_any_shape"]
    assert found == pytest.approx(expected, abs=1e-3)


def test_a_plan_of_the_demonstration_says_what_it_can_tell(
    plane_irons_matrix: CouponMatrix,
) -> None:
    own = qb.delay_outlook(
        plane_irons_matrix, level="liquid_nitrogen", gains=[1.5], half_losses=[200.0, 14400.0]
    )
    first, inside, past = own.sentences()
    assert first == "The change for each tenfold delay is told within ±0.17\u00a0HRC."
    assert "an upper limit within the tested 24\u00a0h comes out in" in inside
    assert "past the longest delay, only a lower limit can come out" in past
    assert any("guesses, not known" in note for note in own.notes)
    assert any("assumed, common practice, no source" in note for note in own.notes)
    assert own.to_frame()["upper_limit"].between(0, 1).all()


def test_half_lost_past_the_last_delay_hardly_ever_gets_an_upper_limit(
    plane_irons_matrix: CouponMatrix,
) -> None:
    own = qb.delay_outlook(plane_irons_matrix, level="dry_ice", gains=[3.0], half_losses=[14400.0])
    assert own.table["upper_limit"].max() < 0.03


def test_one_load_can_tell_no_half_loss(tmp_path: Path) -> None:
    own = qb.delay_outlook(matrix_of(tmp_path, 1, 4, 2), level="cold", noise=NOISE)
    assert own.table.empty
    assert "no unit is spare" in own.sentences()[1]


def test_guesses_that_make_no_sense_are_refused(plane_irons_matrix: CouponMatrix) -> None:
    with pytest.raises(EstimabilityError, match="longer than the shortest delay, 4\u00a0min"):
        qb.delay_outlook(plane_irons_matrix, level="liquid_nitrogen", half_losses=[3.0])
    with pytest.raises(EstimabilityError, match="above zero"):
        qb.delay_outlook(plane_irons_matrix, level="liquid_nitrogen", gains=[-1.0])


def test_a_sudden_fall_has_half_of_the_gain_at_its_time() -> None:
    x = np.array([0.0, 1.0, 1.5, 2.0, 3.0])
    assert gain_left(x, 1.5, "sudden").tolist() == [1.0, 1.0, 0.5, 0.0, 0.0]
