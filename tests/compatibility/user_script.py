"""A user's script, for the type checker only: the main results have types of their own, never Any."""

from typing import assert_type

import pandas as pd

import quenchbook as qb


def whole_job() -> None:
    assert_type(qb.__version__, str)
    study = assert_type(qb.read_study("study.toml"), qb.Study)
    matrix = assert_type(qb.coupon_matrix(study, seed=20260114), qb.CouponMatrix)
    assert_type(qb.question_outlooks(matrix), qb.PlanOutlook)
    records = assert_type(qb.read_records("records", matrix), qb.Records)
    model = assert_type(qb.mixed_model(records, "hardness"), qb.MixedModel)
    means = assert_type(qb.marginal_means(model, by="cold_route"), qb.MarginalMeans)
    gain = assert_type(means.contrast({"dry ice - none": [-1, 0, 1, 0]}), qb.MarginalMeans)
    found = assert_type(qb.finding(gain, margin=study.equivalence_margin("hardness")), qb.Finding)
    assert_type(found.sentence, str)
    assert_type(found.estimate, float)
    assert_type(qb.analyse(records), qb.Analysis)
    assert_type(means.to_frame(), pd.DataFrame)
    assert_type(means.summary(), str)
