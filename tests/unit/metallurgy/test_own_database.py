"""The optional extra says what is missing.

Its numbers are in no test, because neither pycalphad nor a database comes with the project. The
table of grades that is shipped was computed by hand once (pycalphad 0.11.2, numpy 2.4.6, scipy
1.17.1; database of B. Hallstedt, CC BY 4.0).
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from quenchbook.errors import EstimabilityError
from quenchbook.metallurgy.own_database import INSTALL, database_austenite


def test_without_pycalphad_it_is_said_what_to_install(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setitem(sys.modules, "pycalphad", None)
    with pytest.raises(EstimabilityError) as caught:
        database_austenite(tmp_path / "own.tdb", {"C": 1.0}, [850.0, 900.0])
    assert str(caught.value) == INSTALL
