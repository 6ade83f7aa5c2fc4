"""A library of own studies, read as one table: noise for planning, lots over the years.

A folder of study folders becomes one tidy table. What was read is kept as Parquet beside the
studies, under a digest of what each folder holds, so that the next reading takes seconds.
"""

from __future__ import annotations

from quenchbook.own_studies.entries import StudyEntry, UnreadStudy
from quenchbook.own_studies.noise import StudyNoise
from quenchbook.own_studies.overview import LibraryOverview, library_overview
from quenchbook.own_studies.reading import read_studies
from quenchbook.own_studies.studies import OwnStudies

__all__ = [
    "LibraryOverview",
    "OwnStudies",
    "StudyEntry",
    "StudyNoise",
    "UnreadStudy",
    "library_overview",
    "read_studies",
]
