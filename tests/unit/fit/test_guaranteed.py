from __future__ import annotations

import itertools

import numpy as np
import pandas as pd
import pytest

import quenchbook as qb
from quenchbook.errors import EstimabilityError
from quenchbook.fit.guaranteed import exact_p_value, randomization_test


def study(per_level: tuple[int, ...], effect: float = 0.0, seed: int = 1) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    rows = []
    for temp, count in enumerate(per_level):
        for number in range(count):
            shift = effect * temp + rng.normal(0, 0.3)
            for route in "ab":
                rows += [
                    (f"L{temp}{number}", f"T{temp}", route, shift + rng.normal(0, 0.4))
                    for _ in range(2)
                ]
    return pd.DataFrame(rows, columns=["load", "temp", "route", "y"])


def model(frame: pd.DataFrame, **options):
    return qb.mixed_model(frame, "y", fixed="temp * route", strata=["load"], **options)


@pytest.mark.parametrize(
    ("per_level", "layouts", "as_large"),
    [((3, 3), 20, 2), ((4, 4), 70, 2), ((2, 2, 2), 90, 6), ((3, 2, 1), 60, 1)],
)
def test_all_layouts_are_counted_and_a_huge_effect_has_the_smallest_p(
    per_level, layouts, as_large
) -> None:
    # Multinomial coefficients; layouts that only rename levels of one size have the same F.
    found = randomization_test(model(study(per_level, effect=50.0)), "temp")
    assert found.layouts == found.draws == layouts
    assert found.smallest == pytest.approx(as_large / layouts)
    assert found.p_value == pytest.approx(as_large / layouts)


def test_the_permutation_p_is_the_share_of_layouts_counted_by_hand() -> None:
    frame = study((3, 3), effect=0.4, seed=3)
    found = randomization_test(model(frame), "temp")
    means = frame.groupby("load")["y"].mean()
    own = abs(means.iloc[:3].mean() - means.iloc[3:].mean())
    others = [
        abs(means.iloc[list(c)].mean() - means.drop(means.index[list(c)]).mean())
        for c in itertools.combinations(range(6), 3)
    ]
    assert found.p_value == pytest.approx(np.mean(np.array(others) >= own - 1e-12))


def test_too_few_layouts_are_refused_in_words() -> None:
    with pytest.raises(EstimabilityError, match="only 6 distinct layouts"):
        randomization_test(model(study((2, 2))), "temp")


def test_a_combination_has_no_permutation_test() -> None:
    with pytest.raises(EstimabilityError, match="single factors"):
        randomization_test(model(study((3, 3))), "temp:route")


def test_the_permutation_test_keeps_its_level_inside_loads() -> None:
    rates = [
        randomization_test(model(study((2, 2), seed=seed)), "route", draws=199).p_value <= 0.05
        for seed in range(120)
    ]
    assert sum(rates) <= 14  # 6 expected; more than 14 of 120 has probability .001


def test_units_of_the_demo_are_exchanged_inside_their_blocks(plane_irons) -> None:
    from tests.conftest import ROOT

    folder = ROOT / "data" / "plane_irons"
    own = qb.mixed_model(
        qb.read_records(folder / "records", qb.read_plan(folder / "plan", plane_irons)),
        "hardness_hrc",
    )
    for term in ("austenitize", "cold_route", "delay", "temper"):
        found = randomization_test(own, term, draws=199)
        assert found.p_value <= 0.01 + 1e-9, term  # all four are real in the documented truth


def test_the_exact_bound_is_never_below_the_classical_test_of_a_balanced_plan() -> None:
    for seed in range(5):
        own = model(study((2, 2, 2), effect=0.5, seed=seed))
        classical = own.tests().set_index("term").loc["temp", "p_value"]
        bound = exact_p_value(own, "temp")
        assert bound >= classical
        assert bound <= classical + 0.0011  # balanced: F does not depend on the ratio


def test_the_exact_bound_is_offered_as_a_method_and_refused_for_other_plans(plane_irons) -> None:
    frame = study((3, 2, 1), effect=0.5).drop(index=[1, 6]).reset_index(drop=True)
    table = model(frame, df_method="exact").tests().set_index("term")
    assert table.loc["temp", "method"] == "exact bound over the variance ratio"
    assert table.loc["route", "method"] != "exact bound over the variance ratio"
    crossed = frame.assign(oven=lambda f: [f"o{i % 2}" for i in range(len(f))])
    two = qb.mixed_model(crossed, "y", fixed="temp", strata=["load", "oven"])
    with pytest.raises(EstimabilityError, match="one kind of batch"):
        exact_p_value(two, "temp")


def test_an_unknown_method_is_refused() -> None:
    with pytest.raises(EstimabilityError, match="Known: auto, stratum"):
        model(study((3, 3)), df_method="wald")


def test_incomplete_batches_recover_information_by_kenward_roger() -> None:
    rng = np.random.default_rng(4)
    pairs = list(itertools.combinations("abcd", 2)) * 2
    rows = [
        (f"L{n:02d}", route, rng.normal(0, 0.3) + rng.normal(0, 0.4))
        for n, pair in enumerate(pairs)
        for route in pair
        for _ in range(2)
    ]
    frame = pd.DataFrame(rows, columns=["load", "route", "y"])
    own = qb.mixed_model(frame, "y", fixed="route", strata=["load"])
    assert own.precision.efficiency("route") == pytest.approx(2 / 3)
    assert own.method_of("route") == "kenward_roger"
    assert "67%" in own.why("route")
    inside = qb.mixed_model(frame, "y", fixed="route", strata=["load"], df_method="stratum")
    widths = [
        qb.marginal_means(m, "route")
        .contrast({"a - b": [1, -1, 0, 0]})
        .to_frame()
        .iloc[0]["std_error"]
        for m in (own, inside)
    ]
    assert widths[0] < widths[1]
