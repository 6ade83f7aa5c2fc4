"""Working hours and times at the bench: what a timetable is made from."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TypeVar

from quenchbook.errors import Problem, StudyError
from quenchbook.study.factors import route_key
from quenchbook.study.rest_days import WEEKDAYS, rest_days_of
from quenchbook.study.usual_times import BATHS, OTHER_BATH

_OPEN, _CLOSE = 480, 1200
_Told = TypeVar("_Told")


def _told(table: Mapping[str, _Told], route: str, usual: _Told) -> _Told:
    """What is told of a route, however its name is written there."""
    if route in table:
        return table[route]
    return next((own for name, own in table.items() if route_key(name) == route_key(route)), usual)


@dataclass(frozen=True)
class WorkHours:
    """When one person is at work, and how long each step takes.

    Attributes
    ----------
    first_day : date or None
        Date of the first day of work; None: days are numbered only.
    opens, closes : int
        Working hours [min after midnight], the same on every day of work.
    rest_weekdays : tuple of str
        Weekdays without work: ``("Sat", "Sun")``. They need the first day, else they are not kept.
    rest_dates : tuple of date
        Dates without work.
    search : bool
        Whether a timetable is looked for that misses less than the one by earliest start.
    heating_per_hour, cooling_per_hour : float
        Speed of the furnace [degC for each hour].
    between_loads : float or None
        Time from one load to the next in place of the two speeds [min].
    switch_on, recovery, loading, coupon_heating, quench_coupon, transfer, take_out : float
        Times at furnace and bath [min], see `TIMES`.
    soak, cold_time, temper_time : float
        What is held constant, for studies that do not vary it [min].
    delay_tolerance, delay_tolerance_percent : float
        A delay may be missed by the larger of the two [min], [per cent].
    cold_at_most : float
        Longest stay in the cold over the planned one.
    bath_capacity : mapping of route to int
        Coupons in a bath or freezer at once.
    bath_cooling : mapping of route to float
        Time until coupons are as cold as the bath; their time in the cold counts from then [min].
    temper_in : str
        ``oven``: tempers have an oven of their own; ``furnace``: they wait for the furnace.
    temper_loading, temper_heating, temper_cooling : float
        Times of a temper [min], see `TIMES`.
    assumed : tuple of str
        What the study does not tell, in words: the defaults here, assumed, common practice, no
        source.
    """

    first_day: datetime.date | None = None
    opens: int = _OPEN
    closes: int = _CLOSE
    rest_weekdays: tuple[str, ...] = ()
    rest_dates: tuple[datetime.date, ...] = ()
    search: bool = False
    heating_per_hour: float = 600.0
    cooling_per_hour: float = 300.0
    between_loads: float | None = None
    switch_on: float = 5.0
    recovery: float = 10.0
    loading: float = 2.0
    coupon_heating: float = 5.0
    quench_coupon: float = 0.5
    transfer: float = 2.0
    take_out: float = 2.0
    soak: float = 20.0
    cold_time: float = 60.0
    temper_time: float = 120.0
    delay_tolerance: float = 5.0
    delay_tolerance_percent: float = 5.0
    cold_at_most: float = 1.3
    bath_capacity: Mapping[str, int] = field(default_factory=dict)
    bath_cooling: Mapping[str, float] = field(default_factory=dict)
    temper_in: str = "oven"
    temper_loading: float = 3.0
    temper_heating: float = 30.0
    temper_cooling: float = 30.0
    assumed: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        _, remedy = rest_days_of([*self.rest_weekdays, *self.rest_dates])
        if remedy:
            raise StudyError(Problem("rest_weekdays", f"{self.rest_weekdays} is told", remedy))

    def tolerance(self, delay: float) -> float:
        """How far a delay may be missed [min].

        >>> WorkHours().tolerance(0), WorkHours().tolerance(1440)
        (5.0, 72.0)
        """
        return max(self.delay_tolerance, delay * self.delay_tolerance_percent / 100)

    def capacity(self, route: str) -> int:
        """Coupons that fit into the cold of a route at once."""
        return _told(self.bath_capacity, route, BATHS.get(route_key(route), OTHER_BATH)[0])

    def cooling(self, route: str) -> float:
        """Time until coupons are as cold as the bath of a route [min]."""
        return _told(self.bath_cooling, route, BATHS.get(route_key(route), OTHER_BATH)[1])

    def date(self, day: int) -> datetime.date | None:
        """Date of a day of work, the first is 1; None if the first day is not told."""
        if self.first_day is None:
            return None
        try:
            return self.first_day + datetime.timedelta(days=day - 1)
        except OverflowError:
            raise StudyError(
                Problem(
                    "first_day",
                    f"{self.first_day} is told, and day {day} of work has no date in the calendar",
                    "Write a first day between the years 1900 and 9000: first_day = 2026-10-05.",
                )
            ) from None

    def rests(self, day: int) -> bool:
        """Whether nobody works on a day, the first is 1.

        >>> saturday = datetime.date(2026, 10, 10)
        >>> WorkHours(saturday, rest_weekdays=("Sun",)).rests(2)
        True
        """
        if not self.rest_weekdays and not self.rest_dates:
            return False
        date = self.date(day)
        if date is None:
            return False
        return WEEKDAYS[date.weekday()] in self.rest_weekdays or date in self.rest_dates

    @property
    def rest_words(self) -> str:
        """Days without work in print: ``Sat, Sun, 2026-12-24``; empty if there are none."""
        return ", ".join([*self.rest_weekdays, *(date.isoformat() for date in self.rest_dates)])
