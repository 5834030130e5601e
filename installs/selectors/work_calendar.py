"""Work with a day, trips and preventive work, for calendar programs."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict

from installs.calc.upkeep.dated_events import DatedEvent
from installs.calc.upkeep.types import WorkSource
from installs.models import Trip, WorkItem
from installs.selectors.work_schedule import ScheduleRow, schedule_rows

#: How far ahead preventive work is shown, and how long past trips stay.
AHEAD_DAYS = 92
BEHIND_DAYS = 60
#: Shown by other events: the calibration's own due days, and the schedule's.
_ELSEWHERE = (WorkSource.CALIBRATION_DUE.value, WorkSource.SCHEDULE.value)


def work_events(today: dt.date) -> list[DatedEvent]:
    """Days of open work, of trips and of preventive work, in a few queries."""
    return [*_items(), *_trips(today), *_preventive(today)]


def _items() -> list[DatedEvent]:
    rows = (
        WorkItem.objects.open()
        .exclude(due_on=None)
        .exclude(source__in=_ELSEWHERE)
        .select_related("wim_site", "assigned_to")
    )
    return [
        DatedEvent(
            key=f"work-{item.pk}",
            from_on=item.due_on,
            to_on=item.due_on,
            summary=f"{item.wim_site.code}: {item.reason}"[:120],
            description=f"{item.reason}\nSource: {item.source}. "
            f"Given to: {item.assigned_to or 'nobody yet'}.",
            category="work",
        )
        for item in rows
        if item.due_on is not None
    ]


def _trips(today: dt.date) -> list[DatedEvent]:
    since = today - dt.timedelta(days=BEHIND_DAYS)
    rows = (
        Trip.objects.filter(starts_on__gte=since)
        .select_related("leader")
        .prefetch_related("work_items__wim_site")
    )
    found = []
    for trip in rows:
        items = list(trip.work_items.all())
        codes = ", ".join(dict.fromkeys(item.wim_site.code for item in items))
        work = "\n".join(f"{item.wim_site.code}: {item.reason}" for item in items)
        plan = trip.traffic_control_plan or "none named yet"
        found.append(
            DatedEvent(
                key=f"trip-{trip.pk}",
                from_on=trip.starts_on,
                to_on=trip.ends_on or trip.starts_on,
                summary=f"Trip to {codes}" if codes else "Trip",
                description=f"Leader: {trip.leader or 'nobody yet'}. "
                f"Traffic control plan: {plan}.\n{work}".strip(),
                category="trip",
                is_off=trip.called_off_on is not None,
            )
        )
    return found


def _preventive(today: dt.date) -> list[DatedEvent]:
    """One event a site and day, so that a calendar stays readable."""
    until = today + dt.timedelta(days=AHEAD_DAYS)
    groups: dict[tuple[int, dt.date], list[ScheduleRow]] = defaultdict(list)
    for row in schedule_rows(today):
        if row.finding.due is not None and row.finding.due <= until:
            groups[row.wim_site.pk, row.finding.due].append(row)
    return [
        DatedEvent(
            key=f"preventive-{site_id}-{due}",
            from_on=due,
            to_on=due,
            summary=f"{rows[0].wim_site.code}: preventive work ({len(rows)})",
            description="\n".join(row.finding.sentence for row in rows),
            category="preventive",
        )
        for (site_id, due), rows in groups.items()
    ]
