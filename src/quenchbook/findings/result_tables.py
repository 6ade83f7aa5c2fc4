"""Results of an analysis as tables: tests, variance components, findings, open questions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    import pandas as pd

    from quenchbook.findings.answers import Analysis, AnyFinding

FINDING_COLUMNS: Final = (
    "key", "question", "response", "asks", "verdict", "outcome", "scale", "unit",
    "estimate", "std_error", "df", "df_error", "statistic", "confidence", "conf_low", "conf_high",
    "inner_low", "inner_high", "margin", "p_value", "strata", "sentence", "remedy", "notes",
    "declared", "change",
)  # fmt: skip

COMPONENT_COLUMNS: Final = (
    "response", "scale", "stratum", "count", "variance", "sd", "conf_low", "conf_high",
)  # fmt: skip


def analysis_tables(analysis: Analysis) -> dict[str, pd.DataFrame]:
    """Tables of an analysis, numbers with all their digits.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    dict of str to DataFrame
        ``tests`` and ``variance_components`` (one row a term or a stratum of each response; no
        stratum of a response whose noise cannot be estimated),
        ``findings`` (one row an answered question, columns of `FINDING_COLUMNS`) and
        ``unanswered`` (``key, question, reason``).
    """
    import pandas as pd

    from quenchbook.errors import EstimabilityError

    tests, components = [], []
    for name, model in analysis.models.items():
        tests.append(_of_response(name, model.tests()))
        try:
            own = _of_response(name, model.variance_components)
        except EstimabilityError:  # as many coefficients as coupons: the tests say "no test"
            continue
        own.insert(1, "scale", model.scale)
        components.append(own)
    return {
        "tests": pd.concat(tests, ignore_index=True),
        "variance_components": pd.concat(components, ignore_index=True)
        if components
        else pd.DataFrame(columns=list(COMPONENT_COLUMNS)),
        "findings": finding_frame(analysis.findings),
        "unanswered": pd.DataFrame(
            [(own.key, own.words, why) for own, why in analysis.unanswered],
            columns=["key", "question", "reason"],
        ),
    }


def finding_frame(findings: Sequence[Any]) -> pd.DataFrame:
    """Findings as a table, one row each: columns of `FINDING_COLUMNS`."""
    import pandas as pd

    return pd.DataFrame([_finding_row(own) for own in findings], columns=list(FINDING_COLUMNS))


def _of_response(name: str, frame: pd.DataFrame) -> pd.DataFrame:
    own = frame.copy()
    own.insert(0, "response", name)
    return own


def _finding_row(own: AnyFinding) -> dict[str, Any]:
    row = {column: getattr(own, column, None) for column in FINDING_COLUMNS}
    strata = getattr(own, "strata", None) or (getattr(own, "stratum", ""),)
    return {**row, "strata": "; ".join(strata), "notes": " ".join(getattr(own, "notes", ()))}
