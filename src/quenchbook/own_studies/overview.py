"""What a library holds in words and three tables: what is left out, noise, means by route."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from quenchbook.own_studies.noise import StudyNoise
from quenchbook.own_studies.studies import OwnStudies
from quenchbook.study.factors import ROUTE_WORDS
from quenchbook.units import number_text

if TYPE_CHECKING:
    import pandas as pd

ROUTE: Final = "cold_route"

_NOT_CAUSES: Final = (
    "Each study counts once, by the mean of its coupons; the limits are those of the mean of "
    "studies. Studies differ in more than the route, so a difference between two rows is no effect "
    "of the route: that is asked inside a study, or with lot_means."
)


@dataclass(frozen=True, eq=False, repr=False)
class LibraryOverview:
    """Finding first: how many studies and coupons, what was left out, noise, means by route.

    Attributes
    ----------
    studies : OwnStudies
    noise : StudyNoise
    means : DataFrame
        ``response, unit, cold_route, studies, coupons, estimate, std_error, conf_low, conf_high``.
    """

    studies: OwnStudies
    noise: StudyNoise
    means: pd.DataFrame

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of the means by route."""
        return self.means.copy()

    def summary(self) -> str:
        """The finding, what was left out, and the tables in words."""
        lines = [self._finding(), *self._left_out(), *self.studies.notes]
        lines += ["", "Noise of one unit, pooled over studies (for planning):"]
        lines.append(self.noise.summary())
        lines += ["", "Means by route:"]
        for row in self.means.to_dict("records"):
            digits = 1 if row["unit"] == "J" else 2
            limits = "limits not known from one study"
            if row["conf_low"] == row["conf_low"]:
                low, high = (number_text(row[name], digits) for name in ("conf_low", "conf_high"))
                limits = f"{low} to {high}"
            lines.append(
                f"{row['response']}, {_route_words(row[ROUTE])}: "
                f"{number_text(row['estimate'], digits)} {row['unit']}".rstrip()
                + f" ({limits}; {row['coupons']} coupons, {_counted(row['studies'])})"
            )
        return "\n".join([*lines, _NOT_CAUSES])

    def _finding(self) -> str:
        table = self.studies.table
        coupons = len(table.drop_duplicates(["study", "coupon"]))
        asked = f" with {', '.join(self.studies.filters)}" if self.studies.filters else ""
        steels = [str(own) for own in table["steel"].unique() if own]
        shown = ", ".join(steels[:8]) + (f" and {len(steels) - 8} more" if len(steels) > 8 else "")
        count = _counted(table["study"].nunique())
        return f"{count}{asked}: {coupons} coupons" + (f" of {shown}." if shown else ".")

    def _left_out(self) -> list[str]:
        unread = self.studies.unread
        if not unread:
            return ["No study was left out."]
        lines = [f"Left out, for it could not be read: {_counted(len(unread))}."]
        return [*lines, *(f"  {own.folder.name}: {own.reason}" for own in unread)]

    def __repr__(self) -> str:
        return f"<LibraryOverview: {self._finding()}>"

    def _repr_html_(self) -> str:
        from html import escape

        words = [self._finding(), *self._left_out(), *self.studies.notes]
        head = "".join(f"<p>{escape(line.strip())}</p>" for line in words)
        means = self.means.round(3).to_html(index=False, border=0, na_rep="not known")
        return (
            f"{head}<details><summary>Noise</summary>{self.noise._repr_html_()}</details>"
            f"<details open><summary>Means by route</summary>{means}"
            f"<p>{escape(_NOT_CAUSES)}</p></details>"
        )


def library_overview(
    studies: OwnStudies, *, responses: Sequence[str] = (), confidence: float = 0.95
) -> LibraryOverview:
    """What a library, or a part of it, holds.

    Parameters
    ----------
    studies : OwnStudies
        From `read_studies`, filtered by `OwnStudies.where` if wanted.
    responses : sequence of str
        Only these; all if empty.
    confidence : float

    Returns
    -------
    LibraryOverview
    """
    if responses:
        studies = studies.where(response=list(responses))
    return LibraryOverview(
        studies, studies.noise(confidence=confidence), route_means(studies, confidence=confidence)
    )


def route_means(studies: OwnStudies, *, confidence: float = 0.95) -> pd.DataFrame:
    """Means of each response by cold route: each study counts once.

    Parameters
    ----------
    studies : OwnStudies
    confidence : float

    Returns
    -------
    DataFrame
        ``response, unit, cold_route, studies, coupons, estimate, std_error, conf_low, conf_high``;
        `cold_route` is blank where a study does not vary it, the limits where one study is all.
    """
    import numpy as np

    from quenchbook.fit.inversion import t_limit

    table = studies.table
    route = table[ROUTE] if ROUTE in table else table["study"].map(lambda _: "")
    keyed = table.assign(**{ROUTE: route.fillna("")})
    groups = ["response", "unit", ROUTE]
    own = keyed.groupby([*groups, "study"], sort=False)["value"].agg(["mean", "count"])
    found = own.groupby(level=groups, sort=False).agg(
        studies=("mean", "size"), coupons=("count", "sum"), estimate=("mean", "mean"),
        spread=("mean", "std"),
    )  # fmt: skip
    found["std_error"] = found["spread"] / np.sqrt(found["studies"])
    df = (found["studies"] - 1).clip(lower=1).to_numpy(dtype=float)
    half = np.array([float(t_limit(own, confidence)) for own in df]) * found["std_error"]
    found["conf_low"], found["conf_high"] = found["estimate"] - half, found["estimate"] + half
    return found.drop(columns="spread").reset_index()


def _counted(count: int) -> str:
    return f"{count} {'study' if count == 1 else 'studies'}"


def _route_words(route: str) -> str:
    return ROUTE_WORDS.get(route, route.replace("_", " ")) if route else "route not varied"
