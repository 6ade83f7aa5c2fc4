"""Compare the papers of an archive of open data with those that the same study gives again."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from quenchbook.report.archive import STUDY_FOLDER, given_files, papers_of
from quenchbook.report.archive_comparison import Compared, Difference
from quenchbook.report.public_copies import left_out_of

if TYPE_CHECKING:
    from quenchbook.findings.answers import Analysis
    from quenchbook.report.data_tables import DataTable

_MOST_LINES: Final = 5  # of a paper that are told: one line more moves all that follow


def compared_papers(
    folder: Path, files: Sequence[str], analysis: Analysis, tables: Mapping[str, DataTable]
) -> tuple[Compared, list[str]]:
    """README, citation, licence and descriptor of an archive, which the same version writes alike.

    Parameters
    ----------
    folder : Path
        The unpacked archive.
    files : sequence of str
        Paths in it.
    analysis : Analysis
        Recomputed.
    tables : mapping of name to DataTable
        Recomputed.

    Returns
    -------
    compared : Compared
    names : list of str
        Papers that were compared.
    """
    study_folder = folder / STUDY_FOLDER
    # numbers may differ by rounding, and so checksums: those of the descriptor are of these files
    contents = {
        path: (folder / path).read_bytes() if path in files else b""
        for path in (f"data/{name}.csv" for name in tables)
    }
    left_out = left_out_of((study_folder / "study.toml").read_bytes())
    papers = papers_of(analysis, tables, left_out, given_files(study_folder), contents)
    found = []
    for name, text in papers.items():
        path = folder / name
        if not path.is_file():
            found.append(Difference(name, "", "", "no such file", "a file"))
            continue
        theirs = path.read_bytes().decode("utf-8", errors="replace").split("\n")
        ours = text.split("\n")
        found += [
            Difference(name, str(number), "line", there, here)
            for number, (there, here) in enumerate(
                itertools.zip_longest(theirs, ours, fillvalue=""), start=1
            )
            if there != here
        ][:_MOST_LINES]
    return Compared(differences=tuple(found)), list(papers)
