from __future__ import annotations

import json
import os
import shutil
import stat
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from tests.many_studies import write_studies

import quenchbook as qb
from quenchbook.errors import RecordError, RepeatedWorkError, StudyError
from quenchbook.made_by import PACKAGES, MadeBy, made_by
from quenchbook.own_studies import contents
from quenchbook.own_studies.contents import content_digest
from quenchbook.own_studies.kept_tables import FOLDER, NOISE_FILE, STUDIES_FILE, KeptTables
from quenchbook.own_studies.workers import results_of
from quenchbook.records.reading import Records
from quenchbook.study_folder import read_folder


@pytest.fixture(scope="module")
def master(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("master")
    write_studies(place, 3, loads=4, per_load=4)
    return place


@pytest.fixture
def library(master: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(master, tmp_path / "library"))


def records_file(library: Path) -> Path:
    return library / "study_0001" / "records" / "hardness.csv"


def test_what_was_kept_is_what_would_be_read(library: Path) -> None:
    fresh = qb.read_studies(library)
    kept = qb.read_studies(library)
    assert (fresh.newly_read, kept.newly_read) == (3, 0)
    pd.testing.assert_frame_equal(kept.table, fresh.table, check_exact=True)
    assert kept.entries == fresh.entries
    anew = qb.read_studies(library, cache=False)
    pd.testing.assert_frame_equal(anew.table, fresh.table, check_exact=True)


def test_a_changed_record_of_the_same_size_and_time_is_read_anew(library: Path) -> None:
    before = qb.read_studies(library).table["value"]
    path = records_file(library)
    about, text = path.stat(), path.read_text(encoding="utf-8")
    last = text.rstrip("\n")
    digit = "7" if last[-1] != "7" else "3"
    path.write_text(last[:-1] + digit + "\n", encoding="utf-8")
    os.utime(path, ns=(about.st_atime_ns, about.st_mtime_ns))
    assert (path.stat().st_size, path.stat().st_mtime_ns) == (about.st_size, about.st_mtime_ns)
    after = qb.read_studies(library)
    assert after.newly_read == 1
    assert (after.table["value"] != before).sum() == 1


def test_a_study_that_broke_is_told_and_its_rows_are_gone(library: Path) -> None:
    qb.read_studies(library)
    path = records_file(library)
    text = path.read_text(encoding="utf-8")
    path.write_text(text + "NOPE,60.0,60.1\n", encoding="utf-8")
    broken = qb.read_studies(library)
    assert [own.folder.name for own in broken.unread] == ["study_0001"]
    assert "NOPE" in broken.unread[0].reason
    assert "study_0001" not in set(broken.table["study"])
    path.write_text(text, encoding="utf-8")
    assert "study_0001" in set(qb.read_studies(library).table["study"])


def test_a_study_that_was_taken_away_is_gone_and_one_that_came_is_there(library: Path) -> None:
    qb.read_studies(library)
    shutil.move(library / "study_0000", library.parent / "elsewhere")
    fewer = qb.read_studies(library)
    assert (set(fewer.table["study"]), fewer.newly_read) == ({"study_0001", "study_0002"}, 0)
    shutil.move(library.parent / "elsewhere", library / "study_0000")
    assert qb.read_studies(library).newly_read == 1


def test_the_name_of_a_folder_counts_where_a_study_has_no_key(library: Path) -> None:
    first = content_digest(library / "study_0000")
    (library / "study_0000").rename(library / "renamed")
    assert content_digest(library / "renamed") != first


@pytest.mark.parametrize("damage", ["torn", "empty", "foreign", "bits", "other reader", "folder"])
def test_a_file_that_is_none_of_ours_is_left_and_written_anew(library: Path, damage: str) -> None:
    fresh = qb.read_studies(library).table
    path = library / FOLDER / STUDIES_FILE
    data = path.read_bytes()
    if damage == "torn":
        path.write_bytes(data[: len(data) // 2])
    elif damage == "empty":
        path.write_bytes(b"")
    elif damage == "foreign":
        pq.write_table(pa.table({"folder": ["study_0000"], "value": [1.0]}), path)
    elif damage == "bits":
        path.write_bytes(data[:200] + bytes(255 - byte for byte in data[200:260]) + data[260:])
    elif damage == "other reader":
        table = pq.read_table(path)
        head = json.loads(table.schema.metadata[b"quenchbook"]) | {"reader": "another"}
        table = table.replace_schema_metadata({b"quenchbook": json.dumps(head).encode()})
        pq.write_table(table, path)
    else:
        path.unlink()
        path.mkdir()
    again = qb.read_studies(library)
    assert again.newly_read == 3
    pd.testing.assert_frame_equal(again.table, fresh, check_exact=True)
    if damage != "folder":  # what cannot be replaced stays; the studies are read all the same
        assert qb.read_studies(library).newly_read == 0


def _bomb(path: Path, kind: str) -> None:
    """Rewrite a kept file of ours, its head unchanged, so that little takes much memory."""
    table = pq.read_table(path)
    head = table.schema.metadata
    text = pa.array(["x" * 1_000_000] * 300, pa.string())
    name = "own" if kind == "another column" else "study"
    packed = "zstd" if kind == "packed texts" else "none"
    schema = pa.schema([(name, pa.string())], metadata=head)
    with pq.ParquetWriter(path, schema, compression=packed, write_page_checksum=True) as file:
        for _ in range(3):
            file.write_table(pa.table([text], schema=schema))


@pytest.mark.parametrize("kind", ["texts", "packed texts", "another column"])
def test_a_small_kept_file_that_would_take_the_memory_is_left(library: Path, kind: str) -> None:
    qb.read_studies(library)
    path = library / FOLDER / STUDIES_FILE
    _bomb(path, kind)
    assert path.stat().st_size < 4_000_000
    code = (
        "import resource, sys, quenchbook as qb; from pathlib import Path\n"
        "import pyarrow as pa; from quenchbook.own_studies.kept_tables import KeptTables\n"
        "assert KeptTables(Path(sys.argv[1])).studies() is None\n"
        "print(pa.default_memory_pool().max_memory())"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(path.parent)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) < 50_000_000  # 300 million letters in each part of the file


@pytest.mark.parametrize("change", ["type", "name", "twice"])
def test_a_kept_file_of_other_columns_is_left_before_it_is_read(
    library: Path, change: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    qb.read_studies(library)
    path = library / FOLDER / STUDIES_FILE
    table = pq.read_table(path)
    if change == "type":
        table = table.append_column("a:text", pa.array([["x"]] * len(table)))
    else:
        table = table.append_column("steel" if change == "twice" else "a", table["study"])
    pq.write_table(table, path, compression="none")

    def read(*_: object) -> None:
        raise AssertionError("not to be read")

    monkeypatch.setattr("quenchbook.own_studies.kept_tables._table_within_bounds", read)
    assert KeptTables(path.parent).studies() is None


def test_what_was_kept_takes_no_more_than_the_file(library: Path) -> None:
    qb.read_studies(library)
    about = pq.read_metadata(library / FOLDER / STUDIES_FILE).row_group(0)
    assert {about.column(n).compression for n in range(about.num_columns)} == {"UNCOMPRESSED"}


WITHOUT_PYARROW = """
import sys
sys.modules["pyarrow"] = None
import quenchbook as qb
from quenchbook.errors import EstimabilityError
library, target = sys.argv[1:]
kept = qb.read_studies(library)
kept.noise()
print(kept.newly_read, len(kept.table), kept.summary().count("pyarrow is not installed"))
again = qb.read_studies(library, cache=False)
print(again.newly_read, len(again.table), again.summary().count("pyarrow"))
again.write_table(target + ".csv")
try:
    again.write_table(target + ".parquet")
except EstimabilityError as error:
    print(error)
"""


def test_without_pyarrow_all_is_read_and_nothing_kept_and_said_once(
    library: Path, tmp_path: Path
) -> None:
    command = [sys.executable, "-c", WITHOUT_PYARROW, str(library), str(tmp_path / "table")]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    first, second, refused = done.stdout.splitlines()
    assert (first, second) == ("3 48 1", "3 48 0")
    assert 'pip install "quenchbook[library]"' in refused
    assert not (library / FOLDER).exists()
    fresh = qb.read_studies(library, cache=False).write_table(tmp_path / "with.csv")
    assert (tmp_path / "table.csv").read_bytes() == fresh.read_bytes()


def test_kept_files_that_claim_other_rows_than_their_entries_are_left(library: Path) -> None:
    qb.read_studies(library)
    path = library / FOLDER / STUDIES_FILE
    table = pq.read_table(path)
    pq.write_table(table.slice(3), path)
    assert qb.read_studies(library).newly_read == 3


def test_a_library_that_cannot_be_written_is_read_and_told_once(
    library: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("quenchbook.own_studies.kept_tables.write_bytes", refused)
    monkeypatch.setattr("quenchbook.own_studies.reading._WORTH_SAYING", -1.0)
    studies = qb.read_studies(library)
    assert len(studies.table) == 48
    assert studies.summary().count("cannot be written (Permission denied)") == 1
    assert "cache=PLACE" in studies.notes[0]


def test_the_table_is_kept_where_the_reader_says(library: Path, tmp_path: Path) -> None:
    place = tmp_path / "kept"
    with pytest.raises(StudyError, match="no such folder to keep"):
        qb.read_studies(library, cache=place)
    place.mkdir()
    assert qb.read_studies(library, cache=place).newly_read == 3
    assert qb.read_studies(library, cache=place).newly_read == 0
    assert not (library / FOLDER).exists()


def test_a_hidden_folder_that_is_a_link_is_not_followed(library: Path, tmp_path: Path) -> None:
    target = tmp_path / "target"
    target.mkdir()
    (library / FOLDER).symlink_to(target)
    assert len(qb.read_studies(library).table) == 48
    assert list(target.iterdir()) == []


def test_a_single_study_keeps_nothing_in_its_folder(library: Path) -> None:
    qb.read_studies(library / "study_0000")
    assert not (library / "study_0000" / FOLDER).exists()


def test_noise_is_fitted_once_and_kept(library: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fresh = qb.read_studies(library).noise()
    assert (library / FOLDER / NOISE_FILE).exists()

    def fitted(*_: object, **__: object) -> None:
        raise AssertionError("nothing is to be fitted")

    monkeypatch.setattr("quenchbook.fit.fitting.mixed_model", fitted)
    kept = qb.read_studies(library).noise()
    pd.testing.assert_frame_equal(kept.table, fresh.table, check_exact=True)
    assert kept["hardness_hrc"] == fresh["hardness_hrc"]


def test_records_that_changed_after_the_table_was_read_are_refused(library: Path) -> None:
    studies = qb.read_studies(library)
    path = records_file(library)
    path.write_text(path.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    with pytest.raises(RecordError, match="was changed after the library was read"):
        studies.records["study_0001"]


def test_two_processes_that_keep_at_once_leave_a_whole_file(library: Path) -> None:
    work = [library] * 6
    lengths = list(results_of(_rows_read, work, "readers", workers=2))
    assert lengths == [48] * 6
    assert qb.read_studies(library).newly_read == 0
    assert [path.name for path in (library / FOLDER).iterdir()] == [STUDIES_FILE]


def _rows_read(library: Path) -> int:
    (library / FOLDER / STUDIES_FILE).unlink(missing_ok=True)
    return len(qb.read_studies(library).table)


def test_several_processes_read_what_one_reads(library: Path) -> None:
    one = qb.read_studies(library, cache=False, workers=1)
    two = qb.read_studies(library, cache=False, workers=2)
    pd.testing.assert_frame_equal(one.table, two.table, check_exact=True)


def test_several_processes_find_the_noise_that_one_finds(library: Path) -> None:
    one = qb.read_studies(library, cache=False, workers=1).noise()
    two = qb.read_studies(library, cache=False, workers=2).noise()
    pd.testing.assert_frame_equal(one.table, two.table, check_exact=True)


def test_by_default_as_many_work_as_this_process_may_use(
    library: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Which can be fewer than the machine has: a container, a queue, a mask of processors."""
    asked: list[int] = []

    def own(work: object, calls: object, backend: str, count: int, **_: object) -> object:
        asked.append(count)
        return iter(())

    monkeypatch.setattr("quenchbook.work_backends.own_workers", lambda: 3)
    monkeypatch.setattr("quenchbook.work_backends.pool_results", own)
    assert list(results_of(str, range(100), "items")) == []
    assert asked == [3]


def test_each_process_works_with_one_thread_of_linear_algebra() -> None:
    for workers in (1, 2):
        assert set(results_of(_threads, [0, 1, 2], "items", workers)) == {1}


def _threads(_: int) -> int:
    from threadpoolctl import threadpool_info

    return max(own["num_threads"] for own in threadpool_info() if own["user_api"] == "blas")


def test_a_process_that_is_lost_is_told_in_words() -> None:
    with pytest.raises(RepeatedWorkError, match="that worked on the items was lost"):
        list(results_of(os._exit, [1, 1], "items", workers=2))


def test_a_pipe_among_the_records_is_not_waited_for(library: Path) -> None:
    path = library / "study_0002" / "records" / "pipe.csv"
    os.mkfifo(path)
    assert stat.S_ISFIFO(path.stat().st_mode)
    assert len(qb.read_studies(library).table) == 48


def test_noise_of_records_that_were_changed_is_not_kept_for_good(library: Path) -> None:
    qb.read_studies(library).noise()
    path = library / FOLDER / NOISE_FILE
    before = set(pq.read_table(path)["digest"].to_pylist())
    assert len(before) == 3
    record = records_file(library)
    record.write_text(record.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    qb.read_studies(library).noise()
    after = set(pq.read_table(path)["digest"].to_pylist())
    assert (len(after), len(after & before)) == (3, 2)


def test_a_filter_forgets_no_noise_of_the_other_studies(library: Path) -> None:
    studies = qb.read_studies(library)
    studies.where(study="study_0000").noise()
    studies.where(study="study_0001").noise()
    kept = pq.read_table(library / FOLDER / NOISE_FILE)["digest"].to_pylist()
    assert len(set(kept)) == 2


def test_a_study_whose_linear_algebra_fails_stops_no_other(
    library: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from quenchbook.fit import fitting

    fitted = fitting.mixed_model

    def failing(records: Records, *more: Any) -> Any:
        if records.study.key == "study_0001":
            raise np.linalg.LinAlgError("Singular matrix")
        return fitted(records, *more)

    monkeypatch.setattr(fitting, "mixed_model", failing)
    studies = qb.read_studies(library)
    noise = studies.noise()
    assert "study_0000 and study_0002" in noise["hardness_hrc"].source
    assert "study_0001 cannot be analysed" in noise.notes[0]
    assert "LinAlgError: Singular matrix" in noise.notes[0]
    assert len(studies.models("hardness_hrc")) == 2


def test_noise_of_a_study_that_was_changed_meanwhile_is_a_note_and_not_kept(library: Path) -> None:
    studies = qb.read_studies(library)
    path = records_file(library)
    text = path.read_text(encoding="utf-8")
    path.write_text(text + "\n", encoding="utf-8")
    noise = studies.noise()
    assert "was changed after the library was read" in noise.notes[0]
    assert "study_0000 and study_0002" in noise["hardness_hrc"].source
    path.write_text(text, encoding="utf-8")
    assert qb.read_studies(library).noise().table["studies"].eq(3).all()


def test_a_study_that_cannot_be_understood_stops_no_other(
    library: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def failing(folder: Path) -> Any:
        if folder.name == "study_0001":
            raise KeyError("cold")
        return read_folder(folder)

    monkeypatch.setattr("quenchbook.own_studies.reading.read_folder", failing)
    studies = qb.read_studies(library)
    assert len(studies.entries) == 2
    assert "(KeyError: 'cold'); please report" in studies.unread[0].reason


@pytest.mark.parametrize("package", PACKAGES)
def test_what_another_version_of_a_package_kept_is_read_anew(
    library: Path, monkeypatch: pytest.MonkeyPatch, package: str
) -> None:
    qb.read_studies(library)
    used = {**made_by(None).versions, package: "0.0"}
    monkeypatch.setattr(contents, "made_by", lambda _: MadeBy(used))
    contents.reader_digest.cache_clear()
    try:
        assert qb.read_studies(library).newly_read == 3
    finally:
        contents.reader_digest.cache_clear()
