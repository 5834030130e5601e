"""Dates as programs count them."""

from __future__ import annotations

import calendar
import datetime as dt


def add_months(day: dt.date, months: int) -> dt.date:
    """The same day ``months`` later, or that month's last day where there is none.

    >>> add_months(dt.date(2031, 1, 31), 1)
    datetime.date(2031, 2, 28)
    """
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    month += 1
    return dt.date(year, month, min(day.day, calendar.monthrange(year, month)[1]))
