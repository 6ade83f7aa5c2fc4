"""One value for each coupon, its settings and units: from records, or from a plain frame."""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from pandas.api.types import is_numeric_dtype

from quenchbook.errors import EstimabilityError, QuenchbookWarning, with_suggestion
from quenchbook.fit.formula import formula_terms
from quenchbook.fit.frame_checks import check_codes, codes_used_again, forgotten_readings
from quenchbook.records.run_otherwise import RunOtherwise, run_otherwise
from quenchbook.study.definition import Response, Scale, Study
from quenchbook.study.factors import Shape
from quenchbook.study.terms import Terms, study_terms

if TYPE_CHECKING:
    from quenchbook.plan.matrix import CouponMatrix
    from quenchbook.records.reading import Records

RANDOM_UNITS = ("furnace_load", "cold_batch", "temper_batch")


def random_units(study: Study, frame: pd.DataFrame) -> tuple[str, ...]:
    """Units above the coupon whose noise a study takes into account.

    Furnace loads and batches where they are numbered. Bars only where a factor is set for them (a
    heat lot): else the bar is part of the noise of coupons, which are spread over bars at random.

    Parameters
    ----------
    study : Study
    frame : DataFrame
        Coupons with their unit columns.
    """
    with_lots = any(factor.set_for == "bar" for factor in study.factors)
    wanted = (*RANDOM_UNITS, "bar") if with_lots else RANDOM_UNITS
    return tuple(unit for unit in wanted if unit in frame)


@dataclass(frozen=True, eq=False)
class CouponData:
    """What a model is fitted to.

    Attributes
    ----------
    response, unit : str
    scale : str
        ``linear`` or ``log``.
    coupons : DataFrame
        One row for each coupon: units, settings as run, ``value`` (mean on the analysed scale),
        ``readings``.
    readings : DataFrame
        One row for each reading: ``coupon`` and ``value`` on the analysed scale.
    terms : Terms
    units : tuple of str
        Random units above the coupon.
    planned : DataFrame
        Settings as planned; they decide the stratum of a term.
    study : Study or None
    confidence : float
    lowest, reading : str
        Names of the two lowest strata: ``coupon`` and ``indent``, or those of the data frame.
    notes : tuple of str
    absent : DataFrame
        Coupons of the plan that should have a reading of this response and have none.
    otherwise : RunOtherwise or None
        What was run otherwise than planned; None for a data frame.
    matrix : CouponMatrix or None
        Plan of the records; None for a data frame.
    """

    response: str
    unit: str
    scale: Scale
    coupons: pd.DataFrame
    readings: pd.DataFrame
    terms: Terms
    units: tuple[str, ...]
    planned: pd.DataFrame
    study: Study | None = None
    confidence: float = 0.95
    lowest: str = "coupon"
    reading: str = "indent"
    notes: tuple[str, ...] = ()
    absent: pd.DataFrame = field(default_factory=pd.DataFrame)
    otherwise: RunOtherwise | None = None
    matrix: CouponMatrix | None = None


def data_of_records(records: Records, response: Response, study: Study) -> CouponData:
    """Take a response from the records of a study; the strata come from its coupon matrix."""
    readings = records.frame(response.name).dropna(subset=["value"])
    if readings.empty:
        raise EstimabilityError(f"There are no readings of {response.quantity} yet.")
    if response.scale == "log":
        readings = readings.assign(value=_logarithm(readings["value"], response.name))
    coupons = _coupon_means(readings)
    planned = coupons.copy()
    for factor in study.factors:
        if f"{factor.column}_planned" in coupons:
            planned[factor.column] = coupons[f"{factor.column}_planned"]
    units = random_units(study, coupons)
    notes = [
        f"Each {study.unit_word(unit)} holds one {study.unit_word('coupon')} of these, so its "
        "noise "
        f"is part of the noise of {study.unit_word('coupon', 2)}."
        for unit in units
        if coupons[unit].nunique() == len(coupons)
    ]
    return CouponData(
        response=response.name,
        unit=response.unit,
        scale=response.scale,
        coupons=coupons,
        readings=readings,
        terms=study_terms(study, response, coupons),
        units=units,
        planned=planned,
        study=study,
        confidence=study.confidence,
        notes=tuple(notes),
        absent=_absent(records, response, coupons),
        otherwise=run_otherwise(coupons, records),
        matrix=records.matrix,
    )


def _absent(records: Records, response: Response, coupons: pd.DataFrame) -> pd.DataFrame:
    own = records.missing.loc[records.missing["response"] == response.name, "coupon"]
    planned = records.matrix.analysed
    gone = planned["coupon"].isin(own) & ~planned["coupon"].isin(coupons["coupon"])
    return planned[gone].reset_index(drop=True)


def data_of_frame(
    frame: pd.DataFrame,
    response: str,
    *,
    fixed: str,
    strata: Sequence[str],
    shapes: Mapping[str, Shape] | None,
    scale: Scale,
    confidence: float,
) -> CouponData:
    """Take a response from a plain data frame, one row for each reading."""
    if isinstance(strata, str):
        strata = [strata]
    if scale not in ("linear", "log"):
        words = f"'{scale}' is not a scale. Write linear or log."
        raise EstimabilityError(with_suggestion(words, scale, ("linear", "log")))
    if not 0.5 <= confidence < 1:
        raise EstimabilityError(f"confidence is {confidence}. Write a number such as 0.95.")
    if missing := [name for name in (response, *strata) if name not in frame]:
        columns = ", ".join(map(str, frame.columns))
        words = f"The data have no column {', '.join(missing)}. They have {columns}."
        raise EstimabilityError(with_suggestion(words, missing[0], frame.columns))
    terms, notes = formula_terms(fixed, frame, shapes=shapes, units=strata)
    fixed_columns = [variable.column for variable in terms.variables]
    if both := [name for name in strata if name in fixed_columns]:
        raise EstimabilityError(
            f"{', '.join(both)} stands in the fixed part and among the strata. A unit needs "
            "codes of "
            "its own: name each load or plot, not its setting."
        )
    if response in fixed_columns:
        raise EstimabilityError(f"{response} stands on both sides of the model.")
    kept = {"value", "readings"} & {*strata, *fixed_columns}
    if kept:
        raise EstimabilityError(
            f"The column name {' and '.join(sorted(kept))} is used inside. Rename it in the data."
        )
    needed = [response, *strata, *fixed_columns]
    used = frame.dropna(subset=needed).reset_index(drop=True)
    if used.empty:
        raise EstimabilityError(f"No row has all of {', '.join(dict.fromkeys(needed))}.")
    if len(used) < len(frame):
        blank = [name for name in dict.fromkeys(needed) if frame[name].isna().any()]
        left = len(frame) - len(used)
        notes = (*notes, f"{left} of {len(frame)} rows not used: blank {', '.join(blank)}.")
        terms, _ = formula_terms(fixed, used, shapes=shapes, units=strata)
    try:
        values = used[response].astype(float)
    except (TypeError, ValueError):
        raise EstimabilityError(f"{response} has cells that are not numbers.") from None
    for name, own in {response: values, **{name: used[name] for name in fixed_columns}}.items():
        infinite = np.isinf(own.to_numpy(dtype=float)) if is_numeric_dtype(own) else np.zeros(0)
        if infinite.any():
            row = int(infinite.argmax())
            raise EstimabilityError(f"{name} is infinite in row {row}. Correct or blank it.")
    readings = used.assign(value=_logarithm(values, response) if scale == "log" else values)
    repeated = _repeated_unit(readings, terms, strata)
    check_codes(readings, terms, strata, repeated)
    for lesson in (
        *codes_used_again(readings, strata, repeated),
        *forgotten_readings(readings, response, terms, strata),
    ):
        warnings.warn(lesson, QuenchbookWarning, stacklevel=3)
        notes = (*notes, lesson)
    if repeated:
        readings = readings.assign(coupon=readings[repeated])
    elif "coupon" not in readings or not readings["coupon"].is_unique:
        readings = readings.assign(coupon=pd.RangeIndex(len(readings)))
    coupons = _coupon_means(readings)
    return CouponData(
        response=response,
        unit="",
        scale=scale,
        coupons=coupons,
        readings=readings,
        terms=terms,
        units=tuple(unit for unit in strata if unit != repeated),
        planned=coupons,
        confidence=confidence,
        lowest=repeated or "residual",
        reading="residual",
        notes=notes,
    )


def _logarithm(values: pd.Series[float], name: str) -> pd.Series[float]:
    if (values <= 0).any():
        count = int((values <= 0).sum())
        raise EstimabilityError(
            f"{count} values of {name} are zero or below; they have no logarithm."
        )
    return pd.Series(np.log(values.to_numpy(dtype=float)), index=values.index)


def _coupon_means(readings: pd.DataFrame) -> pd.DataFrame:
    groups = readings.groupby("coupon", sort=False)
    coupons = groups.first().reset_index()
    coupons["value"] = groups["value"].mean().to_numpy()
    coupons["readings"] = groups["value"].size().to_numpy()
    return coupons


def _repeated_unit(frame: pd.DataFrame, terms: Terms, strata: Sequence[str]) -> str | None:
    """Finest unit whose rows differ by nothing but the reading: its rows are averaged."""
    fixed = [variable.column for variable in terms.variables]
    for unit in sorted(strata, key=lambda name: -frame[name].nunique()):
        if frame[unit].nunique() == len(frame):
            continue
        others = [*fixed, *(name for name in strata if name != unit)]
        if not others or bool((frame.groupby(unit)[others].nunique() <= 1).all(axis=None)):
            return unit
    return None
