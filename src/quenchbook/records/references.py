"""Reference coupons of a study: what they read, and that no model uses them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from quenchbook.plan.matrix import CouponMatrix
from quenchbook.units import capital, decimals_for, listed, number_text

if TYPE_CHECKING:
    from quenchbook.records.reading import Records

COLUMNS: Final = ("reference", "response", "coupons", "readings", "mean", "sd", "unit")


def reference_means(records: Records) -> pd.DataFrame:
    """Mean and scatter of the reference coupons, in the order of the study file.

    Parameters
    ----------
    records : Records

    Returns
    -------
    DataFrame
        ``reference`` (key), ``response``, ``coupons``, ``readings``; ``mean`` and ``sd`` of the
        coupon means in the unit of the response, ``sd`` blank for a single coupon; ``unit``. Only
        what was read.
    """
    rows = []
    for response in records.study.responses:
        readings = records.reference_frame(response.name)
        for extra in records.study.references:
            own = readings[readings["reference"] == extra.key]
            if own.empty:
                continue
            means = own.groupby("coupon")["value"].mean().to_numpy(dtype=float)
            sd = float(np.std(means, ddof=1)) if len(means) > 1 else np.nan
            rows.append(
                (extra.key, response.name, len(means), len(own), means.mean(), sd, response.unit)
            )
    return pd.DataFrame(rows, columns=list(COLUMNS))


def reference_lines(records: Records) -> list[str]:
    """Say what each kind of reference coupons reads, one sentence a response."""
    study, lines = records.study, []
    words = {extra.key: extra.words for extra in study.references}
    for row in reference_means(records).to_dict("records"):
        response = study.response(str(row["response"]))
        sd = float(row["sd"])
        printed = response.printed
        mean = printed.difference(float(row["mean"]), std_error=sd)
        spread = number_text(sd, decimals_for(sd, response.unit))
        if printed.other is not None:
            spread = printed.difference(sd, std_error=sd)
        scatter = f", sd {spread}" if sd == sd else ""
        lines.append(
            f"{capital(words[str(row['reference'])])} (reference): {response.quantity} {mean} on "
            f"{row['coupons']} {study.unit_word('coupon', int(row['coupons']))}{scatter}."
        )
    return lines


def reference_notes(matrix: CouponMatrix) -> list[str]:
    """Say once how many coupons no model uses, and why."""
    study = matrix.study
    if "reference" not in matrix.frame:
        return []
    counts = matrix.frame["reference"].value_counts()
    kinds = [f"{counts[own.key]} {own.words}" for own in study.references if own.key in counts]
    total = int(counts.drop("", errors="ignore").sum())
    return [
        f"{total} reference {study.unit_word('coupon', total)} ({listed(kinds)}): shown and in no "
        "model, because they leave out steps that the others get."
    ]
