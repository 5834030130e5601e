"""The e-mail digest: what is new, due, overdue and down, and what waits."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.contrib.auth import get_user_model
from django.contrib.auth.models import Group
from django.core.mail import EmailMultiAlternatives
from django.core.validators import validate_email
from django.forms import ValidationError
from django.template.loader import render_to_string

from calibration import selectors as calibration_reads
from calibration.calc.due import DueState
from installs.calc.upkeep.types import SendState, Urgency
from installs.models import DownSpell, RoadsideSend
from installs.selectors.work import WorkRow, open_work
from sites.models import Program
from wimprog.lib import clock
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Condition
from wimprog.selectors import LaneHealth, program_health

#: Lines told of one kind; the rest is a number and the way to the page.
MOST_LINES = 15
DUE_DAYS = 14


@dataclass(frozen=True)
class DigestPart:
    """One heading of the digest, with its lines and how many there are in all."""

    heading: str
    lines: tuple[tuple[str, str], ...]
    page: str
    n: int

    @property
    def n_more(self) -> int:
        """Lines that are left out."""
        return self.n - len(self.lines)


@dataclass(frozen=True)
class Digest:
    """What a digest says on a day; nothing to say when it has no parts."""

    agency: str
    as_of: dt.date
    since: dt.date
    parts: tuple[DigestPart, ...]
    counts: dict[Urgency, int]
    is_weekly: bool
    address: str

    @property
    def subject(self) -> str:
        """In a line, the most pressing first."""
        said = ", ".join(f"{one.n} {one.heading.lower()}" for one in self.parts)
        return f"WIM {self.as_of}: {said or 'nothing to tell'}"


def _part(
    heading: str, rows: Sequence[tuple[str, str]], page: str
) -> DigestPart | None:
    if not rows:
        return None
    return DigestPart(heading, tuple(rows[:MOST_LINES]), page, len(rows))


def digest_of(program: Program, today: dt.date, *, weekly: bool = False) -> Digest:
    """What there is to tell on a day.

    New is what was raised in the last day, or week.
    """
    since = today - dt.timedelta(days=7 if weekly else 1)
    rows = open_work(today)
    parts = (
        _part("Down", _down(program, today), "/health/?condition=no+data"),
        _part("To see to at once", _urgent(rows), "/roadside/work/?urgency=at+once"),
        _part("New on the work list", _new(rows, since), "/roadside/work/"),
        _part("Overdue", _overdue(rows, program, today), "/roadside/work/"),
        _part("Due soon", _due(rows, program, today), "/roadside/work/"),
        _part("Clashes of sent forms", _clashes(), "/roadside/sending/"),
    )
    counts = {
        urgency: sum(row.urgency is urgency for row in rows) for urgency in Urgency
    }
    return Digest(
        agency=program.name,
        as_of=today,
        since=since,
        parts=tuple(one for one in parts if one is not None),
        counts=counts,
        is_weekly=weekly,
        address=settings.WIMPROG_ADDRESS.rstrip("/"),
    )


def _line(row: WorkRow, *, more: str = "") -> tuple[str, str]:
    place = row.item.wim_site.code + (
        f" {row.item.lane.label}" if row.item.lane else ""
    )
    return f"{place}: {row.reason}{more}", row.item.get_absolute_url()


def _down(program: Program, today: dt.date) -> list[tuple[str, str]]:
    """Open times down, then open lanes without data that nobody noted as down."""
    spells = DownSpell.objects.filter(ended_at=None).select_related(
        "lane__wim_site", "installation"
    )
    told = {
        one.lane_id: (
            f"{one.lane}{f' {one.installation.position}' if one.installation else ''}: "
            f"{one.cause}, since {one.began_at:%Y-%m-%d}",
            one.lane.get_absolute_url(),
        )
        for one in spells
    }
    silent = [
        (f"{row.name}: {row.sentence}", f"/sites/{row.site_code}/lanes/{row.label}/")
        for row in program_health(program, today).lanes
        if _is_silent(row) and row.lane_id not in told
    ]
    return [*told.values(), *silent]


def _is_silent(row: LaneHealth) -> bool:
    return (
        row.is_open
        and row.condition is Condition.NO_DATA
        and row.evidence.last_data_on is not None
    )


def _urgent(rows: Sequence[WorkRow]) -> list[tuple[str, str]]:
    return [
        _line(row, more=f" ({row.why})")
        for row in rows
        if row.urgency is Urgency.AT_ONCE
    ]


def _new(rows: Sequence[WorkRow], since: dt.date) -> list[tuple[str, str]]:
    return [
        _line(row, more=f" ({row.urgency})")
        for row in rows
        if any(_raised_on(one) > since for one in row.items)
    ]


def _raised_on(item: Any) -> dt.date:
    zone = ZoneInfo(item.wim_site.time_zone)
    day: dt.date = item.created_at.astimezone(zone).date()
    return day


def _days(
    rows: Sequence[WorkRow], program: Program, today: dt.date
) -> list[tuple[dt.date, tuple[str, str]]]:
    """Work and calibrations with their due days, each once, the soonest first."""
    found = []
    listed = set()
    for row in rows:
        day = min((one.due_on for one in row.items if one.due_on), default=None)
        if day is not None:
            listed |= {one.source_key for one in row.items}
            found.append((day, _line(row, more=f" (due {day})")))
    for pk, due in calibration_reads.lane_dues(program, today).items():
        if f"calibration:{pk}" not in listed and due.entry.state is not DueState.LATER:
            text = f"{due.entry.name}: calibrate by {due.due_on} ({due.entry.reason})"
            found.append((due.due_on, (text, "/calibration/due/")))
    return sorted(found)


def _overdue(
    rows: Sequence[WorkRow], program: Program, today: dt.date
) -> list[tuple[str, str]]:
    return [line for day, line in _days(rows, program, today) if day < today]


def _due(
    rows: Sequence[WorkRow], program: Program, today: dt.date
) -> list[tuple[str, str]]:
    until = today + dt.timedelta(days=DUE_DAYS)
    return [line for day, line in _days(rows, program, today) if today <= day <= until]


def _clashes() -> list[tuple[str, str]]:
    rows = RoadsideSend.objects.filter(state=SendState.CLASH).select_related("sent_by")
    return [
        (f"{one} by {one.sent_by}: {one.message or 'both are kept; choose one'}",
         f"/roadside/sending/{one.pk}/")
        for one in rows
    ]  # fmt: skip


# --- sending -----------------------------------------------------------------------


def addresses_of(wanted: Sequence[str]) -> list[str]:
    """Mail addresses of roles and of single addresses, each once.

    Raises
    ------
    DomainError
        When a word is neither a role nor an address, or a role has nobody with one.
    """
    found: dict[str, None] = {}
    roles = list(Group.objects.order_by("name").values_list("name", flat=True))
    for word in wanted:
        if word in roles:
            people = get_user_model().objects.filter(is_active=True, groups__name=word)
            mails = [mail for mail in people.values_list("email", flat=True) if mail]
            if not mails:
                raise DomainError(
                    f"Nobody of the role “{word}” has a mail address; enter one on the "
                    "repair desk, or give an address."
                )
            found |= dict.fromkeys(mails)
            continue
        try:
            validate_email(word)
        except ValidationError:
            raise DomainError(
                f"“{word}” is neither a mail address nor a role; roles are "
                f"{', '.join(roles)}."
            ) from None
        found[word] = None
    return list(found)


def digest_send(digest: Digest, to: Sequence[str]) -> int:
    """Send the digest as text with an HTML form, to each address by itself.

    Returns how many were sent.
    """
    context = {"digest": digest, "made_at": clock.now()}
    text = render_to_string("wimprog/digest.txt", context)
    html = render_to_string("wimprog/digest.html", context)
    n = 0
    for address in to:
        mail = EmailMultiAlternatives(digest.subject, text, to=[address])
        mail.attach_alternative(html, "text/html")
        n += mail.send()
    return n
