"""The published sources, and which method rests on which of them: data only."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

Kind = Literal["article", "book", "standard", "report", "software"]

_BIBTEX: Final[Mapping[str, str]] = {"article": "article", "book": "book", "software": "software"}
_ASA: Final = "Journal of the American Statistical Association"
_SOFT: Final = "Journal of Statistical Software"
_COMPUTING: Final = "Journal of Statistical Computation and Simulation"
_GENES: Final = "Statistical Applications in Genetics and Molecular Biology"
_PLACE: Final = re.compile(
    r"(?P<journal>.+?) (?P<volume>\d+)(?:\((?P<number>\d+)\))?(?::(?P<pages>[\d-]+))?"
)
_SIGNS: Final = re.compile(r"([&%#_$])")  # which TeX takes for commands


@dataclass(frozen=True)
class Source:
    """One published source.

    Attributes
    ----------
    key : str
        Of a BibTeX entry.
    authors, year : str
        Year empty where none is told.
    where : str
        ``Biometrics Bulletin 2:110``: journal, volume and page, or the place in a standard.
    title : str
        Empty where it was not told.
    from_memory : bool
        Whether neither the work nor a text that quotes it was ever looked at.
    note : str
        What is to be known about it.
    kind : str
    """

    key: str
    authors: str
    year: str
    where: str = ""
    title: str = ""
    from_memory: bool = False
    note: str = ""
    kind: Kind = "article"

    def text(self) -> str:
        """The source as a sentence."""
        head = f"{self.authors} ({self.year})" if self.year else self.authors
        memory = " (from memory)" if self.from_memory else ""
        parts = [head, self.title, self.where]
        note = f" {self.note}." if self.note else ""
        return f"{', '.join(part for part in parts if part)}{memory}.{note}"

    def bibtex(self) -> str:
        """The source as an entry of a BibTeX file; what is not told is left out."""
        place = _PLACE.fullmatch(self.where) if self.kind == "article" else None
        notes = ["quoted from memory"] if self.from_memory else []
        notes += [self.note] if self.note else []
        if place is None and self.where:
            notes.insert(0, self.where)
        fields = {
            "author": _name_list(self.authors) if place else f"{{{self.authors}}}",
            "title": self.title,
            "year": self.year,
            **({name: own or "" for name, own in place.groupdict().items()} if place else {}),
            "note": "; ".join(notes),
        }
        if fields.get("pages"):
            fields["pages"] = fields["pages"].replace("-", "--")
        escaped = {name: _SIGNS.sub(r"\\\1", value) for name, value in fields.items()}
        told = [f"  {name} = {{{value}}}" for name, value in escaped.items() if value]
        return f"@{_BIBTEX.get(self.kind, 'misc')}{{{self.key},\n" + ",\n".join(told) + "\n}"


def _name_list(authors: str) -> str:
    """Names as BibTeX wants them: ``and`` between them, a family name of several words in braces.

    >>> _name_list("Capdevila, Caballero and Garcia de Andres"), _name_list("Yurioka et al.")
    ('Capdevila and Caballero and {Garcia de Andres}', 'Yurioka and others')
    """
    names = authors.replace(" et al.", " and others").replace(", ", " and ").split(" and ")
    whole = (f"{{{own}}}" if " " in own and own[0].isupper() else own for own in names)
    return " and ".join(whole)


def _source(key: str, authors: str, year: str, where: str, **other: str) -> Source:
    """A source that was looked at: the work itself, or a public text that quotes it.

    Of most older articles only later texts that print their formula or list them were seen; the
    note says so where nothing else was to be had.
    """
    return Source(key, authors, year, where, **other)  # type: ignore[arg-type]


def _memory(key: str, authors: str, year: str, where: str = "", **other: str) -> Source:
    """A source that is quoted from memory."""
    return Source(key, authors, year, where, from_memory=True, **other)  # type: ignore[arg-type]


_ALL: Final = (
    # tests, degrees of freedom, strata
    _memory("satterthwaite1946", "Satterthwaite", "1946", "Biometrics Bulletin 2:110"),
    _memory("yates1934", "Yates", "1934", f"{_ASA} 29:51", note="Unweighted means"),
    _memory("box1954", "Box", "1954", "Annals of Mathematical Statistics 25:290"),
    _memory("kenward1997", "Kenward and Roger", "1997", "Biometrics 53:983"),
    _memory("halekoh2014", "Halekoh and Hojsgaard", "2014", f"{_SOFT} 59(9)"),
    _memory("fai1996", "Fai and Cornelius", "1996", f"{_COMPUTING} 54:363"),
    _memory("kuznetsova2017", "Kuznetsova, Brockhoff and Christensen", "2017", f"{_SOFT} 82(13)"),
    _memory("harville1977", "Harville", "1977", f"{_ASA} 72:320"),
    _memory("gilmour1995", "Gilmour, Thompson and Cullis", "1995", "Biometrics 51:1440"),
    _memory("wald1940", "Wald", "1940", "Annals of Mathematical Statistics 11:96"),
    _memory("berger1994", "Berger and Boos", "1994", f"{_ASA} 89:1012"),
    _memory("phipson2010", "Phipson and Smyth", "2010", f"{_GENES} 9:39"),
    _memory("burdick1992", "Burdick and Graybill", "1992", kind="book",
            title="Confidence Intervals on Variance Components"),
    # comparisons
    _memory("tukey1953", "Tukey", "1953", kind="report", note="All pairs of means"),
    _memory("kramer1956", "Kramer", "1956", kind="report", note="All pairs, unequal numbers"),
    _memory("dunnett1955", "Dunnett", "1955", f"{_ASA} 50:1096"),
    _memory("holm1979", "Holm", "1979", "Scandinavian Journal of Statistics 6:65"),
    _memory("grubbs1950", "Grubbs", "1950", "Annals of Mathematical Statistics 21:27"),
    _memory("brown1974", "Brown and Forsythe", "1974", f"{_ASA} 69:364"),
    _memory("mee1983", "Mee and Owen", "1983", f"{_ASA} 78:901"),
    _memory("mee1984", "Mee", "1984", "Technometrics 26:251"),
    _memory("howe1974", "Howe", "1974", f"{_ASA} 69:789"),
    _memory("schuirmann1987", "Schuirmann", "1987",
            "Journal of Pharmacokinetics and Biopharmaceutics 15:657",
            note="Two one-sided tests of equivalence"),
    # curves
    _memory("fieller1954", "Fieller", "1954", "Journal of the Royal Statistical Society B 16:175"),
    _memory("topkis1978", "Topkis", "1978", "Operations Research 26:305"),
    _memory("guggenberger2012", "Guggenberger et al.", "2012", "Econometrica 80:2649"),
    _source("branch1999", "Branch, Coleman and Li", "1999", "SIAM J. Sci. Comput. 21:1"),
    # published studies together
    _source("viechtbauer2005", "Viechtbauer", "2005",
            "J. Educational and Behavioral Statistics 30:261-293"),
    _source("hartung2001", "Hartung and Knapp", "2001", "Statistics in Medicine 20:3875-3889"),
    _source("nagashima2019", "Nagashima, Noma and Furukawa", "2019",
            "Statistical Methods in Medical Research 28:1689-1702"),
    # plans
    _memory("morgan2012", "Morgan and Rubin", "2012", "Annals of Statistics 40:1263",
            title="Rerandomization to improve covariate balance in experiments"),
    _memory("bose1939", "Bose", "1939", "Annals of Eugenics 9:353",
            title="On the construction of balanced incomplete block designs"),
    _source("meyer1995", "Meyer and Nachtsheim", "1995", "Technometrics 37:60",
            title="The coordinate-exchange algorithm for constructing exact optimal experimental "
            "designs"),
    _source("goos2003", "Goos and Vandebroek", "2003", "Technometrics 45:235"),
    _memory("cochran1977", "Cochran", "1977", kind="book", title="Sampling Techniques"),
    _memory("gilmore1961", "Gilmore and Gomory", "1961", "Operations Research 9:849",
            title="A linear programming approach to the cutting-stock problem"),
    # steel
    _source("hollomon1945", "Hollomon and Jaffe", "1945", "Trans. AIME 162:223"),
    _source("koistinen1959", "Koistinen and Marburger", "1959", "Acta Metall. 7:59"),
    _source("vanbohemen2012", "van Bohemen", "2012", "Mater. Sci. Technol. 28:487"),
    _source("barbier2014", "Barbier", "2014", "Adv. Eng. Mater. 16:122",
            note="Terms of V, Co, Cu, Nb are left out"),
    _memory("andrews1965", "Andrews", "1965", "J. Iron Steel Inst. 203:721"),
    _source("steven1956", "Steven and Haynes", "1956", "J. Iron Steel Inst. 183:349"),
    _source("payson1944", "Payson and Savage", "1944", "Trans. ASM 33:261"),
    # place: the references of a later paper, as globalauthorid.com lists them; Grange and Stewart
    # stand there in the same volume (467-490)
    _source("nehrenberg1946", "Nehrenberg", "1946", "Trans. AIME 167:494-498",
            note="Known from the reference list of a later paper and two copies of the formula"),
    _source("capdevila2002", "Capdevila, Caballero and Garcia de Andres", "2002",
            "ISIJ Int. 42:894"),
    _source("ingber2022", "Ingber and Kunert", "2022", "steel research int. 93:2100576"),
    _memory("yurioka1987", "Yurioka et al.", "1987", note="Not confirmed; below 0.8 % C"),
    _source("astm_a255", "ASTM A255", "", "", kind="standard", note="One public copy"),
    _source("astm_e140", "ASTM E140", "", "Table 1", kind="standard"),
    _source("astm_e18", "ASTM E18-19", "", "Table A1.3, X2.8, X2.11", kind="standard"),
    _memory("iso_6508", "ISO 6508-2", "", kind="standard"),
    _memory("astm_e23", "ASTM E23, ISO 148-1", "", kind="standard"),
    _source("nist_960_5", "NIST SP 960-5", "", "3.4.1", kind="report"),
    _memory("austenite_volume", "Handbook", "", kind="report",
            note="Volume of austenite to martensite +(4.64 - 0.53 C) %"),
    _source("oxford_s4_03", "University of Oxford, safety policy S4/03", "", "appendix 1",
            kind="report"),
    _source("nottingham_spill", "University of Nottingham", "",
            "form for work with liquid nitrogen (spill formula)", kind="report"),
)  # fmt: skip

SOURCES: Final[Mapping[str, Source]] = {own.key: own for own in _ALL}

_STRATUM: Final = ("yates1934", "satterthwaite1946", "box1954")
_MEANS: Final = _STRATUM
_PAIRS: Final = ("tukey1953", "kramer1956", "dunnett1955", "holm1979")
_MARTENSITE: Final = (
    "vanbohemen2012", "barbier2014", "andrews1965", "steven1956", "payson1944", "nehrenberg1946",
    "capdevila2002", "ingber2022",
)  # fmt: skip
_POOLED: Final = ("burdick1992", "satterthwaite1946", "harville1977", "gilmour1995")
_VERDICT: Final = (*_STRATUM, "schuirmann1987")
_SHIFT: Final = ("fieller1954", "topkis1978", "guggenberger2012")
_TOUGHNESS: Final = ("satterthwaite1946", "howe1974")
_TOGETHER: Final = ("viechtbauer2005", "hartung2001", "nagashima2019")
_TARGET: Final = ("mee1983", "mee1984")
_PLANS: Final = ("morgan2012", "bose1939", "meyer1995", "goos2003")
_GUARANTEED: Final = ("wald1940", "berger1994", "phipson2010")
_TESTERS: Final = ("astm_e18", "iso_6508", "astm_e23", "nist_960_5")
_LOSSES: Final = ("koistinen1959", "austenite_volume")
_STEEL: Final = ("vanbohemen2012", "koistinen1959", "yurioka1987", "astm_e140")

METHODS: Final[Mapping[str, tuple[str, ...]]] = {
    # functions, then the results that they return
    "mixed_model": _STRATUM, "MixedModel": _STRATUM, "without": _STRATUM,
    # what a fitted model used for its tests, see MixedModel.methods_used
    "stratum": _STRATUM,
    "kenward_roger": ("kenward1997", "halekoh2014", "fai1996"),
    "satterthwaite": ("satterthwaite1946", "fai1996", "kuznetsova2017"),
    "reml": ("harville1977", "gilmour1995"),
    "exact": ("wald1940", "berger1994"),
    "permute": ("phipson2010",),
    "marginal_means": _MEANS, "MarginalMeans": _MEANS, "slopes": _MEANS,
    "pairs": _PAIRS, "against": _PAIRS, "free_list": _PAIRS, "Comparisons": _PAIRS,
    "temper_curve": _MEANS, "TemperCurve": _MEANS,
    "temper_set": ("fieller1954",), "TemperSet": ("fieller1954",),
    "tempered_steel": ("hollomon1945",), "TemperedSteel": ("hollomon1945",),
    "austenite_losses": _LOSSES, "AusteniteLosses": _LOSSES,
    "nonlinear_fit": ("branch1999",), "NonlinearFit": ("branch1999",),
    "noise_budget": ("burdick1992", "harville1977", "gilmour1995"),
    "NoiseBudget": ("burdick1992", "harville1977", "gilmour1995"),
    "measured_noise": ("harville1977", "gilmour1995"),
    "noise_of_studies": _POOLED, "StudyNoise": _POOLED,
    "library_overview": _POOLED, "LibraryOverview": _POOLED,
    "error_shares": ("satterthwaite1946",),
    "error_df_frame": ("satterthwaite1946",),
    "response_curves": _MEANS, "ResponseCurves": _MEANS,
    "furnace_order": ("harville1977",), "FurnaceOrder": ("harville1977",),
    "decade_change": _MEANS, "DecadeChange": _MEANS, "DelayLines": _MEANS,
    "half_loss_time": _MEANS, "HalfLoss": _MEANS,
    "diagnostics": ("grubbs1950", "brown1974"), "Diagnostics": ("grubbs1950", "brown1974"),
    "randomization_test": _GUARANTEED, "RandomizationTest": _GUARANTEED,
    "peak_place": ("fieller1954",), "PeakPlace": ("fieller1954",),
    "peak_height": ("fieller1954",), "PeakHeight": ("fieller1954",),
    "peak_shift": _SHIFT, "PeakShift": _SHIFT,
    "working_window": ("fieller1954",), "WorkingWindow": ("fieller1954",),
    "target_window": _TARGET, "TargetWindow": _TARGET,
    "equal_hardness_contrast": _TOUGHNESS, "EqualHardness": _TOUGHNESS,
    "equal_hardness_outlook": _TOUGHNESS, "EqualHardnessOutlook": _TOUGHNESS,
    "assumed_slopes": _TOUGHNESS,
    "unit_blind_tests": _STRATUM,
    "lot_means": ("satterthwaite1946",), "LotMeans": ("satterthwaite1946",),
    "syntheses": _TOGETHER, "Synthesis": _TOGETHER,
    "evidence_answers": _TOGETHER, "EvidenceAnswer": _TOGETHER,
    "finding": _VERDICT, "Finding": _VERDICT, "TermFinding": _STRATUM,
    "answer": _VERDICT, "analyse": _VERDICT, "Analysis": _VERDICT, "TradeFinding": _VERDICT,
    # what a plan can tell
    "question_outlooks": _VERDICT, "PlanOutlook": _VERDICT,
    "simulated_outlook": _VERDICT, "SimulatedOutlook": _VERDICT,
    "planning_sweep": _VERDICT, "PlanningSweep": _VERDICT,
    "units_needed": _VERDICT, "UnitsNeeded": _VERDICT,
    "next_needs": _VERDICT, "Undecided": _VERDICT,
    "certainty_costs": ("cochran1977", *_STRATUM), "CertaintyCosts": ("cochran1977", *_STRATUM),
    "peak_outlook": ("fieller1954",), "PeakOutlook": ("fieller1954",),
    "peak_costs": ("fieller1954",), "PeakCosts": ("fieller1954",),
    "delay_outlook": _MEANS, "DelayOutlook": _MEANS,
    "trade_outlook": ("fieller1954", *_STRATUM), "TradeOutlook": ("fieller1954", *_STRATUM),
    # plans
    "coupon_matrix": _PLANS, "CouponMatrix": _PLANS, "next_coupons": _PLANS, "draft_plan": _PLANS,
    "plan_preview": (*_PLANS, *_VERDICT), "PlanPreview": (*_PLANS, *_VERDICT),
    "plan_quality": ("meyer1995", "goos2003"), "PlanQuality": ("meyer1995", "goos2003"),
    "IncompleteBlocks": ("bose1939",),
    "cut_list": ("gilmore1961",), "CutList": ("gilmore1961",),
    # steel and testers
    "tempering_parameter": ("hollomon1945",), "equivalent_hours": ("hollomon1945",),
    "equivalent_temper_c": ("hollomon1945",), "added_tempers": ("hollomon1945",),
    "martensite_start": _MARTENSITE, "steel_martensite_start": _MARTENSITE,
    "quenched_hardness": ("yurioka1987", "astm_a255", "astm_e140"),
    "Expected": (*_MARTENSITE, "hollomon1945", "koistinen1959", "yurioka1987", "astm_a255"),
    "ConvertedHardness": ("astm_e140",),
    "steel_prior": _STEEL, "SteelPrior": _STEEL,
    "checks_of_testers": _TESTERS, "TesterChecks": _TESTERS,
    "length_changes": ("austenite_volume",), "LengthChanges": ("austenite_volume",),
    "consumables": ("oxford_s4_03", "nottingham_spill"),
    "Consumables": ("oxford_s4_03", "nottingham_spill"),
}  # fmt: skip
"""Sources of each public function and each result, as keys of `SOURCES`."""

ARITHMETIC: Final[Mapping[str, str]] = {
    "alias_list": "products of the columns of a fraction", "Fraction": "the same",
    "plan_cost": "sums of amounts times prices", "PlanCost": "the same",
    "published_matrix": "a table that was published, as it is",
    "read_plan": "reading", "read_study": "reading", "Study": "reading",
    "read_records": "reading", "Records": "reading and counting",
    "record_mistakes": "comparing with what is allowed", "Mistakes": "the same",
    "record_changes": "comparing two versions", "RecordChanges": "the same",
    "accept_records": "comparing two versions", "kept_entries": "reading", "KeptEntries": "reading",
    "read_folder": "reading", "read_studies": "reading", "OwnStudies": "reading and counting",
    "read_evidence": "reading", "EvidenceTable": "reading and counting",
    "bench_timetable": "adding times; a search that follows no publication",
    "Timetable": "the same", "timetable_breaches": "comparing times",
    "curve_factors": "reading the study", "treatments": "listing combinations",
    "load_influence": "the fit without each load", "verdicts_without": "the same",
    "VerdictsWithout": "the same", "cautions": "a table of rules with their source",
    "possible_austenites": "a table that comes with its source",
    "database_austenite": "a database file of one's own", "Austenite": "a table with its source",
    "run_many": "your own function, done again", "RepeatedWork": "counting",
    "study_progress": "looking at files", "StudyProgress": "looking at files",
    "study_edits": "a file and its changes", "StudyEdits": "a file and its changes",
    "plan_form": "a form for `study_edits` and `plan_preview`",
    "entry_form": "a form for `entry_book`",
    "entry_book": "writing and counting", "EntryBook": "writing and counting",
    "shown_table": "a table as it is, rounded", "cite": "names the sources of others",
    "plot": "draws what another function found",
    "EntryForms": "writing", "Verification": "comparing numbers", "meaning": "the glossary",
}  # fmt: skip
"""Public functions and results without a published source, and what they are instead."""
