"""JupyterLab without a window, as a user has it, with the files of this source tree.

The files that an installation puts below its prefix are named by ``JUPYTER_PATH`` and
``JUPYTER_CONFIG_PATH``, so that what is tested is what lies here, installed or not; whatever the
person who runs the tests has set for Jupyter is left out.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from playwright.sync_api import Page
from tests.conftest import ROOT

JUPYTER_FILES = ROOT / "src" / "quenchbook" / "jupyter_files"
STARTS_IN = 120.0  # seconds on a machine that does other work
LAB_TIMEOUT = 60_000  # milliseconds for an element: a kernel starts in some 5 s, alone


@dataclass(frozen=True)
class LabServer:
    """JupyterLab that runs: the folder it shows, its address, its token."""

    root: Path
    url: str
    token: str

    def page(self, path: str = "") -> str:
        """Address of the Lab, or of a file in it, with the token."""
        return f"{self.url}lab{f'/tree/{path}' if path else ''}?token={self.token}"


@contextmanager
def running_lab(root: Path, home: Path) -> Iterator[LabServer]:
    """Start JupyterLab on a folder; it ends with its kernels.

    Parameters
    ----------
    root : Path
        What it shows.
    home : Path
        Empty folder for settings, run-time files and log.
    """
    places = {
        "HOME": home, "JUPYTER_CONFIG_DIR": home / "config", "JUPYTER_DATA_DIR": home / "data",
        "JUPYTER_RUNTIME_DIR": home / "runtime", "IPYTHONDIR": home / "ipython",
        "JUPYTER_PATH": JUPYTER_FILES / "share" / "jupyter",
        "JUPYTER_CONFIG_PATH": JUPYTER_FILES / "etc" / "jupyter",
        "PYTHONPATH": ROOT / "src",
    }  # fmt: skip
    for name in ("config", "data", "runtime", "ipython"):
        (home / name).mkdir(parents=True, exist_ok=True)
    command = [
        sys.executable, "-m", "jupyterlab", "--allow-root", "--ServerApp.open_browser=False",
        "--ServerApp.port=0", f"--ServerApp.root_dir={root}", "--ServerApp.answer_yes=True",
        "--LabApp.expose_app_in_browser=True",
    ]  # fmt: skip
    with (home / "log.txt").open("wb") as log:
        lab = subprocess.Popen(
            command,
            env={**os.environ, **{name: str(place) for name, place in places.items()}},
            stdout=log,
            stderr=subprocess.STDOUT,
        )
        try:
            yield _answering(lab, root, home)
        finally:
            lab.terminate()
            try:
                lab.wait(30)
            except subprocess.TimeoutExpired:
                lab.kill()
                lab.wait()


def wait_for_lab(page: Page) -> None:
    """Wait until JupyterLab has started on a page and restored what it shows."""
    page.wait_for_function(
        "() => window.jupyterapp && window.jupyterapp.restored.then(() => true)",
        timeout=LAB_TIMEOUT,
    )


def _answering(lab: subprocess.Popen[bytes], root: Path, home: Path) -> LabServer:
    told = home / "runtime" / f"jpserver-{lab.pid}.json"
    until = time.monotonic() + STARTS_IN
    while lab.poll() is None and time.monotonic() < until:
        try:
            server = json.loads(told.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            time.sleep(0.1)
            continue
        return LabServer(root, server["url"], server["token"])
    raise RuntimeError(f"JupyterLab did not start:\n{(home / 'log.txt').read_text()}")
