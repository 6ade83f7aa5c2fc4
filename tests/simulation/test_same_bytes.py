"""A report comes out with the same bytes after another run, elsewhere, and on a bare machine."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest
from tests.conftest import ROOT

from quenchbook.steps import copy_example

pytestmark = pytest.mark.simulation

REPORT = "import sys; from quenchbook.cli import main; sys.exit(main(sys.argv[1:]))"
ARGUMENTS = ("report", "study", "--edition", "all", "--to", "html", "pdf")
BARE = Path(__file__).parent / "bare_machine.py"
NAMES = ("plane_irons", "plane_irons_supporters")


def reported(
    folder: Path, *, environment: dict[str, str], before: Sequence[str | Path] = ()
) -> dict[str, bytes]:
    """Files of the report of the demonstration, made by a process of its own."""
    work = folder / "work"
    copy_example("plane_irons", work / "study")
    for path in (work, *work.rglob("*")):
        path.chmod(0o777 if path.is_dir() else 0o666)
    command = [*before, sys.executable, "-c", REPORT, *ARGUMENTS]
    done = subprocess.run(command, cwd=work, env=environment, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr[-2000:]
    return {
        own.name: own.read_bytes()
        for own in (work / "study" / "reports").iterdir()
        if own.suffix in (".html", ".pdf")
    }


def differing(one: dict[str, bytes], other: dict[str, bytes]) -> list[str]:
    return [name for name in sorted(one | other) if one.get(name) != other.get(name)]


@pytest.fixture(scope="module")
def usual(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    done = reported(tmp_path_factory.mktemp("usual"), environment=dict(os.environ))
    assert {f"{name}{end}" for name in NAMES for end in (".html", ".pdf")} <= set(done)
    return done


def test_another_run_in_another_country_by_another_user_gives_the_same_bytes(
    usual: dict[str, bytes], tmp_path: Path
) -> None:
    locales = tmp_path / "locales"
    locales.mkdir()
    if shutil.which("localedef") and Path("/usr/share/i18n/locales/de_DE").exists():
        made = ["localedef", "-i", "de_DE", "-f", "UTF-8", locales / "de_DE.UTF-8"]
        subprocess.run(made, check=True, capture_output=True)
    (tmp_path / "home").mkdir()
    elsewhere = {
        "PATH": os.environ["PATH"], "PYTHONPATH": os.environ.get("PYTHONPATH", ""),
        "HOME": str(tmp_path / "home"), "LOCPATH": str(locales), "LC_ALL": "de_DE.UTF-8",
        "LANGUAGE": "de", "TZ": "Pacific/Kiritimati", "PYTHONHASHSEED": "4711", "USER": "other",
    }  # fmt: skip
    assert differing(usual, reported(tmp_path, environment=elsewhere)) == []


def test_a_machine_without_utf8_gives_the_same_bytes(
    usual: dict[str, bytes], tmp_path: Path
) -> None:
    ascii_only = {
        "PATH": os.environ["PATH"], "PYTHONPATH": os.environ.get("PYTHONPATH", ""),
        "HOME": str(tmp_path), "LC_ALL": "C", "PYTHONCOERCECLOCALE": "0", "PYTHONUTF8": "0",
        "TZ": "America/St_Johns", "PYTHONHASHSEED": "1",
    }  # fmt: skip
    assert differing(usual, reported(tmp_path, environment=ascii_only)) == []


def bare(folder: Path) -> tuple[list[str | Path], dict[str, str]]:
    """What goes before a command to run it on a bare machine, and its environment."""
    folder.chmod(0o755)
    root = os.geteuid() == 0
    enter = ["unshare", "--mount", "--net", "--pid", "--fork", "--kill-child"]
    enter += [] if root else ["--user", "--map-root-user"]
    environment = {"HOME": "/nowhere", "PATH": "/usr/sbin:/usr/bin:/sbin:/bin"}
    environment |= {"PYTHONPATH": str(ROOT / "src")} | ({"AS_NOBODY": "1"} if root else {})
    return [*enter, sys.executable, BARE, folder], environment


def test_the_bare_machine_is_bare(tmp_path: Path) -> None:
    before, environment = bare(tmp_path)
    (tmp_path / "work").mkdir()
    code = (
        "import os, shutil, socket, sys\n"
        "fonts = [os.path.join(place, own) for top in os.listdir('/') if top != 'proc' "
        "for place, _, files in os.walk('/' + top) for own in files "
        "if own.endswith(('.ttf', '.otf', '.pfb')) and not place.startswith(sys.prefix) "
        "and not place.endswith('quenchbook/report/fonts')]\n"
        "programs = [own for own in ('chromium', 'sh', 'fc-list') if shutil.which(own)]\n"
        "there = [own for own in ('/etc', '/usr/share', '/home', '/nowhere') if os.path.exists(own)]\n"
        "print(fonts, programs, there, [own for _, own in socket.if_nameindex()], os.path.expanduser('~'))"
    )
    command = [*before, sys.executable, "-c", code]
    done = subprocess.run(command, env=environment, capture_output=True, text=True)
    assert done.stdout.strip() == "[] [] [] ['lo'] /nowhere", done.stderr


def test_a_bare_machine_makes_both_files_with_the_same_bytes(
    usual: dict[str, bytes], tmp_path: Path
) -> None:
    """No fonts, browser, shell, network, locale or user; HOME is not there. See bare_machine.py."""
    before, environment = bare(tmp_path)
    assert differing(usual, reported(tmp_path, environment=environment, before=before)) == []
