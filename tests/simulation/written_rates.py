"""Rates of false statements from the counts of simulated studies, with their binomial limits."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import pandas as pd
from scipy import stats
from tests.simulation.written_bench import SEED
from tests.simulation.written_studies import WHOLE

ROOT: Final = Path(__file__).parents[2]
COUNTS: Final = Path(__file__).with_name("written_word_counts.csv")
RATES: Final = ROOT / "src" / "quenchbook" / "report" / "measured_rates.json"
COMMAND: Final = "python tests/simulation/measure_written_word.py"
PLACES: Final = ("peak", "working_window", "target_window", "half_loss", "temper_for")

AT_MARGIN: Final = "every truth exactly at the margin"
LEVEL_WORDS: Final = {
    "together": "one level shared by all questions",
    "each": "each question on its own",
}


def stored_counts() -> pd.DataFrame:
    """Counts that the command wrote."""
    return pd.read_csv(COUNTS, keep_default_na=False)


def stored_rates() -> dict[str, Any]:
    """Content of the file that reports read."""
    told: dict[str, Any] = json.loads(RATES.read_text(encoding="utf-8"))
    return told


def rate_row(level: str, what: str, count: int, of: int) -> dict[str, Any]:
    """Rate with its 95 % binomial limits (Clopper and Pearson)."""
    low = float(stats.beta.ppf(0.025, count, of - count + 1)) if count else 0.0
    high = float(stats.beta.ppf(0.975, count + 1, of - count)) if count < of else 1.0
    limits = {"low": round(low, 4), "high": round(high, 4)}
    return {"level": level, "what": what, "rate": round(count / of, 4), **limits, "of": of}


def counted(counts: pd.DataFrame, level: str, *, whole: bool) -> pd.DataFrame:
    """Rows of one way to judge: of whole studies, or of single questions."""
    own = counts[counts["level"] == level]
    return own[(own["key"] == WHOLE) == whole]


def rate_rows(counts: pd.DataFrame) -> list[dict[str, Any]]:
    """Rates in the order of the report: those of a shared level, then of questions on their own."""
    studies = counted(counts, "together", whole=True)
    edge = studies[studies["layout"] == AT_MARGIN]
    rows = [
        _of_studies("together", "studies with a difference stated that is not so", studies,
                    "difference"),
        _of_studies("together", 'studies with "smaller than the margin" stated and not so', studies,
                    "equivalence"),
        _of_studies("together", "studies with a place stated wrongly (peak, window, half-loss, "
                    "temper)", studies, "place"),
        _of_studies("together", "studies with any false statement", studies, "any_false"),
        _of_studies("together", "the same where every true difference is exactly its margin, so "
                    'that "more" and "smaller" are both false', edge, "any_false"),
    ]  # fmt: skip
    each = counted(counts, "each", whole=False)
    places = each[each["kind"].isin(PLACES)]
    for what, own, count, of in (
        ("differences of zero called real", each, "none_called_real", "is_none"),
        ("differences at or over the margin called smaller", each, "over_called_smaller", "is_over"),
        ("places stated wrongly", places, "place", "answered"),
        ("questions with any false statement", each, "any_false", "answered"),
        ("intervals that miss the truth", each, "missed", "with_interval"),
        ("further intervals in the same sentence that miss it", each, "second_missed",
         "with_second"),
    ):  # fmt: skip
        rows.append(rate_row("each", what, int(own[count].sum()), int(own[of].sum())))
    studies = counted(counts, "each", whole=True)
    rows.append(_of_studies("each", "studies with any false statement", studies, "any_false"))
    return rows


def _of_studies(level: str, what: str, whole: pd.DataFrame, name: str) -> dict[str, Any]:
    return rate_row(level, what, int(whole[name].sum()), int(whole["studies"].sum()))


def measured(counts: pd.DataFrame, *, date: str, version: str) -> dict[str, Any]:
    """What reports tell of the measurement."""
    whole = counted(counts, "together", whole=True)
    single = counted(counts, "together", whole=False)
    return {
        "studies": int(whole["studies"].sum()),
        "questions": int(single["studies"].sum()),
        "confidence": 0.95,
        "rows": rate_rows(counts),
        "measured": date,
        "version": version,
        "command": COMMAND,
        "seed": SEED,
        "layouts": list(dict.fromkeys(counts["layout"].tolist())),
    }


def layout_table(counts: pd.DataFrame) -> pd.DataFrame:
    """Shares of studies of each layout with a false statement, by kind and level."""
    whole = counts[counts["key"] == WHOLE]
    names = ["difference", "equivalence", "place", "any_false"]
    sums = whole.groupby(["layout", "level"], sort=False)[["studies", *names]].sum()
    return sums[names].div(sums["studies"], axis=0).unstack("level")


def markdown(told: Mapping[str, Any]) -> str:
    """Table of rates for the README."""
    lines = [
        "| judged with | what was counted | rate | 95 % limits | of |",
        "|---|---|---|---|---|",
    ]
    for row in told["rows"]:
        rate, low, high = (f"{row[name] * 100:.1f} %" for name in ("rate", "low", "high"))
        level = LEVEL_WORDS[row["level"]]
        lines.append(f"| {level} | {row['what']} | {rate} | {low} to {high} | {row['of']:,} |")
    return "\n".join(lines)
