"""Forms of a plan: which tables are to be filled in, with which columns and rows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from quenchbook.plan.entry_tables import (
    BLOCK_COLUMNS,
    BLOCK_EXAMPLES,
    CORRECTION_COLUMNS,
    DEVIATION_COLUMNS,
    EXAMPLE,
    LENGTH_COLUMNS,
    PLACE_COLUMNS,
    actual_column,
    correction_examples,
    deviation_examples,
    impact_check_columns,
    impact_check_examples,
    logged_factors,
    reading_columns,
    response_stem,
)
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import Response
from quenchbook.units import is_energy


@dataclass(frozen=True)
class Form:
    """One table to be filled in.

    Attributes
    ----------
    name : str
        Name of the file and of the sheet, such as ``hardness``.
    columns : tuple of str
    rows : tuple of tuple
        What is filled in already; shorter than `columns`.
    examples : tuple of tuple of str
        Rows that show what to write; the reader skips them.
    response : Response or None
        What the blank columns hold; None for a table of another kind.
    entries : dict
        Place of a row to the texts of its blank columns: what was entered in an older form.
    more : tuple of tuple of str
        Whole rows that were added by hand in an older form.
    """

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[int | str, ...], ...] = ()
    examples: tuple[tuple[str, ...], ...] = ()
    response: Response | None = None
    entries: Mapping[int, tuple[str, ...]] = field(default_factory=dict)
    more: tuple[tuple[str, ...], ...] = ()


def entry_forms(matrix: CouponMatrix) -> tuple[Form, ...]:
    """Forms of a plan: readings in blinded test order, a log, tester checks, and others.

    Parameters
    ----------
    matrix : CouponMatrix

    Returns
    -------
    tuple of Form
    """
    study, frame = matrix.study, matrix.frame
    forms = []
    for response in study.responses:
        order = f"{response.name}_order"
        tested = frame[frame[order].notna()].sort_values(order)
        rows = zip(tested[order].astype(int).tolist(), tested["coupon"].tolist(), strict=True)
        columns = ("order", "coupon", *reading_columns(response), "note")
        forms.append(Form(response_stem(response), columns, tuple(rows), response=response))
    if logged := logged_factors(study):
        loads = tuple((int(load),) for load in sorted(matrix.in_loads["furnace_load"].unique()))
        columns = ("furnace_load", *(actual_column(factor) for factor in logged))
        forms.append(Form("furnace_log", columns, loads))
    if study.stock is not None and study.stock.labels:
        codes = tuple((str(code),) for code in matrix.in_loads["coupon"])
        forms.append(Form("places", PLACE_COLUMNS, codes))
    forms += _tester_forms(matrix)
    forms.append(Form("deviations", DEVIATION_COLUMNS, examples=deviation_examples(study)))
    forms.append(Form("corrections", CORRECTION_COLUMNS, examples=correction_examples(study)))
    return tuple(forms)


def _tester_forms(matrix: CouponMatrix) -> list[Form]:
    """Forms for the testers that the study uses, and for a micrometer if it is told."""
    study, forms = matrix.study, []
    units = [response.unit for response in study.responses if response.kind != "other"]
    asked: list[tuple[str, tuple[str, ...], tuple[tuple[str, ...], ...]]] = []
    if "HRC" in units:
        asked.append(("block_checks", BLOCK_COLUMNS, BLOCK_EXAMPLES))
    if energy := next(filter(is_energy, units), ""):
        columns, examples = impact_check_columns(energy), impact_check_examples(energy)
        asked.append(("impact_checks", columns, examples))
    for name, columns, examples in asked:
        shown = tuple((EXAMPLE + row[0], *row[1:]) for row in examples)
        forms.append(Form(name, columns, examples=shown))
    if "micrometer" in study.tester:
        codes = tuple((str(code),) for code in matrix.frame["coupon"])
        forms.append(Form("lengths", LENGTH_COLUMNS, codes))
    return forms
