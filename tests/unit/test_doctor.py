"""What the checkup says about packages that are optional."""

from __future__ import annotations

import importlib.metadata
import json
from pathlib import Path

import pytest
from tests.conftest import ROOT

from quenchbook import doctor
from quenchbook.jupyter_checkup import jupyter_checkup


@pytest.mark.parametrize(
    ("package", "words"),
    [
        ("ortools", '[timetable]" (optional, to search for timetables)'),
        ("pyarrow", '[library]" (optional, to keep what was read of many studies)'),
    ],
)
def test_a_missing_optional_package_is_named_with_its_extra_and_does_no_harm(
    monkeypatch: pytest.MonkeyPatch, package: str, words: str
) -> None:
    known = importlib.metadata.version

    def version(name: str) -> str:
        if name == package:
            raise importlib.metadata.PackageNotFoundError(name)
        return known(name)

    monkeypatch.setattr(importlib.metadata, "version", version)
    lines, healthy = doctor.checkup()
    (own,) = [line for line in lines if package in line]
    assert own.endswith(f'pip install "quenchbook{words}')
    assert healthy


def test_the_last_line_is_a_verdict_in_one_sentence() -> None:
    lines, healthy = doctor.checkup()
    assert healthy
    assert lines[-1] == "Everything is there that the whole job needs."
    assert any(line.startswith("kernel python3: yes") for line in lines)


def test_a_package_outside_of_its_bounds_is_named_with_what_to_do(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    known = importlib.metadata.version
    monkeypatch.setattr(
        importlib.metadata, "version", lambda name: "1.5" if name == "pandas" else known(name)
    )
    lines, healthy = doctor.checkup()
    (own,) = [line for line in lines if line.startswith("  pandas ")]
    assert "1.5 is outside" in own
    assert 'pip install "pandas' in own
    assert not healthy
    assert lines[-1].startswith("1 thing needs your hand")


def test_a_kernel_that_cannot_load_quenchbook_is_told(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    kernel = tmp_path / "kernels" / "python3"
    kernel.mkdir(parents=True)
    program = tmp_path / "empty_python"
    program.write_text("#!/bin/sh\necho 'No module named quenchbook' >&2\nexit 1\n")
    program.chmod(0o755)
    (kernel / "kernel.json").write_text(
        json.dumps({"argv": [str(program)], "display_name": "x", "language": "python"})
    )
    monkeypatch.setenv("JUPYTER_PATH", str(tmp_path))
    lines, missing = jupyter_checkup()
    (own,) = [line for line in lines if line.startswith("kernel")]
    assert "NO, " in own
    assert "No module named quenchbook" in own
    assert missing == 1


@pytest.mark.parametrize(
    ("files", "words"),
    [((), "MISSING"), (("share",), "its server part is MISSING"), (("share", "etc"), ": yes")],
)
def test_the_tile_is_looked_for_where_jupyterlab_looks(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, files: tuple[str, ...], words: str
) -> None:
    place = ROOT / "src" / "quenchbook" / "jupyter_files"
    share = place / "share" / "jupyter" if "share" in files else tmp_path
    etc = place / "etc" / "jupyter" if "etc" in files else tmp_path
    monkeypatch.setattr("jupyter_core.paths.jupyter_path", lambda *own: [str(share.joinpath(*own))])
    monkeypatch.setattr("jupyter_core.paths.jupyter_config_path", lambda: [str(etc)])
    (own,) = [line for line in jupyter_checkup()[0] if line.startswith("tile")]
    assert words in own


@pytest.mark.parametrize(("there", "words"), [(True, "off in this whole environment"),
                                              (False, "as JupyterLab has them")])  # fmt: skip
def test_it_is_said_that_news_are_off_for_the_whole_jupyterlab(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, there: bool, words: str
) -> None:
    etc = ROOT / "src" / "quenchbook" / "jupyter_files" / "etc" / "jupyter" if there else tmp_path
    monkeypatch.setattr("jupyter_core.paths.jupyter_config_path", lambda: [str(etc)])
    (own,) = [line for line in jupyter_checkup()[0] if line.startswith("news")]
    assert words in own
    assert (str(etc) in own) == there
