"""The work list: what waits, how soon, and which trips it makes."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from django.contrib.auth import get_user_model
from django.db.models import Q, QuerySet
from django.urls import NoReverseMatch, reverse

from installs.calc.upkeep import trips as trip_rules
from installs.calc.upkeep.findings import GONE
from installs.calc.upkeep.types import Urgency, WorkSource, WorkState
from installs.calc.upkeep.work_list import RankedWork, WorkFacts, ranked
from installs.models import Trip, WorkItem
from installs.models.work import WorkItemQuerySet
from sites.models import Site

#: What the page can show instead of all that is open.
CLOSED = (WorkState.DONE, WorkState.VERIFIED, WorkState.NOT_NEEDED)
#: Most closed items shown at once, the latest first.
CLOSED_SHOWN = 500
_TOLD_BY_PEOPLE = (WorkSource.REPORT, WorkSource.VISIT)


@dataclass(frozen=True)
class WorkRow:
    """One piece of work: its item, how soon and why, and the items that are the same.

    ``urgency`` is None for closed work.
    """

    item: WorkItem
    urgency: Urgency | None
    why: str
    also: tuple[WorkItem, ...] = ()
    hours: float | None = None
    reason: str = ""

    @property
    def items(self) -> tuple[WorkItem, ...]:
        """All items of this piece of work."""
        return self.item, *self.also

    @property
    def is_gone(self) -> bool:
        """Whether the program no longer sees any of it."""
        return all(is_gone(one) for one in self.items)

    @property
    def code(self) -> str:
        """Of its site, to order by."""
        return self.item.wim_site.code


@dataclass(frozen=True)
class WorkWanted:
    """Which work to show; empty and None: all of it."""

    site: str = ""
    urgency: str = ""
    source: str = ""
    state: str = ""
    mine: Any = None

    def takes(self, row: WorkRow) -> bool:
        """Whether a row of open work is wanted."""
        return (
            (not self.site or row.item.wim_site.code == self.site)
            and (not self.urgency or row.urgency == self.urgency)
            and (not self.source or any(i.source == self.source for i in row.items))
            and (not self.state or any(i.state == self.state for i in row.items))
            and (
                self.mine is None
                or any(i.assigned_to_id == self.mine.pk for i in row.items)
            )
        )


def is_gone(item: WorkItem) -> bool:
    """Whether the finding behind an item was not there at the last look."""
    return any(GONE in one for one in item.evidence if isinstance(one, dict))


def work_items() -> WorkItemQuerySet:
    """Items with all that their rows name."""
    return WorkItem.objects.select_related(
        "wim_site",
        "lane__wim_site",
        "installation__sensor__model",
        "installation__lane__wim_site",
        "assigned_to",
        "trip",
    )


def facts_of(item: WorkItem) -> WorkFacts:
    """An item as the ranking takes it.

    What people told is one piece of work only where they gave it the same cause.
    """
    cause = item.cause or item.part
    if not cause and item.source in _TOLD_BY_PEOPLE:
        cause = f"item {item.pk}"
    return WorkFacts(
        key=str(item.pk),
        source=WorkSource(item.source),
        site=item.wim_site.code,
        lane=item.lane.label if item.lane else "",
        sensor=str(item.installation_id or ""),
        cause=cause,
        since=item.since_on,
        reason=item.reason,
        evidence=tuple(one.get("text", "") for one in item.evidence),
        lane_is_down=item.lane_is_down,
        is_hazard=item.is_hazard,
        spoils_data=item.spoils_data,
        hours=item.hours,
    )


def open_work(today: dt.date, items: Iterable[WorkItem] | None = None) -> list[WorkRow]:
    """All open work, most urgent first, items of one object and cause together."""
    kept = list(work_items().open() if items is None else items)
    by_key = {str(item.pk): item for item in kept}
    return [
        _row(one, by_key)
        for one in ranked((facts_of(item) for item in kept), today)
    ]  # fmt: skip


def _row(one: RankedWork, by_key: Mapping[str, WorkItem]) -> WorkRow:
    items = [by_key[key] for key in one.merged_keys]
    return WorkRow(
        item=items[0],
        urgency=one.urgency,
        why=one.why,
        also=tuple(items[1:]),
        hours=one.hours,
        reason=one.facts.reason,
    )


def work_rows(today: dt.date, wanted: WorkWanted) -> list[WorkRow]:
    """The rows of the work page: open work ranked, or closed work, latest first."""
    if wanted.state not in CLOSED:
        return [row for row in open_work(today) if wanted.takes(row)]
    closed = work_items().filter(state=wanted.state).order_by("-updated_at", "-pk")
    if wanted.site:
        closed = closed.filter(wim_site__code=wanted.site)
    if wanted.source:
        closed = closed.filter(source=wanted.source)
    if wanted.mine is not None:
        closed = closed.filter(assigned_to=wanted.mine)
    return [
        WorkRow(item, None, item.closing_note, reason=item.reason)
        for item in closed[:CLOSED_SHOWN]
    ]


def work_counts(today: dt.date) -> dict[Urgency, int]:
    """Pieces of open work of each urgency, most urgent first."""
    found = Counter(row.urgency for row in open_work(today))
    return {urgency: found[urgency] for urgency in Urgency}


def row_of(item: WorkItem, today: dt.date) -> WorkRow:
    """One item by itself, with how soon and why."""
    if not WorkState(item.state).is_open:
        return WorkRow(item, None, item.closing_note, reason=item.reason)
    return open_work(today, [item])[0]


def evidence_of(item: WorkItem) -> list[tuple[str, str]]:
    """What an item rests on: words, and the address that shows it ("" for none)."""
    found = []
    for one in item.evidence:
        page = one.get("page") or []
        try:
            url = reverse(page[0], args=page[1:]) if page else ""
        except NoReverseMatch:  # the page has another name today
            url = ""
        found.append((one.get("text", ""), url))
    return found


def people_for_work() -> QuerySet[Any]:
    """Open accounts that may change work, by name."""
    may = Q(groups__permissions__codename="change_workitem") | Q(
        user_permissions__codename="change_workitem"
    )
    return (
        get_user_model()
        .objects.filter(is_active=True)
        .filter(may | Q(is_superuser=True))
        .distinct()
        .order_by("first_name", "last_name", "username")
    )


# --- trips -------------------------------------------------------------------------


@dataclass(frozen=True)
class TripProposal:
    """A trip that the open work makes: sites in order, and the work at each."""

    trip: trip_rules.Trip
    stops: tuple[tuple[Site, tuple[WorkRow, ...]], ...]
    without_place: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """Which site sets it, and why."""
        first = self.trip.items[0]
        return f"{self.trip.sites[0]} sets the trip ({first.urgency}: {first.why})."

    @property
    def item_ids(self) -> list[int]:
        """All its items."""
        rows = (row for _, rows in self.stops for row in rows)
        return [item.pk for row in rows for item in row.items]


def trip_proposals(
    today: dt.date, *, within_km: float = 40.0, hours_per_trip: float = 8.0
) -> list[TripProposal]:
    """Open work that is on no trip yet, grouped by place; the most urgent first.

    Raises
    ------
    DomainError
        When reach or hours cannot be.
    """
    waiting = [
        item for item in work_items().open() if item.state != WorkState.PLANNED
    ]  # fmt: skip
    rows = {str(row.item.pk): row for row in open_work(today, waiting)}
    sites = {item.wim_site.code: item.wim_site for item in waiting}
    places = {
        code: trip_rules.Place(code, site.latitude, site.longitude)
        for code, site in sites.items()
        if site.latitude is not None and site.longitude is not None
    }
    found = trip_rules.trips(
        ranked((facts_of(item) for item in waiting), today),
        places,
        within_km=within_km,
        hours_per_trip=hours_per_trip,
    )
    return [
        TripProposal(
            trip=one,
            stops=tuple(
                (
                    sites[code],
                    tuple(
                        rows[work.merged_keys[0]]
                        for work in one.items
                        if work.facts.site == code
                    ),
                )
                for code in one.sites
            ),
            without_place=tuple(code for code in one.sites if code not in places),
        )
        for one in found
    ]


def trips_planned() -> QuerySet[Trip]:
    """Trips that were not called off, for choosing one; the latest first."""
    return Trip.objects.filter(called_off_on=None).order_by("-starts_on", "-pk")


def trip_stops(
    trip: Trip, today: dt.date
) -> list[tuple[Site, list[WorkRow]]]:  # fmt: skip
    """The sites of a trip in the order of the drive, with the work at each.

    The first is that of the most urgent work; each next one is the nearest to the one
    before, sites without coordinates last.
    """
    items = list(work_items().filter(trip=trip))
    still = open_work(today, [i for i in items if WorkState(i.state).is_open])
    rows = still + [row_of(i, today) for i in items if not WorkState(i.state).is_open]
    sites = {row.item.wim_site.code: row.item.wim_site for row in rows}
    return [
        (sites[code], [row for row in rows if row.item.wim_site.code == code])
        for code in _in_driving_order(list(sites.values()))
    ]


def _in_driving_order(sites: Sequence[Site]) -> list[str]:
    left = list(sites)
    order: list[str] = []
    here: trip_rules.Place | None = None
    while left:
        placed = [s for s in left if s.latitude is not None and s.longitude is not None]
        site = left[0]
        if here is not None and placed:
            site = min(placed, key=partial(_km, here))
        left.remove(site)
        order.append(site.code)
        if site.latitude is not None and site.longitude is not None:
            here = _place(site)
    return order


def _km(here: trip_rules.Place, site: Site) -> float:
    return trip_rules.distance_km(here, _place(site))


def _place(site: Site) -> trip_rules.Place:
    return trip_rules.Place(site.code, site.latitude or 0.0, site.longitude or 0.0)
