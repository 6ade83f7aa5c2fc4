"""How the coupon matrix is to be made: number of units and kind of plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final, cast

from quenchbook.study.definition import (
    Criterion,
    ExtraCoupons,
    Layout,
    PlanKind,
    PlanWish,
    Response,
)
from quenchbook.study.factors import UNITS, Factor
from quenchbook.study.mistakes import MOST_COUNT, Mistakes, nearest
from quenchbook.study.reading_questions import response_named

_LAYOUT_KEYS: Final = (
    "furnace_loads", "coupons_per_load", "loads_per_day", "coupons_per_temper_batch", "bars",
    "coupons_per_bar", "bar_ends", "cold_batches_per_load", "furnace_places",
)  # fmt: skip
_NEEDED: Final = ("furnace_loads", "coupons_per_load")
_PLAN_KEYS: Final = (
    "kind", "criterion", "response", "treatments", "spare_level", "noise_ratios",
)  # fmt: skip
_ONLY_FOR: Final = {
    "treatments": "fraction",
    "criterion": "best",
    "response": "best",
    "spare_level": "best",
    "noise_ratios": "best",
}


def read_layout(
    content: Mapping[str, Any],
    factors: tuple[Factor, ...],
    extra: Sequence[ExtraCoupons],
    mistakes: Mistakes,
) -> Layout:
    """How many units there are, and whether the bars are enough for all coupons."""
    table, where = mistakes.table(content, "layout"), "layout"
    mistakes.known_keys(table, _LAYOUT_KEYS, where)
    for key in _NEEDED:
        if key not in table:
            mistakes.wrong("", "layout", f"layout has no {key}", f"Write {key} = 8 below [layout].")
    counts = {
        key: mistakes.count(table, key, where, default=0, least=1 if key in _NEEDED else 0)
        for key in _LAYOUT_KEYS
    }
    layout = Layout(**counts)
    coupons = layout.furnace_loads * layout.coupons_per_load + sum(own.coupons for own in extra)
    if coupons > MOST_COUNT:
        mistakes.wrong(
            where, "furnace_loads", f"the layout has {coupons} coupons",
            f"Plan at most {MOST_COUNT}.",
        )  # fmt: skip
    each = layout.coupons_per_bar
    if layout.bars and layout.bars * each < coupons:
        mistakes.wrong(
            where,
            "bars",
            f"{layout.bars} bars of {layout.coupons_per_bar} give too few coupons",
            f"{coupons} are needed{', extra coupons among them' if extra else ''}: write "
            + (f"bars = {-(-coupons // each)} or more." if each else "coupons_per_bar too."),
        )
    if layout.bar_ends and 2 * layout.bar_ends >= layout.coupons_per_bar:
        mistakes.wrong(
            where,
            "bar_ends",
            f"{layout.bar_ends} end pieces at each end leave no middle of a bar of "
            f"{layout.coupons_per_bar}",
            "Write bar_ends = 1, or 0 for no balance.",
        )
    for factor in (own for own in factors if own.set_for == "bar"):
        if layout.bars < len(factor.levels):
            mistakes.wrong(
                where,
                "bars",
                f"{factor.name} has {len(factor.levels)} levels and is set for each bar; there "
                f"{'is' if layout.bars == 1 else 'are'} {layout.bars or 'no'} bar"
                f"{'' if layout.bars == 1 else 's'}",
                f"Write bars = {2 * len(factor.levels)} and coupons_per_bar: two bars for each "
                "level make a test possible.",
            )
    return layout


def read_plan_wish(
    content: Mapping[str, Any],
    responses: Mapping[str, Response],
    mistakes: Mistakes,
) -> PlanWish:
    """Kind of plan that is wished for.

    Parameters
    ----------
    content : mapping
        The study file.
    responses : mapping of name in the study file to Response
    mistakes : Mistakes
    """
    table, where = mistakes.table(content, "plan"), "plan"
    mistakes.known_keys(table, _PLAN_KEYS, where)
    kind = mistakes.choice(
        where, "kind", table.get("kind", "crossed"), ("crossed", "fraction", "best")
    )
    for key, only in _ONLY_FOR.items():
        if key in table and kind != only:
            mistakes.wrong(
                where,
                key,
                f'{key} says something about a plan of kind "{only}", this one is "{kind}"',
                f'Write kind = "{only}", or delete {key}.',
            )
    criterion = mistakes.choice(where, "criterion", table.get("criterion", "I"), ("I", "D"))
    wanted = str(table.get("response", ""))
    response = response_named(wanted, responses) if wanted else ""
    if response is None:
        mistakes.wrong(
            where, "response", f"'{wanted}' is not a response", nearest(wanted, responses)
        )
    treatments = mistakes.count(table, "treatments", where, default=0, least=2)
    if "treatments" in table and treatments & (treatments - 1):
        low = 2 ** (treatments.bit_length() - 1)
        mistakes.wrong(
            where,
            "treatments",
            f"treatments is {treatments}, which is no power of two",
            f"Write treatments = {low} or {2 * low}.",
        )
    if kind == "fraction" and "treatments" not in table:
        mistakes.wrong(
            where, "kind", "a fraction needs to know how many treatments", "Write treatments = 8."
        )
    spare = table.get("spare_level", True)
    if not isinstance(spare, bool):
        mistakes.wrong(where, "spare_level", f"spare_level is {spare!r}", "Write true or false.")
    return PlanWish(
        kind=cast(PlanKind, kind),
        criterion=cast(Criterion, criterion),
        response=response or "",
        treatments=treatments,
        spare_level=bool(spare),
        noise_ratios=_noise_ratios(table, mistakes),
    )


def _noise_ratios(table: Mapping[str, Any], mistakes: Mistakes) -> dict[str, float]:
    """Variance of each unit over that of a coupon."""
    units = tuple(unit for unit in UNITS if unit not in ("bar", "coupon"))
    ratios: dict[str, float] = {}
    for unit, raw in mistakes.table(table, "noise_ratios", inside="plan").items():
        if unit not in units:
            mistakes.wrong("plan", "noise_ratios", f"'{unit}' is no unit", nearest(unit, units))
        elif isinstance(raw, bool) or not isinstance(raw, int | float) or not 0 <= raw < 1e6:
            mistakes.wrong(
                "plan",
                "noise_ratios",
                f"noise ratio of {unit} is {raw!r}",
                "Write a number, 0 or more: variance of the unit over that of a coupon.",
            )
        else:
            ratios[unit] = float(raw)
    return ratios
