"""Reads of visits: the work that waits at a site, the whole of one visit, the stock."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from django.db.models import Exists, Min, OuterRef, QuerySet

from installs.calc.types import EndReason
from installs.calc.upkeep.types import (
    CabinetFinding,
    StockMove,
    Urgency,
)
from installs.calc.upkeep.work_list import urgency_of
from installs.models import (
    CabinetCheck,
    DownSpell,
    ElectricalTest,
    FailureReport,
    Installation,
    MaintenanceVisit,
    PreventiveDone,
    PreventiveRule,
    SparePart,
    VisitPhoto,
    WorkItem,
)
from installs.selectors.stores import stock_of
from installs.selectors.work import facts_of, work_items
from sites.models import Lane, Site
from wimprog.lib import clock
from wimprog.lib.judgement import Condition


@dataclass(frozen=True)
class SiteWork:
    """One work item of a site, with how soon it should be done and by which rule."""

    item: WorkItem
    urgency: Urgency
    why: str


@dataclass(frozen=True)
class UsedPart:
    """How many of a spare part a visit used in all, and how many are left."""

    part: SparePart
    quantity: int
    in_store: int


@dataclass(frozen=True)
class CheckRow:
    """What was found at a part of the cabinet, with the condition it is shown as."""

    check: CabinetCheck
    condition: Condition


@dataclass(frozen=True)
class VisitPage:
    """Everything of one visit."""

    visit: MaintenanceVisit
    tests: Sequence[ElectricalTest]
    closed_work: Sequence[WorkItem]
    opened_work: Sequence[WorkItem]
    begun: Sequence[DownSpell]
    ended: Sequence[DownSpell]
    failures: Sequence[FailureReport]
    checks: Sequence[CheckRow]
    parts: Sequence[UsedPart]
    preventive: Sequence[PreventiveDone]
    photos: Sequence[VisitPhoto]
    sensors: Sequence[Installation]


def first_known_day(wim_site: Site) -> dt.date | None:
    """The first day on which anything is known to have been at a site."""
    found = Site.objects.filter(pk=wim_site.pk).aggregate(
        service=Min("in_service_on"),
        lane=Min("lanes__opened_on"),
        sensor=Min("lanes__installations__installed_on"),
        survey=Min("surveys__surveyed_on"),
    )
    return min((day for day in found.values() if day is not None), default=None)


def site_work(wim_site: Site, today: dt.date) -> list[SiteWork]:
    """Open work of a site, most urgent first, then the longest waiting."""
    items = work_items().open().filter(wim_site=wim_site)
    found = [SiteWork(item, *urgency_of(facts_of(item), today)) for item in items]
    return sorted(
        found, key=lambda one: (one.urgency.rank, one.item.since_on, one.item.pk)
    )


#: Work items that the roadside page shows before it points to the list.
WORK_SHOWN = 5


@dataclass(frozen=True)
class Waiting:
    """What somebody who stands at a site should know first."""

    work: Sequence[SiteWork]
    n_work: int
    down: Sequence[DownSpell]
    dead: Sequence[Installation]


def waiting_at(wim_site: Site) -> Waiting:
    """The most urgent work of a site, what is down, what failed and is still dead."""
    work = site_work(wim_site, today_at(wim_site))
    down = list(down_now(wim_site))
    told = {one.installation_id for one in down}
    return Waiting(
        work=work[:WORK_SHOWN],
        n_work=len(work),
        down=down,
        dead=[one for one in dead_in_place(wim_site) if one.pk not in told],
    )


def today_at(wim_site: Site) -> dt.date:
    """Today at a site."""
    return clock.today(wim_site.time_zone)


def local_day(at: dt.datetime, wim_site: Site) -> dt.date:
    """The day of an instant at a site."""
    return at.astimezone(ZoneInfo(wim_site.time_zone)).date()


def down_now(wim_site: Site) -> QuerySet[DownSpell]:
    """Times down that a person began at a site and nobody has ended."""
    return (
        DownSpell.objects.filter(lane__wim_site=wim_site, ended_at=None)
        .select_related("lane__wim_site", "installation__lane__wim_site")
        .order_by("began_at")
    )


def sensors_of_site(wim_site: Site) -> QuerySet[Installation]:
    """Sensors in the road of a site, by lane and position."""
    return (
        Installation.objects.live()
        .filter(lane__wim_site=wim_site)
        .select_related("sensor__model", "lane__wim_site")
        .order_by("lane__direction", "lane__number", "position")
    )


def rules_of_site(wim_site: Site) -> list[tuple[PreventiveRule, Installation | None]]:
    """Preventive work that can be done at a site: by part, and by sensor."""
    rules = PreventiveRule.objects.filter(is_in_use=True).order_by("name")
    sensors = list(sensors_of_site(wim_site))
    found: list[tuple[PreventiveRule, Installation | None]] = []
    for rule in rules:
        if rule.part:
            found.append((rule, None))
            continue
        found += [
            (rule, one)
            for one in sensors
            if one.sensor.model.technology == rule.technology
        ]
    return found


# --- the store -----------------------------------------------------------------------


def used_at_visit(visit: MaintenanceVisit) -> dict[int, int]:
    """How many of each spare part a visit has used, less what went back."""
    used: dict[int, int] = {}
    rows = visit.stock_entries.filter(
        move__in=[StockMove.USED.value, StockMove.RETURNED.value]
    ).values_list("spare_part_id", "move", "quantity")
    for part, move, quantity in rows:
        used[part] = used.get(part, 0) - StockMove(move).sign * quantity
    return {part: quantity for part, quantity in used.items() if quantity}


# --- one visit -----------------------------------------------------------------------


def visit_page(visit: MaintenanceVisit) -> VisitPage:
    """Everything of a visit, in a bounded number of queries."""
    work = WorkItem.objects.select_related(
        "wim_site", "lane__wim_site", "installation__lane__wim_site"
    )
    spells = DownSpell.objects.select_related(
        "lane__wim_site", "installation__lane__wim_site"
    )
    return VisitPage(
        visit=visit,
        tests=list(
            ElectricalTest.objects.filter(visit=visit).select_related(
                "installation__lane__wim_site", "installation__sensor__model"
            )
        ),
        closed_work=list(work.filter(done_at_visit=visit)),
        opened_work=list(work.filter(found_at_visit=visit)),
        begun=list(spells.filter(begun_at_visit=visit)),
        ended=list(spells.filter(ended_at_visit=visit)),
        failures=list(
            FailureReport.objects.filter(visit=visit).select_related(
                "installation__lane__wim_site"
            )
        ),
        checks=[
            CheckRow(one, CabinetFinding(one.finding).condition)
            for one in CabinetCheck.objects.filter(visit=visit)
        ],
        parts=_used_parts(visit),
        preventive=list(
            PreventiveDone.objects.filter(visit=visit).select_related(
                "rule", "installation__lane__wim_site"
            )
        ),
        photos=list(
            VisitPhoto.objects.filter(visit=visit).select_related(
                "installation__lane__wim_site", "added_by", "struck_by"
            )
        ),
        sensors=list(sensors_of_site(visit.wim_site)),
    )


def _used_parts(visit: MaintenanceVisit) -> list[UsedPart]:
    used = used_at_visit(visit)
    stock = stock_of(used)
    return [
        UsedPart(part, used[part.pk], stock[part.pk])
        for part in SparePart.objects.filter(pk__in=used)
    ]


def lanes_of_site(wim_site: Site) -> QuerySet[Lane]:
    """Lanes of a site in the order of their numbers."""
    return Lane.objects.filter(wim_site=wim_site).select_related("wim_site")


def dead_in_place(wim_site: Site) -> QuerySet[Installation]:
    """Sensors that failed and whose place nobody has filled since."""
    later = Installation.objects.filter(
        lane=OuterRef("lane"),
        position=OuterRef("position"),
        installed_on__gte=OuterRef("ended_on"),
    ).exclude(pk=OuterRef("pk"))
    return (
        Installation.objects.filter(
            ~Exists(later),
            lane__wim_site=wim_site,
            end_reason=EndReason.FAILED.value,
        )
        .select_related("sensor__model", "lane__wim_site")
        .order_by("lane__direction", "lane__number", "position", "ended_on")
    )
