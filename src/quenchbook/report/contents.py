"""What a report of a study says, section by section, as blocks.

Each function takes the finished analysis and returns blocks; a report notebook shows them in order and
the author writes between them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd

from quenchbook.bench.safety import cautions
from quenchbook.findings.answers import Analysis
from quenchbook.findings.statements import estimate_text, f_text, limits_text, p_text
from quenchbook.findings.verdicts import MEANINGS, Finding, TermFinding
from quenchbook.fit.curves import curve_factors, furnace_order, response_curves
from quenchbook.fit.ignoring import tests_ignoring_units
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.noise import noise_budget
from quenchbook.report.blocks import (
    Block,
    Bullets,
    Cautions,
    FindingRow,
    FindingRows,
    Headline,
    Paragraph,
    Run,
    Runs,
    Section,
    TableBlock,
    from_drawing,
    table,
)
from quenchbook.study.definition import Study
from quenchbook.study.factors import Factor


def show(blocks: Iterable[Block]) -> None:
    """Display blocks in a notebook, one after the other."""
    from IPython.display import display

    for block in blocks:
        display(block)


def report_answer(analysis: Analysis) -> list[Block]:
    """Question, answer in at most three sentences, and a row for each declared question."""
    study = analysis.study
    counts = analysis.records.matrix.unit_counts()
    days = int(analysis.records.matrix.frame["day"].nunique())
    units = [f"{counts['coupon']} {study.unit_word('coupon', counts['coupon'])}"]
    if "furnace_load" in counts:
        units.append(
            f"{counts['furnace_load']} {study.unit_word('furnace_load', counts['furnace_load'])}"
        )
    if days > 1:
        units.append(f"{days} days")
    sentences = [own.sentence for own in analysis.findings[:3]]
    answer: Runs = ("No declared question could be answered.",)
    if sentences:
        answer = (Run(sentences[0], strong=True), *(f" {text}" for text in sentences[1:]))
    date = f", {_date_text(study.date)}" if study.date else ""
    return [
        Headline(
            question=study.question,
            byline=f"{study.author}{date}. {', '.join(units)}.",
            answer=answer,
            invented=study.invented,
        ),
        FindingRows(_finding_rows(analysis)),
    ]


def report_method(analysis: Analysis) -> list[Block]:
    """What was fixed beforehand, what was done, and what went differently."""
    study, records = analysis.study, analysis.records
    matrix = records.matrix
    blocks: list[Block] = [Section("What was done")]
    fixed = [
        f"{response.quantity} {_margin_words(response.equivalence_margin, response.unit, response.scale)}"
        for response in study.responses
        if response.equivalence_margin is not None
    ]
    first = [
        f"Plan {matrix.short_hash}, {'order as published' if matrix.seed is None else f'seed {matrix.seed}'}."
    ]
    if study.questions:
        first.append(f"{len(study.questions)} questions were declared before the data.")
    if fixed:
        first.append(
            f"Differences too small to matter (margins, fixed beforehand): {'; '.join(fixed)}."
        )
    blocks.append(Paragraph((" ".join(first),)))
    blocks.append(_factor_table(study))
    blocks += [Paragraph((note,)) for note in (*study.notes, *matrix.notes)]
    from quenchbook.plots.coupon_tiles import figure_coupon_matrix

    blocks.append(from_drawing(figure_coupon_matrix(matrix)))
    if study.steel or study.equipment:
        blocks.append(_equipment_table(study))
    blocks += _deviation_blocks(analysis)
    return blocks


def report_noise(analysis: Analysis) -> list[Block]:
    """Noise budget of each response, the tests with their strata, and what ignoring units does."""
    from quenchbook.plots.furnace_order import figure_furnace_order
    from quenchbook.plots.noise import figure_noise_budget

    blocks: list[Block] = [Section("How much is noise")]
    for number, (name, model) in enumerate(analysis.models.items()):
        quantity = analysis.study.response(name).quantity
        if len(analysis.models) > 1:
            blocks.append(Section(_capital(quantity), level=3))
        blocks.append(Paragraph((model.units_ladder(),)))
        blocks.append(from_drawing(figure_noise_budget(noise_budget(model))))
        if number == 0:
            blocks.append(from_drawing(figure_furnace_order(furnace_order(model))))
        blocks.append(_test_table(model, name, quantity))
        blocks += _ignoring_blocks(model, name, quantity, analysis.study)
        blocks += [Paragraph((note,)) for note in model.notes]
    return blocks


def report_questions(analysis: Analysis) -> list[Block]:
    """Each declared question with its verdict, and the figures of each response."""
    from quenchbook.plots.gauges import figure_contrasts

    blocks: list[Block] = [Section("What was found")]
    used = dict.fromkeys(own.verdict for own in analysis.findings)
    meanings = tuple((Run(verdict, strong=True), f": {MEANINGS[verdict]}.") for verdict in used)
    blocks.append(Paragraph(("The words for what was shown:",)))
    blocks.append(Bullets(meanings))
    for name, model in analysis.models.items():
        response = analysis.study.response(name)
        own = [f for f in analysis.findings if f.response == name]
        if len(analysis.models) > 1:
            blocks.append(Section(_capital(response.quantity), level=3))
        contrasts = [f for f in own if isinstance(f, Finding)]
        if contrasts:
            blocks.append(from_drawing(figure_contrasts(contrasts, unit=response.unit)))
        blocks += _curve_blocks(model)
        blocks += [
            Paragraph(
                (
                    Run(f.question, strong=True),
                    " ",
                    Run(f.verdict, emphasis=True),
                    f". {f.sentence} {f.remedy}".rstrip(),
                )
            )
            for f in own
        ]
        if any(len(set(getattr(f, "strata", ()))) > 1 for f in own):
            blocks.append(
                Paragraph(
                    (
                        "Where a comparison carries the noise of several units, their mean squares are added "
                        "and the degrees of freedom follow Satterthwaite.",
                    )
                )
            )
    return blocks


def report_limits(analysis: Analysis) -> list[Block]:
    """What cannot be told, and where the result holds."""
    study = analysis.study
    items: list[Runs] = []
    counts = analysis.records.matrix.unit_counts()
    steel = study.steel.get("condition") or study.steel.get("grade") or "the steel used"
    loads = counts.get("furnace_load", 0)
    items.append(
        (
            f"The result holds for {steel}, one furnace, {loads} {study.unit_word('furnace_load', loads)}. "
            "Another mill heat, furnace or tester may behave differently.",
        )
    )
    for finding in analysis.findings:
        if finding.verdict == "undecided":
            items.append(
                (Run(finding.question, strong=True), f" Not settled. {finding.remedy}".rstrip())
            )
    for question, why in analysis.unanswered:
        items.append((Run(question.words, strong=True), f" Not answered: {why}"))
    for model in analysis.models.values():
        quantity = study.response(model.response).quantity
        for term, reason in model.strata.dropped.items():
            items.append(
                (f"{_capital(quantity)}: {_term_words(term, study)} was not estimated: {reason}.",)
            )
    count = len([f for f in analysis.findings if f.declared])
    if count > 1:
        items.append(
            (
                f"{count} questions were declared, each judged on its own at {analysis.study.confidence * 100:g}\u00a0%: "
                "of twenty true absences of a difference about one would be called real.",
            )
        )
    return [Section("What cannot be told"), Bullets(tuple(items))]


def cautions_table(study: Study) -> Cautions:
    """Cautions for the hazards that a study really has."""
    own = cautions(study)
    items = tuple(" ".join([f"{caution.hazard}:", *caution.sentences]) for caution in own)
    return Cautions("Cautions", items)


def report_cautions(analysis: Analysis) -> list[Block]:
    """Cautions for whoever wants to repeat it."""
    return [Section("Before you repeat it"), cautions_table(analysis.study)]


def report_data(analysis: Analysis) -> list[Block]:
    """Where the numbers are, what made them, and under which licence."""
    from quenchbook import __version__

    study, matrix = analysis.study, analysis.records.matrix
    versions = ", ".join(f"{name} {value}" for name, value in matrix.versions.items())
    return [
        Section("Data and method"),
        Paragraph(
            (
                f"Study {study.key}, plan {matrix.plan_hash}, made with {versions}; analysed with quenchbook "
                f"{__version__}. Licence of data and text: {study.licence}.",
            )
        ),
        Paragraph(
            (
                "Each term is tested against the mean square of the unit it was set for, on unit values with "
                "equal weights; where units are of unequal size a safety factor and error degrees of freedom "
                "after Box are used, in balanced parts the test is the classical F of the stratum. Variance "
                "components are estimated by REML, not below zero; the limits of their standard deviations "
                "are modified large-sample limits. No reading was removed by a rule.",
            )
        ),
    ]


def report_appendix(analysis: Analysis) -> list[Block]:
    """All coupons with what was done to them and what was measured."""
    study, records = analysis.study, analysis.records
    frame = records.matrix.frame[["coupon", "furnace_load"]].copy()
    titles = {"coupon": study.unit_word("coupon"), "furnace_load": study.unit_word("furnace_load")}
    decimals: dict[str, int] = {"furnace_load": 0}
    units: dict[str, str] = {}
    lost = set(records.lost["coupon"])
    run = None
    for name in analysis.models:
        values = records.frame(name)
        run = values.groupby("coupon").first() if run is None else run
        frame[name] = frame["coupon"].map(values.groupby("coupon")["value"].mean())
        response = study.response(name)
        titles[name], units[name] = response.quantity, response.unit
        decimals[name] = 2 if response.readings > 1 else 1 if response.unit else 0
    for place, factor in enumerate(study.factors):
        as_run = frame["coupon"].map(run[factor.column]) if run is not None else np.nan
        planned = records.matrix.frame[factor.column]
        value = pd.Series(as_run, index=frame.index).where(lambda s: s.notna(), planned)
        frame.insert(2 + place, factor.column, [_level_text(factor, level) for level in value])
        titles[factor.column] = factor.title
    frame["note"] = ["lost" if coupon in lost else "" for coupon in frame["coupon"]]
    if not lost:
        frame = frame.drop(columns="note")
    return [
        Section(f"Appendix: all {study.unit_word('coupon', 2)}"),
        table(
            frame,
            key="all_coupons",
            caption=f"All {len(frame)} {study.unit_word('coupon', 2)} in furnace order; settings as run.",
            titles=titles,
            units=units,
            decimals=decimals,
        ),
    ]


# --- parts ------------------------------------------------------------------------------------------


def _finding_rows(analysis: Analysis) -> tuple[FindingRow, ...]:
    """One row a finding; the gauges of one response share their scale."""
    from quenchbook.plots.gauges import gauge_limits

    limits = {
        name: gauge_limits(analysis.comparisons(name))
        for name in analysis.models
        if analysis.comparisons(name)
    }
    return tuple(_finding_row(own, limits.get(own.response)) for own in analysis.findings)


def _finding_row(own: Finding | TermFinding, limits: tuple[float, float] | None) -> FindingRow:
    from quenchbook.plots.gauges import gauge_svg, glyph_svg

    if isinstance(own, TermFinding):
        return FindingRow(
            verdict=own.verdict,
            glyph_svg=glyph_svg(own.verdict, 1),
            gauge_svg="",
            statement=own.question,
            estimate_text=f_text(own.statistic, own.df, own.df_error),
            interval_text=p_text(own.p_value),
        )
    return FindingRow(
        verdict=own.verdict,
        glyph_svg=glyph_svg(own.verdict, 1 if own.estimate >= 0 else -1),
        gauge_svg=gauge_svg(own, limits=limits),
        statement=own.question or own.label,
        estimate_text=estimate_text(own),
        interval_text=limits_text(own),
    )


def _factor_table(study: Study) -> TableBlock:
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


def _equipment_table(study: Study) -> TableBlock:
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


def _plain(value: object) -> str:
    if isinstance(value, dict):
        return ", ".join(
            f"{key} {part:g}" if isinstance(part, float) else f"{key} {part}"
            for key, part in value.items()
        )
    return str(value)


def _deviation_blocks(analysis: Analysis) -> list[Block]:
    records, study = analysis.records, analysis.study
    blocks: list[Block] = []
    rows = []
    for row in records.deviations.itertuples():
        rows.append(
            {
                "where": f"{study.unit_word(str(row.what))} {row.which}",
                "what": str(row.item).replace("_", " "),
                "planned": _value_text(study, str(row.item), row.planned),
                "as run": _value_text(study, str(row.item), row.actual),
                "note": "" if row.note != row.note else str(row.note or ""),
            }
        )
    for row in records.lost.itertuples():
        rows.append(
            {
                "where": f"{study.unit_word('coupon')} {row.coupon}",
                "what": "lost",
                "planned": "",
                "as run": "",
                "note": str(row.reason),
            }
        )
    for row in records.corrections.itertuples():
        rows.append(
            {
                "where": f"{row.file} row {row.row}", "what": f"{row.column} corrected",
                "planned": "", "as run": f"{row.found} read as {row.corrected}", "note": str(row.reason),
            }
        )  # fmt: skip
    blocks.append(Section("What went differently", level=3))
    if not rows:
        blocks.append(Paragraph(("Nothing that was recorded.",)))
        return blocks
    blocks.append(
        table(
            pd.DataFrame(rows),
            key="deviations",
            caption="Deviations from the plan; the analysis uses what was run.",
        )
    )
    blocks += [Paragraph((note,)) for note in records.notes]
    return blocks


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


def _test_table(model: MixedModel, name: str, quantity: str) -> TableBlock:
    tests = model.tests()
    study = model.study
    assert study is not None
    rows = [
        {
            "term": _term_words(row.term, study),
            "stratum": model.unit_word(row.stratum),
            "df": f"{row.df:.0f}",
            "df_error": "none" if not row.df_error else _df_text(row.df_error),
            "statistic": "" if math.isnan(row.statistic) else f"{row.statistic:.2f}",
            "p_value": p_text(row.p_value).removeprefix("p\u00a0")
            if not math.isnan(row.p_value)
            else "no test",
        }
        for row in tests.itertuples()
    ]
    notes = []
    if (tests["safety_factor"] > 1.005).any():
        largest = tests["safety_factor"].max()
        notes.append(
            f"Unequal unit sizes: mean squares of some terms are multiplied by up to {largest:.2f} to keep the level."
        )
    return table(
        pd.DataFrame(rows),
        key=f"tests_{name}",
        caption=f"Tests for {quantity}: each term against the noise of its own unit.",
        titles={"stratum": "judged on", "df_error": "error df", "statistic": "F", "p_value": "p"},
        notes=notes,
    )


def _df_text(df: float) -> str:
    return f"{df:.0f}" if abs(df - round(df)) < 0.05 else f"{df:.1f}"


def _ignoring_blocks(model: MixedModel, name: str, quantity: str, study: Study) -> list[Block]:
    """Compare with the analysis that takes every coupon for its own furnace load."""
    if not model.units:
        return []
    right = model.tests().set_index("term")
    wrong = tests_ignoring_units(model).set_index("term")
    limit = 1 - model.confidence
    terms = [t for t in wrong.index if t != "day" and not math.isnan(right.loc[t, "p_value"])]
    flipped = [
        t for t in terms if (right.loc[t, "p_value"] < limit) != (wrong.loc[t, "p_value"] < limit)
    ]
    if not flipped:
        return []
    coupon, load = study.unit_word("coupon"), study.unit_word("furnace_load")
    rows = [
        {
            "term": _term_words(t, study),
            "right": f_text(
                right.loc[t, "statistic"], right.loc[t, "df"], right.loc[t, "df_error"]
            ),
            "p_right": p_text(right.loc[t, "p_value"]).removeprefix("p\u00a0"),
            "wrong": f_text(
                wrong.loc[t, "statistic"], wrong.loc[t, "df"], wrong.loc[t, "df_error"]
            ),
            "p_wrong": p_text(wrong.loc[t, "p_value"]).removeprefix("p\u00a0"),
        }
        for t in terms
    ]
    count = {0: "none", 1: "one", 2: "two", 3: "three"}.get(len(flipped), str(len(flipped)))
    all_of = f"all {count}" if len(flipped) == len(terms) else f"{count} of {len(terms)}"
    verb = "verdict" if len(flipped) == 1 and len(terms) > 1 else "verdicts"
    return [
        Paragraph(
            (
                Run(f"Why the {load} counts.", strong=True),
                f" Had every {coupon} been analysed as if it were its own {load}, {all_of} {verb} would have been "
                f"reversed: {_words([_term_words(t, study) for t in flipped])}. "
                f"The {study.unit_word('coupon', 2)} of one {load} share whatever that {load} did, so a setting made "
                f"once for a {load} can only be judged against the scatter between {study.unit_word('furnace_load', 2)}; "
                f"what is compared inside a {load} is free of that scatter.",
            )
        ),
        table(
            pd.DataFrame(rows),
            key=f"ignoring_{name}",
            caption=f"The same {quantity} readings with the right units and with the units ignored; only the right column counts.",
            titles={
                "right": "right units",
                "p_right": "p",
                "wrong": "units ignored (wrong)",
                "p_wrong": "p",
            },
        ),
    ]


def _curve_blocks(model: MixedModel) -> list[Block]:
    from quenchbook.plots.curves import figure_response_curves

    x, group = curve_factors(model)
    if x is None:
        return []
    return [from_drawing(figure_response_curves(response_curves(model, x, group)))]


def _margin_words(margin: float | None, unit: str, scale: str) -> str:
    if margin is None:
        return ""
    return f"{margin * 100:g}\u00a0%" if scale == "log" else f"{margin:g}\u00a0{unit}".rstrip()


def _term_words(term: str, study: Study) -> str:
    parts = [study.factor(name).title if study.has(name) else name for name in term.split(":")]
    return " by ".join(parts)


def _level_text(factor: Factor, level: object) -> str:
    if level is None or level != level or level == "":
        return ""
    return (
        factor.word(round(float(str(level)), 1)) if factor.is_numeric else factor.word(str(level))
    )


def _words(items: Sequence[str]) -> str:
    return items[0] if len(items) == 1 else ", ".join(items[:-1]) + " and " + items[-1]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _date_text(iso: str) -> str:
    import datetime

    try:
        day = datetime.date.fromisoformat(iso)
    except ValueError:
        return iso
    return f"{day.day} {day:%B} {day.year}"
