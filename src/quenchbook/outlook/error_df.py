"""What a plan can judge: error degrees of freedom of each stratum, before any steel is cut."""

from __future__ import annotations

import pandas as pd

from quenchbook.fit.coupon_data import random_units
from quenchbook.fit.strata import Strata, strata_of
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.terms import study_terms


def tested_coupons(matrix: CouponMatrix, response: str) -> pd.DataFrame:
    """Coupons on which a response is to be measured and analysed; no references."""
    own = matrix.analysed
    return own[own[f"{response}_order"].notna()].reset_index(drop=True)


def planned_strata(matrix: CouponMatrix, response: str) -> Strata:
    """Strata of a response if everything goes as planned."""
    frame = tested_coupons(matrix, response)
    units = random_units(matrix.study, frame)
    terms = study_terms(matrix.study, matrix.study.response(response), frame)
    return strata_of(frame, terms, units)


def error_df_frame(matrix: CouponMatrix) -> pd.DataFrame:
    """Error df of each term of each response.

    Returns
    -------
    DataFrame
        ``response, term, stratum, df, df_error``; 0 where no test will be possible.
    """
    rows = []
    for response in matrix.study.responses:
        strata = planned_strata(matrix, response.name)
        for term, place in strata.slices.items():
            if term in strata.terms.blocks:
                continue
            unit = strata.term_stage[term]
            rows.append(
                (response.name, term, unit, place.stop - place.start, strata.stage(unit).df)
            )
        for term in strata.dropped:
            rows.append((response.name, term, strata.term_stage[term], 0, 0))
    return pd.DataFrame(rows, columns=["response", "term", "stratum", "df", "df_error"])


def error_df_words(matrix: CouponMatrix) -> list[str]:
    """Say for each response what each factor will be judged on."""
    table, study = error_df_frame(matrix), matrix.study
    lines = []
    for response in study.responses:
        own = table[
            (table["response"] == response.name)
            & table["term"].isin([f.name for f in study.factors])
        ]
        parts = []
        for term, stratum, df, df_error in zip(
            own["term"], own["stratum"], own["df"], own["df_error"], strict=True
        ):
            title = study.factor(term).title
            unit = study.unit_word(stratum, 2)
            if df == 0:
                parts.append(f"{title} cannot be estimated")
            elif df_error == 0:
                parts.append(f"{title} has NO test (no spare {unit}: add some)")
            else:
                few = ", few" if df_error < 3 else ""
                parts.append(f"{title} on {unit} ({df_error} error df{few})")
        lines.append(
            f"{response.quantity[:1].upper()}{response.quantity[1:]} will be judged: "
            f"{'; '.join(parts)}."
        )
    return lines
