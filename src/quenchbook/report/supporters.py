"""What only the supporters' edition holds: what was paid for, photographs, more figures, readings.

Their cells carry the tag ``supporters`` and are dropped whole before a public edition is made.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import pandas as pd

from quenchbook.errors import QuenchbookError
from quenchbook.findings.answers import Analysis
from quenchbook.plan.cost import CostLine, PlanCost, plan_cost
from quenchbook.report.answer_blocks import curve_blocks, shows_curves
from quenchbook.report.blocks import Block, Paragraph, Section, TableBlock, from_drawing, table
from quenchbook.report.order_blocks import order_blocks
from quenchbook.report.photos import photo_figures
from quenchbook.report.study_tables import SAME
from quenchbook.study.definition import Response
from quenchbook.study.factors import plural
from quenchbook.units import NO_BREAK, capital, listed, number_text

_OWN_WORK: Final = "own work"
_NOT_TOLD: Final = "not told"
_MISSING: Final = "none"
_MOST_DECIMALS: Final = 3


def report_supporters(analysis: Analysis) -> list[Block]:
    """What support paid for, what the study cost, and photographs from the bench.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    list of Block

    Raises
    ------
    ReportError
        If a photograph of study.toml is missing or cannot be read.
    """
    study = analysis.study
    blocks: list[Block] = [Section("For supporters")]
    if study.publishing.support:
        blocks.append(Section("What your support paid for", level=3))
        blocks.append(Paragraph((study.publishing.support,)))
    blocks += [Section("What the study cost", level=3), *cost_account(analysis)]
    if study.publishing.photos:
        blocks.append(Section("From the bench", level=3))
        blocks += photo_figures(study.publishing.photos, study.folder)
    return blocks


def cost_account(analysis: Analysis) -> list[Block]:
    """Money by what it went for, and own hours apart; a price that is not told is never zero."""
    if analysis.study.published:
        return [Paragraph(("The work was done by others; what it cost is not told.",))]
    cost = plan_cost(analysis.records.matrix)
    bought = [line for line in cost.lines if line.item != _OWN_WORK]
    untold = [line.item for line in bought if line.price is None]
    told = [line.total for line in bought if line.total is not None]
    first = (
        f"About {cost.prices.money(float(f'{sum(told):.3g}'))} for what has a price."
        if told
        else "No price is told in study.toml, so there is no sum of money."
    )
    if told and untold:
        first += f" Not in this sum, for their prices are not told: {listed(untold)}."
    hours = f" About {cost.hours:.0f} hours of own work, told apart below and not in the sum."
    table_of_money = _money_table(bought, cost)
    matrix = analysis.records.matrix
    if without := matrix.batches_without_cold():
        count = matrix.unit_counts()["cold_batch"]
        note = (
            f"Of {count} {analysis.study.unit_word('cold_batch', count)} in the plan {without} "
            "have no cold step: they cost nothing here and are not counted."
        )
        table_of_money = replace(table_of_money, notes=(*table_of_money.notes, note))
    blocks: list[Block] = [Paragraph((first + hours,)), table_of_money]
    if worked := [line for line in bought if line.hours]:
        blocks.append(_hours_table(worked, cost))
    return blocks


def _money_table(bought: list[CostLine], cost: PlanCost) -> TableBlock:
    rows = [
        (
            line.item,
            f"{line.amount:g}{NO_BREAK}{_counted(line)}",
            _NOT_TOLD if line.price is None else number_text(line.price, 2),
            _NOT_TOLD if line.total is None else number_text(line.total, 2),
        )
        for line in bought
    ]
    told = [line.total for line in bought if line.total is not None]
    if told:
        rows.append(("sum of what has a price", "", "", number_text(sum(told), 2)))
    currency = f" Prices in {cost.prices.currency}." if cost.prices.currency and told else ""
    own = table(
        pd.DataFrame(rows, columns=["item", "amount", "price of one", "money"]),
        key="cost_account",
        caption=f"What the coupons of the plan took, and what it cost.{currency}",
        notes=tuple(note for note in cost.notes() if not note.startswith("Not in the hours")),
    )
    return _numbers_right(own)


def _hours_table(worked: list[CostLine], cost: PlanCost) -> TableBlock:
    rows = [(line.item, number_text(line.hours, 1)) for line in worked]
    rows.append(("sum", number_text(sum(line.hours for line in worked), 1)))
    price = cost.prices.own_hour
    worth = (
        "What an hour of own work is worth is not told."
        if price is None
        else f"At {cost.prices.money(price)} an hour they would be "
        f"{cost.prices.money(price * sum(line.hours for line in worked))}."
    )
    notes = [note for note in cost.notes() if note.startswith("Not in the hours")]
    own = table(
        pd.DataFrame(rows, columns=["item", "hours of own work"]),
        key="own_hours",
        caption="Own hours, reckoned from the plan and not from a clock.",
        notes=(worth, *notes),
    )
    return _numbers_right(own)


def _numbers_right(own: TableBlock) -> TableBlock:
    """Table whose columns after the first stand at the right, for words among numbers too."""
    first, *rest = own.columns
    return replace(own, columns=(first, *(replace(column, align="right") for column in rest)))


def _counted(line: CostLine) -> str:
    return line.unit if line.amount == 1 or line.unit == "kg" else plural(line.unit)


def report_more_figures(analysis: Analysis) -> list[Block]:
    """Figures that the public edition leaves out: curves and furnace order of every response.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    list of Block
        Empty where the public edition has them all.
    """
    figures: list[Block] = []
    for number, (name, model) in enumerate(analysis.models.items()):
        own = [f for f in analysis.findings if f.response == name]
        found = [] if shows_curves(own) else curve_blocks(model)
        if number:  # the public edition shows the order of the first response
            found += order_blocks(model, analysis)
        if found and len(analysis.models) > 1:
            quantity = analysis.study.response(name).quantity
            figures.append(Section(capital(quantity), level=3))
        figures += found
    figures += _bar_figures(analysis)
    return [Section("More figures"), *figures] if figures else []


def _bar_figures(analysis: Analysis) -> list[Block]:
    """Where each coupon lay in its bar; nothing where the study does not tell its bars."""
    from quenchbook.bench.cutting import cut_list
    from quenchbook.plots.bar_drawing import figure_bars

    if analysis.study.published or not analysis.study.stock:
        return []
    try:
        own = cut_list(analysis.records.matrix)
    except QuenchbookError:
        return []
    title = f"Where the {analysis.study.unit_word('coupon', 2)} were cut"
    return [Section(title, level=3), from_drawing(figure_bars(own))]


def report_readings(analysis: Analysis) -> list[Block]:
    """Every single reading (indents, impacts) as tables of the appendix, one for each response.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    list of Block
        Readings of reference coupons and of lost coupons are in it, and marked.
    """
    read = set(analysis.records.readings["response"])
    tables = [readings_table(analysis, own) for own in analysis.study.responses if own.name in read]
    return [Section("Appendix: every single reading"), *tables] if tables else []


def readings_table(analysis: Analysis, response: Response) -> TableBlock:
    """Table of all readings of a response: a row for each coupon, a column for each reading."""
    study, records = analysis.study, analysis.records
    coupons = records.matrix.frame.set_index("coupon")
    own = records.readings[records.readings["response"] == response.name]
    wide = own.pivot(index="coupon", columns="reading", values="value")
    order = [code for code in coupons.index if code in wide.index]
    wide = wide.loc[order].rename(columns=str)
    names = [f"reading {name}" for name in wide.columns] if wide.shape[1] > 1 else ["reading"]
    wide.columns = pd.Index(names)
    loads = coupons.loc[order, "furnace_load"]
    frame = pd.DataFrame({"coupon": order, "furnace_load": loads.where(loads != 0).to_numpy()})
    frame = pd.concat([frame, wide.reset_index(drop=True)], axis=1)
    if wide.shape[1] > 1:
        frame["mean"] = wide.mean(axis=1).to_numpy()
    notes = _notes(analysis, order)
    if any(notes):
        frame["note"] = notes
    places = _decimals(own["value"])
    titles = {
        "coupon": study.unit_word("coupon"), "furnace_load": study.unit_word("furnace_load"),
    }  # fmt: skip
    units = dict.fromkeys([*names, "mean"], response.unit)
    decimals = {"furnace_load": 0, **dict.fromkeys(names, places), "mean": places + 1}
    if (other := response.printed.other) is not None:
        for name in filter(frame.__contains__, (*names, "mean")):
            beside = f"{name}, {other.unit}"
            values = frame[name].round(decimals[name]).map(other.difference)
            frame.insert(list(frame.columns).index(name) + 1, beside, values)
            titles[beside], units[beside], decimals[beside] = SAME, other.unit, decimals[name]
    count = int(own["value"].notna().sum())
    return table(
        frame,
        key=f"readings_{response.name}",
        caption=f"All {count} readings of {response.quantity} on {len(order)} "
        f"{study.unit_word('coupon', len(order))}.",
        titles=titles,
        units=units,
        decimals=decimals,
        missing=_MISSING,
    )


def _notes(analysis: Analysis, order: list[str]) -> list[str]:
    """What a reader must know of each coupon: a reference, or lost."""
    frame = analysis.records.matrix.frame
    words = {extra.key: f"reference: {extra.words}" for extra in analysis.study.references}
    marks = dict(zip(frame["coupon"], frame["reference"], strict=True)) if (
        "reference" in frame
    ) else {}  # fmt: skip
    lost = set(analysis.records.lost["coupon"])
    return [
        ", ".join(filter(None, (words.get(marks.get(code, ""), ""), "lost" * (code in lost))))
        for code in order
    ]


def _decimals(values: pd.Series) -> int:
    """Decimals that the readings were written with, at most three."""
    known = values.dropna().astype(float)
    return next(
        (n for n in range(_MOST_DECIMALS) if ((known.round(n) - known).abs() < 1e-9).all()),
        _MOST_DECIMALS,
    )
