"""A further coupon lies inside its interval as often as that says.

Slow lane: ``pytest -m simulation -rP`` prints the measured rates. The interval is approximate
(Satterthwaite's df of a sum of variances that are estimated and cut at zero), so the rate may be
above 95 %; it must not be below 93 %.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from quenchbook.fit.fitting import mixed_model
from quenchbook.fit.further import further_coupons
from quenchbook.fit.means import marginal_means

sys.path.insert(0, str(Path(__file__).parent))
from plans import two_strata

pytestmark = pytest.mark.simulation

STUDIES = 400
PLANS = {"8 loads at 4 levels": (2, 2, 2, 2), "6 loads at 3 levels": (2, 2, 2)}


@pytest.mark.parametrize("load_sd", [0.0, 0.5, 1.0])
@pytest.mark.parametrize("name", PLANS)
def test_a_further_coupon_lies_inside_its_interval(name: str, load_sd: float) -> None:
    plan = two_strata(PLANS[name]).astype({"temp": str})
    rng = np.random.default_rng(20261126)
    loads = plan["load"].astype("category").cat.codes.to_numpy()
    inside, asked = 0.0, 0
    for _ in range(STUDIES):
        value = load_sd * rng.normal(size=loads.max() + 1)[loads] + rng.normal(size=len(plan))
        model = mixed_model(
            plan.assign(value=value), "value", fixed="temp * route", strata=["load"]
        )
        own = further_coupons(marginal_means(model, ["temp", "route"]))
        new = rng.normal(size=len(own)) * np.hypot(load_sd, 1.0)
        inside += float(((own["further_low"] < new) & (new < own["further_high"])).sum())
        asked += len(own)
    rate = inside / asked
    print(f"{name}, load sd {load_sd}: {rate:.3f} of {asked}")
    assert 0.93 <= rate <= 0.985
