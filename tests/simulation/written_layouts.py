"""Study layouts for the calibration of the written word. All are invented for this measurement."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from tests.simulation.written_truths import (
    Truth,
    curved,
    fading,
    nothing,
    one_margin,
    plain,
    size,
    tough,
)

ROUTES: Final = ("none", "freezer", "dry_ice")


@dataclass(frozen=True)
class Layout:
    """One layout: the study file, how truths are drawn, what goes wrong at the bench.

    Attributes
    ----------
    name : str
        In words, as printed in tables of rates.
    text : str
        The study file.
    draw : callable
        Random generator -> `Truth`.
    lost_loads : int
        Furnace loads of which no coupon comes back.
    missing : float
        Share of the other coupons without readings.
    off_degrees : float
        Furnace loads ran up to this far off, as the furnace log tells [degC].
    """

    name: str
    text: str
    draw: Callable[[np.random.Generator], Truth]
    lost_loads: int = 0
    missing: float = 0.0
    off_degrees: float = 0.0


HARDNESS = """
[responses.hardness]
unit = "HRC"
readings = 3
equivalence_margin = "0.5 HRC"
"""

IMPACT = """
[responses.impact]
unit = "J"
quantity = "impact energy"
scale = "log"
equivalence_margin = "15 %"
"""


def study_text(key: str, factors: str, responses: str, layout: str, questions: list[str]) -> str:
    """Study file; every question is a line of keys."""
    head = (
        f'format = 1\nkey = "{key}"\ntitle = "Simulated"\nquestion = "What differs?"\n'
        'author = "simulation"\ndate = 2026-01-15\nlicence = "CC-BY-4.0"\n'
        'multiplicity = "together"\ninvented = true\n[steel]\ngrade = "A2"\n'
    )
    asked = "".join(f"\n[[questions]]\n{own}\n" for own in questions)
    return f"{head}{factors}{responses}\n[layout]\n{layout}{asked}"


def asked(key: str, response: str = "hardness", **keys: str) -> str:
    lines = [f'key = "{key}"', f'words = "About {key}?"', f'response = "{response}"']
    return "\n".join([*lines, *(f"{name} = {value}" for name, value in keys.items())])


def routes_factor(*routes: str, unit: str = "cold_batch") -> str:
    names = ", ".join(f'"{route}"' for route in routes)
    return f'\n[factors.cold_route]\nlevels = [{names}]\nset_for = "{unit}"\n'


def furnace_factor(*degrees: int, shape: str = "quadratic") -> str:
    levels = ", ".join(f'"{degree} degC"' for degree in degrees)
    return (
        f'\n[factors.austenitize]\nlevels = [{levels}]\nset_for = "furnace_load"\n'
        f'shape = "{shape}"\n'
    )


def temper_factor(*degrees: int, shape: str = "levels") -> str:
    levels = ", ".join(f'"{degree} degC"' for degree in degrees)
    return f'\n[factors.temper]\nlevels = [{levels}]\nset_for = "temper_batch"\nshape = "{shape}"\n'


def delay_factor(routes: str, *levels: str) -> str:
    names = ", ".join(f'"{level}"' for level in levels)
    return (
        f'\n[factors.delay]\nlevels = [{names}]\nset_for = "cold_batch"\n'
        f"exists_for = {{ cold_route = [{routes}] }}\n"
    )


FREEZER = '{ cold_route = ["freezer", "none"] }'
DRY_ICE = '{ cold_route = ["dry_ice", "none"] }'
TEMPER = '{ temper = ["200 degC", "150 degC"] }'
AT_DRY_ICE = '{ cold_route = "dry_ice" }'

SMALL_DEMO = study_text(
    "small_demo",
    furnace_factor(940, 985, 1030)
    + routes_factor(*ROUTES)
    + delay_factor('"freezer", "dry_ice"', "5 min", "60 min")
    + temper_factor(150, 200),
    HARDNESS,
    "furnace_loads = 9\ncoupons_per_load = 6\ncoupons_per_temper_batch = 6\n",
    [
        asked("freezer", compare=FREEZER),
        asked("dry_ice", compare=DRY_ICE),
        asked("hour", compare='{ delay = ["60 min", "5 min"] }'),
        asked("temper", compare=TEMPER),
        asked("needs_heat", compare=DRY_ICE, change='{ austenitize = ["1030 degC", "940 degC"] }'),
        asked("together", term='"austenitize:cold_route"'),
    ],
)

NOTHING = study_text(
    "nothing",
    furnace_factor(790, 805, 820, shape="levels")
    + routes_factor("none", "freezer")
    + temper_factor(150, 200),
    HARDNESS + IMPACT,
    "furnace_loads = 6\ncoupons_per_load = 4\ncoupons_per_temper_batch = 4\n",
    [
        asked("freezer", compare=FREEZER),
        asked("temper", compare=TEMPER),
        asked("hot", compare='{ austenitize = ["820 degC", "790 degC"] }'),
        asked("heat", term='"austenitize"'),
        asked("together", term='"austenitize:cold_route"'),
        asked("tough", "impact", compare=FREEZER),
        asked("tough_temper", "impact", compare=TEMPER),
    ],
)

AT_THE_MARGIN = study_text(
    "at_the_margin",
    furnace_factor(790, 820, shape="levels") + routes_factor(*ROUTES) + temper_factor(150, 200),
    HARDNESS,
    "furnace_loads = 8\ncoupons_per_load = 6\ncoupons_per_temper_batch = 8\n",
    [
        asked("freezer", compare=FREEZER),
        asked("dry_ice", compare=DRY_ICE),
        asked("temper", compare=TEMPER),
        asked(
            "hot",
            compare='{ austenitize = ["820 degC", "790 degC"] }',
            at='{ cold_route = "none" }',
        ),
        asked("needs_heat", compare=DRY_ICE, change='{ austenitize = ["820 degC", "790 degC"] }'),
    ],
)

LOSSES = study_text(
    "losses",
    furnace_factor(790, 805, 820) + routes_factor("none", "freezer") + temper_factor(150, 200),
    HARDNESS,
    "furnace_loads = 9\ncoupons_per_load = 4\nloads_per_day = 3\ncoupons_per_temper_batch = 6\n",
    [
        asked("freezer", compare=FREEZER),
        asked("temper", compare=TEMPER),
        asked(
            "hot",
            compare='{ austenitize = ["820 degC", "790 degC"] }',
            at='{ cold_route = "none" }',
        ),
        asked("needs_heat", compare=FREEZER, change='{ austenitize = ["820 degC", "790 degC"] }'),
        asked("together", term='"austenitize:cold_route"'),
    ],
)

TEMPERS = study_text(
    "tempers",
    furnace_factor(950, 980, shape="levels")
    + routes_factor("none", "dry_ice")
    + temper_factor(150, 175, 200, shape="linear"),
    HARDNESS + IMPACT,
    "furnace_loads = 6\ncoupons_per_load = 6\ncoupons_per_temper_batch = 6\n",
    [
        asked("dry_ice", compare=DRY_ICE),
        asked("tough", "impact", compare=DRY_ICE),
        asked("temper_62", asks='"temper_for"', along='"temper"', target='"62 HRC"'),
        asked("temper_63", asks='"temper_for"', along='"temper"', target='"63 HRC"', at=AT_DRY_ICE),
        asked("equal", "impact", asks='"equal_hardness"', along='"temper"', compare=DRY_ICE),
    ],
)

DELAYS = study_text(
    "delays",
    routes_factor("none", "dry_ice") + delay_factor('"dry_ice"', "5 min", "1 h", "8 h", "2 day"),
    HARDNESS,
    "furnace_loads = 6\ncoupons_per_load = 8\ncold_batches_per_load = 5\n",
    [
        asked("dry_ice", compare=DRY_ICE),
        asked("hour", compare='{ delay = ["1 h", "5 min"] }'),
        asked("days", compare='{ delay = ["2 day", "5 min"] }'),
        asked("decade", asks='"per_decade"', along='"delay"', at=AT_DRY_ICE),
        asked("half_gone", asks='"half_loss"', along='"delay"', compare=DRY_ICE),
    ],
)

CURVES = study_text(
    "curves",
    furnace_factor(940, 970, 1000, 1030) + routes_factor("none", "dry_ice"),
    HARDNESS,
    "furnace_loads = 10\ncoupons_per_load = 6\n",
    [
        asked("dry_ice", compare=DRY_ICE),
        asked("peak_none", asks='"peak"', along='"austenitize"', at='{ cold_route = "none" }'),
        asked("peak_dry_ice", asks='"peak"', along='"austenitize"', at=AT_DRY_ICE),
        asked(
            "moves",
            asks='"peak_shift"',
            along='"austenitize"',
            compare=DRY_ICE,
            margin='"10 degC"',
        ),
        asked(
            "window",
            asks='"working_window"',
            along='"austenitize"',
            within='"0.3 HRC"',
            at=AT_DRY_ICE,
        ),
        asked(
            "reaches",
            asks='"target_window"',
            along='"austenitize"',
            target='"61.5 HRC"',
            at=AT_DRY_ICE,
        ),
    ],
)

RATIOS = study_text(
    "ratios",
    furnace_factor(950, 980, shape="levels") + routes_factor(*ROUTES) + temper_factor(150, 200),
    HARDNESS + IMPACT,
    "furnace_loads = 8\ncoupons_per_load = 6\ncoupons_per_temper_batch = 8\n",
    [
        asked("hard_dry_ice", compare=DRY_ICE),
        asked("hard_temper", compare=TEMPER),
        asked("tough_freezer", "impact", compare=FREEZER),
        asked("tough_dry_ice", "impact", compare=DRY_ICE),
        asked("tough_temper", "impact", compare=TEMPER),
        asked("tough_hot", "impact", compare='{ austenitize = ["980 degC", "950 degC"] }'),
        asked(
            "tough_needs",
            "impact",
            compare=DRY_ICE,
            change='{ temper = ["200 degC", "150 degC"] }',
        ),
    ],
)

LAYOUTS: Final = (
    Layout("the demonstration, smaller", SMALL_DEMO, plain(size, "freezer", "dry_ice"),
           off_degrees=4.0),
    Layout("nothing differs", NOTHING, plain(nothing, "freezer")),
    Layout("every truth exactly at the margin", AT_THE_MARGIN,
           plain(one_margin, "freezer", "dry_ice")),
    Layout("one load lost, coupons missing", LOSSES, plain(size, "freezer"), lost_loads=1,
           missing=0.08, off_degrees=3.0),
    Layout("crossed temper batches, equal hardness", TEMPERS, tough),
    Layout("delays", DELAYS, fading),
    Layout("curves along the furnace", CURVES, curved, off_degrees=4.0),
    Layout("impact energy as ratios", RATIOS, plain(size, "freezer", "dry_ice")),
)  # fmt: skip
