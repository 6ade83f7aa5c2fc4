"""Tables that a plan asks for: columns to be filled in at the bench, and what is plausible there.

The forms are written with these columns, and the records are read with them.
"""

from __future__ import annotations

import re
from typing import Final

from quenchbook.study.definition import Response, Study
from quenchbook.study.factors import UNITS, Factor, Unit
from quenchbook.units import convert, unit_ending

DEVIATION_COLUMNS: Final = ("what", "which", "item", "actual", "note")
CORRECTION_COLUMNS: Final = ("file", "row", "column", "found", "corrected", "reason")
# Readings on a hardness block and on certified impact coupons, beside those on coupons.
BLOCK_COLUMNS: Final = (
    "session", "when", "block_value_hrc", "block_uncertainty_hrc",
    *(f"hardness_hrc_{number}" for number in range(1, 6)), "note",
)  # fmt: skip
IMPACT_CHECK_COLUMNS: Final = (
    "session", "certified_value_j", *(f"impact_j_{number}" for number in range(1, 6)), "note",
)  # fmt: skip
BLOCK_EXAMPLES: Final = (
    ("1", "before", "62.4", "0.4", "62.3", "62.5", "62.2", "62.5", "62.4", ""),
    ("1", "after", "62.4", "0.4", "62.5", "62.4", "62.6", "62.3", "62.5", ""),
)
IMPACT_CHECK_EXAMPLES: Final = (("1", "14.0", "13.6", "14.3", "14.1", "13.9", "14.4", ""),)
PLACE_COLUMNS: Final = ("coupon", "place", "note")  # tray or packet of each coupon in the furnace
LENGTH_COLUMNS: Final = ("coupon", "length_before_mm", "length_after_mm", "note")

EXAMPLE: Final = "# example: "  # how a row begins that shows what to write and is not read

FARTHEST_DELTA_C: Final = 150.0  # common practice, no source: a furnace that far off is a slip

_WRITTEN_UNITS: Final = {"degC": "degC", "minutes": "min", "mm": "mm", "times": "times"}


def reading_columns(response: Response) -> tuple[str, ...]:
    """Columns for the readings of one coupon: ``hardness_hrc_1`` to ``hardness_hrc_5``."""
    if response.readings == 1:
        return (response.name,)
    return tuple(f"{response.name}_{number}" for number in range(1, response.readings + 1))


def impact_check_columns(unit: str) -> tuple[str, ...]:
    """`IMPACT_CHECK_COLUMNS` for a tester that reads in this unit: ``impact_ftlbf_1``."""
    ending = unit_ending(unit)
    return tuple(re.sub(r"_j(?=_|$)", f"_{ending}", name) for name in IMPACT_CHECK_COLUMNS)


def impact_check_examples(unit: str) -> tuple[tuple[str, ...], ...]:
    """`IMPACT_CHECK_EXAMPLES` in this unit."""
    joules = convert(1.0, unit, "energy")
    return tuple(
        (session, *(f"{float(own) / joules:.1f}" for own in numbers), note)
        for session, *numbers, note in IMPACT_CHECK_EXAMPLES
    )


def response_stem(response: Response) -> str:
    """Name of a response without its unit, for files and headers: ``hardness``."""
    ending = unit_ending(response.unit)
    return response.name.removesuffix(f"_{ending}") if ending else response.name


def actual_column(factor: Factor) -> str:
    """Column for the level that was really run: ``austenitize_actual_degC``."""
    ending = _WRITTEN_UNITS.get(factor.unit, "")
    return f"{factor.name}_actual_{ending}" if ending else f"{factor.name}_actual"


def logged_factors(study: Study, unit: Unit = "furnace_load") -> tuple[Factor, ...]:
    """Factors whose level is set for a unit and written into its log."""
    return tuple(factor for factor in study.factors if factor.set_for == unit)


def deviating_units(study: Study) -> tuple[Unit, ...]:
    """Units that something can go differently for, in this study."""
    used = {factor.set_for for factor in study.factors} | {"furnace_load", "coupon"}
    if study.layout.coupons_per_temper_batch:
        used.add("temper_batch")
    return tuple(unit for unit in UNITS if unit in used)


def movable_units(study: Study) -> tuple[Unit, ...]:
    """Units that a coupon can come into by mistake: loads and batches in order of work."""
    return tuple(unit for unit in deviating_units(study) if unit not in ("bar", "coupon"))


def deviation_examples(study: Study) -> tuple[tuple[str, ...], ...]:
    """Rows that show how to fill in the deviations; they begin with `EXAMPLE`.

    Parameters
    ----------
    study : Study
    """
    rows = [("coupon", "K7TC", "lost", "cracked", "seen after the quench")]
    labels = {
        "furnace_load": "3", "cold_batch": "3-2", "temper_batch": "2", "bar": "2", "coupon": "K7TC",
    }  # fmt: skip
    for unit in deviating_units(study):
        own = [factor for factor in study.factors if factor.set_for == unit]
        if unit != "coupon" and own:
            factor = max(own, key=lambda factor: factor.is_numeric)
            rows.append((unit, labels[unit], factor.name, _example_level(factor), ""))
    rows.append(("coupon", "K7TC", "furnace_load", "3", "went in with the next load"))
    rows.append(("furnace_load", "3", "note", "", "the door was open for a minute"))
    return tuple((EXAMPLE + row[0], *row[1:]) for row in rows)


def correction_examples(study: Study) -> tuple[tuple[str, ...], ...]:
    """Rows that show how to fill in the corrections; they begin with `EXAMPLE`.

    Parameters
    ----------
    study : Study
    """
    response = study.responses[0]
    file, column = f"{response_stem(response)}.csv", reading_columns(response)[0]
    rows = (
        (file, "6", "coupon", "K7TX", "K7TC", "scale on the mark: C read as X"),
        (file, "9", column, "20.1", "62.1", "slip of the pen, the sheet says 62.1"),
    )
    return tuple((EXAMPLE + row[0], *row[1:]) for row in rows)


def _example_level(factor: Factor) -> str:
    level = factor.levels[-1]
    if isinstance(level, str):
        return level
    return f"{round(level, 1):g} {_WRITTEN_UNITS.get(factor.unit, factor.unit)}"
