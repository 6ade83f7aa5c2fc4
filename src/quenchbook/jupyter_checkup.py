"""What doctor says of Jupyter: kernel, Launcher tile, server part, browser."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any, Final

EXTENSION: Final = "quenchbook"
SERVER_PART: Final = "quenchbook.lab_server"
_AGAIN: Final = "pip install --force-reinstall --no-deps quenchbook"
_OWN_PYTHON: Final = ("python", "python3", f"python3.{sys.version_info.minor}")
"""Names that jupyter_client takes for the Python that it runs in (`make_kernel_cmd`)."""
_KERNEL_IN: Final = 60.0  # seconds for an import on a slow disk


def jupyter_checkup() -> tuple[list[str], int]:
    """Check what notebooks need.

    Returns
    -------
    lines : list of str
        What was found, and what to do where something is missing.
    missing : int
        How many things are missing that the job cannot be done without. The tile is none of them.
    """
    checks = (_kernel(), _runtime_folder())
    lines = [line for line, _ in checks]
    return [*lines, _tile(), _news(), _browser()], sum(not works for _, works in checks)


def _kernel() -> tuple[str, bool]:
    """Whether the kernel of our notebooks can load what it needs; it is not started for that."""
    from jupyter_client.kernelspec import KernelSpecManager, NoSuchKernel

    try:
        program = KernelSpecManager().get_kernel_spec("python3").argv[0]
    except NoSuchKernel:
        return "kernel python3: MISSING. pip install ipykernel", False
    if program in _OWN_PYTHON:
        program = sys.executable
    found = shutil.which(program)
    if found is None:
        return (
            f"kernel python3: NO, its program {program} is not there. "
            f"{sys.executable} -m ipykernel install --sys-prefix",
            False,
        )
    try:
        done = subprocess.run(
            [found, "-P", "-c", "import ipykernel, quenchbook"],  # -P: nothing of this folder
            capture_output=True, text=True, timeout=_KERNEL_IN, check=False,
        )  # fmt: skip
        why = done.stderr.strip().splitlines()[-1:] if done.returncode else []
    except subprocess.TimeoutExpired:
        why = [f"no answer in {_KERNEL_IN:.0f} s"]
    if not why:
        return f"kernel python3: yes ({found})", True
    return (
        f"kernel python3: NO, {found} says: {why[0]}. "
        f"{sys.executable} -m ipykernel install --sys-prefix",
        False,
    )


def _runtime_folder() -> tuple[str, bool]:
    from jupyter_core.paths import jupyter_runtime_dir

    place = Path(jupyter_runtime_dir())
    try:
        place.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=place):
            return "Jupyter can write its own files: yes", True
    except OSError as error:
        return (
            f"Jupyter can write its own files: NO, {place}: {error.strerror}. Set "
            "JUPYTER_RUNTIME_DIR to a folder of your own.",
            False,
        )


def _tile() -> str:
    """Whether JupyterLab finds the tile and its server part, and whether they are switched on."""
    from jupyter_core.paths import jupyter_config_path, jupyter_path
    from jupyter_server.extension.config import ExtensionConfigManager
    from jupyterlab_server.config import get_page_config

    places = jupyter_path("labextensions")
    name = 'tile "New heat-treatment study" in the Launcher'
    if not any((Path(own) / EXTENSION / "package.json").is_file() for own in places):
        return f"{name}: MISSING (quenchbook new does the same). {_AGAIN}"
    disabled = get_page_config(places).get("disabledExtensions", [])
    if EXTENSION in disabled or f"{EXTENSION}:launcher" in disabled:
        return f"{name}: switched off. jupyter labextension enable {EXTENSION}"
    manager: Any = ExtensionConfigManager(read_config_path=jupyter_config_path())
    parts = manager.get_jpserver_extensions()
    if SERVER_PART not in parts:
        return f"{name}: its server part is MISSING (quenchbook new does the same). {_AGAIN}"
    if not parts[SERVER_PART]:
        return f"{name}: its server part is off. jupyter server extension enable {SERVER_PART}"
    return f"{name}: yes"


def _news() -> str:
    """Whether our file turns off what JupyterLab fetches on its own; that holds for all its users.

    `default_setting_overrides.d` changes defaults only: what a person has set counts more.
    """
    from jupyter_core.paths import jupyter_config_path

    name = "news and update checks of JupyterLab"
    own = Path("labconfig", "default_setting_overrides.d", f"{EXTENSION}.json")
    found = next((place / own for place in map(Path, jupyter_config_path())
                  if (place / own).is_file()), None)  # fmt: skip
    if found is None:
        return f"{name}: as JupyterLab has them"
    return (
        f"{name}: off in this whole environment, whatever JupyterLab is used for; quenchbook turns "
        f"them off. To have them, set Notifications in its settings, or delete {found}"
    )


def _browser() -> str:
    import webbrowser

    try:
        webbrowser.get()
    except webbrowser.Error:
        return "browser that opens JupyterLab: none found; quenchbook lab prints the address"
    return "browser that opens JupyterLab: yes"
