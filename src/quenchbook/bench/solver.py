"""The constraint solver of OR-Tools (optional): whether it is there, and set to be repeatable."""

from __future__ import annotations

import importlib.util
from typing import Any, Final

INSTALL: Final = 'pip install "quenchbook[timetable]"'
_SEED: Final = 1


def search_installed() -> bool:
    """Whether the solver is installed."""
    return importlib.util.find_spec("ortools") is not None


def solver_of_effort(effort: float) -> Any:
    """Solver that finds the same each time."""
    from ortools.sat.python import cp_model

    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = _SEED
    solver.parameters.max_deterministic_time = effort
    return solver
