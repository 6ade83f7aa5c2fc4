"""Nonlinear least squares against the certified values of NIST StRD (nist_strd/PROVENANCE.toml)."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from tests.conftest import REFERENCE

from quenchbook.errors import EstimabilityError
from quenchbook.fit.nonlinear import nonlinear_fit

Function = Callable[[Any, Any], Any]
FOLDER = REFERENCE / "nist_strd"


def three_waves(b: Any, x: Any) -> Any:
    wave = b[0] + b[1] * np.cos(2 * np.pi * x / 12) + b[2] * np.sin(2 * np.pi * x / 12)
    for period, cosine, sine in ((3, 4, 5), (6, 7, 8)):
        turn = 2 * np.pi * x / b[period]
        wave = wave + b[cosine] * np.cos(turn) + b[sine] * np.sin(turn)
    return wave


def two_bells(b: Any, x: Any) -> Any:
    bells = b[2] * np.exp(-(((x - b[3]) / b[4]) ** 2)) + b[5] * np.exp(-(((x - b[6]) / b[7]) ** 2))
    return b[0] * np.exp(-b[1] * x) + bells


def three_decays(b: Any, x: Any) -> Any:
    return b[0] * np.exp(-b[1] * x) + b[2] * np.exp(-b[3] * x) + b[4] * np.exp(-b[5] * x)


def cubic_ratio(b: Any, x: Any) -> Any:
    above = b[0] + b[1] * x + b[2] * x**2 + b[3] * x**3
    return above / (1 + b[4] * x + b[5] * x**2 + b[6] * x**3)


FUNCTIONS: dict[str, Function] = {
    "BoxBOD": lambda b, x: b[0] * (1 - np.exp(-b[1] * x)),
    "Chwirut2": lambda b, x: np.exp(-b[0] * x) / (b[1] + b[2] * x),
    "DanWood": lambda b, x: b[0] * x ** b[1],
    "ENSO": three_waves,
    "Gauss1": two_bells,
    "Gauss2": two_bells,
    "Gauss3": two_bells,
    "Hahn1": cubic_ratio,
    "Lanczos1": three_decays,
    "Lanczos2": three_decays,
    "Lanczos3": three_decays,
    "MGH10": lambda b, x: b[0] * np.exp(b[1] / (x + b[2])),
    "MGH17": lambda b, x: b[0] + b[1] * np.exp(-x * b[3]) + b[2] * np.exp(-x * b[4]),
    "Misra1a": lambda b, x: b[0] * (1 - np.exp(-b[1] * x)),
    "Misra1b": lambda b, x: b[0] * (1 - (1 + b[1] * x / 2) ** -2),
    "Misra1c": lambda b, x: b[0] * (1 - (1 + 2 * b[1] * x) ** -0.5),
    "Nelson": lambda b, x: b[0] - b[1] * x[0] * np.exp(-b[2] * x[1]),
    "Rat42": lambda b, x: b[0] / (1 + np.exp(b[1] - b[2] * x)),
}


def read_set(name: str) -> tuple[Any, Any, Any, float]:
    """Starts and certified values, x, y, residual sd of one set."""
    lines = (FOLDER / f"{name}.dat").read_text(encoding="ascii").splitlines()
    numbers = [
        [float(word) for word in line.partition("=")[2].split()]
        for line in lines[:60]
        if re.match(r"\s*b\d+\s*=", line)
    ]
    sd = next(line for line in lines if line.startswith("Residual Standard Deviation"))
    begin = max(place for place, line in enumerate(lines) if line.startswith("Data:")) + 1
    data = np.array([[float(x) for x in line.split()] for line in lines[begin:] if line.strip()])
    y = np.log(data[:, 0]) if name == "Nelson" else data[:, 0]
    x = data[:, 1] if data.shape[1] == 2 else data[:, 1:].T
    return np.array(numbers), x, y, float(sd.rpartition(":")[2])


def digits(found: Any, certified: Any) -> float:
    """Fewest digits in which any number agrees."""
    return float(-np.log10(np.max(np.abs(found / certified - 1)) + 1e-16))


@pytest.mark.parametrize("start", [0, 1], ids=["first start", "second start"])
@pytest.mark.parametrize("name", sorted(FUNCTIONS))
def test_certified_parameters_and_their_errors_are_reached(name: str, start: int) -> None:
    table, x, y, sd = read_set(name)
    fit = nonlinear_fit(lambda b: FUNCTIONS[name](b, x), y, table[:, start].tolist())
    found = digits(fit.estimate, table[:, 2])
    errors = digits(fit.std_error, table[:, 3])
    print(f"{name} from start {start + 1}: {found:.1f} digits, standard errors {errors:.1f}")
    assert found >= 6.0
    if name == "Lanczos1":  # residuals of 1e-14 in doubles of 1e-16: their sd has no digits left
        assert fit.sd < 1e-12
        return
    assert errors >= 5.0
    assert fit.sd == pytest.approx(sd, rel=1e-7)


def test_a_given_jacobian_leads_to_the_same_answer() -> None:
    table, x, y, _ = read_set("Misra1a")

    def jacobian(b: Any) -> Any:
        return np.column_stack([1 - np.exp(-b[1] * x), b[0] * x * np.exp(-b[1] * x)])

    fit = nonlinear_fit(
        lambda b: FUNCTIONS["Misra1a"](b, x), y, table[:, 0].tolist(), jacobian=jacobian
    )
    assert digits(fit.estimate, table[:, 2]) >= 8.0


def test_parameters_that_cannot_be_told_apart_are_refused() -> None:
    x = np.linspace(0.0, 1.0, 9)
    with pytest.raises(EstimabilityError, match="tell the parameters apart"):
        nonlinear_fit(lambda b: (b[0] + b[1]) * x, 2 * x + 0.1 * x**2, [0.5, 0.5])


def test_too_few_values_are_refused() -> None:
    with pytest.raises(EstimabilityError, match="At least 3 are needed"):
        nonlinear_fit(lambda b: b[0] * np.array([1.0, b[1]]), [1.0, 2.0], [1.0, 1.0])


def test_a_start_without_numbers_is_refused() -> None:
    x = np.linspace(1.0, 2.0, 5)
    with pytest.raises(EstimabilityError, match="no numbers at the start"):
        nonlinear_fit(lambda b: np.log(b[0] * x), x, [-1.0])
