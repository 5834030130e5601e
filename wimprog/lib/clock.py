"""The one clock. The demo, and anyone who reprints a report, can hold it still."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

from django.conf import settings


def now() -> dt.datetime:
    """This instant in UTC (the held day's noon when the clock is held)."""
    if settings.AS_OF:
        day = dt.date.fromisoformat(settings.AS_OF)
        return dt.datetime.combine(day, dt.time(12), tzinfo=dt.UTC)
    return dt.datetime.now(dt.UTC)


def today(time_zone: str = "UTC") -> dt.date:
    """Today's date in ``time_zone``; the held day when the clock is held."""
    if settings.AS_OF:
        return dt.date.fromisoformat(settings.AS_OF)
    return dt.datetime.now(ZoneInfo(time_zone)).date()
