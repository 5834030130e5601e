"""Days that a file's name speaks of, held against the days of its records.

A name is only ever a hint: all readings that make a day or a month are tried, and it
disagrees only when no reading touches the records' days. Years of two digits may agree,
never disagree: six digits are as likely a station's number.
"""

from __future__ import annotations

import calendar
import datetime as dt
import re
from dataclasses import dataclass

FIRST_YEAR, LAST_YEAR = 1980, 2079
_GROUPED = re.compile(r"(?<!\d)(\d{4})[-_. ](\d{1,2})(?:[-_. ](\d{1,2}))?(?!\d)")
_GROUPED_LAST = re.compile(r"(?<!\d)(\d{1,2})[-_. ](\d{1,2})[-_. ](\d{4}|\d{2})(?!\d)")
_DIGITS = re.compile(r"(?<!\d)(\d{8}|\d{6})(?!\d)")
_NAMED = re.compile(
    r"(?i)(?<![a-z])(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*"
    r"[-_. ]?(\d{4})(?!\d)"
)
_MONTHS = {name.lower(): k for k, name in enumerate(calendar.month_abbr) if name}


@dataclass(frozen=True)
class NamedDays:
    """Days that a name speaks of, both included, and the words that it says them in.

    ``is_sure`` where the year has four digits.
    """

    first_on: dt.date
    last_on: dt.date
    words: str
    is_sure: bool


def named_days(name: str) -> tuple[NamedDays, ...]:
    """Every reading of a file's name as a day or a month.

    ``name`` is the name alone, with or without its endings.

    >>> [str(days.first_on) for days in named_days("OV-001_2031-05.wgt")]
    ['2031-05-01']
    """
    found: dict[tuple[dt.date, dt.date], NamedDays] = {}

    def note(words: str, year_text: str, month: int, day: int | None) -> None:
        year, is_sure = int(year_text), len(year_text) == 4
        if not is_sure:
            year += 2000 if year < FIRST_YEAR % 100 else 1900
        if not (FIRST_YEAR <= year <= LAST_YEAR and 1 <= month <= 12):
            return
        days_in_month = calendar.monthrange(year, month)[1]
        if day is not None and not 1 <= day <= days_in_month:
            return
        first = dt.date(year, month, day or 1)
        last = dt.date(year, month, day or days_in_month)
        found.setdefault((first, last), NamedDays(first, last, words, is_sure))

    for match in _GROUPED.finditer(name):
        year, month, day = match.groups()
        note(match[0], year, int(month), int(day) if day else None)
    for match in _GROUPED_LAST.finditer(name):
        a, b = int(match[1]), int(match[2])
        note(match[0], match[3], a, b)
        note(match[0], match[3], b, a)
    for match in _NAMED.finditer(name):
        note(match[0], match[2], _MONTHS[match[1].lower()], None)
    for match in _DIGITS.finditer(name):
        text = match[0]
        if len(text) == 8:
            note(text, text[:4], int(text[4:6]), int(text[6:]))
            note(text, text[4:], int(text[:2]), int(text[2:4]))
            note(text, text[4:], int(text[2:4]), int(text[:2]))
        else:
            note(text, text[:4], int(text[4:]), None)
            note(text, text[4:], int(text[:2]), int(text[2:4]))
            note(text, text[:2], int(text[2:4]), int(text[4:]))
    return tuple(found.values())


def name_disagrees(name: str, first_on: dt.date, last_on: dt.date) -> NamedDays | None:
    """What a file's name says when it disagrees with its records; None when it agrees.

    Parameters
    ----------
    first_on, last_on
        First and last day of the records.

    Returns
    -------
    The sure reading nearest to the records, when there is one and no reading at all
    touches the records' days; else None.
    """
    readings = named_days(name)
    sure = [days for days in readings if days.is_sure]
    if not sure or any(
        days.first_on <= last_on and days.last_on >= first_on for days in readings
    ):
        return None

    def distance(days: NamedDays) -> int:
        return max((days.first_on - last_on).days, (first_on - days.last_on).days)

    return min(sure, key=distance)
