from __future__ import annotations

import functools
import json
import math
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests import repeated_functions
from tests.conftest import ROOT
from tests.repeated_functions import drawn, failing, scaled, slow

from quenchbook import kept_items, repeated_work, work_backends
from quenchbook.errors import RepeatedWorkError
from quenchbook.kept_items import KeptItems, header, plain
from quenchbook.repeated_work import run_many
from quenchbook.work_backends import Answer, WorkersLostError, child_seed, serial_parts

many = functools.partial(run_many, progress=None)


def test_each_item_has_the_seed_that_numpy_spawns_for_its_number() -> None:
    spawned = np.random.SeedSequence(7).spawn(5)
    for number, seed in enumerate(spawned):
        assert child_seed(7, number).generate_state(4).tolist() == seed.generate_state(4).tolist()


@pytest.mark.parametrize(
    ("backend", "workers", "chunk"),
    [("serial", None, 1), ("serial", None, 7), (None, 1, None), ("threading", 2, 3),
     ("threading", 5, None), ("loky", 2, 4)],
)  # fmt: skip
def test_results_depend_neither_on_backend_nor_workers_nor_chunks(
    backend: Any, workers: int | None, chunk: int | None
) -> None:
    wanted = [
        plain(drawn(number, seed))
        for number, seed in enumerate(np.random.SeedSequence(3).spawn(20))
    ]
    assert many(drawn, 20, 3, backend=backend, workers=workers, chunk=chunk).values() == wanted


def test_items_are_given_with_their_seed_and_come_back_in_order() -> None:
    found = many(drawn, ["b", "a"], 1).values()
    assert [own["item"] for own in found] == ["b", "a"]
    assert found[0]["drawn"] == many(drawn, ["x"], 1).values()[0]["drawn"]


def test_a_failing_item_is_told_by_number_and_seed_and_the_others_are_there() -> None:
    found = many(failing, 7, 11)
    assert sorted(found.done) == [0, 1, 3, 4, 6]
    assert [str(own) for own in found.failures] == [
        "item 2 (seed 11, child 2): ValueError: nothing for 2",
        "item 5 (seed 11, child 5): ValueError: nothing for 5",
    ]
    assert found.summary().startswith("5 of 7 items done")
    with pytest.raises(
        RepeatedWorkError, match=r"2 of 7 items failed: item 2 \(seed 11, child 2\)"
    ):
        found.values()


def test_a_failed_item_can_be_done_alone_from_what_is_told() -> None:
    own = many(failing, 7, 11).failures[0]
    with pytest.raises(ValueError, match="nothing for 2"):
        failing(2, child_seed(own.seed, own.number))


@pytest.mark.parametrize(
    ("value", "why"),
    [(math.nan, "nan"), (np.float64("inf"), "inf"), (np.zeros(2), "ndarray"), ({1: 2}, "a key"),
     (object(), "object")],
)  # fmt: skip
def test_a_result_that_is_not_plain_fails_its_item(value: Any, why: str) -> None:
    (failed,) = many(lambda _item, _seed: value, 1, 1).failures
    assert why in failed.problem


def test_numpy_numbers_and_tuples_become_plain() -> None:
    assert many(lambda _item, _seed: (np.int64(2), np.bool_(True), None), 1, 1).values() == [
        [2, True, None]
    ]


# --- finished items in a file --------------------------------------------------------------------


class _StopError(Exception):
    pass


def stopped_after(parts: int) -> Any:
    """A backend that is interrupted when some parts are done."""

    def own(function: Any, seed: int, given: Any) -> Iterator[Answer]:
        yield from serial_parts(function, seed, given[:parts])
        raise _StopError

    return own


def test_an_interrupted_run_goes_on_from_what_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep = tmp_path / "deep" / "kept.jsonl"
    with monkeypatch.context() as patch:
        patch.setattr(work_backends, "serial_parts", stopped_after(3))
        with pytest.raises(_StopError):
            many(drawn, 20, 3, backend="serial", chunk=4, keep=keep)
    assert len(keep.read_text().splitlines()) == 1 + 12
    done: list[int] = []
    monkeypatch.setattr(
        work_backends, "worked_part",
        lambda function, seed, part, own=work_backends.worked_part: (
            done.extend(number for number, _ in part) or own(function, seed, part)  # type: ignore[func-returns-value]
        ),
    )  # fmt: skip
    found = many(drawn, 20, 3, backend="serial", chunk=3, keep=keep)
    assert found.resumed == 12
    assert done == list(range(12, 20))
    assert found.values() == many(drawn, 20, 3).values()


def test_a_torn_last_line_is_dropped_and_its_item_done_again(tmp_path: Path) -> None:
    keep = tmp_path / "kept.jsonl"
    whole = many(drawn, 6, 3, keep=keep).values()
    raw = keep.read_bytes()
    for cut in (1, 20):
        keep.write_bytes(raw[:-cut])
        found = many(drawn, 6, 3, keep=keep)
        assert (found.resumed, found.values()) == (5, whole)
        assert keep.read_bytes() == raw


def test_items_that_failed_are_tried_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    keep = tmp_path / "kept.jsonl"
    assert len(many(failing, 7, 11, keep=keep).failures) == 2
    assert len(many(failing, 7, 11, keep=keep).failures) == 2
    assert many(failing, 7, 11, keep=keep).resumed == 5


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"seed": 4}, "its seed is 3, now 4"),
        ({"items": 7}, "its number of items is 6, now 7"),
        ({"items": [0, 1, 2, 3, 4, 6]}, "its digest of the items and arguments is"),
        ({"function": failing}, "its function is tests.repeated_functions.drawn, now tests"),
        ({"version": "quenchbook"}, r"its version of quenchbook is .*, now 9\.9\. It was left"),
        ({"version": "numpy"}, r"its version of numpy is .*, now 9\.9\. It was left"),
        ({"version": "scipy"}, r"its version of scipy is .*, now 9\.9\. It was left"),
    ],
)
def test_a_file_of_another_run_is_refused_and_left_as_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, change: dict[str, Any], words: str
) -> None:
    keep = tmp_path / "kept.jsonl"
    many(drawn, 6, 3, keep=keep)
    before = keep.read_bytes()
    if "version" in change:
        used = {**work_backends.versions(), change["version"]: "9.9"}
        monkeypatch.setattr(work_backends, "versions", lambda: used)
    with pytest.raises(RepeatedWorkError, match=words):
        many(
            change.get("function", drawn), change.get("items", 6), change.get("seed", 3), keep=keep
        )
    assert keep.read_bytes() == before


def test_other_fixed_arguments_are_another_run(tmp_path: Path) -> None:
    keep = tmp_path / "kept.jsonl"
    many(functools.partial(scaled, factor=2.0), [1.0], 1, keep=keep)
    assert many(functools.partial(scaled, factor=2.0), [1.0], 1, keep=keep).values() == [2.0]
    with pytest.raises(RepeatedWorkError, match="arguments"):
        many(functools.partial(scaled, factor=3.0), [1.0], 1, keep=keep)


def test_an_argument_held_fixed_is_no_item() -> None:
    fixed = header(functools.partial(scaled, factor=2.0), [1.0], 1, {})
    items = header(scaled, [[[], {"factor": 2.0}], 1.0], 1, {})
    assert fixed["items"] != items["items"]


class _Told:
    digest = "a"


@pytest.mark.parametrize(
    ("one", "other"),
    [(_Told(), {"digest": "a"}), ({1: 2}, {"1": 2}), ({"a": 1}, [["a", 1]]), (1, True), (1, 1.0)],
)
def test_items_of_different_kinds_are_told_apart(one: Any, other: Any) -> None:
    assert header(drawn, [one], 1, {})["items"] != header(drawn, [other], 1, {})["items"]


def test_a_second_program_that_writes_to_the_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "kept.jsonl"
    head = header(drawn, range(10), 1, {"quenchbook": "0"})
    with KeptItems(path, head) as first:
        first.add({0: 1.0})
        with path.open("ab") as half:  # the first one is in the middle of a line
            half.write(b'{"item":1,')
        before = path.read_bytes()
        with pytest.raises(RepeatedWorkError, match="is being written to by another program"):
            KeptItems(path, head)
        assert path.read_bytes() == before
    with KeptItems(path, head) as later:
        assert later.done == {0: 1.0}


def test_a_program_that_is_killed_leaves_no_lock(tmp_path: Path) -> None:
    path = tmp_path / "kept.jsonl"
    program = (
        "import os, sys\nfrom tests.repeated_functions import drawn\n"
        "from quenchbook.kept_items import KeptItems, header\n"
        "kept = KeptItems(sys.argv[1], header(drawn, range(3), 1, {}))\n"
        "kept.add({0: 1.0})\nos._exit(9)"
    )
    paths = os.pathsep.join([str(ROOT / "src"), str(ROOT)])
    own = subprocess.run(
        [sys.executable, "-c", program, str(path)], env={**os.environ, "PYTHONPATH": paths},
        check=False,
    )  # fmt: skip
    assert own.returncode == 9
    with KeptItems(path, header(drawn, range(3), 1, {})) as kept:
        assert kept.done == {0: 1.0}


def test_the_number_of_items_may_be_a_number_of_numpy() -> None:
    found = many(drawn, np.int64(3), np.int64(3), chunk=np.int64(2))  # type: ignore[arg-type]
    assert found.values() == many(drawn, 3, 3).values()


def test_items_may_be_an_array() -> None:
    own = many(functools.partial(scaled, factor=2.0), np.array([1.0, 2.0]), 1)  # type: ignore[arg-type]
    assert own.values() == [2.0, 4.0]


@pytest.mark.parametrize("content", [b"coupon,hardness_hrc\nK7,62.5\n", b"", b"{}\n", b'{"a'])
def test_any_other_file_is_refused_and_left_as_it_is(tmp_path: Path, content: bytes) -> None:
    keep = tmp_path / "hardness.csv"
    keep.write_bytes(content)
    with pytest.raises(RepeatedWorkError, match="is no file of finished items"):
        many(drawn, 2, 3, keep=keep)
    assert keep.read_bytes() == content


@pytest.mark.parametrize("line", [b"{]", b'{"item": 99, "value": 1}', b'{"item": "0", "value": 1}'])
def test_a_damaged_line_inside_is_named(tmp_path: Path, line: bytes) -> None:
    keep = tmp_path / "kept.jsonl"
    many(drawn, 6, 3, keep=keep)
    parts = keep.read_bytes().split(b"\n")
    keep.write_bytes(b"\n".join([*parts[:2], line, *parts[3:]]))
    with pytest.raises(RepeatedWorkError, match=r"kept\.jsonl line 3: is no finished item"):
        many(drawn, 6, 3, keep=keep)


@pytest.mark.parametrize(
    ("function", "items", "words"),
    [
        (lambda _item, _seed: 1, [1], "Define it with def"),
        (drawn, [object()], "cannot be told apart"),
    ],
)
def test_what_cannot_be_told_apart_is_not_kept(
    tmp_path: Path, function: Any, items: Any, words: str
) -> None:
    with pytest.raises(RepeatedWorkError, match=words):
        many(function, items, 1, keep=tmp_path / "kept.jsonl")


@settings(max_examples=20)  # each one is put on the disk
@given(st.lists(st.floats(allow_nan=False, allow_infinity=False) | st.integers() | st.text()))
def test_every_plain_value_comes_back_from_a_file_with_the_same_bits(
    tmp_path_factory: pytest.TempPathFactory, values: list[Any]
) -> None:
    path = tmp_path_factory.mktemp("kept") / "kept.jsonl"
    head = header(drawn, range(1), 1, {"quenchbook": "0"})
    with KeptItems(path, head) as kept:
        kept.add({0: values})
    with KeptItems(path, head) as kept:
        (back,) = kept.done.values()
    assert [(type(own), repr(own)) for own in back] == [(type(own), repr(own)) for own in values]


def test_a_file_of_finished_items_is_json_lines(tmp_path: Path) -> None:
    keep = tmp_path / "kept.jsonl"
    many(drawn, 3, 3, keep=keep)
    first, *rest = [json.loads(line) for line in keep.read_text().splitlines()]
    assert first["function"] == "tests.repeated_functions.drawn"
    assert (first["seed"], first["count"], first["repeated_work"]) == (3, 3, kept_items.FORMAT)
    assert sorted(own["item"] for own in rest) == [0, 1, 2]


# --- what does the work --------------------------------------------------------------------------


@pytest.mark.parametrize(("worth", "backend"), [(10.0, "serial"), (0.05, "loky, 2 processes")])
def test_processes_are_used_where_the_work_is_worth_it(
    monkeypatch: pytest.MonkeyPatch, worth: float, backend: str
) -> None:
    monkeypatch.setattr(repeated_work, "WORTH_WORKERS", worth)
    monkeypatch.setattr(
        work_backends, "joblib_parts", lambda function, seed, parts, *_: serial_parts(function, seed, parts)
    )  # fmt: skip
    found = many(slow, 30, 1, workers=2 if worth < 1 else None)
    assert found.backend == backend
    assert found.values() == list(range(30))


def test_parts_of_lost_workers_are_done_again(monkeypatch: pytest.MonkeyPatch) -> None:
    calls: list[int] = []

    def losing(function: Any, seed: int, parts: Any, *_: Any) -> Iterator[Answer]:
        calls.append(sum(len(part) for part in parts))
        yield from serial_parts(function, seed, parts[:2])
        if len(parts) > 2:
            raise WorkersLostError("killed")

    monkeypatch.setattr(work_backends, "joblib_parts", losing)
    found = many(drawn, 20, 3, backend="loky", chunk=3)
    assert calls == [20, 14, 8, 2]
    assert found.values() == many(drawn, 20, 3).values()


def test_workers_that_are_lost_again_and_again_end_the_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def lost(*_: Any) -> Iterator[Answer]:
        raise WorkersLostError("out of memory")
        yield

    monkeypatch.setattr(work_backends, "joblib_parts", lost)
    with pytest.raises(RepeatedWorkError, match="0 of 20 items are done and kept"):
        many(drawn, 20, 3, backend="loky", chunk=3, keep=tmp_path / "kept.jsonl")


def test_workers_of_another_version_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    def older(function: Any, seed: int, parts: Any, *_: Any) -> Iterator[Answer]:
        for outcomes, used in serial_parts(function, seed, parts):
            yield outcomes, {**used, "numpy": "1.0"}

    monkeypatch.setattr(work_backends, "joblib_parts", older)
    with pytest.raises(RepeatedWorkError, match=r"A worker has other versions: numpy 1\.0, here"):
        many(drawn, 20, 3, backend="loky", chunk=3)


def test_linear_algebra_of_every_part_runs_on_one_thread() -> None:
    from threadpoolctl import threadpool_info

    def threads(item: int, seed: np.random.SeedSequence) -> list[int]:
        return [own["num_threads"] for own in threadpool_info() if own["user_api"] == "blas"]

    for backend in (None, "serial", "threading"):
        for found in many(threads, 4, 1, backend=backend, workers=2).values():  # type: ignore[arg-type]
            assert found
            assert set(found) == {1}


def test_without_dask_the_message_names_the_extra(monkeypatch: pytest.MonkeyPatch) -> None:
    def missing(name: str) -> Any:
        raise ImportError(name)

    monkeypatch.setattr(work_backends.importlib, "import_module", missing)
    with pytest.raises(RepeatedWorkError, match=r"pip install 'quenchbook\[cluster\]'"):
        many(drawn, 9, 1, backend="dask", chunk=2)


class _NoWorkers:
    """A client whose scheduler has no worker."""

    def __enter__(self) -> _NoWorkers:
        return self

    def __exit__(self, *_: object) -> None: ...

    def wait_for_workers(self, *_: Any, **__: Any) -> None:
        raise TimeoutError


@pytest.mark.parametrize(
    ("address", "words"),
    [("tcp://10.0.0.5:8786", r"The scheduler at tcp://10\.0\.0\.5:8786 has no worker"),
     (None, "No worker started on this machine")],
)  # fmt: skip
def test_a_scheduler_without_workers_is_named(
    monkeypatch: pytest.MonkeyPatch, address: str | None, words: str
) -> None:
    class Library:
        Client = LocalCluster = staticmethod(lambda *_, **__: _NoWorkers())

        @staticmethod
        def default_client() -> Any:
            raise ValueError("none")

    monkeypatch.setattr(work_backends.importlib, "import_module", lambda _: Library)
    monkeypatch.delenv(work_backends.ADDRESS_VARIABLE, raising=False)
    with (
        pytest.raises(RepeatedWorkError, match=words),
        work_backends.cluster(address, 1),
    ):
        pass


def test_a_scheduler_that_does_not_answer_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(work_backends, "_PATIENCE", "100ms")
    with pytest.raises(RepeatedWorkError, match=r"tcp://127\.0\.0\.1:9: no dask scheduler answers"):
        many(drawn, 9, 1, scheduler="tcp://127.0.0.1:9", chunk=2)


@pytest.mark.parametrize(
    ("options", "words"),
    [({"backend": "dusk"}, "serial, loky, threading, dask"), ({"workers": 0}, "workers is 0"),
     ({"chunk": 0}, "chunk is 0"), ({"count_or_items": -1}, "number of items is -1"),
     ({"seed": -1}, "seed is -1"), ({"seed": 0.5}, "seed is 0.5"),
     ({"count_or_items": (own for own in "ab")}, "items are a generator. Give a sequence"),
     ({"count_or_items": {"a", "b"}}, "items are a set. Give a sequence"),
     ({"count_or_items": 2.0}, "items are a float. Give a sequence")],
)  # fmt: skip
def test_wrong_options_are_refused(options: dict[str, Any], words: str) -> None:
    given_options = {"count_or_items": 3, "seed": 1, **options}
    with pytest.raises(RepeatedWorkError, match=words):
        many(drawn, **given_options)


def test_nothing_to_do_is_no_error() -> None:
    assert many(drawn, 0, 1).values() == []


def test_a_result_shows_itself() -> None:
    found = many(drawn, 3, 3)
    assert list(found.to_frame().columns) == ["item", "solved", "drawn"]
    assert found.to_frame().index.name == "item"
    assert found.shown().finding.startswith("3 of 3 items done")
    assert repr(found) == "<RepeatedWork: 3 of 3 items done>"
    assert f"{repeated_functions.__name__}.drawn, seed 3" in found.summary()
