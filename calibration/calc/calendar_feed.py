"""The due list as a calendar that calendar programs subscribe to (RFC 5545).

Each lane has one all-day event, on its due day, under an identifier that never changes:
when the day moves, the event moves. Trips and the days of other work stand beside them
under identifiers of their own. Folding, escaping and line ends are the library's.
"""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from collections.abc import Iterable

from icalendar import Calendar, Event, vDuration

from calibration.calc.bias_types import day_text
from calibration.calc.due import DueEntry
from installs.calc.upkeep.dated_events import DatedEvent
from wimprog.lib.errors import DomainError

#: How often a program may ask for the feed again (RFC 7986, section 5.7).
REFRESH_EVERY = dt.timedelta(hours=12)


def calendar_bytes(
    entries: Iterable[DueEntry],
    *,
    agency: str,
    now: dt.datetime,
    others: Iterable[DatedEvent] = (),
) -> bytes:
    """The due list as an iCalendar object.

    Parameters
    ----------
    entries
        From :func:`calibration.calc.due.due_list`.
    agency
        The agency's name; part of the events' identifiers, so a change of it makes
        new events.
    now
        The moment that the feed is made, with its time zone.
    others
        Days of work, trips and preventive work, which stand beside the due list.

    Returns
    -------
    bytes
        UTF-8, lines ended by CR LF and folded at 75 octets.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When ``now`` has no time zone, or two entries (or other events) share a key.

    References
    ----------
    RFC 5545 (iCalendar), sections 3.1, 3.6.1 and 3.8; RFC 7986, sections 5.1 and 5.7.
    """
    if now.tzinfo is None:
        raise DomainError("The moment of a calendar feed needs its time zone.")
    calendar = Calendar()
    calendar.add("prodid", "-//wimprog//calibration due list//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    others = list(others)
    what = "calibration and upkeep" if others else "calibration"
    calendar.add("name", f"{agency}: {what} of weighing lanes")
    calendar.add("refresh-interval", vDuration(REFRESH_EVERY))
    stamp = now.astimezone(dt.UTC).replace(microsecond=0)
    seen: set[str] = set()
    for entry in entries:
        if entry.key in seen:
            raise DomainError(f"Two entries of the due list share the key {entry.key}.")
        seen.add(entry.key)
        calendar.add_component(_event(entry, agency, stamp))
    for other in others:
        uid = f"{other.key}@{_agency_mark(agency)}.wimprog"
        if uid in seen:
            raise DomainError(f"Two events of the feed share the key {other.key}.")
        seen.add(uid)
        calendar.add_component(_other(other, uid, stamp))
    return bytes(calendar.to_ical())


def event_uid(key: str, agency: str) -> str:
    """The identifier of a lane's event, the same from feed to feed.

    >>> event_uid("12", "Orrin Valley Roads Agency")
    'calibration-12@orrin-valley-roads-agency.wimprog'
    """
    return f"calibration-{key}@{_agency_mark(agency)}.wimprog"


def _agency_mark(agency: str) -> str:
    plain = unicodedata.normalize("NFKD", agency).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-") or "agency"


def _other(one: DatedEvent, uid: str, stamp: dt.datetime) -> Event:
    event = Event()
    event.add("uid", uid)
    event.add("dtstamp", stamp)
    event.add("dtstart", one.from_on)
    event.add("dtend", one.to_on + dt.timedelta(days=1))
    event.add("summary", one.summary)
    if one.description:
        event.add("description", one.description)
    event.add("categories", [one.category])
    event.add("transp", "TRANSPARENT")
    if one.is_off:
        event.add("status", "CANCELLED")
    return event


def _event(entry: DueEntry, agency: str, stamp: dt.datetime) -> Event:
    event = Event()
    event.add("uid", event_uid(entry.key, agency))
    event.add("dtstamp", stamp)
    event.add("dtstart", entry.due_on)
    event.add("dtend", entry.due_on + dt.timedelta(days=1))
    event.add("summary", f"Calibrate {entry.name} ({entry.reason})")
    sensible = (
        f"From {day_text(entry.from_on)} to {day_text(entry.due_on)}"
        if entry.from_on < entry.due_on
        else f"By {day_text(entry.due_on)}"
    )
    event.add("description", f"{sensible}.\n{entry.sentence}")
    event.add("categories", ["calibration", str(entry.state)])
    event.add("transp", "TRANSPARENT")
    return event
