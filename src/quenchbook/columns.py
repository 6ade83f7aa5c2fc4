"""Glossary: what each column of our tables means, and its unit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final, Protocol

GLOSSARY: Final[Mapping[str, tuple[str, str]]] = {
    # coupons and units
    "coupon": ("code of the piece of steel", ""),
    "furnace_load": ("number of the furnace load, in the order they are run", ""),
    "day": ("day of the furnace load", ""),
    "load_place": ("place in the load: order of quenching", ""),
    "order": ("place on the sheet of the tester, which hides the treatment", ""),
    "read": ("readings of the coupon that are there already", ""),
    "no_reading": ("whether the coupon is lost or has no reading", ""),
    "run_otherwise": ("whether the coupon or its load was not run as planned", ""),
    "otherwise": ("whether another setting than the one drawn was not run as planned", ""),
    "cold_batch": ("coupons that go into the cold together: load, then a number", ""),
    "temper_batch": ("coupons that are tempered together", ""),
    "bar": ("bar of steel the coupon was cut from", ""),
    "bar_position": ("place in the bar", ""),
    "bar_mm": ("length of the bar", "mm"),
    "piece": ("number of the piece in its bar, 1 is cut first", ""),
    "from_mm": ("where a piece begins, from the end of the bar that is cut first", "mm"),
    "to_mm": ("where a piece ends, from the end of the bar that is cut first", "mm"),
    "plan": ("first digits of the plan that a table of the bench belongs to", ""),
    "furnace_place": ("marked place in the furnace", ""),
    "reference": ("kind of a reference coupon, shown and never analysed; blank for others", ""),
    # factors and responses of the trade; those of a study explain themselves, see `meaning`
    "austenitize_c": ("austenitize temperature", "degC"),
    "cold_route": ("how the coupon is cooled below room temperature", ""),
    "delay_minutes": ("end of quench to start of the cold step; blank without one", "minutes"),
    "temper_c": ("temper temperature", "degC"),
    "hardness_hrc": ("Rockwell hardness, scale C", "HRC"),
    "impact_j": ("impact energy", "J"),
    # readings and what went differently
    "response": ("what was measured", ""),
    "reading": ("number of the reading on its coupon", ""),
    "indent": ("number of the hardness impression, or of any reading, on its coupon", ""),
    "value": ("reading; in a model the mean of a coupon on the scale that is analysed", ""),
    "readings": ("number of readings of the coupon", ""),
    "coupons": ("number of coupons, of a plan or of a row", ""),
    "file": ("file of the records the row was read from", ""),
    "row": ("row in the file, the head is row 1", ""),
    "what": ("kind of unit the row is about, of row in the data of a figure, or of step", ""),
    "which": ("number or code of that unit", ""),
    "item": ("what differed: a factor, lost, or a note; in a cost what is paid for", ""),
    "planned": ("level in the plan", ""),
    "actual": ("level that was run", ""),
    "unit": ("unit of the numbers in the row, or what is counted", ""),
    "note": ("remark of whoever recorded it", ""),
    "reason": ("why, as recorded", ""),
    "column": ("column of the table", ""),
    "found": ("what stands in the file", ""),
    "before": ("what was accepted earlier; blank if nothing was", ""),
    "after": ("what the records say now; blank if nothing any more", ""),
    "time": ("when it was accepted, in universal time", ""),
    "kind": (
        "of an accepted entry: reading, deviation or file; of a published comparison: what was "
        "done about hardness",
        "",
    ),
    "sha256": ("checksum of the file, SHA-256", ""),
    "field": ("value of the study file that was changed", ""),
    "now": ("what it says now; blank if it was taken out", ""),
    "problem": ("what is wrong there, and what was expected", ""),
    "remedy": ("what to do about it", ""),
    "corrected": ("what a person said it must be", ""),
    "meaning": ("what a column means", ""),
    "rmse": ("root mean square of what a fit leaves over", ""),
    "critical": ("size from which on a deviation is flagged", ""),
    "flagged": ("whether a coupon deviates more than chance lets expect", ""),
    "layouts": ("number of different layouts of the settings over the units", ""),
    "draws": ("number of layouts that were looked at", ""),
    "smallest": ("smallest p value that any layout reaches", ""),
    # files of figures
    "figure": ("number of the figure in its report", ""),
    "svg": ("file of the figure as SVG; blank for a photograph", ""),
    "png": ("file of the figure as PNG, or of the photograph", ""),
    "csv": ("file of the numbers behind the figure", ""),
    "finding": ("what the figure shows, as a sentence", ""),
    "alt": ("alternative text of the figure", ""),
    # austenite lost, and tempers
    "gain": ("what a cold step adds, on the analysed scale: fitted, or guessed for a plan", ""),
    "gain_low": ("lower end of that gain", "HRC"),
    "gain_high": ("upper end of that gain", "HRC"),
    "gain_share": ("gain of a route over that of the coldest route", ""),
    "gain_share_low": ("lower end of that share; infinite: no limit", ""),
    "gain_share_high": ("upper end of that share; infinite: no limit", ""),
    "expected_share_low": ("lower end of the share that an equation expects, a prior", ""),
    "expected_share_high": ("upper end of the share that an equation expects, a prior", ""),
    "lost_by_hardness_low": (
        "austenite lost, least by the gain and a prior cost",
        "%",
    ),
    "lost_by_hardness_high": (
        "austenite lost, most by the gain and a prior cost",
        "%",
    ),
    "coupons_with_lengths": (
        "coupons of the route with a length before and after the cold step",
        "",
    ),
    "lost_by_length": ("austenite lost, by the growth in length", "%"),
    "lost_by_length_low": ("lower end of that", "%"),
    "lost_by_length_high": ("upper end of that", "%"),
    "parameter": ("parameter of a nonlinear fit", ""),
    "panel": ("panel of a figure", ""),
    "tempering_parameter_k": ("Hollomon and Jaffe's parameter, constant 20 for hours", "K"),
    # lengths beside the readings, and the testers
    "measure": ("kind of length beside the readings", ""),
    "length_before_mm": ("length before the cold step", "mm"),
    "length_after_mm": ("length after the cold step", "mm"),
    "growth_mm": ("length after less length before the cold step", "mm"),
    "transformed": ("austenite that became martensite in the cold, share of the coupon", "%"),
    "transformed_low": ("lower end of its range; no confidence level belongs to it", "%"),
    "transformed_high": ("upper end of that range", "%"),
    "session": ("session at the tester", ""),
    "when": ("before or after the session", ""),
    "block_value_hrc": ("hardness on the certificate of the block", "HRC"),
    "block_uncertainty_hrc": ("expanded uncertainty on the certificate of the block", "HRC"),
    "certified_value_j": ("energy on the certificate of the impact coupons", "J"),
    "check": ("what was checked of a tester or its indents", ""),
    "about": ("on what the check was made", ""),
    "uncertainty": ("expanded uncertainty at the confidence of the study", ""),
    "bound": ("within the limit either way of zero, at most, or at least", ""),
    "limit": ("limit of the check; blank if it is not known here", ""),
    "outcome": (
        "of a tester: pass, warn (inside by less than is unsure), out, not known; of a question "
        "about a curve: what was found, in a few words",
        "",
    ),
    "clause": ("standard with edition and clause, or where else the limit is from", ""),
    "hardness_hv": ("Vickers hardness, by a published table and for reading only", "HV"),
    # tests and estimates
    "term": ("factor, or combination of factors joined by a colon", ""),
    "stratum": ("unit whose scatter is the noise", ""),
    "df": ("degrees of freedom", ""),
    "df_error": ("error degrees of freedom of the stratum: spare units to judge by", ""),
    "statistic": ("F value of a test, t value of a comparison", ""),
    "p_value": ("probability of a larger statistic if there were no difference", ""),
    "safety_factor": ("factor on the mean square that keeps the level with unequal units", ""),
    "method": ("how the test was made", ""),
    "contrast": ("name of the comparison", ""),
    "line": ("which number of a comparison at equal hardness", ""),
    "slope": ("change of the response for one unit of hardness", ""),
    "hardness": ("hardness of a coupon or of a point of a line", "HRC"),
    "temper": ("planned temper of a coupon", ""),
    "estimate": ("mean, difference or logarithm of a ratio", ""),
    "std_error": ("standard error of the estimate", ""),
    "strata": ("units whose noise an estimate carries", ""),
    "conf_low": ("lower limit of the interval at the confidence of the study", ""),
    "conf_high": ("upper limit of the interval at the confidence of the study", ""),
    "further_low": ("lower limit for one further coupon of a new furnace load", ""),
    "further_high": ("upper limit for one further coupon of a new furnace load", ""),
    "inner_low": ("lower limit of the narrower interval of the two one-sided tests", ""),
    "inner_high": ("upper limit of the narrower interval of the two one-sided tests", ""),
    "count": ("number of units of the stratum", ""),
    "variance": ("variance component", ""),
    "sd": ("standard deviation", ""),
    "sd_lowest": ("lowest standard deviation of a single study", ""),
    "sd_highest": ("highest standard deviation of a single study", ""),
    "studies": ("number of studies, own or simulated, behind a row", ""),
    # plans
    "alias": ("term that cannot be told from this one in the plan; blank if there is none", ""),
    "sign": ("1: the two effects add up, -1: they subtract, 0: there is no alias", ""),
    "block": ("number of the block: coupons alike by load, day or bar", ""),
    "level_number": ("number of the level, in the order of the study file", ""),
    # cost of a plan, and what plans find
    "amount": ("how many of it the plan needs", ""),
    "price": ("price of one, in the currency of the study; blank if not told", ""),
    "total": ("price times amount; blank if no price is told", ""),
    "cost": ("money for all of the plan that has a price, in the currency of the study", ""),
    "hours": ("own work", "hours"),
    "furnace_hours": ("time that furnace or oven are on", "hours"),
    # timetable
    "work_day": ("day of work at the bench, the first is 1", ""),
    "date": ("date of the day of work; blank if the first day is not told", ""),
    "start_clock": ("clock time at which the step begins", ""),
    "end_clock": ("clock time at which the step ends", ""),
    "lane": ("where the step happens: furnace, bench, bath or oven", ""),
    "cycle": ("which temper of its batch; 0 where there is none", ""),
    "hands": ("whether the step needs the person at the bench", ""),
    "start_minutes": ("begin, after the midnight before the first day of work", "minutes"),
    "end_minutes": ("end, after the midnight before the first day of work", "minutes"),
    "breach": ("kind of wish that the timetable cannot meet", ""),
    "over_minutes": ("by how much it is not met", "minutes"),
    "furnace_loads": ("number of furnace loads of a plan", ""),
    "coupons_per_load": ("number of coupons in each furnace load", ""),
    "indents": ("number of hardness impressions, or of any readings, on each coupon", ""),
    "half_width": ("expected half width of the interval, on the analysed scale", ""),
    "detectable_difference": (
        "smallest difference that is found with the wanted power, on the analysed scale",
        "",
    ),
    "equivalence_power": (
        "chance of showing a difference to be inside the margin if there is none",
        "",
    ),
    "power_at_margin": ("chance of finding a true difference of the margin", ""),
    "difference": ("true difference that is assumed, on the analysed scale", ""),
    "power": ("chance of success, by formula", ""),
    "simulated_half_width": ("mean half width of the interval in simulated studies", ""),
    "crossed_difference": ("same, of the crossed plan of this layout; blank: no test", ""),
    "simulated_power": ("share of simulated studies that find the difference", ""),
    "simulation_error": ("standard error of that share", ""),
    "noise_name": ("noise that a row was judged at, in short", ""),
    "noise_multiple": (
        "noise over that of the study; blank where standard deviations are given",
        "",
    ),
    "half_width_error": ("standard error of the mean half width in simulated studies", ""),
    "inside_chance": ("chance by formula of showing the difference to be inside the margin", ""),
    "simulated_inside_chance": ("share of simulated studies that show that", ""),
    "inside_error": ("standard error of that share", ""),
    "untrue_claims": ("chance by formula that a study claims something untrue", ""),
    "simulated_untrue_claims": ("share of simulated studies that claim something untrue", ""),
    "untrue_error": ("standard error of that share", ""),
    "rough": ("whether the formula holds only roughly for the plan", ""),
    "distance": ("simulated chance less the formula, in standard errors", ""),
    "simulated_equivalence_power": ("share of simulated studies that show equivalence", ""),
    "place": ("where the peak is expected, in the storage unit of the factor", ""),
    "one_ended": ("chance that an interval has one end inside the range", ""),
    "not_located": ("chance that an interval has no end inside the range", ""),
    "shown_inside": ("chance that a peak is shown to lie inside the range", ""),
    "detectable_shift": ("shift that 80 % of such studies tell from none", ""),
    # peaks and windows
    "curve_shape": ("form of the curve: quadratic, cubic, one curvature or own curvatures", ""),
    "answer": ("what is told of the place of a peak", ""),
    "p_inside": ("larger of two one-sided p values: the peak lies inside the range", ""),
    "p_rising": ("larger of two one-sided p values: rising at both ends of the range", ""),
    "p_falling": ("larger of two one-sided p values: falling at both ends of the range", ""),
    "peak_place": ("where the fitted curve is highest inside the range", ""),
    "zone": ("certain, possible or excluded", ""),
    "from_place": ("where a stretch of the range begins, in the unit of the factor", ""),
    "to_place": ("where a stretch of the range ends, in the unit of the factor", ""),
    "bounded": ("chance that the interval of the peak has both ends", ""),
    "minutes_until_cold": ("end of quench until the coupons are cold; infinite: never", "minutes"),
    "allowed": ("whether the data allow this time", ""),
    "half_loss_minutes": ("guessed time until cold after which half of a gain is lost", "minutes"),
    "fall": ("how a gain is lost: steady (evenly with each decade) or sudden", ""),
    "upper_limit": ("chance of an upper limit of the half-loss time inside the tested delays", ""),
    "lower_limit": ("chance that half-loss within the shortest delay is excluded", ""),
    "upper_any_shape": ("chance of an upper limit without assuming a shape", ""),
    "goal": ("difference: find one of the margin; equivalence: rule one out", ""),
    "more_loads": ("furnace loads that are needed beyond those of the study; blank: too many", ""),
    "more_coupons": ("coupons in these loads", ""),
    "unbeaten": ("whether no other plan finds as small a difference for no more", ""),
    "own_plan": ("whether it is the plan of the study as it stands", ""),
    "comparison": ("plan of the same layout that this one is compared with", ""),
    "d_efficiency": ("precision of all coefficients together, relative; 1 is as good", ""),
    "i_efficiency": ("average precision of a prediction, relative; 1 is as good", ""),
    "combination": ("pair of factors that is not in the model", ""),
    "alias_share": (
        "share of a coefficient of the combination that would be taken for the term",
        "",
    ),
    "correlation": ("largest correlation of their columns, without sign", ""),
    "load_ratio": ("variance of a furnace load over that of a coupon", ""),
    "batch_ratio": ("variance of a cold or temper batch over that of a coupon", ""),
    "criterion": ("D: all coefficients together; I: average variance of a prediction", ""),
    "efficiency": ("precision relative to a plan made for this noise", ""),
    # figures
    "group": ("level of the factor that has a curve each; blank with one curve", ""),
    "x": ("place along the axis: level of the factor, as run", ""),
    "level": ("level a furnace load was set to, or that is compared", ""),
    "mean": ("mean of the deviations of a furnace load, or of reference coupons", ""),
    "deviation": ("coupon value less the fitted mean", ""),
    # what is expected before any test
    "expected": ("what published equations expect: a prior, not a measurement", ""),
    "low": (
        "lower end of the range of what is expected or needed; no confidence level belongs to it",
        "",
    ),
    "high": ("upper end of that range", ""),
    # what others found, and several own studies
    "study": ("short name of the study", ""),
    "quantity": ("what was measured, in words", ""),
    "effect": ("ratio (analysed as its natural logarithm) or difference", ""),
    "better": ("whether higher or lower values are better; blank if not told", ""),
    "level_mean": ("published mean of what is compared", ""),
    "level_sd": ("published standard deviation of it; blank if not told", ""),
    "level_coupons": ("coupons behind it; blank if not told", ""),
    "against_mean": ("published mean of what it is compared with", ""),
    "against_sd": ("published standard deviation of that; blank if not told", ""),
    "against_coupons": ("coupons behind that; blank if not told", ""),
    "steel": ("grade of the steel", ""),
    "heat_lot": ("lot of the steel: one mill heat; blank if not told", ""),
    "invented": ("whether the study is an invented demonstration", ""),
    "published": ("whether the data are those of a publication", ""),
    "conditions": ("how the coupons were treated, in words", ""),
    "source": ("paper or report the numbers are from", ""),
    "found_at": ("table, figure or page in the source", ""),
    "obtained": ("how the numbers were taken from there", ""),
    "cold_c": ("temperature of the cold step", "degC"),
    "cold_time_minutes": ("time in the cold", "minutes"),
    "temper_time_minutes": ("time at the temper temperature", "minutes"),
    # open data
    "table": ("table of the archive", ""),
    "type": ("kind of the values: string, integer, number or boolean", ""),
    "guarded": ("whether an apostrophe may guard a cell against spreadsheet formulas", ""),
    "archived": ("what stands in the archive", ""),
    "recomputed": ("what comes out when it is recomputed", ""),
    "analysed": ("whether the analysis uses the row", ""),
    "factor": ("name of what is varied, as in the study file", ""),
    "set_for": ("unit that gets one level of the factor", ""),
    "shape": ("how the factor enters the analysis: levels, linear or quadratic", ""),
    "levels": ("declared levels, in the storage unit", ""),
    "exists_for": ("where the factor exists; blank: everywhere", ""),
    # where a study stands
    "step": ("step of the work", ""),
    "notebook": ("notebook of the step", ""),
    "state": ("done, in part, look again or not yet", ""),
    "words": ("what there is", ""),
    "papers": ("files of the step, from the study folder", ""),
    # findings
    "confidence": ("confidence level of the interval", ""),
    "notes": ("what else belongs to the answer", ""),
    "key": ("short name of the question, or of the figure", ""),
    "question": ("the question in words", ""),
    "label": ("what is compared", ""),
    "against": ("with what it is compared", ""),
    "verdict": ("exceeds, differs, slight, equivalent or undecided", ""),
    "asks": ("what a question about a curve asks; blank for a comparison or a term", ""),
    "margin": ("difference too small to matter, on the scale of the estimate", ""),
    "scale": ("linear: differences; log: natural logarithms of ratios", ""),
    "sentence": ("the answer in words", ""),
    "declared": ("whether question and margin are as they were when the plan was made", ""),
    "change": ("why the finding is exploratory; blank if declared or published", ""),
}

_ENDINGS: Final[Mapping[str, str]] = {
    "_planned": "as planned: ",
    "_analysed": "level that stands for it in the analysis: ",
    "_order": "place in the test order of ",
}


class _Factor(Protocol):
    @property
    def column(self) -> str: ...
    @property
    def title(self) -> str: ...
    @property
    def unit(self) -> str: ...


class _Response(Protocol):
    @property
    def name(self) -> str: ...
    @property
    def quantity(self) -> str: ...
    @property
    def unit(self) -> str: ...


class _Study(Protocol):
    """The part of a study that names its own columns."""

    @property
    def factors(self) -> Sequence[_Factor]: ...
    @property
    def responses(self) -> Sequence[_Response]: ...


def meaning(column: str, study: _Study | None = None) -> tuple[str, str]:
    """What a column of any of our tables means, and its unit.

    Parameters
    ----------
    column : str
    study : Study, optional
        Its factors and responses are columns too.

    Returns
    -------
    meaning, unit : str
        Both empty for a column that is not ours.

    >>> meaning("hardness_hrc_order")
    ('place in the test order of Rockwell hardness, scale C', '')
    >>> meaning("austenitize_c_planned")
    ('as planned: austenitize temperature', 'degC')
    """
    if column in GLOSSARY:
        return GLOSSARY[column]
    for factor in study.factors if study is not None else ():
        if factor.column == column:
            return f"level of {factor.title}", factor.unit
    for response in study.responses if study is not None else ():
        if response.name == column:
            return response.quantity, response.unit
    for ending, words in _ENDINGS.items():
        if column.endswith(ending):
            inner, unit = meaning(column.removesuffix(ending), study)
            if inner:
                return words + inner, "" if ending == "_order" else unit
    return "", ""
