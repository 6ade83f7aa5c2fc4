"""What quenchbook lab does while JupyterLab runs, with small programs in its place."""

from __future__ import annotations

import json
import subprocess
import sys
import textwrap
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from tests.conftest import ROOT

from quenchbook import lab
from quenchbook.jupyter_checkup import jupyter_checkup
from quenchbook.lab import lab_command, run_lab_until_stopped

Server = Callable[[str], "subprocess.Popen[bytes]"]

EVIL = "import pathlib; pathlib.Path(__file__).with_name('was_here').touch(); raise SystemExit"


@pytest.fixture
def runtime(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Folder where a server says what its address is."""
    place = tmp_path / "runtime"
    place.mkdir()
    monkeypatch.setenv("JUPYTER_RUNTIME_DIR", str(place))
    monkeypatch.setattr(lab, "_STARTS_IN", 1.0)
    return place


@pytest.fixture
def started() -> Iterator[Server]:
    """Programs that stand for JupyterLab; none outlives its test."""
    running: list[subprocess.Popen[bytes]] = []

    def start(code: str) -> subprocess.Popen[bytes]:
        running.append(subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE))
        return running[-1]

    yield start
    for own in running:
        own.kill()
        own.communicate()


def server_program(told: object, *, then: str) -> tuple[str, ...]:
    """Command of a program that tells an address as a server does, and then goes on."""
    code = f"""
        import os, pathlib
        place = pathlib.Path(os.environ["JUPYTER_RUNTIME_DIR"]) / f"jpserver-{{os.getpid()}}.json"
        place.with_suffix(".part").write_text({json.dumps(told)!r})
        place.with_suffix(".part").rename(place)
        {then}
        """
    return (sys.executable, "-c", textwrap.dedent(code))


@pytest.mark.parametrize(
    ("told", "address"),
    [
        ({"url": "http://localhost:8888/", "token": "abc"}, "http://localhost:8888/lab?token=abc"),
        ({"url": "http://localhost:8888/x/", "token": ""}, "http://localhost:8888/x/lab"),
    ],
)
def test_the_address_is_that_of_the_server_with_its_token(
    runtime: Path, started: Server, told: object, address: str
) -> None:
    own = started("import time; time.sleep(60)")
    (runtime / f"jpserver-{own.pid}.json").write_text(json.dumps(told), encoding="utf-8")
    assert lab._address(own, "/lab") == address


@pytest.mark.parametrize("text", ["{}", '{"token": "abc"}', "[]", "{", "null", '{"url": ""}'])
def test_a_file_that_tells_no_address_is_waited_for_and_no_error(
    runtime: Path, started: Server, monkeypatch: pytest.MonkeyPatch, text: str
) -> None:
    monkeypatch.setattr(lab, "_STARTS_IN", 0.3)
    own = started("import time; time.sleep(60)")
    (runtime / f"jpserver-{own.pid}.json").write_text(text, encoding="utf-8")
    assert lab._address(own, "/lab") == ""


def test_a_server_that_ends_at_once_has_no_address(runtime: Path, started: Server) -> None:
    own = started("")
    own.wait()
    assert lab._address(own, "/lab") == ""


def test_the_end_asks_a_server_again_that_did_not_hear(
    monkeypatch: pytest.MonkeyPatch, started: Server
) -> None:
    own = started(
        "import signal, sys, time; signal.signal(signal.SIGTERM, lambda *_: sys.exit(3)); "
        "print('ready', flush=True); time.sleep(60)"
    )
    assert own.stdout is not None
    own.stdout.readline()
    waits: list[float | None] = []
    wait = own.wait

    def shorter(patience: float | None = None) -> int:
        waits.append(patience)
        return wait(0.05 if len(waits) == 1 else patience)

    monkeypatch.setattr(own, "wait", shorter)
    lab._end(own)
    assert own.returncode == 3
    assert waits == [2.0, lab._STOPS_IN]


def test_a_server_that_ends_by_itself_gives_its_own_number(
    runtime: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    command = server_program({"url": "http://h/", "token": "t"}, then="import sys; sys.exit(5)")
    monkeypatch.setattr(lab, "lab_command", lambda *_own, **_more: command)
    said: list[str] = []
    assert run_lab_until_stopped(tmp_path, said.append) == 5


def test_the_address_is_said_and_ctrl_c_ends_the_server(
    runtime: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(lab, "_STARTS_IN", 60.0)
    command = server_program({"url": "http://h/", "token": "t"}, then="import time; time.sleep(60)")
    monkeypatch.setattr(lab, "lab_command", lambda *_own, **_more: command)
    started: list[subprocess.Popen[bytes]] = []
    popen = subprocess.Popen

    def start(own: tuple[str, ...]) -> subprocess.Popen[bytes]:
        started.append(popen(own))
        return started[-1]

    monkeypatch.setattr(lab.subprocess, "Popen", start)
    said: list[str] = []

    def say(words: str) -> None:
        said.append(words)
        if len(said) == 1:
            started[0].terminate()  # a terminal sends Ctrl-C to both
            raise KeyboardInterrupt

    assert run_lab_until_stopped(tmp_path, say) == 0
    assert said[0].startswith("JupyterLab runs at http://h/lab?token=t\n")
    assert said[1] == "JupyterLab has ended."
    assert started[0].poll() is not None


# --- a module in the folder where it is started ---------------------------------------------------


def test_no_module_of_the_folder_runs_when_jupyterlab_is_started(tmp_path: Path) -> None:
    for name in ("bisect", "jupyterlab", "tornado"):
        (tmp_path / f"{name}.py").write_text(EVIL, encoding="utf-8")
    command = (*lab_command(tmp_path), "--version")
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert not (tmp_path / "was_here").exists()
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("4.")


def test_no_module_of_the_folder_runs_when_the_kernel_is_looked_at(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "ipykernel.py").write_text(EVIL, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("PYTHONPATH", str(ROOT / "src"))
    (line,) = [own for own in jupyter_checkup()[0] if own.startswith("kernel")]
    assert not (tmp_path / "was_here").exists()
    assert line.startswith("kernel python3: yes")
