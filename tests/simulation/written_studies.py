"""Simulated studies from the plan to the sentence, and how often the sentences are wrong."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from tests.simulation.written_bench import (
    SEED,
    Bench,
    Template,
    bench_of,
    records_from_files,
    template_of,
)
from tests.simulation.written_judging import Judged, judged
from tests.simulation.written_layouts import LAYOUTS
from tests.simulation.written_truths import Truth

import quenchbook as qb
from quenchbook.errors import EstimabilityError
from quenchbook.findings.answers import AnyFinding, answer
from quenchbook.findings.trade_answers import trade_answer
from quenchbook.study.trade_questions import TradeQuestion

PLANS: Final = 5  # of each layout
STUDIES: Final = 125  # of each layout
FROM_FILES: Final = 5  # of each plan; the others put their values into records that were read
WHOLE: Final = "(any question)"
"""Key of the rows that count studies and not sentences."""

LEVELS: Final = ("together", "each")


def answers_on_their_own(analysis: qb.Analysis) -> dict[str, AnyFinding]:
    """Answers of the same models where every question has a level of its own."""
    study = dataclasses.replace(analysis.study, multiplicity="each")
    models = {
        name: dataclasses.replace(model, data=dataclasses.replace(model.data, study=study))
        for name, model in analysis.models.items()
    }
    found: dict[str, AnyFinding] = {}
    for question in (*study.questions, *study.trade_questions):
        try:
            if isinstance(question, TradeQuestion):
                found[question.key] = trade_answer(models, question)
            else:
                found[question.key] = answer(models[question.response], question)
        except EstimabilityError:
            continue
    return found


@dataclass(frozen=True, eq=False)
class Simulated:
    """One study: its truth, and its answers with a shared level and with levels of their own."""

    truth: Truth
    analysis: qb.Analysis

    def answers(self, level: str) -> dict[str, AnyFinding]:
        """Answers by key, ``together`` or ``each``."""
        if level == "each":
            return answers_on_their_own(self.analysis)
        return {own.key: own for own in self.analysis.findings}


def simulated_studies(bench: Bench, layout: int, plan: int, studies: int) -> Iterator[Simulated]:
    """Studies of one plan, the first ones through files of their own."""
    template: Template | None = None
    for number in range(studies):
        rng = np.random.default_rng([SEED, layout, plan, number])
        truth = bench.layout.draw(rng)
        values = bench.simulated(truth, rng)
        if template is None:
            template = template_of(bench, values)
        through_files = number < FROM_FILES
        records = records_from_files(bench, values) if through_files else template.filled(values)
        yield Simulated(truth, qb.analyse(records))


def judged_sentences(layout: int, plan: int, studies: int) -> pd.DataFrame:
    """Every sentence of the studies of one plan, one row each.

    Returns
    -------
    DataFrame
        ``study, level, answered, sentence`` and the fields of `Judged`.
    """
    bench = bench_of(LAYOUTS[layout], 100 * layout + plan)
    rows = []
    for number, one in enumerate(simulated_studies(bench, layout, plan, studies)):
        for level in LEVELS:
            answers = one.answers(level)
            for question in (*bench.study.questions, *bench.study.trade_questions):
                own = answers.get(question.key)
                found = (
                    Judged(question.key, "")
                    if own is None
                    else judged(bench.study, one.truth, question, own)
                )
                told = {"study": number, "level": level, "answered": own is not None}
                words = own.sentence if own is not None else ""
                rows.append(
                    {
                        **told,
                        **dataclasses.asdict(found),
                        "any_false": found.any_false,
                        "sentence": words,
                    }
                )
    return pd.DataFrame(rows)


COUNTED: Final = (
    "answered", "difference", "equivalence", "place", "any_false", "direction",
    "claims_difference", "claims_equivalence", "claims_place", "is_none", "is_over",
    "missed", "second_missed",
)  # fmt: skip
CASES: Final = ("none_called_real", "over_called_smaller", "with_interval", "with_second")


def counts_of(layout: int, plan: int, studies: int) -> pd.DataFrame:
    """Counts of one plan: a row for each question, and one for studies with any such sentence.

    Returns
    -------
    DataFrame
        ``layout, plan, level, key, kind, studies`` and the counts.
    """
    table = judged_sentences(layout, plan, studies)
    table["with_interval"] = table["missed"].notna()
    table["with_second"] = table["second_missed"].notna()
    for name in ("missed", "second_missed"):
        table[name] = table[name].eq(True)
    table["none_called_real"] = table["is_none"] & table["difference"]
    table["over_called_smaller"] = table["is_over"] & table["equivalence"]
    names = [*COUNTED, *CASES]
    kinds = table[table["kind"] != ""].groupby("key")["kind"].agg(_commonest)
    one = table.groupby(["level", "key"], sort=False)[names].sum().reset_index()
    whole = table.groupby(["level", "study"], sort=False)[names].any()
    every = whole.groupby("level", sort=False).sum().reset_index().assign(key=WHOLE)
    counts = pd.concat([one, every], ignore_index=True)
    counts[names] = counts[names].astype(int)
    counts["kind"] = counts["key"].map(kinds).fillna("")
    counts["studies"] = studies
    counts["layout"], counts["plan"] = LAYOUTS[layout].name, plan
    return counts[["layout", "plan", "level", "key", "kind", "studies", *names]]


def _commonest(kinds: pd.Series) -> str:
    return str(kinds.mode().iloc[0])
