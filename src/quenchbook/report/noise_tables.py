"""Tables on noise: tests with their units, second opinion, shares of the error, units ignored."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from typing import Any

import pandas as pd

from quenchbook.errors import EstimabilityError
from quenchbook.findings.answers import Analysis
from quenchbook.findings.statements import df_text, f_text, p_value_text
from quenchbook.fit.guaranteed import randomization_test
from quenchbook.fit.ignoring import unit_blind_tests
from quenchbook.fit.means import question_contrast
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.noise import error_shares
from quenchbook.report.blocks import Block, Paragraph, Run, TableBlock, table
from quenchbook.report.study_tables import term_words
from quenchbook.study.definition import Study
from quenchbook.units import capital, listed


def term_table(model: MixedModel, name: str, study: Study) -> TableBlock:
    """Tests of all terms with the unit each was judged on."""
    rows = []
    largest = 1.0
    for row in model.tests().to_dict("records"):
        untested = math.isnan(row["p_value"])
        rows.append(
            (
                term_words(row["term"], study),
                model.unit_word(row["stratum"]),
                df_text(row["df"]),
                "none" if untested else df_text(row["df_error"]),
                "" if untested else f"{row['statistic']:.2f}",
                "no test" if untested else p_value_text(row["p_value"]),
            )
        )
        if not math.isnan(row["safety_factor"]):
            largest = max(largest, row["safety_factor"])
    notes = []
    recovered = [t for t in model.terms.names if model.method_of(t) == "kenward_roger"]
    if recovered and model.df_method == "auto":
        names = listed([term_words(t, study) for t in recovered])
        notes.append(
            f"{capital(names)}: batches hold only part of the settings, so what lies between "
            "batches is used too (REML with Kenward-Roger degrees of freedom)."
        )
    if largest > 1.005:
        notes.append(
            "Units are of unequal size: mean squares of some terms are multiplied by up to "
            f"{largest:.2f} to keep the level."
        )
    quantity = study.response(name).quantity
    return table(
        pd.DataFrame(rows, columns=["term", "judged on", "df", "error df", "F", "p"]),
        key=f"tests_{name}",
        caption=f"Tests for {quantity}: each term against the noise of its own unit.",
        notes=notes,
    )


def second_opinion_table(model: MixedModel, name: str, study: Study) -> TableBlock | None:
    """Permutation tests of single factors beside the tests of their strata."""
    tests = {row["term"]: row for row in model.tests().to_dict("records")}
    rows = []
    for term in model.terms.names:
        if ":" in term or term in model.terms.blocks or math.isnan(tests[term]["p_value"]):
            continue
        shown = p_value_text(tests[term]["p_value"])
        try:
            own = randomization_test(model, term, draws=999)
        except EstimabilityError:
            rows.append((term_words(term, study), shown, "too few layouts", ""))
            continue
        p_value = p_value_text(own.p_value)
        smallest = f"{own.smallest:.2g}".removeprefix("0")
        rows.append((term_words(term, study), shown, p_value, smallest))
    if not rows:
        return None
    return table(
        pd.DataFrame(rows, columns=["term", "p", "p by permutation", "smallest possible"]),
        key=f"permutation_{name}",
        caption=(
            f"A second opinion on {study.response(name).quantity} without a model of the noise: "
            "settings of whole units exchanged inside their blocks."
        ),
    )


def error_share_table(analysis: Analysis, name: str) -> TableBlock | None:
    """Where the error of each declared comparison comes from, and what would halve it."""
    model, study = analysis.models[name], analysis.study
    rows = []
    for question in study.questions:
        if question.term or question.response != name:
            continue
        if question.key not in {own.key for own in analysis.findings}:
            continue
        own = error_shares(question_contrast(model, question))
        shares = [f"{share * 100:.0f}\u00a0%" for share in own["share"]]
        best = own[own["times_to_halve"] < math.inf]
        words = "no number of one unit"
        if len(best):
            units = [model.unit_word(str(unit), 2) for unit in best["stratum"]]
            cheapest = best["times_to_halve"].to_list()[-1]  # the finest unit that can
            words = f"{cheapest:.1f} times as many {units[-1]}"
        rows.append((question.words, *shares, words))
    if not rows:
        return None
    names = [model.unit_word(str(unit)) for unit in model.variance_components["stratum"]]
    return table(
        pd.DataFrame(rows, columns=["comparison", *names, "would halve the error"]),
        key=f"error_shares_{name}",
        caption=f"Where the error of comparisons of {study.response(name).quantity} comes from.",
        notes=["At the estimated variances; last column: the finest unit that can halve it alone."],
    )


def ignoring_blocks(model: MixedModel, name: str, study: Study) -> list[Block]:
    """Compare with the analysis that takes every coupon for its own furnace load.

    Nothing is shown where both give the same verdicts.
    """
    right = {row["term"]: row for row in model.tests().to_dict("records")}
    blind = {row["term"]: row for row in unit_blind_tests(model).to_dict("records")}
    terms = [t for t in blind if t in right and not math.isnan(right[t]["p_value"])]
    limit = 1 - model.confidence
    flipped = [t for t in terms if (right[t]["p_value"] < limit) != (blind[t]["p_value"] < limit)]
    if not model.units or not flipped:
        return []
    rows = [(term_words(t, study), *_f_and_p(right[t]), *_f_and_p(blind[t])) for t in terms]
    coupon, load = study.unit_word("coupon"), study.unit_word("furnace_load")
    coupons, loads = study.unit_word("coupon", 2), study.unit_word("furnace_load", 2)
    return [
        Paragraph(
            (
                Run(f"Why the {load} counts.", strong=True),
                f" Had every {coupon} been analysed as if it were its own {load}, "
                f"{_flipped_words(flipped, terms, study)} The {coupons} of one {load} "
                f"share whatever that {load} did, so a setting made once for a {load} can only be "
                f"judged against the scatter between {loads}; what is compared inside a {load} is "
                "free of that scatter.",
            )
        ),
        table(
            pd.DataFrame(rows, columns=["term", "right", "p_right", "blind", "p_blind"]),
            key=f"ignoring_{name}",
            caption=(
                f"The same {study.response(name).quantity} readings with the right units and with "
                "the units ignored; only the first uses the right noise."
            ),
            titles={
                "right": "right units",
                "p_right": "p",
                "blind": "units ignored",
                "p_blind": "p",
            },
        ),
    ]


def _f_and_p(row: Mapping[Hashable, Any]) -> tuple[str, str]:
    p = p_value_text(row["p_value"])
    return f_text(row["statistic"], row["df"], row["df_error"]), p


def _flipped_words(flipped: Sequence[str], terms: Sequence[str], study: Study) -> str:
    """Say which tests would have changed sides; verdicts only where a question asked for each."""
    count, total = len(flipped), len(terms)
    names = listed([term_words(term, study) for term in flipped])
    asked = {frozenset(question.term.split(":")) for question in study.questions if question.term}
    if count == total > 1 and {frozenset(term.split(":")) for term in terms} <= asked:
        words = {2: "both", 3: "all three", 4: "all four", 5: "all five"}
        number = words.get(count, f"all {count}")
        return f"{number} verdicts would have been reversed: {names}."
    verb = "test" if total == 1 else "tests"
    text = f"{count} of the {total} {verb} in this table would have changed sides: {names}."
    if count == 1:
        text += " A single test may change sides by chance, either way."
    return text
