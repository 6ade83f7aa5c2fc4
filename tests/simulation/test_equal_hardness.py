"""Coverage of the comparison at equal hardness, and how covariance analysis fails beside it.

Slow lane: ``pytest -m simulation -rP`` prints the measured rates. With 1,500 studies a cell the
standard error of a coverage of .95 is .0056, so .93 is more than 3 of them away.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from tests.toughness import FIXED, UNITS, incomplete_plan, toughness_plan, toughness_values

import quenchbook as qb
from quenchbook.fit.formula import formula_terms
from quenchbook.fit.hardness_cells import cells_of, parallel_check
from quenchbook.fit.hardness_pairs import hardness_pairs
from quenchbook.fit.hardness_scatter import scatter_lines
from quenchbook.fit.mean_rows import mean_rows
from quenchbook.fit.precision import Precision
from quenchbook.fit.strata import strata_of
from quenchbook.fit.temper_line import Estimate, line_contrast, temper_line

pytestmark = pytest.mark.simulation

STUDIES = 1500
TAU = 0.10


def contrasts(frame: pd.DataFrame, energy: np.ndarray, hardness: np.ndarray) -> list[Estimate]:
    strata = strata_of(frame, formula_terms(FIXED, frame)[0], UNITS)
    rows, _ = mean_rows(strata.terms, ["route"], {"route": ("b", "a")})
    row = rows[0] - rows[1]
    differences = row @ Precision(strata, hardness).coefficients
    found = []
    for number, difference in enumerate(differences):
        line = temper_line(strata, "temper", energy[:, number], hardness[:, number])
        found.append(line_contrast(line, row, float(difference)))
    return found


def covered(found: list[Estimate]) -> float:
    limits = [own.limits(0.95) for own in found]
    return float(np.mean([low <= TAU <= high for low, high in limits]))


@pytest.mark.parametrize(
    ("tempers", "coupons", "harder", "scatter", "more"),
    [
        (2, 3, 1.0, -0.12, {}),
        (2, 3, 1.0, 0.0, {}),
        (2, 3, 2.0, 0.0, {}),
        (3, 2, 1.0, -0.12, {}),
        (3, 2, 1.0, 0.0, {}),
        (3, 2, 2.0, 0.0, {}),
        (3, 2, 1.0, 0.0, {"batch_sd": 0.08}),
        (3, 2, 1.0, 0.0, {"cv": 0.20}),
        (3, 2, 1.0, 0.0, {"step": 0.5}),
    ],
)
def test_interval_holds_the_truth_in_95_of_100_studies(
    tempers: int, coupons: int, harder: float, scatter: float, more: dict[str, float]
) -> None:
    frame = toughness_plan(tempers=tempers, coupons=coupons)
    rng = np.random.default_rng(tempers)
    energy, hardness = toughness_values(
        frame, rng, STUDIES, harder=harder, scatter=scatter, tau=TAU, **more
    )
    found = contrasts(frame, energy, hardness)
    rate = covered(found)
    bias = float(np.median([own.estimate for own in found])) - TAU
    print(f"{tempers} tempers, d {harder}, scatter {scatter}, {more}: {rate:.4f}, bias {bias:.4f}")
    assert 0.93 <= rate <= 0.97
    # a weak line (steps of half a HRC) is known to leave a median bias of up to .03
    assert abs(bias) <= (0.03 if more.get("step", 1.5) < 1 else 0.008)


def test_interval_holds_the_truth_where_coupons_were_lost() -> None:
    frame = toughness_plan(tempers=3, coupons=2)
    kept = frame.drop(index=[0, 7, 13, 22, 29]).reset_index(drop=True)
    energy, hardness = toughness_values(kept, np.random.default_rng(5), STUDIES, scatter=0.0)
    rate = covered(contrasts(kept, energy, hardness))
    print(f"5 of 36 coupons lost: {rate:.4f}")
    assert 0.93 <= rate <= 0.97


@pytest.mark.parametrize("scatter", [-0.12, 0.0])
def test_interval_holds_the_truth_where_batches_are_incomplete(scatter: float) -> None:
    """As in the demonstration: no batch holds all routes, so the rest is weighted over all strata
    (REML, Kenward-Roger) and the slope adds its part. Slow, so 400 studies: standard error .011."""
    frame, studies = incomplete_plan(), 400
    energy, hardness = toughness_values(
        frame, np.random.default_rng(21), studies, tau=TAU, scatter=scatter, step=2.0
    )
    found = []
    for number in range(studies):
        own = frame.assign(impact=np.exp(energy[:, number]), hrc=hardness[:, number])
        response = qb.mixed_model(own, "impact", fixed=FIXED, strata=UNITS, scale="log")
        assert response.method_of("route") == "kenward_roger"
        result = qb.equal_hardness_contrast(
            response,
            qb.mixed_model(own, "hrc", fixed=FIXED, strata=UNITS),
            compare={"route": ["b", "a"]},
        )
        found.append(result.adjusted)
    rate = covered(found)
    bias = float(np.median([own.estimate for own in found])) - TAU
    print(f"incomplete batches, scatter {scatter}: {rate:.4f}, bias {bias:.4f}")
    assert 0.93 - 2.5 * 0.0128 <= rate <= 0.97 + 2.5 * 0.0085  # binomial errors at .93 and .97
    assert abs(bias) <= 0.02  # the median of 400 is known within about .009 (two errors)


def test_one_spare_batch_is_covered_too_often_rather_than_too_rarely() -> None:
    frame = toughness_plan(loads=2, tempers=2, coupons=4)
    energy, hardness = toughness_values(frame, np.random.default_rng(6), STUDIES, scatter=0.0)
    found = contrasts(frame, energy, hardness)
    rate = covered(found)
    print(f"2 loads, 2 tempers, Howe: {rate:.4f}")
    assert found[0].howe
    assert 0.95 <= rate <= 0.995


def test_parallel_lines_pass_in_95_of_100_studies() -> None:
    frame = toughness_plan()
    energy, hardness = toughness_values(frame, np.random.default_rng(7), 300, scatter=0.0)
    p_values = []
    for number in range(300):
        own = frame.assign(impact=np.exp(energy[:, number]), hrc=hardness[:, number])
        pairs = hardness_pairs(
            qb.mixed_model(own, "impact", fixed=FIXED, strata=UNITS, scale="log"),
            qb.mixed_model(own, "hrc", fixed=FIXED, strata=UNITS),
        )
        line = temper_line(pairs.strata, "temper", *pairs.values)
        cells = cells_of(pairs, "route", ("b", "a"), "temper", ("T0", "T1", "T2"))
        check = parallel_check(cells, line, "route", "temper")
        assert check is not None
        p_values.append(check.p_value)
    rate = float(np.mean(np.array(p_values) < 0.05))
    print(f"parallel lines called unequal: {rate:.4f}")
    assert rate <= 0.05 + 3 * 0.0126  # binomial, 300 studies


def test_covariance_analysis_is_biased_where_the_scatter_has_another_slope() -> None:
    """A known wrong: shown as a sensitivity line with its warning, and never the answer."""
    frame = toughness_plan(tempers=3, coupons=2)
    energy, hardness = toughness_values(frame, np.random.default_rng(8), 300, scatter=0.0)
    rows = []
    for number in range(300):
        own = frame.assign(impact=np.exp(energy[:, number]), hrc=hardness[:, number])
        pairs = hardness_pairs(
            qb.mixed_model(own, "impact", fixed=FIXED, strata=UNITS, scale="log"),
            qb.mixed_model(own, "hrc", fixed=FIXED, strata=UNITS),
        )
        levels, _ = mean_rows(pairs.response.terms, ["route"], {"route": ("b", "a")})
        rows.append(scatter_lines(pairs, "temper", levels[0] - levels[1], "batch", None))
    table = pd.concat(rows).query("line == 'covariance analysis with loads and temper batches'")
    away = (table["estimate"] - TAU).to_numpy()
    rate = float(np.mean(np.abs(away) <= 2.06 * table["std_error"]))  # t(.975) of 25 df
    print(
        f"covariance analysis with loads and batches: bias {away.mean():.4f}, coverage {rate:.3f}"
    )
    assert away.mean() < -0.10  # the note: -.121
    assert rate < 0.75  # the note: .660


def test_ends_of_the_common_range_are_covered_where_lines_are_not_parallel() -> None:
    frame = toughness_plan(tempers=3, coupons=4)
    energy, hardness = toughness_values(frame, np.random.default_rng(9), 300, bend=-0.12, scatter=0)
    held = []
    for number in range(300):
        own = frame.assign(impact=np.exp(energy[:, number]), hrc=hardness[:, number])
        result = qb.equal_hardness_contrast(
            qb.mixed_model(own, "impact", fixed=FIXED, strata=UNITS, scale="log"),
            qb.mixed_model(own, "hrc", fixed=FIXED, strata=UNITS),
            compare={"route": ["b", "a"]},
        )
        # Made hardness m of b is 1 - step and of a - step; at one hardness 61 + m the lines part
        # by tau + bend * m.
        for end in result.ends.to_dict("records"):
            truth = TAU - 0.12 * (end["hardness"] - 61.0)
            held.append(end["conf_low"] <= truth <= end["conf_high"])
    rate = float(np.mean(held))
    print(f"both ends of the common range, lines not parallel: {rate:.4f}")
    assert 0.92 <= rate <= 0.98  # 300 studies: the standard error is .0126
