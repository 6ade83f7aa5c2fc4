"""Coupons that carry a response and a hardness, fitted as one: the same coupons, the same terms."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from quenchbook.errors import EstimabilityError
from quenchbook.fit.coupon_data import CouponData
from quenchbook.fit.fitting import fitted_model
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.precision import Precision
from quenchbook.fit.strata import Strata, strata_of
from quenchbook.study.terms import Array, Terms


@dataclass(frozen=True, eq=False)
class HardnessPairs:
    """A response and the hardness of the same coupons.

    Attributes
    ----------
    response, hardness : MixedModel
        Both on the coupons that carry both, with the terms of the response.
    indent_variance : float or None
        Variance of the hardness of a coupon from its own indents; None where each coupon has one
        value.
    left_out : tuple of str
        Terms of the hardness that are not among those of the response.
    notes : tuple of str
    """

    response: MixedModel
    hardness: MixedModel
    indent_variance: float | None
    left_out: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def strata(self) -> Strata:
        """Strata of both."""
        return self.response.strata

    @property
    def values(self) -> tuple[Array, Array]:
        """Response and hardness, shape (coupons,) each."""
        first, second = self.response.coupons["value"], self.hardness.coupons["value"]
        return first.to_numpy(dtype=float), second.to_numpy(dtype=float)

    def model_of(self, values: Array) -> MixedModel:
        """Fit other values of the same coupons."""
        return _with_values_fitted(self.response, with_values(self.response.data, values))

    def combined(self, first: str, second: str) -> Strata:
        """Strata with a combination of two factors among the terms.

        Where the terms hold it already, or it cannot be estimated, they are those there are.
        """
        data = self.response.data
        terms = terms_with(self.response.terms, (f"{first}:{second}",))
        return strata_of(data.coupons, terms, data.units, planned=data.planned)


def terms_with(terms: Terms, more: Sequence[str]) -> Terms:
    """Terms and more combinations; blocks stay last."""
    known = [set(name.split(":")) for name in terms.names]
    new = [name for name in more if set(name.split(":")) not in known]
    names = [name for name in terms.names if name not in terms.blocks]
    for name in new:
        for part in name.split(":"):
            terms.variable(part)
    return replace(terms, names=(*names, *new, *terms.blocks))


def hardness_pairs(
    response: MixedModel, hardness: MixedModel, *, combinations: Sequence[str] = ()
) -> HardnessPairs:
    """Bring a response and the hardness of the same coupons together.

    Parameters
    ----------
    response, hardness : MixedModel
    combinations : sequence of str
        Combinations of factors added to the terms of the response.

    Returns
    -------
    HardnessPairs

    Raises
    ------
    EstimabilityError
        If no coupon carries both, or rows of two data frames do not belong together.
    """
    if hardness.scale != "linear":
        raise EstimabilityError("Hardness is analysed on its own scale, not as a logarithm.")
    if response.response == hardness.response:
        raise EstimabilityError(
            f"{response.response} cannot be compared at equal {response.response}."
        )
    one, two = (
        model.coupons.assign(_key=_keys(model, response, hardness))
        for model in (response, hardness)
    )
    found = two.set_index("_key")["value"].reindex(one["_key"]).to_numpy(dtype=float)
    both = np.isfinite(found)
    if not both.any():
        raise EstimabilityError(
            f"No coupon carries both {response.response} and {hardness.response}."
        )
    _check_settings(one[both], two, response)
    words = response.unit_word("coupon", 2)
    notes = []
    if not both.all():
        notes.append(
            f"{int((~both).sum())} of {len(both)} {words} have no {hardness.response} and are "
            "left out."
        )
    data = response.data
    planned = data.planned[both].reset_index(drop=True)
    coupons = data.coupons[both].reset_index(drop=True)
    terms = terms_with(data.terms, combinations)
    kept = replace(data, coupons=coupons, planned=planned, terms=terms, notes=())
    energy = with_values(kept, coupons["value"].to_numpy(dtype=float))
    hard = with_values(kept, found[both], like=hardness.data)
    own = two[two["_key"].isin(set(one.loc[both, "_key"]))]
    fitted = fitted_model(energy, df_method=response.df_method)
    return HardnessPairs(
        response=fitted,
        hardness=_with_values_fitted(fitted, hard),
        indent_variance=_indent_variance(hardness, own),
        left_out=tuple(n for n in hardness.terms.names if n not in terms.names),
        notes=tuple(notes),
    )


def with_values(data: CouponData, values: Array, *, like: CouponData | None = None) -> CouponData:
    """Data with one other value for each coupon, named like another response."""
    coupons = data.coupons.assign(value=values, readings=1)
    readings = coupons[["coupon", "value"]].copy()
    if like is None:
        return replace(data, coupons=coupons, readings=readings)
    named = replace(data, response=like.response, unit=like.unit, scale=like.scale)
    return replace(named, coupons=coupons, readings=readings)


def _with_values_fitted(model: MixedModel, data: CouponData) -> MixedModel:
    """Fit other values of the same coupons: the strata are the same."""
    precision = Precision(model.strata, data.coupons["value"].to_numpy(dtype=float))
    return MixedModel(data, model.strata, precision, model.df_method)


def _keys(model: MixedModel, response: MixedModel, hardness: MixedModel) -> pd.Series[str]:
    """Code that a coupon has in both models; rows of a data frame without one are counted."""
    if response.study is not None and hardness.study is not None:
        return model.coupons["coupon"].astype(str)
    for name in (response.data.lowest, hardness.data.lowest):
        there = all(name in own.coupons for own in (response, hardness))
        if name != "residual" and there:
            return model.coupons[name].astype(str)
    if len(response.coupons) != len(hardness.coupons):
        raise EstimabilityError(
            f"{response.response} has {len(response.coupons)} rows and {hardness.response} "
            f"{len(hardness.coupons)}, and no column names the coupon. Add it to the strata of "
            "both, or leave the rows out that lack one of them."
        )
    return pd.Series(np.arange(len(model.coupons)).astype(str), index=model.coupons.index)


def _check_settings(one: pd.DataFrame, two: pd.DataFrame, response: MixedModel) -> None:
    """Refuse rows of two frames that stand for different units or settings."""
    columns = [*response.units, *(v.column for v in response.terms.variables)]
    columns = [name for name in dict.fromkeys(columns) if name in two]
    paired = two.set_index("_key").loc[one["_key"], columns].reset_index(drop=True)
    own = one[columns].reset_index(drop=True)
    same = (own == paired) | (own.isna() & paired.isna())
    if not bool(same.all(axis=None)):
        name = str(same.columns[~same.all()][0])
        row = int((~same[name]).to_numpy().argmax())
        raise EstimabilityError(
            f"Row {row}: {name} is {own.at[row, name]!s} for {response.response} and "
            f"{paired.at[row, name]!s} for the hardness: these are not the same coupons. Fit "
            "both to the same rows, in the same order."
        )


def _indent_variance(hardness: MixedModel, own: pd.DataFrame) -> float | None:
    spare = int((hardness.coupons["readings"] - 1).sum())
    if spare <= 0:
        return None
    within = hardness.within_square / spare
    return within * float((1.0 / own["readings"].to_numpy(dtype=float)).mean())
