"""The finding without each furnace load: which verdicts turn."""

from __future__ import annotations

import pytest

import quenchbook as qb
from quenchbook.errors import EstimabilityError
from quenchbook.findings.answers import Analysis
from quenchbook.findings.left_out import VerdictsWithout
from quenchbook.fit.means import MarginalMeans

GAIN = {"freezer - none": [-1, 1, 0, 0]}


@pytest.fixture(scope="module")
def gain(plane_irons_analysis: Analysis) -> MarginalMeans:
    model = plane_irons_analysis.models["hardness_hrc"]
    return qb.marginal_means(model, by="cold_route").contrast(GAIN)


@pytest.fixture(scope="module")
def verdicts(gain: MarginalMeans) -> VerdictsWithout:
    return qb.verdicts_without(gain, margin=0.5)


def test_the_gain_of_the_freezer_exceeds_the_margin_without_load_3_or_5(
    verdicts: VerdictsWithout,
) -> None:
    # own: refitted by hand without each load; it is what the page of this question tells
    frame = verdicts.to_frame()
    assert frame["furnace_load"].tolist() == list(range(1, 13))
    turned = frame[frame["verdict"] == "exceeds"].round(3)
    assert turned["furnace_load"].tolist() == [3, 5]
    assert turned["estimate"].tolist() == [0.744, 0.674]
    assert turned["conf_low"].tolist() == [0.6, 0.505]
    assert turned["conf_high"].tolist() == [0.888, 0.842]
    assert set(frame["verdict"]) == {"differs", "exceeds"}


def test_each_finding_is_that_of_a_model_fitted_without_the_load(
    gain: MarginalMeans, verdicts: VerdictsWithout
) -> None:
    coupons = gain.model.coupons
    own = coupons.loc[coupons["furnace_load"] == 3, "coupon"].tolist()
    means = qb.marginal_means(qb.without(gain.model, own), by="cold_route")
    alone = qb.finding(means.contrast(GAIN), margin=0.5)
    assert verdicts.left_out[3].estimate == pytest.approx(alone.estimate, abs=1e-10)
    assert verdicts.left_out[3].conf_low == pytest.approx(alone.conf_low, abs=1e-10)


def test_the_first_sentence_names_the_loads_on_which_the_verdict_rests(
    verdicts: VerdictsWithout,
) -> None:
    first = str(verdicts).splitlines()[0]
    assert first == (
        'The verdict "differs" stays in 10 of 12 cases; '
        'it is "exceeds" without furnace load 3 or 5.'
    )


def test_a_verdict_that_never_turns_is_said_to_stay(gain: MarginalMeans) -> None:
    own = qb.verdicts_without(gain, margin=0.2)
    assert own.turned() == {}
    assert str(own).startswith('Whichever furnace load is left out, the verdict stays "exceeds".')


def test_cold_batches_are_left_out_by_their_names(gain: MarginalMeans) -> None:
    own = qb.verdicts_without(gain, margin=0.5, unit="cold_batch")
    assert "1-4" in own.left_out
    assert own.to_frame().columns[0] == "cold_batch"


def test_an_unknown_unit_is_named_with_those_there_are(gain: MarginalMeans) -> None:
    with pytest.raises(EstimabilityError, match=r"no column furnace_lode.*furnace_load"):
        qb.verdicts_without(gain, margin=0.5, unit="furnace_lode")
