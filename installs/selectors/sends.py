"""Reads of what phones sent: receipts, clashes field by field, visits typed twice."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from django.db import models
from django.db.models import QuerySet

from installs.calc.upkeep.phone_clock import perhaps_the_same
from installs.calc.upkeep.types import CabinetFinding, SendState
from installs.models import MaintenanceVisit, RoadsideSend, Trip
from wimprog.lib.models import Fact

#: Fields of a visit that two people can have written differently, in the form's order.
VISIT_FIELDS = (
    "arrived_at",
    "left_at",
    "purpose",
    "lane",
    "people",
    "traffic_control_plan",
    "weather",
    "trip",
    "findings",
    "actions",
    "next_action",
)
LOCAL_MINUTES = "%Y-%m-%dT%H:%M"


@dataclass(frozen=True)
class FieldPair:
    """One field as it is kept now and as the phone has it, in the form's own text.

    ``seen`` is what the phone had before it was changed there; None when that version
    of the visit is not known any more.
    """

    name: str
    label: str
    kept: str
    typed: str
    seen: str | None
    kept_words: str
    typed_words: str

    @property
    def differs(self) -> bool:
        """Do the two say different things?"""
        return self.kept != self.typed

    @property
    def only_phone(self) -> bool:
        """Did nobody but the phone change it?"""
        return self.seen is not None and self.kept == self.seen

    @property
    def only_kept(self) -> bool:
        """Did the phone leave it as it was?"""
        return self.seen is not None and self.typed == self.seen

    @property
    def suggested(self) -> str:
        """The side that changed it, when only one did; otherwise what is kept."""
        return "typed" if self.only_phone and self.differs else "kept"


@dataclass(frozen=True)
class Clash:
    """A change from a phone beside what somebody else had kept meanwhile.

    ``others`` are the names of fields that the phone sent besides those compared, such
    as rows of parts used; they go with the phone's side.
    """

    send: RoadsideSend
    visit: MaintenanceVisit
    pairs: tuple[FieldPair, ...]
    others: tuple[tuple[str, str], ...]
    kept_by: str
    kept_at: dt.datetime

    @property
    def different(self) -> list[FieldPair]:
        """The fields to choose in."""
        return [pair for pair in self.pairs if pair.differs]

    @property
    def alike(self) -> list[FieldPair]:
        """The fields that say the same."""
        return [pair for pair in self.pairs if not pair.differs]


def send_of(client_id: uuid.UUID) -> RoadsideSend | None:
    """The sending with this identifier, if it arrived."""
    return RoadsideSend.objects.filter(client_id=client_id).first()


def version_of(fact: Fact) -> str:
    """Which version of a fact this is: it changes with every save."""
    return fact.updated_at.isoformat()


def sends_of(user: Any, most: int = 20) -> QuerySet[RoadsideSend]:
    """What this person's phones sent, newest first."""
    return RoadsideSend.objects.filter(sent_by=user).order_by("-created_at")[:most]


def open_clashes() -> QuerySet[RoadsideSend]:
    """Sendings that wait for a person to choose, oldest first."""
    return (
        RoadsideSend.objects.filter(state=SendState.CLASH)
        .select_related("sent_by")
        .order_by("created_at")
    )


# --- one clash -----------------------------------------------------------------------


def clash_of_send(send: RoadsideSend, visit: MaintenanceVisit) -> Clash:
    """The two sides of a clash over a visit."""
    sent = _sent(send.payload)
    seen = visit_seen(visit, send.seen_version)
    pairs = tuple(
        _pair(visit, name, sent[name], seen) for name in VISIT_FIELDS if name in sent
    )
    others = tuple(
        (str(name).replace("_", " ").replace("-", " "), str(value))
        for name, value in send.payload.get("fields", ())
        if name not in (*VISIT_FIELDS, "why")
        and value not in ("", CabinetFinding.NOT_CHECKED)
    )
    last = visit.history.select_related("history_user").first()
    who = last.history_user if last else None
    return Clash(
        send=send,
        visit=visit,
        pairs=pairs,
        others=others,
        kept_by=str(who.get_full_name() or who.get_username()) if who else "somebody",
        kept_at=visit.updated_at,
    )


def _sent(payload: dict[str, Any]) -> dict[str, str]:
    """Fields as sent; the last of a name counts, as in a form."""
    return {
        str(name): str(value).replace("\r\n", "\n")
        for name, value in payload.get("fields", ())
    }


def visit_seen(visit: MaintenanceVisit, version: str) -> MaintenanceVisit | None:
    """The visit as it was at a version, from its history."""
    try:
        at = dt.datetime.fromisoformat(version)
    except ValueError:
        return None
    kept = visit.history.filter(updated_at=at).first()
    if kept is None:
        return None
    seen: MaintenanceVisit = kept.instance
    seen.wim_site = visit.wim_site
    return seen


def _pair(
    visit: MaintenanceVisit, name: str, typed: str, seen: MaintenanceVisit | None
) -> FieldPair:
    field = MaintenanceVisit._meta.get_field(name)
    kept = visit_text(visit, name)
    if isinstance(field, models.DateTimeField):
        typed = typed[: len("2024-06-01T12:00")].replace(" ", "T")
    return FieldPair(
        name=name,
        label=LABELS.get(name) or str(field.verbose_name).capitalize(),  # type: ignore[union-attr]
        kept=kept,
        typed=typed.strip(),
        seen=visit_text(seen, name) if seen is not None else None,
        kept_words=_words(visit, name, kept),
        typed_words=_words(visit, name, typed.strip()),
    )


LABELS = {
    "arrived_at": "Arrived",
    "left_at": "Left",
    "findings": "Found",
    "actions": "Done",
    "next_action": "To do next",
}


def visit_text(visit: MaintenanceVisit, name: str) -> str:
    """A field of a visit as its form writes it."""
    field = MaintenanceVisit._meta.get_field(name)
    value = getattr(visit, field.attname)  # type: ignore[union-attr]
    if value is None:
        return ""
    if isinstance(value, dt.datetime):
        zone = ZoneInfo(visit.wim_site.time_zone)
        return value.astimezone(zone).strftime(LOCAL_MINUTES)
    return str(value).replace("\r\n", "\n").strip()


def _words(visit: MaintenanceVisit, name: str, text: str) -> str:
    """What people read of a field's text."""
    if name == "lane":
        lane = visit.wim_site.lanes.filter(pk=text).first() if text.isdigit() else None
        return lane.label if lane else "the whole site"
    if name == "trip":
        trip = Trip.objects.filter(pk=text).first() if text.isdigit() else None
        return str(trip) if trip else "no planned trip"
    return text.replace("T", " ") if name in ("arrived_at", "left_at") else text


# --- visits typed twice --------------------------------------------------------------


def perhaps_same_visits(visit: MaintenanceVisit) -> list[MaintenanceVisit]:
    """Other visits to the site at overlapping times by some of the same people."""
    day = dt.timedelta(days=1)
    near = (
        MaintenanceVisit.objects.filter(
            wim_site_id=visit.wim_site_id,
            arrived_at__gte=visit.arrived_at - day,
            arrived_at__lte=(visit.left_at or visit.arrived_at) + day,
        )
        .exclude(pk=visit.pk)
        .select_related("wim_site")
    )
    return [one for one in near if perhaps_the_same(_when(visit), _when(one))]


def _when(visit: MaintenanceVisit) -> tuple[dt.datetime, dt.datetime | None, str]:
    return visit.arrived_at, visit.left_at, visit.people


def same_visit_words(visit: MaintenanceVisit, found: Sequence[MaintenanceVisit]) -> str:
    """Says that a visit is perhaps in twice, and what to do about it."""
    zone = ZoneInfo(visit.wim_site.time_zone)
    told = "; ".join(
        f"{one.arrived_at.astimezone(zone):%Y-%m-%d %H:%M}, {one.people}"
        for one in found
    )
    return (
        f"Perhaps the same visit as another that is logged at {visit.wim_site.code} "
        f"({told}). Both are kept; if it is one visit, say so in one of them."
    )
