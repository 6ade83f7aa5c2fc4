"""A delay that exists with a single cold route: the plainest study with a delay."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

import quenchbook as qb
from quenchbook.records.reading import Records

COMMENTED = """\
# [factors.delay]
# levels = ["0 min", "60 min"]
# set_for = "cold_batch"
# exists_for = { cold_route = ["freezer"] }
"""


def records(folder: Path, combinations: str = "") -> Records:
    """Template study with its delay, and invented readings of every coupon."""
    qb.new_study(folder)
    file = folder / "study.toml"
    text = file.read_text(encoding="utf-8").replace(COMMENTED, COMMENTED.replace("# ", ""))
    if combinations:
        text = text.replace("[responses.hardness]\n", f"[responses.hardness]\n{combinations}\n")
    file.write_text(text, encoding="utf-8")
    matrix, _ = qb.plan_study(folder)
    noise = np.random.default_rng(8).normal(62, 0.5, (len(matrix.frame), 3)).round(1)
    table = pd.DataFrame(noise, columns=[f"hardness_hrc_{n}" for n in (1, 2, 3)])
    table.insert(0, "coupon", matrix.frame["coupon"])
    table.to_csv(folder / "records" / "hardness.csv", index=False)
    return qb.read_folder(folder)[2]


def test_it_is_analysed_without_a_combination_that_does_not_exist(tmp_path: Path) -> None:
    analysis = qb.analyse(records(tmp_path / "own"))
    model = analysis.models["hardness_hrc"]
    assert "cold_route:delay" not in model.terms.names
    assert {"delay", "temper:delay", "austenitize:delay"} <= set(model.terms.names)
    assert model.tests()["p_value"].between(0, 1).all()
    assert len(analysis.findings) == 3


def test_a_declared_combination_that_does_not_exist_is_named(tmp_path: Path) -> None:
    wish = 'combinations = ["cold_route:delay"]'
    model = qb.mixed_model(records(tmp_path / "own", wish), "hardness_hrc")
    assert model.strata.dropped == {
        "cold_route:delay": "one of its factors exists at a single level of the other"
    }
    assert model.tests()["p_value"].notna().all()
