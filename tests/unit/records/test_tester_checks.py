"""Outcomes of tester checks, drift, what is said when nothing was recorded. Readings are invented."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

import pytest
from scipy.stats import t
from tests.conftest import ROOT

from quenchbook.metallurgy.tester_limits import Limit
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.block_checks import NO_BLOCK
from quenchbook.records.check_rows import outcome_of
from quenchbook.records.reading import read_records
from quenchbook.records.tester import NO_IMPACT, TesterChecks, checks_of_testers

H = "coupon,hardness_hrc_1,hardness_hrc_2\nK7TX,62.5,62.1\nK9AD,60.0,61.0\n"
B = "session,when,block_value_hrc,hardness_hrc_1,hardness_hrc_2,hardness_hrc_3\n"
I = "session,certified_value_j,impact_j_1,impact_j_2,impact_j_3,impact_j_4,impact_j_5\n"  # noqa: E741

Put = Callable[[Mapping[str, str | bytes]], Path]


def checks_of(
    put: Put, matrix: CouponMatrix, files: Mapping[str, str], **tester: str
) -> TesterChecks:
    own = replace(matrix, study=replace(matrix.study, tester=tester, steel={"thickness": "4 mm"}))
    return checks_of_testers(read_records(put({"h.csv": H, **files}), own))


def outcomes(checks: TesterChecks, check: str) -> list[str]:
    frame = checks.to_frame()
    return frame.loc[frame["check"] == check, "outcome"].tolist()


@pytest.mark.parametrize(
    ("bound", "value", "spare", "expected"),
    [
        ("within", 0.3, 0.1, "pass"),
        ("within", -0.45, 0.1, "warn"),
        ("within", -0.6, 0.1, "out"),
        ("within", 0.5, 0.0, "pass"),
        ("at most", -3.0, 0.0, "pass"),
        ("at most", 0.6, 0.0, "out"),
        ("at least", 0.6, 0.0, "pass"),
        ("at least", 0.55, 0.1, "warn"),
        ("at least", 0.4, 0.1, "out"),
        ("within", math.nan, 0.0, "not known"),
    ],
)
def test_an_outcome_follows_limit_and_what_is_unsure(
    bound: str, value: float, spare: float, expected: str
) -> None:
    assert outcome_of(value, Limit(0.5, bound, ""), spare) == expected  # type: ignore[arg-type]


def test_a_limit_that_is_not_known_gives_no_outcome() -> None:
    assert outcome_of(0.1, Limit(math.nan, "within", "")) == "not known"


@pytest.mark.parametrize(
    ("readings", "error", "spread"),
    [
        ("62.4,62.5,62.4", "pass", "pass"),
        ("62.7,62.9,62.8", "warn", "pass"),
        ("63.2,63.3,63.1", "out", "pass"),
        ("61.9,62.4,62.8", "warn", "warn"),
        ("61.8,62.4,63.0", "warn", "out"),
    ],
)
def test_error_and_repeatability_are_judged_by_e18(
    put: Put, matrix: CouponMatrix, readings: str, error: str, spread: str
) -> None:
    checks = checks_of(put, matrix, {"b.csv": f"{B}1,before,62.4,{readings}\n"})
    assert outcomes(checks, "error") == [error]
    assert outcomes(checks, "repeatability") == [spread]
    own = checks.frame[checks.frame["check"].isin(["error", "repeatability"])]
    assert set(own["clause"]) == {"ASTM E18-19 Table A1.3"}


def test_uncertainty_of_an_error_is_scatter_and_step_of_the_readings(
    put: Put, matrix: CouponMatrix
) -> None:
    checks = checks_of(put, matrix, {"b.csv": B + "1,before,62.4,62.4,62.6,62.5\n"})
    own = checks.frame.iloc[0]
    assert own["value"] == pytest.approx(0.1)
    by_hand = t.ppf(0.975, 2) * math.sqrt(0.1**2 / 3 + 0.1**2 / 12)  # sd 0.1, step 0.1
    assert own["uncertainty"] == pytest.approx(by_hand)


def test_a_single_reading_never_passes(put: Put, matrix: CouponMatrix) -> None:
    checks = checks_of(put, matrix, {"b.csv": B + "1,before,62.4,62.4,,\n"})
    assert outcomes(checks, "error") == ["warn"]
    assert outcomes(checks, "repeatability") == []
    assert "nan" not in checks.summary() + checks._repr_html_().lower()


def test_drift_is_after_less_before_with_its_uncertainty(put: Put, matrix: CouponMatrix) -> None:
    lines = "1,before,62.4,62.3,62.4,62.5\n1,after,62.4,62.6,62.7,62.8\n"
    checks = checks_of(put, matrix, {"b.csv": B + lines}, drift_limit="0.2 HRC")
    (drift,) = checks.frame[checks.frame["check"] == "drift"].to_dict("records")
    assert drift["value"] == pytest.approx(0.3)
    by_hand = t.ppf(0.975, 4) * math.sqrt(0.1**2 * (1 / 3 + 1 / 3) + 2 * 0.1**2 / 12)
    assert drift["uncertainty"] == pytest.approx(by_hand)
    assert (drift["outcome"], drift["clause"]) == ("out", "study.toml, drift_limit")


def test_without_a_drift_limit_the_margin_of_hardness_is_taken(
    put: Put, matrix: CouponMatrix
) -> None:
    hardness = replace(matrix.study.responses[0], equivalence_margin=0.9)
    study = replace(matrix.study, responses=(hardness, matrix.study.responses[1]))
    lines = "1,before,62.4,62.3,62.4,62.5\n1,after,62.4,62.6,62.7,62.8\n"
    checks = checks_of(put, replace(matrix, study=study), {"b.csv": B + lines})
    (drift,) = checks.frame[checks.frame["check"] == "drift"].to_dict("records")
    assert (drift["limit"], drift["outcome"]) == (0.9, "pass")
    assert drift["clause"].startswith("margin of hardness in study.toml; limit of a standard not")


def test_without_margin_and_limit_a_drift_is_not_judged(put: Put, matrix: CouponMatrix) -> None:
    lines = "1,before,62.4,62.3,62.4,62.5\n1,after,62.4,62.6,62.7,62.8\n"
    checks = checks_of(put, matrix, {"b.csv": B + lines})
    (drift,) = checks.frame[checks.frame["check"] == "drift"].to_dict("records")
    assert (drift["outcome"], drift["clause"]) == ("not known", "limit not known here")


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ("2,before,62.4,62.3,62.4,62.5\n", "Session 2 has no block reading after it"),
        ("2,after,62.4,62.3,62.4,62.5\n", "Session 2 has no block reading before it"),
        (
            "2,before,62.4,62.3,62.4,62.5\n2,after,45.1,45.3,45.1,45.0\n",
            "Session 2 has no block read before and after",
        ),
    ],
)
def test_a_session_without_drift_is_told(
    put: Put, matrix: CouponMatrix, lines: str, words: str
) -> None:
    checks = checks_of(put, matrix, {"b.csv": B + lines})
    assert f"{words}: its drift is not known." in checks.notes
    assert "(NIST SP 960-5, 3.4.1)" in checks.summary()


def test_own_limits_go_before_those_of_the_standard(put: Put, matrix: CouponMatrix) -> None:
    files = {"b.csv": B + "1,before,62.4,62.3,62.4,62.6\n"}
    checks = checks_of(put, matrix, files, error_limit="0.01 HRC", repeatability_limit="0.2 HRC")
    assert outcomes(checks, "error") == ["out"]
    assert outcomes(checks, "repeatability") == ["out"]
    assert checks.frame["clause"].tolist()[:2] == [
        "study.toml, error_limit",
        "study.toml, repeatability_limit",
    ]


def test_the_certificate_is_in_the_mean_error_only(put: Put, matrix: CouponMatrix) -> None:
    head = B.replace("block_value_hrc", "block_value_hrc,block_uncertainty_hrc")
    plain = {"b.csv": B + "1,before,62.4,62.4,62.6,62.5\n"}
    told = {"b.csv": head + "1,before,62.4,0.4,62.4,62.6,62.5\n"}
    without, with_it = (checks_of(put, matrix, files) for files in (plain, told))
    assert without.frame.loc[0, "uncertainty"] == with_it.frame.loc[0, "uncertainty"]
    scatter = float(without.frame.loc[0, "uncertainty"])
    assert f"± {math.hypot(scatter, 0.4):.2f}\u00a0HRC" in with_it.summary()
    assert "without that of the certificate, which is not told" in without.summary()


def test_missing_checks_are_said(put: Put, matrix: CouponMatrix) -> None:
    checks = checks_of(put, matrix, {})
    assert checks.frame["check"].tolist() == ["thickness"]
    for words in (
        "No block reading was recorded: the tester's error is not known.",
        "No certified impact coupon was recorded: the impact tester's error is not known.",
        "The indent spacing and the edge distance were not recorded: whether indents or edges "
        "disturbed the readings is not known.",
        "The capacity of the pendulum is not told: whether it was enough is not known.",
    ):
        assert words in checks.notes
    assert NO_BLOCK in checks.notes
    assert NO_IMPACT in checks.notes


def test_a_study_of_something_else_has_no_checks(coated_bars_matrix: CouponMatrix) -> None:
    folder = ROOT / "data" / "coated_bars" / "records"
    checks = checks_of_testers(read_records(folder, coated_bars_matrix))
    assert checks.frame.empty
    assert checks.notes == ()
    assert checks.outcome == "not known"
    assert checks.summary() == "No check of a tester was recorded."


@pytest.mark.parametrize(
    ("spacing", "expected"), [("2.0 mm", "pass"), ("1.3 mm", "warn"), ("1.1 mm", "out")]
)
def test_spacing_between_the_estimated_diameters_warns(
    put: Put, matrix: CouponMatrix, spacing: str, expected: str
) -> None:
    """Softest reading 60 HRC: the estimate is 0.384 to 0.504 mm, three times that 1.15 to 1.51."""
    checks = checks_of(put, matrix, {}, indent_spacing=spacing)
    assert outcomes(checks, "indent spacing") == [expected]


def test_a_measured_diameter_goes_before_the_estimate(put: Put, matrix: CouponMatrix) -> None:
    told = {"indent_diameter": "0.40 mm", "indent_spacing": "1.3 mm", "edge_distance": "0.9 mm"}
    checks = checks_of(put, matrix, {}, **told)
    assert outcomes(checks, "indent spacing") == ["pass"]
    assert outcomes(checks, "edge distance") == ["out"]
    assert "(study.toml)" in checks.frame.loc[0, "clause"]  # type: ignore[operator]


def test_recorded_spacing_goes_before_that_of_the_study(put: Put, matrix: CouponMatrix) -> None:
    text = "coupon,indent_spacing_mm\nK7TX,2.5\nK9AD,0.9\n"
    checks = checks_of(put, matrix, {"s.csv": text}, indent_spacing="3 mm")
    (own,) = checks.frame[checks.frame["check"] == "indent spacing"].to_dict("records")
    assert own["value"] == 0.9
    assert own["about"] == "smallest of 2 coupons, K9AD"
    assert own["outcome"] == "out"


@pytest.mark.parametrize(("thickness", "expected"), [("0.8", "pass"), ("0.79", "out")])
def test_thickness_needs_ten_depths_of_the_softest_indent(
    put: Put, matrix: CouponMatrix, thickness: str, expected: str
) -> None:
    checks = checks_of(put, matrix, {"s.csv": f"coupon,thickness_mm\nK7TX,{thickness}\n"})
    assert outcomes(checks, "thickness") == [expected]


def test_readings_off_the_scale_are_told(put: Put, matrix: CouponMatrix) -> None:
    checks = checks_of(put, matrix, {"g.csv": "coupon,hardness_hrc_1\nCRDH,12\n"})
    assert any(note.startswith("1 reading below 20\u00a0HRC") for note in checks.notes)


def test_a_round_side_is_told_and_not_judged(put: Put, matrix: CouponMatrix) -> None:
    checks = checks_of(put, matrix, {}, curve_diameter="20 mm")
    assert outcomes(checks, "curved side") == ["not known"]


@pytest.mark.parametrize(
    ("cells", "expected"),
    [
        ("14,14.2,13.9,14.1,14.3,13.8", "pass"),
        ("14,15.0,15.6,15.2,14.9,15.4", "warn"),
        ("14,16.0,16.1,15.9,16.2,15.8", "out"),
        ("14,14.2,13.9,,,", "warn"),
        ("100,104.0,104.2,103.9,104.1,104.3", "pass"),
    ],
)
def test_the_impact_tester_is_judged_by_the_greater_of_1_4_j_and_5_percent(
    put: Put, matrix: CouponMatrix, cells: str, expected: str
) -> None:
    checks = checks_of(put, matrix, {"i.csv": f"{I}1,{cells}\n"})
    assert outcomes(checks, "impact error") == [expected]


def test_equal_impact_readings_are_unsure_by_their_rounding(put: Put, matrix: CouponMatrix) -> None:
    checks = checks_of(put, matrix, {"i.csv": I + "1,14.0,15.3,15.3,15.3,15.3,15.3\n"})
    row = checks.to_frame().set_index("check").loc["impact error"]
    assert row["uncertainty"] == pytest.approx(t.ppf(0.975, 4) * 0.1 / math.sqrt(12))
    # 1.31 of 1.4 J: nearer to the limit than half a step of the readings
    near = checks_of(put, matrix, {"i.csv": I + "1,13.99,15.3,15.3,15.3,15.3,15.3\n"})
    worse = checks_of(put, matrix, {"i.csv": I + "1,13.95,15.3,15.3,15.3,15.3,15.3\n"})
    assert outcomes(near, "impact error") == ["pass"]
    assert outcomes(worse, "impact error") == ["warn"]


def test_a_limit_that_tests_little_is_told(put: Put, matrix: CouponMatrix) -> None:
    checks = checks_of(put, matrix, {"i.csv": I + "1,1.59,1.6,1.5,1.6,1.7,1.6\n"})
    assert "At 1.59\u00a0J the limit is 88\u00a0% of the value: it tests little." in checks.notes


@pytest.mark.parametrize(("energy", "expected"), [("40", "pass"), ("41", "out")])
def test_readings_stay_below_four_fifths_of_the_capacity(
    put: Put, matrix: CouponMatrix, energy: str, expected: str
) -> None:
    files = {"i.csv": f"coupon,impact_j\nK7TX,{energy}\n"}
    assert outcomes(checks_of(put, matrix, files, impact_capacity="50 J"), "capacity") == [expected]


def test_the_worst_outcome_counts(put: Put, matrix: CouponMatrix) -> None:
    checks = checks_of(put, matrix, {"b.csv": B + "1,before,62.4,63.2,63.3,63.1\n"})
    assert checks.outcome == "out"
    assert "1 out (error, session 1 before, block of 62.4\u00a0HRC)" in checks.summary()
    assert repr(checks) == "<TesterChecks: 3 checks, worst outcome out>"


def test_tester_readings_change_no_reading_of_a_coupon(put: Put, matrix: CouponMatrix) -> None:
    plain = read_records(put({"h.csv": H}), matrix)
    files = {"b.csv": B + "1,before,62.4,62.3,62.4,62.5\n", "i.csv": I + "1,14,14,14,14,14,13\n"}
    more = read_records(put(files), matrix)
    assert more.readings.equals(plain.readings)
    assert more.frame("hardness_hrc").equals(plain.frame("hardness_hrc"))
    assert len(more.block_checks) == 3
    assert len(more.impact_checks) == 5
