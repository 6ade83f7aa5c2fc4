"""The glossary knows every column of every public table of the demonstration."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd
import pytest
from tests.conftest import ROOT

import quenchbook as qb
from quenchbook.bench.at_hand import consumables
from quenchbook.columns import GLOSSARY, meaning
from quenchbook.outlook.undecided import undecided_needs
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import Study


def public_frames(folder: str) -> Iterator[tuple[str, Study, pd.DataFrame]]:
    study, matrix, records = qb.read_folder(ROOT / "data" / folder)
    analysis = qb.analyse(records)
    frames = {
        "matrix": matrix.to_frame(),
        "tiles": qb.figure_coupon_matrix(matrix).to_frame(),
        "error df": qb.error_df_frame(matrix),
        "cost": qb.plan_cost(matrix).to_frame(),
        "consumables": consumables(matrix).to_frame(),
        "air": consumables(matrix).air_frame(),
        "outlook": qb.question_outlooks(matrix).to_frame(),
        "treatments": qb.treatments(study),
        **{
            name: getattr(records, name)
            for name in (
                "readings",
                "deviations",
                "lost",
                "missing",
                "corrections",
                "measures",
                "block_checks",
                "impact_checks",
            )
        },
        "testers": qb.checks_of_testers(records).to_frame(),
        "lengths": qb.length_changes(records).to_frame(),
    }
    if not study.published:
        frames |= {
            "simulated": qb.simulated_outlook(matrix, studies=50).to_frame(),
            "sweep": qb.planning_sweep(study, loads=[12], studies=20).to_frame(),
            "needed": qb.units_needed(study, "temper").to_frame(),
            "peak": qb.peak_outlook(matrix).to_frame(),
            "peak costs": qb.peak_costs(study, loads=[12]).to_frame(),
            "certainty": qb.certainty_costs(study, loads=[12], coupons=[8], indents=[5]).to_frame(),
            "needs": undecided_needs(matrix, analysis.models, ["temper"]).to_frame(),
            "efficiencies": plan_quality_frame(matrix),
        }
        pair = {"cold_route": ["liquid_nitrogen", "dry_ice"]}
        both = analysis.models["impact_j"], analysis.models["hardness_hrc"]
        same = qb.equal_hardness_contrast(*both, compare=pair)
        frames |= {
            "equal hardness": same.to_frame(),
            "equal hardness coupons": same.coupons,
            "equal hardness lines": same.lines,
            "equal hardness ends": same.ends,
            "sensitivity": same.sensitivity,
            "assumed": qb.assumed_slopes(*both, compare=pair, slopes=[-0.1]),
        }
    for name, model in analysis.models.items():
        x, group = qb.curve_factors(model)
        assert x is not None
        curves, order = qb.response_curves(model, x, group), qb.furnace_order(model)
        budget = qb.noise_budget(model)
        means = qb.marginal_means(model, by=study.factors[1].name)
        weights = [1, -1, *[0] * (len(means.grid) - 2)]
        drawings = [
            qb.figure_response_curves(curves),
            qb.figure_furnace_order(order),
            qb.figure_noise_budget(budget),
        ]
        if comparisons := analysis.comparisons(name):
            drawings.append(qb.figure_contrasts(comparisons, unit=""))
        own = {
            "records": records.frame(name),
            "coupons": model.coupons,
            "model readings": model.readings,
            "tests": model.tests(),
            "coefficients": model.coefficients,
            "components": model.variance_components,
            "unit-blind tests": qb.unit_blind_tests(model),
            "means": means.to_frame(),
            "contrast": means.contrast({"a - b": weights}).to_frame(),
            "curve": curves.to_frame(),
            "curve coupons": curves.coupons,
            "order coupons": order.coupons,
            "order loads": order.loads,
            "budget": budget.to_frame(),
            **{drawing.key: drawing.to_frame() for drawing in drawings},
        }
        if study.has("delay"):
            change = qb.decade_change(model)
            half = qb.half_loss_time(model, level="dry_ice")
            own |= {
                "each decade": change.to_frame(),
                "delay figure": qb.figure_delay(change).to_frame(),
                "gains": half.to_frame(),
                "profile": half.profile,
                "delay outlook": qb.delay_outlook(records.matrix, name, level="dry_ice").to_frame(),
            }
        frames |= {f"{what} of {name}": frame for what, frame in own.items()}
    for what, frame in frames.items():
        yield what, study, frame


def plan_quality_frame(matrix: CouponMatrix) -> pd.DataFrame:
    quality = qb.plan_quality(matrix)
    return pd.concat([quality.aliasing.head(1), quality.efficiencies.head(0)])


@pytest.mark.parametrize("folder", ["plane_irons", "coated_bars"])
def test_every_column_of_every_public_table_has_a_meaning(folder: str) -> None:
    unknown = {
        f"{what}: {column}"
        for what, study, frame in public_frames(folder)
        for column in map(str, frame.columns)
        if not meaning(column, study)[0]
    }
    assert unknown == set()


def test_factors_and_responses_of_a_study_explain_their_columns(coated_bars: Study) -> None:
    assert meaning("furnace_temp_c", coated_bars) == ("level of furnace temperature", "degC")
    assert meaning("resistance_order", coated_bars) == ("place in the test order of resistance", "")
    assert meaning("furnace_temp_c_planned", coated_bars) == (
        "as planned: level of furnace temperature", "degC",
    )  # fmt: skip
    assert meaning("furnace_temp_c") == ("", "")
    assert meaning("lunch_order", coated_bars) == ("", "")


def test_no_meaning_is_blank() -> None:
    assert all(words.strip() for words, _ in GLOSSARY.values())
