"""Days of upkeep as a calendar shows them; the calendar's format is not known here."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from wimprog.lib.errors import DomainError


@dataclass(frozen=True)
class DatedEvent:
    """Something on a day, or from a day to a day.

    Attributes
    ----------
    key
        The same from feed to feed ("trip-3").
    from_on, to_on
        First and last day, both inside.
    summary, description
        For people; the first in a line.
    category
        A word to filter by.
    is_off
        Called off: calendars strike it out.
    """

    key: str
    from_on: dt.date
    to_on: dt.date
    summary: str
    description: str = ""
    category: str = "upkeep"
    is_off: bool = False

    def __post_init__(self) -> None:
        """Refuse an event that ends before it begins."""
        if self.to_on < self.from_on:
            raise DomainError(f"{self.summary} ends before it begins.")
