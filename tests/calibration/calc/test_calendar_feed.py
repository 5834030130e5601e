"""The calendar feed, read back by the library's own reader and by hand."""

import datetime as dt
from dataclasses import replace

import icalendar
import pytest

from calibration.calc.due import DueEntry, DueReason, DueState
from wimprog.lib.errors import DomainError

NOW = dt.datetime(
    2032, 6, 1, 9, 30, 15, 123, tzinfo=dt.timezone(dt.timedelta(hours=-6))
)
AGENCY = "Orrin Valley Roads Agency"
ENTRY = DueEntry(
    key="12",
    name="OV-001 lane 1, northbound; outer",
    from_on=dt.date(2032, 6, 2),
    due_on=dt.date(2032, 7, 13),
    reason=DueReason.BIAS,
    state=DueState.DUE_SOON,
    chance_out=0.18,
    sentence="The chance of a bias beyond ±5 % reaches 20 % on 13 Jul 2032. " * 3,
)


def feed(*entries, agency=AGENCY, now=NOW):
    from calibration.calc.calendar_feed import calendar_bytes

    return calendar_bytes(entries, agency=agency, now=now)


def events(raw):
    return icalendar.Calendar.from_ical(raw).walk("VEVENT")


def test_it_reads_back_as_it_was():
    other = replace(ENTRY, key="13", name="OV-002 lane 1", due_on=dt.date(2032, 12, 31))
    first, second = events(feed(ENTRY, other))
    assert first["dtstart"].dt == dt.date(2032, 7, 13)
    assert first["dtend"].dt == dt.date(2032, 7, 14)
    assert second["dtend"].dt == dt.date(2033, 1, 1)
    assert first["dtstamp"].dt == dt.datetime(2032, 6, 1, 15, 30, 15, tzinfo=dt.UTC)
    assert first["summary"] == (
        "Calibrate OV-001 lane 1, northbound; outer (bias may be out of tolerance)"
    )
    assert first["description"] == (
        f"From 2 Jun 2032 to 13 Jul 2032.\n{ENTRY.sentence}"
    )
    assert first["transp"] == "TRANSPARENT"


def test_lines_are_as_rfc_5545_asks():
    """Sections 3.1 (CR LF, at most 75 octets a line, whole characters), 3.3.11
    (commas, semicolons and line ends escaped in text), 3.8.2.4 (all-day dates)."""
    raw = feed(ENTRY)
    assert raw.startswith(b"BEGIN:VCALENDAR\r\n")
    assert raw.endswith(b"END:VCALENDAR\r\n")
    lines = raw.split(b"\r\n")
    assert b"\n" not in b"".join(lines)
    assert max(len(line) for line in lines) <= 75
    for line in lines:
        line.decode()  # no character is cut in two
    whole = raw.replace(b"\r\n ", b"").decode()
    assert "DTSTART;VALUE=DATE:20320713\r\n" in whole
    assert r"OV-001 lane 1\, northbound\; outer" in whole
    assert r"13 Jul 2032.\nThe chance" in whole
    for needed in ("VERSION:2.0", "PRODID:-//wimprog//", "METHOD:PUBLISH"):
        assert needed in whole


def test_a_name_cannot_smuggle_in_a_line():
    sly = replace(ENTRY, name="lane\r\nATTENDEE:mailto:someone@example.org")
    (event,) = events(feed(sly))
    assert "attendee" not in event


def test_an_event_keeps_its_identifier_when_its_day_moves():
    moved = replace(ENTRY, due_on=dt.date(2032, 9, 1), state=DueState.LATER)
    later = NOW + dt.timedelta(days=40)
    (before,), (after,) = events(feed(ENTRY)), events(feed(moved, now=later))
    assert before["uid"] == after["uid"]
    assert before["uid"] == "calibration-12@orrin-valley-roads-agency.wimprog"
    (elsewhere,) = events(feed(ENTRY, agency="Ærø Vejvæsen"))
    assert elsewhere["uid"] != before["uid"]


def test_an_empty_list_is_a_calendar_all_the_same():
    assert events(feed()) == []


def test_what_cannot_be():
    with pytest.raises(DomainError, match="time zone"):
        feed(ENTRY, now=dt.datetime(2032, 6, 1))  # noqa: DTZ001
    with pytest.raises(DomainError, match="share the key 12"):
        feed(ENTRY, ENTRY)
