"""Results of the right shape for both example studies, drawn from a fixed seed and not fitted."""

from __future__ import annotations

import functools
import itertools
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text
from tests.conftest import ROOT

from quenchbook.bench.cutting import CutList, cut_list_of
from quenchbook.bench.pieces import Piece
from quenchbook.both_units import Printed
from quenchbook.outlook.certainty import unbeaten_plans
from quenchbook.outlook.certainty_table import CertaintyCosts
from quenchbook.outlook.steel import steel_prior
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.plan.randomization import coupon_matrix, published_matrix
from quenchbook.plots.drawing import Drawing
from quenchbook.plots.style import COUPONS, drawing_rules
from quenchbook.study.definition import Layout, Noise, Question, Response, Study
from quenchbook.study.factors import ROUTE_WORDS, Factor
from quenchbook.study.prices import Prices
from quenchbook.study.stock import Stock, StockBar

COATING_WORDS = {level: level for level in ("C1", "C2", "C3", "C4")}
LONG = "before liquid nitrogen at 1030\u00a0°C and a temper of 175\u00a0°C"
STRATUM_WORDS = {
    name: name.replace("_", " ") for name in ("furnace_load", "cold_batch", "coupon", "indent")
}


def _study(**parts: Any) -> Study:
    texts = dict.fromkeys(("question", "author", "date", "licence"), "")
    return Study(**{**texts, "questions": (), **parts})


def plane_irons_study() -> Study:
    """Four temperatures, four routes, two tempers, a delay only where there is a cold step."""
    routes = ("none", "freezer", "dry_ice", "liquid_nitrogen")
    return _study(
        key="plane_irons",
        title="Plane irons",
        factors=(
            Factor("austenitize", "austenitize_c", (940.0, 970.0, 1000.0, 1030.0), "temperature",
                   "furnace_load", "quadratic"),
            Factor("cold_route", "cold_route", routes, set_for="cold_batch", words=ROUTE_WORDS),
            Factor("temper", "temper_c", (150.0, 175.0), "temperature", "temper_batch"),
            Factor("delay", "delay_minutes", (0.0, 60.0, 1440.0), "time", "cold_batch",
                   nested_in="cold_route", exists_for=routes[1:]),
        ),
        responses=(Response("hardness_hrc", "hardness", "HRC", "hardness", 5),),
        layout=Layout(12, 8, 4, 8),
    )  # fmt: skip


def coated_bars_study() -> Study:
    """Six furnace heats of four bars, one of each coating."""
    return _study(
        key="coated_bars",
        title="Coated bars",
        factors=(
            Factor("furnace_temp", "furnace_temp_c", (360.0, 370.0, 380.0), "temperature",
                   "furnace_load"),
            Factor("coating", "coating", tuple(COATING_WORDS), words=COATING_WORDS),
        ),
        responses=(Response("resistance", "resistance"),),
        layout=Layout(6, 4),
        published=True,
        unit_names={"furnace_load": "furnace heat", "coupon": "bar"},
    )  # fmt: skip


def coated_bars_matrix() -> CouponMatrix:
    rng = np.random.default_rng(5)
    rows = [
        {
            "coupon": f"B{4 * heat + place + 1:02d}",
            "furnace_load": heat + 1,
            "furnace_temp_c": temp,
            "coating": coating,
        }
        for heat, temp in enumerate((360.0, 370.0, 380.0, 380.0, 370.0, 360.0))
        for place, coating in enumerate(rng.permutation(list(COATING_WORDS)))
    ]
    return published_matrix(coated_bars_study(), pd.DataFrame(rows))


MATRICES = {
    "plane_irons": lambda: coupon_matrix(plane_irons_study(), seed=20260114),
    "coated_bars": coated_bars_matrix,
}


def curves_of(
    matrix: CouponMatrix, x: str, group: str | None, *, is_curve: bool, quantity: str, unit: str
) -> Any:
    """Curves and coupons scattered about them."""
    rng = np.random.default_rng(11)
    study, frame = matrix.study, matrix.frame
    x_factor, group_factor = study.factor(x), study.factor(group) if group else None
    levels = list(x_factor.levels)
    numbers = [float(level) if x_factor.is_numeric else float(i) for i, level in enumerate(levels)]
    middle, span = float(np.mean(numbers)), (max(numbers) - min(numbers)) or 1.0

    def height(value: float, rank: int) -> float:
        step = (value - middle) / span
        return 62.5 + 0.5 * rank + (2.0 * rank - 3.0) * step - 3.0 * step**2

    groups = list(group_factor.levels) if group_factor else [""]
    if x_factor.exists_for:
        groups = list(x_factor.exists_for)
    rows = []
    for rank, name in enumerate(groups):
        points = np.linspace(min(numbers), max(numbers), 41) if is_curve else numbers
        for place, value in enumerate(points):
            level = value if x_factor.is_numeric else levels[place]
            centre = height(value, rank)
            rows.append((name, level, centre, centre - 0.6, centre + 0.7))
    used = frame.dropna(subset=[x_factor.column])
    load_shift = dict(
        zip(
            frame["furnace_load"].unique(),
            rng.normal(0, 0.3, frame["furnace_load"].nunique()),
            strict=True,
        )
    )
    names = used[group_factor.column] if group_factor else pd.Series("", index=used.index)
    ranks = [groups.index(name) for name in names]
    values = [
        height(float(level) if x_factor.is_numeric else float(levels.index(level)), rank)
        + load_shift[load] + rng.normal(0, 0.25)
        for level, rank, load in zip(
            used[x_factor.column], ranks, used["furnace_load"], strict=True
        )
    ]  # fmt: skip
    coupons = pd.DataFrame({"group": names, "x": used[x_factor.column], "value": values})
    coupons[["furnace_load", "coupon"]] = used[["furnace_load", "coupon"]]
    title = quantity.capitalize() + (f", {unit}" if unit else "")
    return SimpleNamespace(
        curve=pd.DataFrame(rows, columns=["group", "x", "estimate", "conf_low", "conf_high"]),
        coupons=coupons.reset_index(drop=True), x_factor=x_factor, group_factor=group_factor,
        response_title=title, x_title=x_factor.axis_title, unit=unit, is_curve=is_curve,
        study=study, notes=("A note.",),
        finding=f"{title.partition(',')[0]} is estimated highest for the third group",
    )  # fmt: skip


CURVES = {
    "plane_irons": lambda: curves_of(
        MATRICES["plane_irons"](),
        "austenitize",
        "cold_route",
        is_curve=True,
        quantity="hardness",
        unit="HRC",
    ),
    "plane_irons by delay": lambda: curves_of(
        MATRICES["plane_irons"](),
        "delay",
        "cold_route",
        is_curve=False,
        quantity="hardness",
        unit="HRC",
    ),
    "coated_bars": lambda: curves_of(
        coated_bars_matrix(),
        "furnace_temp",
        "coating",
        is_curve=False,
        quantity="resistance",
        unit="",
    ),
    "coated_bars alone": lambda: curves_of(
        coated_bars_matrix(), "coating", None, is_curve=False, quantity="resistance", unit=""
    ),
}


def _component(stratum: str, count: int, sd: float, low: float, high: float) -> tuple[Any, ...]:
    return stratum, count, sd**2, sd, low, high


def budget_of(rows: list[tuple[Any, ...]], words: dict[str, str], quantity: str, unit: str) -> Any:
    rng = np.random.default_rng(3)
    names = ["stratum", "count", "variance", "sd", "conf_low", "conf_high"]
    return SimpleNamespace(
        components=pd.DataFrame([_component(*row) for row in rows], columns=names),
        deviations={row[0]: rng.normal(0, max(row[2], 1e-9), row[1]) for row in rows},
        quantity=quantity, unit=unit, printed=Printed(unit), stratum_words=words, confidence=0.95, notes=("A note.",),
    )  # fmt: skip


BUDGETS = {
    "plane_irons": lambda: budget_of(
        [("furnace_load", 12, 0.43, 0.20, 0.67), ("cold_batch", 48, 0.0, 0.0, 0.31),
         ("coupon", 96, 0.24, 0.17, 0.32), ("indent", 480, 0.46, 0.43, 0.49)],
        STRATUM_WORDS, "hardness", "HRC",
    ),
    "coated_bars": lambda: budget_of(
        [("furnace_load", 6, 12.1, 0.0, 130.0), ("coupon", 24, 11.2, 7.9, 19.3)],
        {"furnace_load": "furnace heat", "coupon": "bar"}, "resistance", "",
    ),
}  # fmt: skip


def finding_of(
    verdict: str, label: str, against: str, estimate: float, half: float, **more: Any
) -> Any:
    parts: dict[str, Any] = {
        "key": label, "label": label, "against": against, "verdict": verdict, "estimate": estimate,
        "std_error": half / 1.96, "conf_low": estimate - half, "conf_high": estimate + half,
        "inner_low": estimate - 0.84 * half, "inner_high": estimate + 0.84 * half, "margin": 0.5,
        "unit": "HRC", "scale": "linear", "inside": np.zeros(0), "confidence": 0.95,
        "quantity": "hardness",
        "remedy": "More furnace loads would settle it." if verdict == "undecided" else "",
        "notes": (), "units": "metric",
    }  # fmt: skip
    parts |= more
    return SimpleNamespace(**parts, printed=Printed(parts["unit"]))


def hardness_findings() -> list[Any]:
    inside = np.array([0.45, 0.62, 0.7, 0.9, 1.05, 1.2, 1.4, 1.8])
    return [
        finding_of(
            "undecided", "freezer at 970 °C", "no cold step", 0.26, 0.37, inside=inside - 0.6
        ),
        finding_of(
            "exceeds", "dry ice at 1030 °C", "no cold step", 2.86, 0.49, inside=inside + 1.5
        ),
        finding_of("exceeds", "dry ice, −78 °C", "no cold step", 0.94, 0.25, inside=inside),
        finding_of("differs", "freezer", "no cold step", 0.47, 0.26, inside=inside - 0.5),
        finding_of("slight", "temper 10 °C hotter", "", -0.23, 0.055),
        finding_of("equivalent", "liquid nitrogen", "dry ice", -0.04, 0.255),
    ]


def impact_findings() -> list[Any]:
    log = {
        "unit": "J",
        "scale": "log",
        "quantity": "impact energy",
        "margin": float(np.log1p(0.15)),
    }
    return [
        finding_of("differs", "dry ice", "no cold step", -0.18, 0.14, **log),
        finding_of("undecided", f"a day of delay {LONG}", f"no delay {LONG}", 0.09, 0.21, **log),
        finding_of("equivalent", "freezer", "no cold step", 0.01, 0.09, **log),
    ]  # fmt: skip


FINDINGS = {"hardness": (hardness_findings, "HRC"), "impact": (impact_findings, "J")}


def order_of(matrix: CouponMatrix, scale: float, quantity: str, unit: str) -> Any:
    rng = np.random.default_rng(8)
    study, frame = matrix.study, matrix.frame
    factor = study.factors[0]
    first = frame.drop_duplicates("furnace_load")
    loads = pd.DataFrame({"furnace_load": first["furnace_load"], "day": first["day"]}).reset_index(
        drop=True
    )
    loads["level"] = [factor.word(level) for level in first[factor.column]]
    loads["mean"] = rng.normal(0, 0.4 * scale, len(loads))
    loads.loc[loads.index[-1], "mean"] = -1.1 * scale
    loads["conf_low"], loads["conf_high"] = loads["mean"] - 0.3 * scale, loads["mean"] + 0.3 * scale
    coupons = frame[["furnace_load", "day", "coupon"]].merge(loads[["furnace_load", "mean"]])
    coupons["deviation"] = coupons.pop("mean") + rng.normal(0, 0.35 * scale, len(coupons))
    return SimpleNamespace(
        coupons=coupons, loads=loads, load_sd=0.43 * scale, quantity=quantity, unit=unit,
        printed=Printed(unit),
        notes=("A note.",), study=study,
    )  # fmt: skip


ORDERS = {
    "plane_irons": lambda: order_of(MATRICES["plane_irons"](), 1.0, "hardness", "HRC"),
    "coated_bars": lambda: order_of(coated_bars_matrix(), 12.0, "resistance", ""),
}


def certainty_of(
    study: Study,
    sizes: list[tuple[int, int, int]],
    *,
    margin: float | None,
    own: tuple[int, int, int] | None,
    **parts: Any,
) -> CertaintyCosts:
    """Plans whose cost and difference follow simple laws, with a little scatter."""
    rng = np.random.default_rng(17)
    response = study.responses[0]
    study = replace(
        study, questions=(Question("key", "Does it matter?", response.name, "cold_route"),)
    )
    frame = pd.DataFrame(sizes, columns=["furnace_loads", "coupons_per_load", "indents"])
    coupons = frame["furnace_loads"] * frame["coupons_per_load"]
    cost = 30.0 * frame["furnace_loads"] + coupons * (4 + 0.5 * frame["indents"])
    variance = 0.25 / frame["furnace_loads"] + (0.2 + 0.36 / frame["indents"]) / coupons
    found = 4.0 * np.sqrt(variance) * rng.uniform(1.0, 1.1, len(frame))
    frame = frame.assign(
        coupons=coupons, cost=cost, hours=cost / 20, df_error=9.0, half_width=0.7 * found,
        detectable_difference=found, equivalence_power=0.5, unbeaten=False,
        own_plan=[size == own for size in sizes],
    ).sort_values("cost", ignore_index=True)  # fmt: skip
    frame["unbeaten"] = unbeaten_plans(
        frame["cost"].to_numpy(float), frame["detectable_difference"].to_numpy(float)
    )
    made: dict[str, Any] = {
        "study": study, "question": study.questions[0], "frame": frame, "basis": "money",
        "prices": Prices(currency="EUR", coupon=4.0), "noise": Noise({"coupon": 0.45}),
        "power": 0.8, "margin": margin, "notes": ("A note.",),
    }  # fmt: skip
    return CertaintyCosts(**{**made, **parts})


def many_plans() -> list[tuple[int, int, int]]:
    return list(itertools.product((4, 6, 8, 12, 16, 24), (4, 8, 12), (1, 2, 3, 5, 8)))


def log_study() -> Study:
    response = Response("impact_j", "impact energy", "J", "impact", 1, scale="log")
    return replace(plane_irons_study(), responses=(response,))


THREE_PLANS = [(4, 8, 5), (8, 8, 5), (12, 8, 5)]

CERTAINTIES = {
    "plane_irons": lambda: certainty_of(
        plane_irons_study(), many_plans(), margin=0.5, own=(12, 8, 5)
    ),
    "beaten plan in hours": lambda: certainty_of(
        plane_irons_study(), many_plans(), margin=0.1, own=(4, 12, 8), basis="hours"
    ),
    "three plans": lambda: certainty_of(
        plane_irons_study(), THREE_PLANS, margin=0.7, own=(8, 8, 5), unpriced=("cold batches",)
    ),
    "margin above all": lambda: certainty_of(
        plane_irons_study(), many_plans(), margin=9.0, own=(12, 8, 5)
    ),
    "one plan": lambda: certainty_of(plane_irons_study(), [(12, 8, 5)], margin=0.5, own=(12, 8, 5)),
    "coated_bars": lambda: certainty_of(coated_bars_study(), many_plans(), margin=None, own=None),
    "ratios": lambda: certainty_of(
        log_study(), many_plans(), margin=float(np.log1p(0.15)), own=(6, 8, 3)
    ),
}


def steel_study(
    steel: dict[str, Any], levels: tuple[float, ...], routes: tuple[str, ...] = tuple(ROUTE_WORDS)
) -> Study:
    """A study of this steel at these austenitize levels; without levels it does not vary them."""
    heat, route, *rest = plane_irons_study().factors
    factors = (replace(heat, levels=levels), replace(route, levels=routes), *rest)
    return replace(plane_irons_study(), factors=factors if levels else factors[1:], steel=steel)


STEELS = {
    "A2": lambda: steel_study({"grade": "A2"}, (940.0, 970.0, 1000.0, 1030.0)),
    "A2, levels too cool": lambda: steel_study({"grade": "A2"}, (860.0, 870.0, 880.0)),
    "A2, level not computed": lambda: steel_study({"grade": "A2"}, (700.0, 1000.0, 1200.0)),
    "A2, many levels": lambda: steel_study({"grade": "A2"}, tuple(range(900, 1060, 10))),
    "A2, levels from degF": lambda: steel_study({"grade": "A2"}, (954.444444, 982.222222)),
    "A2, no level computed": lambda: steel_study({"grade": "A2"}, (700.0, 1200.0)),
    "A2, no levels": lambda: steel_study({"grade": "A2"}, ()),
    "A2, own routes": lambda: steel_study({"grade": "A2"}, (940.0, 1000.0), ("salt", "brine")),
    "D2": lambda: steel_study({"grade": "D2"}, (980.0, 1000.0, 1020.0, 1050.0)),
    "O1": lambda: steel_study({"grade": "O1"}, (790.0, 805.0, 820.0), ("none", "freezer")),
    "unnamed": lambda: steel_study({"composition": {"C": 1.02, "Cr": 1.5}}, (800.0, 840.0)),
}


def bars_of(
    bars: tuple[float, ...], *groups: tuple[int, float, str], kerf: float = 1.6, end: float = 10.0
) -> CutList:
    """Cut list of coupons with codes ``K7A9``, and of pieces with words of their own."""
    pieces = [
        Piece(mm, f"K{n:03d}", "coupon") if what == "coupon" else Piece(mm, what=what)
        for count, mm, what in groups
        for n in range(count)
    ]
    return cut_list_of(pieces, Stock(tuple(StockBar(mm) for mm in bars), 25.0, kerf, end))


CUT_LISTS = {
    "two lengths": lambda: bars_of((300.0, 500.0), (48, 25.0, "coupon"), (48, 55.0, "spare")),
    "long bars, long words": lambda: bars_of(
        (2000.0,), (96, 20.0, "coupon"), (2, 30.0, f"spare share {LONG}"), (1, 12.0, "test")
    ),
    "tiny pieces": lambda: bars_of((100.0,), (24, 3.0, "coupon"), kerf=0.0, end=0.0),
    "one long piece": lambda: bars_of((3000.0,), (1, 1900.0, "share"), (3, 20.0, "coupon")),
}


def words_of(drawing: Drawing) -> list[tuple[str, Any]]:
    """Each text of a figure with its box [pixels]."""
    with drawing_rules():
        canvas = FigureCanvasAgg(drawing.figure)
        canvas.draw()
        renderer = canvas.get_renderer()
        texts = [text for text in drawing.figure.findobj(Text) if text.get_text().strip()]
        return [(text.get_text(), text.get_window_extent(renderer)) for text in texts]


def overlapping_words(drawing: Drawing) -> list[tuple[str, str]]:
    slack = 0.5
    return [
        (first, second)
        for (first, a), (second, b) in itertools.combinations(words_of(drawing), 2)
        if a.x0 < b.x1 - slack
        and b.x0 < a.x1 - slack
        and a.y0 < b.y1 - slack
        and b.y0 < a.y1 - slack
    ]


def words_off_the_page(drawing: Drawing) -> list[str]:
    page = drawing.figure.bbox
    return [
        text
        for text, box in words_of(drawing)
        if box.x0 < 0 or box.y0 < 0 or box.x1 > page.x1 or box.y1 > page.y1
    ]


def mark_count(drawing: Drawing, label: str = COUPONS) -> int:
    lines = [line for axes in drawing.figure.axes for line in axes.lines]
    return sum(len(line.get_xdata()) for line in lines if line.get_label() == label)


def same_hardness_finding(seed: int, bend: float) -> Any:
    """Answer at equal hardness of a simulated study; with a bend its lines are not parallel."""
    from tests.toughness import FIXED, UNITS, toughness_frame

    from quenchbook.fit.equal_hardness import equal_hardness_contrast
    from quenchbook.fit.fitting import mixed_model

    frame = toughness_frame(seed, coupons=4, bend=bend, cv=0.08)
    energy = mixed_model(frame, "impact", fixed=FIXED, strata=UNITS, scale="log")
    hardness = mixed_model(frame, "hrc", fixed=FIXED, strata=UNITS)
    result = equal_hardness_contrast(energy, hardness, compare={"route": ["b", "a"]})
    words = "B against a: impact +1 % in total; at the same hardness 9 % tougher."
    return SimpleNamespace(result=result, sentence=words, notes=result.notes)


SAME_HARDNESS = {
    "one": ((1, 0.0),),
    "lines not parallel, and another": ((2, -0.3), (3, 0.0)),
}


@functools.cache
def sweep(kind: str) -> Any:
    """Planning sweeps: three noises, one noise, a term without a margin, a ratio."""
    from quenchbook.outlook.sweep import planning_sweep
    from quenchbook.study.files import read_study

    study = read_study(ROOT / "data" / "plane_irons")
    route = Question("any_route", "Do routes differ?", "hardness_hrc", term="cold_route")
    study = replace(study, questions=(*study.questions, route))
    options: dict[str, Any] = {
        "three noises": {
            "question": "dry_ice", "noise": [0.5, 1.0, 2.0], "loads": [4, 8, 12, 24],
            "differences": [0.0, 0.25, 0.5],
        },
        "one plan": {"question": "dry_ice", "loads": [12]},
        "term": {"question": "any_route", "loads": [8, 12, 16], "noise": [1.0, 2.0]},
        "ratio": {"question": "tough", "loads": [8, 12], "noise": {"a very long name of a noise": {"coupon": 0.1}}},
    }[kind]  # fmt: skip
    return planning_sweep(study, studies=100, backend="serial", **options)


SWEEPS = ("three noises", "one plan", "term", "ratio")


def all_drawings() -> dict[str, Any]:
    """Every figure of both studies, as functions that draw it anew."""
    from quenchbook.plots.bar_drawing import figure_bars
    from quenchbook.plots.certainty import figure_certainty
    from quenchbook.plots.coupon_tiles import figure_coupon_matrix
    from quenchbook.plots.curves import figure_response_curves
    from quenchbook.plots.equal_hardness import figure_equal_hardness
    from quenchbook.plots.furnace_order import figure_furnace_order
    from quenchbook.plots.gauges import figure_contrasts
    from quenchbook.plots.noise import figure_noise_budget
    from quenchbook.plots.steel_prior import figure_steel_prior
    from quenchbook.plots.sweep import figure_sweep

    makers: dict[str, Any] = {}
    for name, matrix in MATRICES.items():
        makers[f"coupon matrix, {name}"] = lambda matrix=matrix: figure_coupon_matrix(matrix())
    for name, curves in CURVES.items():
        makers[f"response curves, {name}"] = lambda curves=curves: figure_response_curves(curves())
    for name, budget in BUDGETS.items():
        makers[f"noise budget, {name}"] = lambda budget=budget: figure_noise_budget(budget())
    for name, (findings, unit) in FINDINGS.items():
        makers[f"contrasts, {name}"] = lambda findings=findings, unit=unit: figure_contrasts(
            findings(), unit=unit
        )
    for name, order in ORDERS.items():
        makers[f"furnace order, {name}"] = lambda order=order: figure_furnace_order(order())
    for name, costs in CERTAINTIES.items():
        makers[f"certainty, {name}"] = lambda costs=costs: figure_certainty(costs())
    for name, steel in STEELS.items():
        makers[f"steel prior, {name}"] = lambda steel=steel: figure_steel_prior(
            steel_prior(steel())
        )
    for name, seeds in SAME_HARDNESS.items():
        makers[f"equal hardness, {name}"] = lambda seeds=seeds: figure_equal_hardness(
            [same_hardness_finding(*own) for own in seeds]
        )
    for name in SWEEPS:
        makers[f"sweep, {name}"] = lambda name=name: figure_sweep(sweep(name))
    for name, bars in CUT_LISTS.items():
        makers[f"bars, {name}"] = lambda bars=bars: figure_bars(bars())
    return makers


DRAWINGS = all_drawings()


@pytest.fixture(scope="session", params=DRAWINGS)
def drawing(request: pytest.FixtureRequest) -> Any:
    """Each figure of each example study."""
    return DRAWINGS[request.param]()


@pytest.fixture(params=DRAWINGS)
def anew(request: pytest.FixtureRequest) -> Any:
    """Function that draws a figure anew."""
    return DRAWINGS[request.param]


@pytest.fixture(scope="session")
def shapes() -> Any:
    """Makers of results and measures of drawings: conftest is not importable in importlib mode."""
    return SimpleNamespace(**globals())
