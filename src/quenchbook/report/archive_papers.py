"""The papers of an archive of open data: README, citation, versions; for people who have only it.

Every text of data or author is written for its target: escaped in Markdown, quoted in YAML.
"""

from __future__ import annotations

import platform
import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final

from quenchbook.report.characters import shown
from quenchbook.report.data_package import iso_date, sources
from quenchbook.report.data_tables import empty_tables
from quenchbook.report.licences import licence_of
from quenchbook.report.made_with import MISSING, versions_used
from quenchbook.units import listed

if TYPE_CHECKING:
    from quenchbook.findings.answers import Analysis
    from quenchbook.report.data_tables import DataTable
    from quenchbook.study.definition import Study

_MARKS: Final = re.compile(r"([\\`*_{}\[\]<>#|&~$!])")
_LINE_MARK: Final = re.compile(r"^([-+=:]|\d+(?=[.)]))")
_CAUTION: Final = (
    "Hot furnaces, quench oil, liquid nitrogen, dry ice and alcohol can kill. Whoever repeats the "
    "study reads the cautions of its report first; local codes and licensed practice come first."
)


def markdown_text(text: str) -> str:
    r"""Text on one line that Markdown shows as it is.

    >>> markdown_text("<b>A2</b> *new*")
    '\\<b\\>A2\\</b\\> \\*new\\*'
    """
    line = " ".join(shown(text).split())
    return _LINE_MARK.sub(r"\\\1", _MARKS.sub(r"\\\1", line))


def readme(
    analysis: Analysis,
    tables: Mapping[str, DataTable],
    left_out: Sequence[str],
    *,
    has_kept_entries: bool,
    workbooks: Sequence[str] = (),
) -> str:
    """Text of ``README.md``: what lies here, how to read it, how to check it.

    Parameters
    ----------
    analysis : Analysis
    tables : mapping of name to DataTable
    left_out : sequence of str
        What is not in the copy of the study file.
    has_kept_entries : bool
        Whether the records were accepted, so that ``study/records/kept`` is there.
    workbooks : sequence of str
        Records that are workbooks, by their paths in the archive.
    """
    study, matrix = analysis.study, analysis.records.matrix
    from quenchbook import __version__

    rows = "\n".join(
        f"| `data/{name}.csv` | {len(table.frame)} | {table.title} |"
        for name, table in tables.items()
    )
    absent = empty_tables(dict(tables))
    none = (
        f"\nNothing to tell, so no table: {'; '.join(title.lower() for title in absent)}.\n"
        if absent
        else ""
    )
    kept = (
        "- `study/records/kept/`: what was accepted of the records, each entry sealed by the next, "
        "with the reason of each later change\n"
        if has_kept_entries
        else ""
    )
    evidence = (
        "- `study/evidence.csv`: published comparisons as they were typed\n"
        if "evidence" in tables
        else ""
    )
    less = (
        f" Not in this copy: {', '.join(left_out)}; neither plan nor analysis depends on it."
        if left_out
        else " A true copy."
    )
    books = (
        f"- {listed([f'`{path}`' for path in workbooks])}: workbooks, byte for byte, so with "
        "whatever else they hold: names of authors, comments, hidden sheets\n"
        if workbooks
        else ""
    )
    from_where = "".join(f"- {markdown_text(own)}\n" for own in sources(study, tables))
    return f"""# {markdown_text(study.title)}

{_kind_words(study)}{markdown_text(study.question)}

These are the data behind the report of the study, `{study.key}.html`, which is published apart.

{markdown_text(study.author)}{f", {study.date}" if study.date else ""}. Plan {matrix.short_hash}.

## What lies here

| table | rows | what a row is |
|---|---|---|
{rows}
{none}
- `datapackage.json`: the same tables for programs (Data Package 2.0): types, units, keys
- `exact/`: the same rows as JSON Lines, without the guard described below
- `study/study.toml`: the study as it was declared.{less}
- `study/plan/`: the coupon matrix with its hash, and what was declared with it
- `study/records/`: the files of readings as they were given
{books}{kept}{evidence}- `study/notebooks/05_report.ipynb`: the notebook of the report, without
  outputs and without cells that the report leaves out
- `environment.txt`: versions that made these tables; pip takes it as a constraints file
- `CITATION.cff`, `LICENSE.txt`, `SHA256SUMS`

## How to read the tables

UTF-8, commas between cells, decimal points. A blank cell: not there, or no meaning (a delay
without a cold step); it is never zero. `INF`: no limit inside the range that was tried. Numbers
have all their digits; units stand in `data/dictionary.csv`, or in a column `unit`. Of a `log`
scale, numbers are natural logarithms of ratios.

`furnace_load`, `cold_batch`, `temper_batch`, `bar` say which coupons shared a load, a cold bath, a
temper, a bar: they are not independent of each other. In `coupons_as_run` a column of a factor
holds what was really run, `_planned` beside it what was planned, `_analysed` the declared level
that stands for it in the analysis.

In columns that the dictionary calls guarded, an apostrophe stands before a character that a
spreadsheet would take for the beginning of a formula. Take it off, or read `exact/`. A spreadsheet
also turns `1-2` into a date: import the columns as text.

## How to get one number

{_models(analysis)}
A comparison of two levels in `data/findings.csv` is the difference of two means, each over an even
mix of the levels of the other factors: `estimate`, its `std_error`, and its `df` of the unit that
the noise is judged on. The limits are `estimate` plus and minus `std_error` times the quantile of
Student's t with `df`. By hand: mean of the readings with `analysed` true of each coupon in
`data/readings.csv`, beside the levels of that coupon in `data/coupons_as_run.csv`; where every
combination occurs equally often, the difference of plain means is the estimate. With quenchbook,
in this folder:

    import quenchbook as qb
    print(qb.analyse(qb.read_folder("study")[2]).summary())

## How to check it

    sha256sum -c SHA256SUMS
    quenchbook verify {study.key}_data.zip

The second reads study, plan and records, analyses them again and compares every number of every
table, every sentence of the findings, and with the same version the papers word for word; it
names the files that it takes as given. Made with quenchbook {__version__}. Checksums show damage,
not who made the archive: compare the plan hash with the one that was published,
`{matrix.plan_hash}`.
{f"{chr(10)}## Sources{chr(10)}{chr(10)}{from_where}" if from_where else ""}
## Licence

{markdown_text(study.licence)}; see `LICENSE.txt`. How to cite it: `CITATION.cff`.

{_CAUTION}
"""


def _models(analysis: Analysis) -> str:
    """Fixed part and random units of the model of each response, one line each."""
    lines = []
    for name, model in analysis.models.items():
        curves = [
            f"{own.column} as a {'straight line' if own.degree == 1 else 'quadratic curve'}"
            for own in model.data.terms.variables
            if own.degree
        ]
        value = f"log({name})" if model.scale == "log" else name
        units = " + ".join((*model.data.units, "coupon"))
        lines.append(
            f"- `{value} ~ {' + '.join(model.data.terms.names) or '1'}`, random units `{units}`"
            f"{'; ' + listed(curves) if curves else ''}\n"
        )
    return "Means of coupons are analysed, by these models:\n\n" + "".join(lines)


def _kind_words(study: Study) -> str:
    if study.invented:
        return "**Invented demonstration: nothing here happened, the readings were simulated.**\n\n"
    if study.published:
        return "A published experiment, analysed again; the sources are named below.\n\n"
    return ""


def citation(study: Study) -> str:
    """Text of ``CITATION.cff``, version 1.2.0.

    The author is one name of the study file, so it is written as an entity: nothing tells which
    part of it is a family name.

    References
    ----------
    Druskat et al., Citation File Format 1.2.0 (2021), doi 10.5281/zenodo.5171937 (from memory).
    """
    invented = " (invented demonstration)" if study.invented else ""
    lines = [
        "cff-version: 1.2.0",
        'message: "If you use these data, please cite them as below."',
        "type: dataset",
        f"title: {yaml_text(study.title + invented)}",
        f"abstract: {yaml_text(study.question)}",
        f"authors:\n  - name: {yaml_text(study.author)}",
    ]
    if iso_date(study.date):
        lines.append(f'date-released: "{study.date}"')
    if known := licence_of(study.licence):
        lines.append(f"license: {known.key}")
    words = ["heat treatment", "steel", *(own.quantity for own in study.responses)]
    lines += ["keywords:", *(f"  - {yaml_text(word)}" for word in dict.fromkeys(words))]
    return "\n".join(lines) + "\n"


def yaml_text(text: str) -> str:
    r"""Text as a double-quoted scalar of YAML 1.2.

    >>> yaml_text('Bars: "new"\n')
    '"Bars: \\"new\\"\\n"'
    """
    return '"' + "".join(_yaml_character(c) for c in text) + '"'


def _yaml_character(c: str) -> str:
    if c in '"\\':
        return f"\\{c}"
    if c == "\n":
        return "\\n"
    if c.isprintable():
        return c
    code = ord(c)
    return (
        f"\\x{code:02x}"
        if code < 0x100
        else f"\\u{code:04x}"
        if code < 0x10000
        else (f"\\U{code:08x}")
    )


def environment() -> str:
    """Text of ``environment.txt``: Python as a comment, then ``name==version`` lines."""
    lines = [
        f"# Python {platform.python_version()}",
        *(f"{name}=={version}" for name, version in versions().items()),
    ]
    return "\n".join(lines) + "\n"


def versions() -> dict[str, str]:
    """Versions of quenchbook and of the packages that are installed, without Python."""
    used = versions_used()
    return {name: own for name, own in used.items() if name != "Python" and own != MISSING}


def versions_in(text: str) -> dict[str, str]:
    """Versions that an ``environment.txt`` tells, Python among them."""
    python = re.search(r"^# Python (\S+)$", text, re.MULTILINE)
    pins = re.findall(r"^([A-Za-z0-9._-]+)==(\S+)$", text, re.MULTILINE)
    return {**({"Python": python[1]} if python else {}), **dict(pins)}
