"""Days that follow no weekday, and days on which people's clocks are ahead."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np

NOON = 12


def federal_holidays(first_on: dt.date, last_on: dt.date) -> frozenset[np.datetime64]:
    """US federal holidays of a period, both the days themselves and those observed.

    References
    ----------
    5 U.S.C. 6103, as pandas keeps it. State holidays and the days around holidays are
    not among them.
    """
    return frozenset(
        day
        for year in range(first_on.year, last_on.year + 1)
        for day in _holidays_of(year)
        if np.datetime64(first_on) <= day <= np.datetime64(last_on)
    )


@lru_cache(maxsize=64)
def _holidays_of(year: int) -> tuple[np.datetime64, ...]:
    from pandas.tseries.holiday import Holiday, USFederalHolidayCalendar

    first, last = f"{year}-01-01", f"{year}-12-31"
    observed = USFederalHolidayCalendar().holidays(first, last)
    fixed = [
        Holiday(rule.name, month=rule.month, day=rule.day).dates(first, last)
        for rule in USFederalHolidayCalendar.rules
        if rule.observance is not None
        and (rule.start_date is None or rule.start_date.year <= year)
    ]
    days = [day for dates in (observed, *fixed) for day in dates]
    return tuple(sorted({np.datetime64(day.date(), "D") for day in days}))


def clocks_ahead_h(time_zone: str) -> Callable[[np.ndarray], np.ndarray] | None:
    """Hours that people's clocks are ahead of standard time on the days it is given.

    ``time_zone`` is an IANA name; None, nothing known, where it names none. Records
    are in standard time; a day that changes counts as what it is at noon.
    """
    try:
        zone = ZoneInfo(time_zone)
    except (KeyError, ValueError, OSError):
        return None

    def ahead(days: np.ndarray) -> np.ndarray:
        hours = [_ahead(zone, day) for day in np.asarray(days).astype(object)]
        return np.array(hours, dtype=np.int64)

    return ahead


def _ahead(zone: ZoneInfo, day: dt.date) -> int:
    noon = dt.datetime(day.year, day.month, day.day, NOON, tzinfo=zone)
    saved = noon.dst()
    return round(saved.total_seconds() / 3600) if saved else 0
