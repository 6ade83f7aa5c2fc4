"""Whether the treatments of a coupon matrix are those that the study allows."""

from __future__ import annotations

import pandas as pd

from quenchbook.errors import Problem
from quenchbook.plan.treatments import is_forbidden
from quenchbook.study.definition import Study
from quenchbook.units import listed

_NAMED = 8  # codes that a sentence names before it only counts


def forbidden_problems(study: Study, frame: pd.DataFrame) -> list[Problem]:
    """Coupons with a forbidden treatment, one problem for each entry of the study file."""
    problems = []
    for entry in study.forbidden:
        hit = frame[is_forbidden(study, frame, only=entry)]
        if hit.empty:
            continue
        words = listed(
            [f"{study.factor(name).title} {study.factor(name).word(level)}"
             for name, level in entry.levels.items()]
        )  # fmt: skip
        reason = f" ({entry.reason})" if entry.reason else ""
        problems.append(
            Problem(
                f"{study.unit_word('coupon', len(hit))} {_codes(hit)}",
                f"{'has' if len(hit) == 1 else 'have'} {words}, which is forbidden{reason}",
                "Put study.toml back as it was, or make the plan again before anything is cut.",
            )
        )
    return problems


def reference_problems(study: Study, frame: pd.DataFrame) -> list[Problem]:
    """References that are not those of the study: unknown, too many, with other levels."""
    if "reference" not in frame:
        return []
    own = frame[frame["reference"] != ""]
    declared = {extra.key: extra for extra in study.references}
    problems = []
    for key, rows in own.groupby("reference", sort=True):
        extra = declared.get(str(key))
        where = f"{study.unit_word('coupon', len(rows))} {_codes(rows)}"
        if extra is None:
            problems.append(
                Problem(
                    where,
                    f"{'is' if len(rows) == 1 else 'are'} reference '{key}', which the study file "
                    "does not declare as a reference",
                    "Put its [[extra_coupons]] back as it was.",
                )
            )
            continue
        if len(rows) != extra.coupons:
            problems.append(
                Problem(
                    where,
                    f"{len(rows)} stand in the plan for reference '{key}', the study file says "
                    f"{extra.coupons}",
                    "Put its [[extra_coupons]] back as it was.",
                )
            )
        for factor in study.factors:
            given = rows[factor.column]
            if factor.name in extra.levels:
                wrong = given != extra.levels[factor.name]
                expected = factor.word(extra.levels[factor.name])
            elif factor.set_for == "bar":  # its bar has a lot, whether it is asked for or not
                continue
            else:
                wrong, expected = given.notna() & (given != ""), "no level"
            if wrong.any():
                problems.append(
                    Problem(
                        f"{study.unit_word('coupon', int(wrong.sum()))} {_codes(rows[wrong])}",
                        f"reference '{key}' has another {factor.title} than declared",
                        f"Expected {expected}.",
                    )
                )
    return problems


def _codes(rows: pd.DataFrame) -> str:
    codes = [str(code) for code in rows["coupon"]]
    if len(codes) > _NAMED:
        return f"{', '.join(codes[:_NAMED])} and {len(codes) - _NAMED} more"
    return listed(codes)
