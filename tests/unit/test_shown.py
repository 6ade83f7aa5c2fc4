"""All public results show themselves in one form; they are made once from the demo study."""

# ruff: noqa: ARG005  (a table of calls, each takes what it needs)

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from tests.many_studies import write_studies

import quenchbook as qb
from quenchbook.columns import meaning
from quenchbook.errors import ReportError
from quenchbook.findings.answers import Analysis
from quenchbook.forms.plan_preview import PlanPreview
from quenchbook.made_by import made_by
from quenchbook.own_studies import OwnStudies
from quenchbook.plots.of_results import _BY_WAY_OF, _DRAWN
from quenchbook.references import cite
from quenchbook.shown import Shown, ShowsItself, html_of, shown_table
from quenchbook.study_standing import StudyProgress
from quenchbook.written_table import written_table

ICE = {"cold_route": "dry_ice"}
FOLDER = Path(__file__).parents[2] / "data" / "plane_irons"

Make = Callable[[Analysis], Any]


def _hardness(analysis: Analysis) -> Any:
    return analysis.models["hardness_hrc"]


def _result_of(asks: str) -> Make:
    return lambda a: next(own.result for own in a.findings if getattr(own, "asks", "") == asks)


RESULTS: dict[str, Make] = {
    "Study": lambda a: a.study,
    "CouponMatrix": lambda a: a.records.matrix,
    "Records": lambda a: a.records,
    "Analysis": lambda a: a,
    "MixedModel": _hardness,
    "MarginalMeans": lambda a: qb.marginal_means(_hardness(a), "cold_route"),
    "Comparisons": lambda a: qb.against(
        qb.marginal_means(_hardness(a), "cold_route"), "none", adjustment="holm"
    ),
    "PeakPlace": lambda a: qb.peak_place(_hardness(a), "austenitize", at=ICE),
    "PeakHeight": lambda a: qb.peak_height(_hardness(a), "austenitize", at=ICE),
    "PeakShift": _result_of("peak_shift"),
    "WorkingWindow": lambda a: qb.working_window(_hardness(a), "austenitize", 0.5, at=ICE),
    "TargetWindow": lambda a: qb.target_window(_hardness(a), "austenitize", 61.0, at=ICE),
    "TemperSet": _result_of("temper_for"),
    "TemperCurve": lambda a: _result_of("temper_for")(a).curve,
    "NoiseBudget": lambda a: qb.noise_budget(_hardness(a)),
    "ResponseCurves": lambda a: qb.response_curves(_hardness(a), "austenitize", "cold_route"),
    "FurnaceOrder": lambda a: qb.furnace_order(_hardness(a)),
    "Diagnostics": lambda a: qb.diagnostics(_hardness(a)),
    "DecadeChange": lambda a: qb.decade_change(_hardness(a)),
    "DelayLines": lambda a: qb.decade_change(_hardness(a)).lines,
    "HalfLoss": lambda a: qb.half_loss_time(_hardness(a), level="dry_ice"),
    "AusteniteLosses": lambda a: qb.austenite_losses(a.records, _hardness(a)),
    "EqualHardness": _result_of("equal_hardness"),
    "RandomizationTest": lambda a: qb.randomization_test(_hardness(a), "cold_route", draws=49),
    "NonlinearFit": lambda a: qb.nonlinear_fit(
        lambda b: b[0] + b[1] * np.arange(5.0), [1.0, 2.1, 2.9, 4.2, 5.0], [0.0, 1.0]
    ),
    "TemperedSteel": lambda a: qb.tempered_steel(
        np.array([150.0, 200, 250, 300, 400, 500, 600]), np.full(7, 2.0),
        np.array([62.0, 60, 58, 56, 54, 50, 44]),
    ),
    "Finding": lambda a: a.findings[0],
    "TradeFinding": lambda a: next(own for own in a.findings if getattr(own, "asks", "") == "peak"),
    "TesterChecks": lambda a: qb.checks_of_testers(a.records),
    "LengthChanges": lambda a: qb.length_changes(a.records),
    "KeptEntries": lambda a: qb.kept_entries(FOLDER / "records"),
    "RecordChanges": lambda a: qb.record_changes(FOLDER / "records", a.records),
    "PlanCost": lambda a: qb.plan_cost(a.records.matrix),
    "CutList": lambda a: qb.cut_list(a.records.matrix),
    "Consumables": lambda a: qb.consumables(a.records.matrix),
    "Timetable": lambda a: qb.bench_timetable(a.records.matrix),
    "PlanOutlook": lambda a: qb.question_outlooks(a.records.matrix),
    "SimulatedOutlook": lambda a: qb.simulated_outlook(a.records.matrix, studies=50),
    "PeakOutlook": lambda a: qb.peak_outlook(a.records.matrix),
    "DelayOutlook": lambda a: qb.delay_outlook(
        a.records.matrix, level="dry_ice", gains=[1.0], half_losses=[60.0]
    ),
    "SteelPrior": lambda a: qb.steel_prior(a.study),
    "StudyProgress": lambda a: qb.study_progress(FOLDER),
    "StudyEdits": lambda a: qb.study_edits(FOLDER).with_changes({"layout.furnace_loads": "16"}),
    "PlanPreview": lambda a: qb.plan_preview(a.study),
    "EntryBook": lambda a: qb.entry_book(FOLDER),
    "PlanningSweep": lambda a: qb.planning_sweep(
        a.study, "freezer", loads=[8], coupons=[8], studies=100, backend="serial"
    ),
    "RepeatedWork": lambda a: qb.run_many(lambda item, seed: item / 3, 4, seed=2, progress=None),
    "LotMeans": lambda a: qb.lot_means([_hardness(a)], {"austenitize": 970.0}),
    "Expected": lambda a: qb.equivalent_temper_c(200.0, 2.0, 1.0),
    "Austenite": lambda a: qb.possible_austenites("A2")[0],
}  # fmt: skip

OF_LIBRARY: dict[str, Callable[[OwnStudies], Any]] = {
    "OwnStudies": lambda own: own,
    "StudyNoise": lambda own: own.noise(),
    "LibraryOverview": qb.library_overview,
}

MADE: dict[str, Any] = {}


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> OwnStudies:
    place = tmp_path_factory.mktemp("library")
    write_studies(place, 2, loads=4, per_load=4)
    return qb.read_studies(place)


@pytest.fixture(params=[*RESULTS, *OF_LIBRARY])
def result(request: pytest.FixtureRequest, plane_irons_analysis: Analysis) -> Any:
    kind = request.param
    if kind in MADE:  # each is made once; none is changed by being shown
        return MADE[kind]
    if kind in OF_LIBRARY:
        MADE[kind] = OF_LIBRARY[kind](request.getfixturevalue("library"))
    else:
        MADE[kind] = RESULTS[kind](plane_irons_analysis)
    return MADE[kind]


VOID = {"br", "hr", "img"}


class Outline(HTMLParser):
    """Tags that are open, and what the page is made of."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[str] = []
        self.links: list[str] = []
        self.texts: list[tuple[str, str]] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.links += [value or "" for name, value in attrs if name in ("src", "href")]
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if data.strip():
            self.texts.append((self.open[-1] if self.open else "", data))


def test_finding_comes_first_in_every_form(result: Any) -> None:
    finding = result.shown().finding
    assert finding
    assert "\n" not in finding
    assert str(result).split("\n")[0] == finding
    assert Outline(result._repr_html_()).texts[0] == ("strong", finding)


def test_text_is_no_wall_of_digits(result: Any) -> None:
    assert "nan" not in str(result).lower().split()
    longest = max(sum(letter.isdigit() for letter in word) for word in str(result).split())
    assert longest <= 12  # a seed or a hash; a number at full precision has some 16


def test_html_is_balanced_and_asks_for_nothing(result: Any) -> None:
    page = Outline(result._repr_html_())
    assert page.open == []
    assert not {"script", "style", "link", "img"} & set(page.tags)
    assert page.links == [] or isinstance(result, StudyProgress)  # it links what to open next
    folded = [data for tag, data in page.texts if tag == "summary"]
    assert folded[-2:] == ["References", "How this was computed"]


def test_columns_of_the_frame_are_in_the_glossary(result: Any, plane_irons: Any) -> None:
    frame = result.to_frame()
    assert isinstance(frame, pd.DataFrame)
    factors = {own.name for own in plane_irons.factors}
    assert [c for c in frame if not meaning(c, plane_irons)[0] and c not in factors] == []


def test_how_it_was_made_is_told(result: Any) -> None:
    made = result.made_by
    assert made.versions["quenchbook"] == qb.__version__
    assert {"Python", "numpy", "pandas", "scipy", "statsmodels"} <= set(made.versions)
    alone = {
        "Study", "SteelPrior", "Expected", "Austenite", "NonlinearFit", "TemperedSteel",
        "KeptEntries", "RecordChanges", "DelayLines", "StudyProgress", "StudyEdits",
        "PlanningSweep", "RepeatedWork", *OF_LIBRARY,
    }  # fmt: skip
    if not isinstance(result, PlanPreview):  # that of a plan of its own
        assert made.plan == ("" if type(result).__name__ in alone else "3db02e10")


def test_a_result_of_which_something_was_replaced_is_made_from_the_same(result: Any) -> None:
    if dataclasses.is_dataclass(result):
        assert dataclasses.replace(result).made_by == result.made_by


def test_figure_is_drawn_or_refused_with_words(result: Any) -> None:
    kind = type(result).__name__
    if kind in ("PeakPlace", "PeakShift", "WorkingWindow"):  # drawn as the target window is
        assert _BY_WAY_OF[kind] is _BY_WAY_OF["TargetWindow"]
    elif kind in _DRAWN or kind in _BY_WAY_OF or kind == "TradeFinding":
        assert result.plot().alt
    else:
        with pytest.raises(ReportError, match=f"no figure of {kind}. Figures show Analysis"):
            result.plot()


def test_random_results_tell_their_seed(plane_irons_analysis: Analysis) -> None:
    found = qb.randomization_test(_hardness(plane_irons_analysis), "cold_route", draws=49, seed=5)
    assert found.made_by.seed == 5
    assert found.made_by.plan_seed == 20260912
    assert "Random numbers with seed 5." in found._repr_html_()


def test_repeated_and_simulated_work_tell_their_seed(plane_irons_analysis: Analysis) -> None:
    for kind, seed in (("RepeatedWork", 2), ("PlanningSweep", 1)):
        found = MADE.get(kind) or RESULTS[kind](plane_irons_analysis)
        assert found.made_by.seed == seed
        assert f"Random numbers with seed {seed}." in found._repr_html_()


@pytest.mark.parametrize("name", ["<script>alert(1)</script>", '"><img src=x>', "a & b"])
def test_names_from_a_file_are_escaped(name: str) -> None:
    frame = pd.DataFrame({"contrast": [name], name: [name], "estimate": [1.0]})
    own = Shown(name, frame, (name,), (name,), {name: frame})
    page = Outline(html_of(own, made_by(None), cite("peak_place")))
    assert page.open == []
    assert not {"script", "img"} & set(page.tags)
    assert ("strong", name) in page.texts


def test_long_listing_says_how_much_is_left_out() -> None:
    table = written_table(pd.DataFrame({"coupon": range(40)}))
    assert len(table.rows) == 24
    assert table.lines()[-1] == "(16 more rows: to_frame() has them all)"


def test_unit_of_a_column_stands_after_a_comma_in_its_head() -> None:
    names = ("austenitize_c", "hardness_hrc", "delay_minutes_planned", "df_error")
    frame = pd.DataFrame([dict.fromkeys(names, 72)])
    heads = [own.head for own in written_table(frame).columns]
    assert heads == ["austenitize, °C", "hardness, HRC", "delay planned, min", "df error"]


def test_bare_table_is_shown_with_caption_and_meanings() -> None:
    frame = pd.DataFrame({"term": ["<b>"], "df_error": [72.123456789]})
    shown = shown_table(frame, "Error df & terms")
    page = Outline(shown._repr_html_())
    assert page.open == []
    assert page.texts[0] == ("p", "Error df & terms")
    assert ("th", "<b>") in page.texts
    assert ("td", "72.1") in page.texts
    assert ("summary", "What the columns mean") in page.texts
    assert str(shown).split("\n")[0] == "Error df & terms"
    assert shown.to_frame().equals(frame)


def test_labels_of_rows_that_say_something_are_a_column() -> None:
    frame = pd.DataFrame({"value": [1.0, 2.0]}, index=pd.Index(["a", "b"], name="coupon"))
    assert "coupon" in str(shown_table(frame, "Values"))
    assert "index" not in str(shown_table(frame.reset_index(), "Values"))


def test_table_without_rows_says_so() -> None:
    assert "Corrections: nothing." in shown_table(pd.DataFrame(), "Corrections")._repr_html_()


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [
        (-math.inf, 970.0, "up to 970"),
        (940.0, math.inf, "940 or more"),
        (-math.inf, math.inf, "no limit"),
        (math.nan, math.nan, ""),
        (0.694, 1.19, "0.69 to 1.19"),
    ],
)
def test_open_interval_is_written_in_words(low: float, high: float, text: str) -> None:
    row = {"conf_low": [low], "conf_high": [high]}
    (column,) = written_table(pd.DataFrame(row), confidence=0.95).columns
    assert column.head == "95 % interval"
    assert column.cells == (text,)


def test_every_public_class_of_results_shows_itself() -> None:
    no_results = {"Noise", "TemperPlan", "ToughnessNoise"}  # settings that a person writes
    classes = [own for own in map(qb.__dict__.get, qb.__all__) if isinstance(own, type)]
    for name in qb._HOME:
        own = getattr(qb, name)
        if isinstance(own, type) and name not in no_results:
            assert issubclass(own, ShowsItself), name
            classes.append(own)
    assert len(classes) > 10
