"""What a library holds in words and three tables: what is left out, noise, means by route."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from quenchbook.own_studies.coupon_table import response_words
from quenchbook.own_studies.noise import StudyNoise
from quenchbook.own_studies.studies import OwnStudies
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.factors import ROUTE_WORDS
from quenchbook.written_table import joined

if TYPE_CHECKING:
    import pandas as pd

ROUTE: Final = "cold_route"

_NOT_CAUSES: Final = (
    "Each study counts once, by the mean of its coupons; the limits are those of the mean of "
    "studies. Studies differ in more than the route, so a difference between two rows is no effect "
    "of the route: that is asked inside a study, or with lot_means."
)


_MOST_STEELS: Final = 8
_ONE_STUDY: Final = "Where one study is all, limits of the mean of studies are not known."


@dataclass(frozen=True, eq=False, repr=False)
class LibraryOverview(ShowsItself):
    """Finding first: how many studies and coupons, what was left out, noise, means by route.

    Attributes
    ----------
    studies : OwnStudies
    noise : StudyNoise
    means : DataFrame
        ``response, unit, cold_route, studies, coupons, estimate, std_error, conf_low, conf_high``.
    confidence : float
        Of the limits.
    """

    studies: OwnStudies
    noise: StudyNoise
    means: pd.DataFrame
    confidence: float = 0.95

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of the means by route."""
        return self.means.copy()

    def shown(self) -> Shown:
        """How much there is, then the means by route, what was left out, and the noise."""
        means = self.means.assign(**{ROUTE: self.means[ROUTE].map(_route_words)})
        means["response"] = response_words(means)
        alone = [_ONE_STUDY] if (means["studies"] == 1).any() else []
        return Shown(
            self._finding(),
            means,
            (*self._left_out(), *self.studies.notes, *alone, _NOT_CAUSES),
            listings=self.listings(),
            confidence=self.confidence,
        )

    def listings(self) -> Mapping[str, pd.DataFrame]:
        """Noise of each unit, for planning."""
        noise = self.noise.shown().table
        return {} if noise is None else {"Noise of one unit, pooled over studies": noise}

    def summary(self) -> str:
        """The finding, means by route and what was left out; then the noise, for planning."""
        return joined([self.shown().text(), self.noise.summary()])

    def _finding(self) -> str:
        table = self.studies.table
        coupons = len(table.drop_duplicates(["study", "coupon"]))
        asked = f" with {', '.join(self.studies.filters)}" if self.studies.filters else ""
        count = _counted(table["study"].nunique())
        found = f"{count}{asked}: {coupons} coupons{self._steels(coupons)}."
        unread = self.studies.unread
        early = sum(own.has_no_records for own in unread)
        parts = [f"{_counted(early)} left out: no records yet."] if early else []
        if left := len(unread) - early:
            parts.append(f"{_counted(left)} left out: could not be read.")
        return " ".join([found, *parts])

    def _steels(self, coupons: int) -> str:
        """How many of the coupons are of which steel, where it is told."""
        own = self.studies.table.drop_duplicates(["study", "coupon"])
        counts = own.loc[own["steel"].fillna("") != "", "steel"].value_counts()
        if not len(counts):
            return ", of no named steel"
        if len(counts) == 1 and int(counts.iloc[0]) == coupons:
            return f" of {counts.index[0]}"
        named = [f"{number} of {steel}" for steel, number in counts.items()][:_MOST_STEELS]
        rest = coupons - int(counts.iloc[:_MOST_STEELS].sum())
        unnamed = coupons - int(counts.sum())
        if rest:
            named.append(f"{rest} of no named steel" if rest == unnamed else f"{rest} of others")
        return f", {', '.join(named)}"

    def _left_out(self) -> list[str]:
        unread = self.studies.unread
        if not unread:
            return ["No study was left out."]
        return [
            f"Left out: {own.folder.name}. "
            + ("It has no records yet." if own.has_no_records else own.reason)
            for own in unread
        ]

    def __repr__(self) -> str:
        return f"<LibraryOverview: {self._finding()}>"


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
        studies,
        studies.noise(confidence=confidence),
        route_means(studies, confidence=confidence),
        confidence,
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
