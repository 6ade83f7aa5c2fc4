"""Fit one response: strata from the plan or from named columns, then the model."""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import pandas as pd

from quenchbook.errors import EstimabilityError, QuenchbookWarning, with_suggestion
from quenchbook.fit.coupon_data import CouponData, data_of_frame, data_of_records
from quenchbook.fit.frame_checks import forgotten_units
from quenchbook.fit.mixed import METHOD_WORDS, DfMethod, MixedModel
from quenchbook.fit.precision import Precision
from quenchbook.fit.strata import strata_of
from quenchbook.fit.unit_codes import are_crossed
from quenchbook.study.definition import Scale, Study
from quenchbook.study.factors import Shape, plural

if TYPE_CHECKING:
    from quenchbook.records.reading import Records


def mixed_model(
    data: Records | pd.DataFrame,
    response: str,
    study: Study | None = None,
    *,
    fixed: str | None = None,
    strata: Sequence[str] = (),
    shapes: Mapping[str, Shape] | None = None,
    scale: Scale = "linear",
    confidence: float = 0.95,
    df_method: DfMethod = "auto",
) -> MixedModel:
    """Fit one response, with the strata that the randomization gives.

    Parameters
    ----------
    data : Records or DataFrame
        Records of a study: the strata come from its coupon matrix and are never typed again. Or a
        plain data frame, one row for each reading, with `fixed` and `strata`.
    response : str
        Column of the response.
    study : Study, optional
        The study of the records; taken from them when left out.
    fixed : str, optional
        For a data frame: fixed part as a Wilkinson-Rogers formula (names and ``+ * : / -``).
    strata : sequence of str
        For a data frame: columns that name the random units (furnace loads, batches, coupons).
        Codes must be unique over the whole frame.
    shapes : mapping of column to {"levels", "linear", "quadratic"}, optional
        For a data frame: how a column of numbers enters. Without it whole numbers, and decimals
        that occur about equally often, are levels, others a straight line; a note says so.
    scale : {"linear", "log"}
        For a data frame: analyse the values or their logarithms.
    confidence : float
        For a data frame: confidence level of intervals.
    df_method : str
        ``stratum``: each term against the mean square of its own unit. ``kenward_roger`` and
        ``satterthwaite``: on the REML fit. ``exact``: for load-level terms of a plan with two
        strata, the largest p value over all plausible variance ratios. ``permute``: permutation of
        whole units inside their blocks. ``auto``: ``stratum``, but ``kenward_roger`` for a
        coupon-level term of which the batches hold too little.

    Returns
    -------
    MixedModel

    Raises
    ------
    EstimabilityError
        If there is nothing to estimate from.
    """
    known = ("auto", *METHOD_WORDS)
    if df_method not in known:
        words = f"'{df_method}' is not a df_method. Known: {', '.join(known)}."
        raise EstimabilityError(with_suggestion(words, df_method, known))
    if study is not None and not isinstance(study, Study):
        raise EstimabilityError("study is not a Study. Read one with read_study.")
    if isinstance(data, pd.DataFrame):
        own = data_of_frame(
            data,
            response,
            fixed=fixed or "",
            strata=strata,
            shapes=shapes,
            scale=scale,
            confidence=confidence,
        )
        model = fitted_model(own, df_method=df_method)
        lessons = forgotten_units(model, data)
        for lesson in lessons:
            warnings.warn(lesson, QuenchbookWarning, stacklevel=2)
        return replace(model, notes=(*model.notes, *lessons))
    if fixed is not None or strata or shapes or scale != "linear" or confidence != 0.95:
        raise EstimabilityError(
            "Records of a study bring their own fixed part, strata, scale and confidence: "
            "change them "
            "in the study file. fixed, strata, shapes, scale and confidence are for data frames."
        )
    study = study or data.study
    own = data_of_records(data, study.response(response), study)
    return fitted_model(own, df_method=df_method)


def fitted_model(data: CouponData, *, df_method: DfMethod = "auto") -> MixedModel:
    """Fit prepared data.

    Parameters
    ----------
    data : CouponData
    df_method : str
        As in `mixed_model`.
    """
    strata = strata_of(data.coupons, data.terms, data.units, planned=data.planned)
    precision = Precision(strata, data.coupons["value"].to_numpy(dtype=float))
    notes = data.notes
    model = MixedModel(data, strata, precision, df_method)
    for unit, other in strata.merged.items():
        one, two = model.unit_word(unit), model.unit_word(other)
        notes = (*notes, f"Each {one} is a whole {two}: the two cannot be told apart.")
    for stage in strata.batches:
        if not stage.df:
            word = model.unit_word(stage.unit)
            notes = (
                *notes,
                f"Every {word} is needed to estimate the settings, so the noise of {plural(word)} "
                f"cannot be told. Two for each setting make it possible.",
            )
        if stage.crossed and data.study is None:
            own = strata.codes[stage.unit]
            pair = [unit for unit, codes in strata.codes.items() if are_crossed(codes, own)]
            notes = (
                *notes,
                f"{' and '.join([*pair, stage.unit])} are taken as crossed: the same "
                "code of each occurs with several of the other. If codes of one are used again in "
                "each unit of the other (1, 2, 3 of every load), make them unique, or readings "
                "pass for replicates.",
            )
    for term, reason in strata.dropped.items():
        notes = (*notes, f"Not estimated: {model.term_word(term)}: {reason}.")
    return MixedModel(data, strata, precision, df_method, notes)
