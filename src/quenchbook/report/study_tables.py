"""Tables of a report: what was varied, what went differently, tests, all coupons."""

from __future__ import annotations

import math
import re
from collections.abc import Hashable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from quenchbook.findings.answers import Analysis
from quenchbook.findings.statements import df_text, f_text, p_text
from quenchbook.fit.ignoring import unit_blind_tests
from quenchbook.fit.mixed import MixedModel
from quenchbook.report.blocks import Block, Paragraph, Run, Section, TableBlock, table
from quenchbook.study.definition import Study, held_value
from quenchbook.study.factors import Factor
from quenchbook.units import MINUS, listed


def factor_table(study: Study) -> TableBlock:
    """Factors, levels, and the unit each is set for."""
    rows = []
    for factor in study.factors:
        inside = ""
        if factor.nested_in:
            parent = study.factor(factor.nested_in)
            inside = f"only with {', '.join(parent.word(level) for level in factor.exists_for)}"
        rows.append(
            {
                "factor": factor.title,
                "levels": ", ".join(factor.word(level) for level in factor.levels),
                "set for each": study.unit_word(factor.set_for),
                "inside": inside,
            }
        )
    frame = pd.DataFrame(rows)
    if not frame["inside"].any():
        frame = frame.drop(columns="inside")
    return table(
        frame,
        key="factors",
        caption="What was varied, and for which unit each setting was made.",
        titles={"inside": "exists"},
    )


def equipment_table(study: Study) -> TableBlock:
    """Steel and equipment as the study file names them."""
    rows = [
        ("steel: " + str(key).replace("_", " "), _plain(value))
        for key, value in study.steel.items()
    ]
    rows += [(str(key).replace("_", " "), _plain(value)) for key, value in study.equipment.items()]
    return table(
        pd.DataFrame(rows, columns=["what", "which"]),
        key="equipment",
        caption="Steel and equipment.",
    )


def files_table(paths: Sequence[str | Path]) -> TableBlock:
    """Files that were written, with their folder.

    Parameters
    ----------
    paths : sequence of str or Path
        As the steps return them.
    """
    own = [Path(path) for path in paths]
    return table(
        pd.DataFrame(
            [(path.name, path.parent.as_posix()) for path in own], columns=["file", "folder"]
        ),
        key="files",
        caption=f"{len(own)} file{'' if len(own) == 1 else 's'} written.",
    )


def _plain(value: object) -> str:
    if isinstance(value, dict):
        return ", ".join(
            f"{key} {part:g}" if isinstance(part, float) else f"{key} {part}"
            for key, part in value.items()
        )
    return re.sub(r"(?<![\w.])-(?=[\d.]+\s*°)", MINUS, held_value(str(value)))


def deviation_blocks(analysis: Analysis) -> list[Block]:
    """What went differently: deviations, lost coupons, corrections of misread cells."""
    records, study = analysis.records, analysis.study
    rows = []
    for row in records.deviations.to_dict("records"):
        if row["item"] == "lost":
            continue
        item = str(row["item"])
        title = study.factor(item).title if study.has(item) else item.replace("_", " ")
        rows.append(
            (
                f"{study.unit_word(str(row['what']))} {row['which']}",
                title,
                _value_text(study, item, row["planned"]),
                _value_text(study, item, row["actual"]),
                _plain_note(row["note"]),
            )
        )
    for row in records.lost.to_dict("records"):
        word = f"{study.unit_word('coupon')} {row['coupon']}"
        rows.append((word, "lost", "", "", _plain_note(row["reason"])))
    for row in records.corrections.to_dict("records"):
        change = f"{row['found']} read as {row['corrected']}"
        where = f"{row['file']} row {row['row']}"
        rows.append((where, f"{row['column']} corrected", "", change, _plain_note(row["reason"])))
    blocks: list[Block] = [Section("What went differently", level=3)]
    if not rows:
        return [*blocks, Paragraph(("Nothing that was recorded.",))]
    frame = pd.DataFrame(rows, columns=["where", "what", "planned", "as run", "note"])
    caption = "Deviations from the plan; the analysis uses what was run."
    blocks.append(table(frame, key="deviations", caption=caption))
    return [*blocks, *(Paragraph((note,)) for note in records.notes)]


def _plain_note(note: object) -> str:
    return "" if note is None or note != note else str(note)


def _value_text(study: Study, item: str, value: object) -> str:
    if value is None or value != value or value == "":
        return ""
    if study.has(item):
        factor = study.factor(item)
        if factor.is_numeric:
            try:
                return factor.word(round(float(str(value)), 1))
            except ValueError:
                return str(value)
        return factor.word(str(value))
    return str(value)


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
                "no test" if untested else p_text(row["p_value"]).removeprefix("p\u00a0"),
            )
        )
        largest = largest if untested else max(largest, row["safety_factor"])
    notes = []
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
    p = p_text(row["p_value"]).removeprefix("p\u00a0")
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


def term_words(term: str, study: Study) -> str:
    """Term in print: ``temper by cold route``."""
    parts = [study.factor(name).title if study.has(name) else name for name in term.split(":")]
    return " by ".join(parts)


def level_text(factor: Factor, level: object) -> str:
    """Level in print; empty where the factor does not exist."""
    if level is None or level != level or level == "":
        return ""
    return (
        factor.word(round(float(str(level)), 1)) if factor.is_numeric else factor.word(str(level))
    )


def coupon_table(analysis: Analysis) -> TableBlock:
    """Every coupon: settings as run, mean of its readings."""
    study, records = analysis.study, analysis.records
    frame = records.matrix.frame[["coupon", "furnace_load"]].copy()
    titles = {"coupon": study.unit_word("coupon"), "furnace_load": study.unit_word("furnace_load")}
    decimals, units = {"furnace_load": 0}, {}
    run = pd.concat([records.frame(name) for name in analysis.models])
    run = run.drop_duplicates("coupon").set_index("coupon")
    for factor in study.factors:
        planned = records.matrix.frame.set_index("coupon")[factor.column]
        values = run[factor.column].reindex(planned.index).combine_first(planned)
        frame[factor.column] = [level_text(factor, values[coupon]) for coupon in frame["coupon"]]
        titles[factor.column] = factor.title
    for name in analysis.models:
        response = study.response(name)
        frame[name] = frame["coupon"].map(records.frame(name).groupby("coupon")["value"].mean())
        titles[name], units[name] = response.quantity, response.unit
        decimals[name] = 2 if response.readings > 1 else 1 if response.unit else 0
    lost = set(records.lost["coupon"])
    if lost:
        frame["note"] = ["lost" if coupon in lost else "" for coupon in frame["coupon"]]
    return table(
        frame,
        key="all_coupons",
        caption=(
            f"All {len(frame)} {study.unit_word('coupon', len(frame))} in furnace order; settings "
            "as run."
        ),
        titles=titles,
        units=units,
        decimals=decimals,
    )
