"""JupyterLab on a study folder: what it is started with, and until when it runs."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final
from urllib.parse import quote

from quenchbook.errors import Problem, StudyError
from quenchbook.steps import START_PAGE, missing_notebooks, write_missing_notebooks

Say = Callable[[str], None]

_STOPS_IN: Final = 20.0  # seconds that kernels get to end
_STARTS_IN: Final = 60.0  # seconds until the address is no longer waited for


def check_lab_folder(
    folder: str | Path, say: Say, *, add_notebooks: Callable[[], bool] = lambda: False
) -> None:
    """Refuse a folder that is not there; say what a study lacks, and copy it if that is wanted.

    Parameters
    ----------
    folder : str or Path
        Study folder, or a folder that is to hold studies.
    say : callable
        Told what was copied, or what to do.
    add_notebooks : callable
        Asked whether the missing notebooks are to be copied, if the start page is missing.

    Raises
    ------
    StudyError
        If there is no such folder, or the study has no notebook and none is wanted.
    """
    folder = Path(folder)
    if not folder.is_dir():
        found = "is a file" if folder.exists() else "there is no such folder"
        raise StudyError(
            Problem(str(folder), found, f"Name a study, or make one: quenchbook new {folder}")
        )
    if not (folder / "study.toml").exists():
        say(
            f"{folder.resolve().name or folder.resolve()} is no study: it has no study.toml. "
            'JupyterLab opens its Launcher; the tile "New heat-treatment study" makes one here.'
        )
        return
    missing = missing_notebooks(folder)
    if START_PAGE not in missing:
        return
    own = (folder / "notebooks").glob("*.ipynb")
    if add_notebooks():
        for path in write_missing_notebooks(folder):
            say(f"  {path}")
    elif not any(own):
        raise StudyError(
            Problem(
                str(folder),
                "is a study without notebooks",
                f"Copy them: quenchbook lab {folder} --add-notebooks (nothing is overwritten).",
            )
        )
    else:
        say(f"{START_PAGE}.ipynb is not in {folder / 'notebooks'}; --add-notebooks copies it.")


def lab_root(folder: str | Path) -> Path:
    """Folder that JupyterLab shows: the one above a study, so that others are made beside it.

    The study itself is shown where the folder above cannot be written in or is the top of the file
    system, and where the study is hidden, which JupyterLab does not open from above.
    """
    place = Path(folder).resolve()
    above = place.parent
    if not (place / "study.toml").exists() or place.name.startswith("."):
        return place
    usable = above != Path(above.anchor) and os.access(above, os.R_OK | os.W_OK | os.X_OK)
    return above if usable else place


def lab_page(folder: str | Path) -> str:
    """Page that JupyterLab opens in a folder: the start page, the notebooks, or its Launcher."""
    place = Path(folder).resolve()
    for path in (f"notebooks/{START_PAGE}.ipynb", "notebooks"):
        if (place / path).exists():
            below = (place / path).relative_to(lab_root(place))
            return f"/lab/tree/{quote(below.as_posix())}"
    return "/lab"


def lab_command(
    folder: str | Path,
    *,
    port: int | None = None,
    browser: bool = True,
    allow_root: bool = False,
) -> tuple[str, ...]:
    """Command that starts JupyterLab in the folder of `lab_root`, at the page of `lab_page`.

    Its token, and all else that keeps strangers out, is Jupyter's own.

    Parameters
    ----------
    folder : str or Path
    port : int, optional
        Jupyter takes 8888, or the next that is free, when left out.
    browser : bool
        Whether a browser is opened.
    allow_root : bool
        Jupyter refuses to run as root without.

    Returns
    -------
    tuple of str
        Program and arguments.
    """
    # -P: no module of the folder where it is started takes the place of a library's.
    # WARN: some thirty lines on extensions would hide the address. answer_yes: Ctrl-C is meant.
    command = [
        sys.executable, "-P", "-m", "jupyterlab", f"--ServerApp.root_dir={lab_root(folder)}",
        f"--LabApp.default_url={lab_page(folder)}", "--Application.log_level=WARN",
        "--ServerApp.answer_yes=True",
    ]  # fmt: skip
    if port is not None:
        command.append(f"--ServerApp.port={port}")
    if allow_root:
        command.append("--allow-root")
    if not browser:
        command.append("--ServerApp.open_browser=False")
    return tuple(command)


def run_lab_until_stopped(
    folder: str | Path,
    say: Say,
    *,
    port: int | None = None,
    browser: bool = True,
    allow_root: bool = False,
) -> int:
    """Run JupyterLab until it ends or Ctrl-C is pressed; its kernels end with it.

    Parameters
    ----------
    folder : str or Path
    say : callable
        Told the address when the server answers, and that it has ended.
    port, browser, allow_root
        See `lab_command`.

    Returns
    -------
    int
        0 if it was stopped here, else what JupyterLab returned.
    """
    command = lab_command(folder, port=port, browser=browser, allow_root=allow_root)
    lab = subprocess.Popen(command)
    try:
        if address := _address(lab, lab_page(folder)):
            say(f"JupyterLab runs at {address}\nStop it here with Ctrl-C; save your pages before.")
        return lab.wait()
    except KeyboardInterrupt:  # a terminal sends it to JupyterLab too, which then ends by itself
        _end(lab)
        say("JupyterLab has ended.")
        return 0
    finally:
        if lab.poll() is None:
            lab.kill()
            lab.wait()


def _address(lab: subprocess.Popen[bytes], page: str) -> str:
    """Where the server listens, with its token; blank if it does not say so in time."""
    from jupyter_core.paths import jupyter_runtime_dir

    told = Path(jupyter_runtime_dir()) / f"jpserver-{lab.pid}.json"
    until = time.monotonic() + _STARTS_IN
    while lab.poll() is None and time.monotonic() < until:
        try:
            server = json.loads(told.read_text(encoding="utf-8"))
        except (OSError, ValueError):  # not there yet, or being written
            server = None
        if isinstance(server, dict) and server.get("url"):
            token = f"?token={server['token']}" if server.get("token") else ""
            return f"{server['url'].rstrip('/')}{page}{token}"
        time.sleep(0.2)
    return ""


def _end(lab: subprocess.Popen[bytes]) -> None:
    """Wait for the end that Ctrl-C began; ask once more if it did not reach JupyterLab."""
    for patience in (2.0, _STOPS_IN):
        try:
            lab.wait(patience)
        except (subprocess.TimeoutExpired, KeyboardInterrupt):
            lab.terminate()
