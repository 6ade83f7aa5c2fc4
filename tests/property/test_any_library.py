"""Whatever is done to a library, what was kept of it is never what it no longer is."""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.many_studies import write_studies

import quenchbook as qb
from quenchbook.errors import StudyError

EDITS = st.lists(
    st.tuples(
        st.sampled_from(
            ("digit", "row", "lot", "remove", "copy", "break", "touch", "nothing", "tear")
        ),
        st.integers(0, 2),
        st.integers(0, 9),
    ),
    min_size=1,
    max_size=3,
)


@pytest.fixture(scope="module")
def master(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("any_library")
    write_studies(place, 3, loads=4, per_load=2)
    return place


def edited(library: Path, edit: tuple[str, int, int]) -> None:
    """Change one study; the times of its files stay."""
    what, number, digit = edit
    place = library / f"study_{number:04d}"
    if what == "tear":
        for path in library.glob(".quenchbook/*"):
            path.write_bytes(path.read_bytes()[: 100 * digit])
        return
    if not place.exists():
        return
    record, study = place / "records" / "hardness.csv", place / "study.toml"
    path = study if what == "lot" else record
    about, text = path.stat(), path.read_text(encoding="utf-8")
    if what == "digit":
        path.write_text(text[:-2] + f"{digit}\n", encoding="utf-8")
    elif what == "row":
        path.write_text("\n".join(text.splitlines()[:-1]) + "\n", encoding="utf-8")
    elif what == "lot":
        path.write_text(text.replace('heat_lot = "L', f'heat_lot = "L{digit}'), encoding="utf-8")
    elif what == "break":
        path.write_text(text + "NOPE,60,60\n", encoding="utf-8")
    elif what == "remove":
        shutil.rmtree(place)
        return
    elif what == "copy":
        shutil.copytree(place, library / f"copy_{number}_{digit}", dirs_exist_ok=True)
    elif what == "touch":
        path.touch()
        return
    os.utime(path, ns=(about.st_atime_ns, about.st_mtime_ns))


def read(library: Path, *, cache: bool) -> tuple[pd.DataFrame | None, list[str]]:
    try:
        own = qb.read_studies(library, cache=cache)
    except StudyError as error:
        return None, [str(error)]
    return own.table, [f"{one.folder.name} {one.reason}" for one in own.unread]


@settings(max_examples=6, deadline=None)
@given(steps=EDITS)
def test_kept_and_fresh_are_the_same_after_any_edits(
    master: Path, steps: list[tuple[str, int, int]]
) -> None:
    with tempfile.TemporaryDirectory() as name:
        library = Path(shutil.copytree(master, Path(name) / "library"))
        read(library, cache=True)
        for step in steps:
            edited(library, step)
            kept, fresh = read(library, cache=True), read(library, cache=False)
            assert kept[1] == fresh[1]
            assert (kept[0] is None) == (fresh[0] is None)
            if kept[0] is not None and fresh[0] is not None:
                pd.testing.assert_frame_equal(kept[0], fresh[0], check_exact=True)
