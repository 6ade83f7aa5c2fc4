"""quenchbook: plan, run, analyse and publish small heat-treatment studies on steel.

The public names are loaded when first used, so that ``import quenchbook`` takes milliseconds.
"""

from __future__ import annotations

import importlib
from typing import Any

__version__ = "0.1.0"

_HOME = {
    "read_study": "study.files",
    "Study": "study.definition",
    "coupon_matrix": "plan.randomization",
    "published_matrix": "plan.randomization",
    "plan_quality": "plan.quality",
    "CouponMatrix": "plan.matrix",
    "alias_list": "plan.fractions",
    "write_plan": "plan.files",
    "read_plan": "plan.files",
    "plan_cost": "plan.cost",
    "write_entry_forms": "bench.forms",
    "cautions": "bench.safety",
    "consumables": "bench.at_hand",
    "Consumables": "bench.at_hand",
    "cut_list": "bench.cutting",
    "CutList": "bench.cutting",
    "bench_timetable": "bench.earliest_start",
    "timetable_breaches": "bench.timetable_check",
    "read_records": "records.reading",
    "Records": "records.reading",
    "checks_of_testers": "records.tester",
    "length_changes": "records.lengths",
    "record_mistakes": "records.mistakes",
    "write_marked_copies": "records.marked_copies",
    "accept_records": "records.acceptance",
    "record_changes": "records.acceptance",
    "kept_entries": "records.kept_entries",
    "mixed_model": "fit.mixed",
    "MixedModel": "fit.mixed",
    "marginal_means": "fit.means",
    "MarginalMeans": "fit.means",
    "noise_budget": "fit.noise",
    "response_curves": "fit.curves",
    "furnace_order": "fit.curves",
    "curve_factors": "fit.curves",
    "pairs": "fit.multiple",
    "against": "fit.multiple",
    "free_list": "fit.multiple",
    "slopes": "fit.means",
    "error_shares": "fit.noise",
    "diagnostics": "fit.diagnostics",
    "load_influence": "fit.diagnostics",
    "without": "fit.diagnostics",
    "randomization_test": "fit.guaranteed",
    "error_df_frame": "outlook.error_df",
    "certainty_costs": "outlook.certainty",
    "steel_prior": "outlook.steel",
    "question_outlooks": "outlook.questions",
    "PlanOutlook": "outlook.questions",
    "simulated_outlook": "outlook.simulation",
    "units_needed": "outlook.needed",
    "peak_outlook": "outlook.peak",
    "peak_place": "fit.peaks",
    "peak_height": "fit.peak_height",
    "peak_shift": "fit.peak_shift",
    "working_window": "fit.working_window",
    "target_window": "fit.target_window",
    "trade_outlook": "outlook.trade_outlook",
    "peak_costs": "outlook.peak_costs",
    "measured_noise": "outlook.noise",
    "Noise": "study.definition",
    "next_coupons": "outlook.next_coupons",
    "write_continuation": "plan.files",
    "treatments": "plan.treatments",
    "unit_blind_tests": "fit.ignoring",
    "finding": "findings.verdicts",
    "Finding": "findings.verdicts",
    "analyse": "findings.answers",
    "answer": "findings.answers",
    "Analysis": "findings.answers",
    "figure_coupon_matrix": "plots.coupon_tiles",
    "figure_response_curves": "plots.curves",
    "figure_noise_budget": "plots.noise",
    "figure_contrasts": "plots.gauges",
    "figure_furnace_order": "plots.furnace_order",
    "figure_bars": "plots.bar_drawing",
    "figure_certainty": "plots.certainty",
    "figure_steel_prior": "plots.steel_prior",
    "figure_timetable": "plots.timetable",
    "write_bench_documents": "report.bench_pages",
    "table": "report.blocks",
    "show": "report.contents",
    "report_answer": "report.contents",
    "report_questions": "report.contents",
    "report_noise": "report.contents",
    "report_method": "report.contents",
    "report_limits": "report.contents",
    "report_cautions": "report.contents",
    "report_data": "report.contents",
    "report_appendix": "report.contents",
    "report_steel": "report.plan_contents",
    "report_outlook": "report.plan_contents",
    "report_costs": "report.plan_contents",
    "report_certainty": "report.plan_contents",
    "report_matrix": "report.plan_contents",
    "report_needed": "report.plan_contents",
    "report_choice": "report.plan_contents",
    "report_confirmation": "report.plan_contents",
    "cautions_table": "report.contents",
    "files_table": "report.study_tables",
    "meaning": "columns",
    "new_study": "steps",
    "plan_study": "planning_steps",
    "bench_study": "steps",
    "read_folder": "study_folder",
    "draft_plan": "planning_steps",
    "noise_of_studies": "planning_steps",
    "next_needs": "planning_steps",
    "next_study": "planning_steps",
    "analyse_study": "steps",
    "report_study": "steps",
}

__all__ = ["__version__", *sorted(_HOME)]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'quenchbook' has no attribute '{name}'")
    value = getattr(importlib.import_module(f"quenchbook.{_HOME[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
