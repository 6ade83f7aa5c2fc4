"""Whether a verdict rests on one furnace load: the finding without each, one after the other."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from quenchbook.errors import EstimabilityError, with_suggestion
from quenchbook.findings.verdicts import Finding, finding
from quenchbook.fit.diagnostics import without
from quenchbook.fit.means import MarginalMeans
from quenchbook.shown import Shown, ShowsItself
from quenchbook.units import listed

if TYPE_CHECKING:
    import pandas as pd

Unit = int | str


@dataclass(frozen=True, eq=False, repr=False)
class VerdictsWithout(ShowsItself):
    """One finding, and what it would be without each unit.

    Attributes
    ----------
    whole : Finding
        With all units.
    unit : str
        What was left out, one after the other.
    left_out : dict of int or str to Finding
        By the number or the name of the unit.
    not_estimable : tuple
        Units without which the difference cannot be estimated.
    """

    whole: Finding
    unit: str
    left_out: dict[Unit, Finding]
    not_estimable: tuple[Unit, ...] = ()

    def turned(self) -> dict[Unit, Finding]:
        """Units without which the verdict is another one, with the finding that is left."""
        return {
            number: own
            for number, own in self.left_out.items()
            if own.verdict != self.whole.verdict
        }

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each unit that was left out, at full precision.

        Returns
        -------
        DataFrame
            The unit, ``estimate, conf_low, conf_high, verdict``.
        """
        import pandas as pd

        rows = [
            (number, own.estimate, own.conf_low, own.conf_high, own.verdict)
            for number, own in self.left_out.items()
        ]
        columns = [self.unit, "estimate", "conf_low", "conf_high", "verdict"]
        return pd.DataFrame(rows, columns=columns)

    def shown(self) -> Shown:
        """How often the verdict turns and without which units, then the table."""
        words = self.unit.replace("_", " ")
        turned = self.turned()
        said = f'Whichever {words} is left out, the verdict stays "{self.whole.verdict}".'
        if turned:
            kept = len(self.left_out) - len(turned)
            other = "; ".join(
                f'"{verdict}" without {words} {own}' for verdict, own in _by_verdict(turned).items()
            )
            said = (
                f'The verdict "{self.whole.verdict}" stays in {kept} of {len(self.left_out)} '
                f"cases; it is {other}."
            )
        missing = ", ".join(map(str, self.not_estimable))
        notes = (f"Cannot be estimated without {words} {missing}.",) if missing else ()
        return Shown(
            said, self.to_frame(), notes,
            ("Refitted without one unit at a time; to see what rests on it, never to remove it.",),
            confidence=self.whole.confidence,
            unit="" if self.whole.scale == "log" else self.whole.unit,
        )  # fmt: skip

    def __repr__(self) -> str:
        return f"<VerdictsWithout: {len(self.turned())} of {len(self.left_out)} turn>"


def verdicts_without(
    contrast: MarginalMeans, *, margin: float | None, unit: str = "furnace_load"
) -> VerdictsWithout:
    """Judge one difference again and again, each time without one furnace load.

    Parameters
    ----------
    contrast : MarginalMeans
        One row.
    margin : float or None
        As for `finding`.
    unit : str
        Unit that is left out, one after the other.

    Returns
    -------
    VerdictsWithout

    Raises
    ------
    EstimabilityError
        If `contrast` is not one difference, the margin is not above zero, or the model has no such
        unit.
    """
    model = contrast.model
    whole = finding(contrast, margin=margin)
    if unit not in model.coupons:
        words = f"There is no column {unit}. Units: {', '.join(model.units)}."
        raise EstimabilityError(with_suggestion(words, unit, model.units))
    left_out: dict[Unit, Finding] = {}
    missing: list[Unit] = []
    for label, own in model.coupons.groupby(unit, sort=True):
        text = str(label)
        number = int(text) if text.isdecimal() else text  # batches are named 1-4
        try:
            reduced = without(model, own["coupon"].tolist())
        except EstimabilityError:
            reduced = None
        if reduced is None or reduced.terms.names != model.terms.names:
            missing.append(number)
            continue
        left_out[number] = finding(replace(contrast, model=reduced), margin=margin)
    return VerdictsWithout(whole, unit, left_out, tuple(missing))


def _by_verdict(turned: dict[Unit, Finding]) -> dict[str, str]:
    numbers: dict[str, list[str]] = {}
    for number, own in turned.items():
        numbers.setdefault(own.verdict, []).append(str(number))
    return {verdict: listed(own).replace(" and ", " or ") for verdict, own in numbers.items()}
