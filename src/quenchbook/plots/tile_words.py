"""Caption and alternative text of the coupon tiles."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from quenchbook.plots import wording
from quenchbook.plots.tile_layout import Roles
from quenchbook.plots.tile_states import States
from quenchbook.study.factors import plural
from quenchbook.units import capital, listed

if TYPE_CHECKING:
    from quenchbook.plan.matrix import CouponMatrix
    from quenchbook.study.definition import Study


def tile_finding(matrix: CouponMatrix, roles: Roles) -> str:
    """How many coupons of each level of the marked factor a furnace load holds."""
    study, frame = matrix.study, matrix.analysed
    load = study.unit_word("furnace_load")
    sizes = frame.groupby("furnace_load").size()
    if roles.mark is None or roles.mark.set_for == "furnace_load":
        holds = _range_words(int(sizes.min()), int(sizes.max()))
        word = study.unit_word("coupon", int(sizes.max()))
        return (
            f"Each of the {len(sizes)} {study.unit_word('furnace_load', 2)} holds {holds} {word}."
        )
    counts = pd.crosstab(frame["furnace_load"], frame[roles.mark.column])
    low, high = int(counts.to_numpy().min()), int(counts.to_numpy().max())
    holds = f"Each {load}" if low == high else f"A {load}"
    word = study.unit_word("coupon", high)
    return f"{holds} holds {_range_words(low, high)} {word} of each {roles.mark.title}."


def _range_words(low: int, high: int) -> str:
    words = wording.count_words(high)
    if low == 0 < high:
        return f"up to {words}"
    return words if low == high else f"{wording.count_words(low)} to {words}"


def tile_reading(study: Study, roles: Roles) -> str:
    """How to read columns, tiles, marks and strokes."""
    load, coupon = study.unit_word("furnace_load"), study.unit_word("coupon")
    parts = [f"A column is a {load} in {study.order_words}"]
    if roles.step is not None:
        parts[0] += f"; the step above it is its {wording.factor_words(roles.step)}"
    order = " in quench order" if study.order_told else ""
    parts.append(f"A tile is a {coupon}{order}")
    if roles.mark is not None:
        parts[-1] += f"; its mark is the {roles.mark.title}"
    if roles.strokes is not None:
        word = roles.strokes.title
        parts.append(
            f"Strokes under the mark count the levels of {word} from the first to the last"
        )
    if roles.frame is not None and len(roles.frame.levels) > 1:
        last = roles.frame.word(roles.frame.levels[-1])
        parts.append(
            f"A tile with a dark frame and a ground gets the {wording.factor_words(roles.frame)} "
            f"{last}"
        )
    return ". ".join(parts) + "."


def tile_notes(matrix: CouponMatrix, roles: Roles) -> tuple[str, ...]:
    """Where the order comes from, the notes of the plan, and what is not drawn."""
    order = (
        "Order as published" if matrix.seed is None else f"Order randomized with seed {matrix.seed}"
    )
    notes = [f"{order}; plan {matrix.short_hash}.", *matrix.notes]
    if "reference" in matrix.in_loads and (matrix.in_loads["reference"] != "").any():
        notes.append(f"An empty tile is a reference {matrix.study.unit_word('coupon')}.")
    if roles.left_out:
        titles = listed([factor.title for factor in roles.left_out])
        notes.append(f"Not drawn: {titles}; the data behind the figure hold it.")
    if roles.frame is not None and len(roles.frame.levels) > 2:
        notes.append(f"Only the last level of {roles.frame.title} is framed.")
    return tuple(notes)


def tile_alt(matrix: CouponMatrix, roles: Roles, finding: str, states: States) -> str:
    """Alternative text; names furnace loads that hold more or fewer coupons."""
    study, frame = matrix.study, matrix.in_loads
    loads, days = frame["furnace_load"].nunique(), frame["day"].nunique()
    groups = ""
    if roles.mark is not None:
        count = wording.count_words(len(roles.mark.levels))
        groups = f" for {count} {plural(roles.mark.title)}"
    subject = (
        f"Treatment of each {study.unit_word('coupon')} against its "
        f"{study.unit_word('furnace_load')}"
        f"{groups}; {len(frame)} {study.unit_word('coupon', len(frame))} in "
        f"{loads} {study.unit_word('furnace_load', loads)}"
        + (f" on {wording.count_words(days)} days" if days > 1 else "")
    )
    sizes = frame.groupby("furnace_load").size()
    usual = int(sizes.mode().iloc[0])
    odd = [f"{load} holds {size}" for load, size in sizes.items() if size != usual]
    word = capital(study.unit_word("furnace_load"))
    unusual = [f"{word} {listed(odd)}" if odd else "", states.unusual()]
    return wording.alt_text(subject, finding, "; ".join(filter(None, unusual)))
