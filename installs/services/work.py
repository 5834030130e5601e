"""Work: raised, given to somebody, put on a trip, done, verified, or not needed.

Every change asks :class:`~installs.calc.upkeep.types.WorkState` whether it may follow,
on the item as it is kept at that moment, so that two people cannot close it twice.
"""

from __future__ import annotations

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction

from installs.calc.upkeep.types import CabinetPart, WorkSource, WorkState
from installs.models import (
    Installation,
    MaintenanceVisit,
    PreventiveDone,
    PreventiveRule,
    Trip,
    WorkItem,
)
from sites.models import Lane, Site
from wimprog.lib import clock
from wimprog.lib.errors import DomainError
from wimprog.lib.models import save_with_reason

#: The head of the key of work that a preventive rule asks for.
SCHEDULE_KEY = "schedule"


def schedule_key(rule_id: int, site_id: int, installation_id: int | None) -> str:
    """The key of a rule's work at a site or on a sensor."""
    sensor = "" if installation_id is None else f":sensor:{installation_id}"
    return f"{SCHEDULE_KEY}:{rule_id}:site:{site_id}{sensor}"


@transaction.atomic
def work_found(
    *,
    wim_site: Site,
    reason: str,
    cause: str = "",
    lane: Lane | None = None,
    installation: Installation | None = None,
    part: CabinetPart | str = "",
    is_hazard: bool = False,
    lane_is_down: bool = False,
    spoils_data: bool = False,
    visit: MaintenanceVisit | None = None,
    since_on: dt.date | None = None,
    by: Any,
) -> WorkItem:
    """Put on the list what somebody found at a visit.

    Parameters
    ----------
    lane
        Left out, it is the lane of ``installation``.
    since_on
        Day it was found; left out, the day of the visit, or today.

    Raises
    ------
    DomainError
        When the day lies ahead, or the lane, sensor or visit is of another site.
    django.core.exceptions.ValidationError
        When the item breaks a rule of its own (no reason, an unknown part).
    """
    if since_on is None and visit is not None:
        zone = ZoneInfo(wim_site.time_zone)
        since_on = visit.arrived_at.astimezone(zone).date()
    item = WorkItem(
        source=WorkSource.VISIT.value,
        wim_site=wim_site,
        lane=lane or (installation.lane if installation else None),
        installation=installation,
        part=str(part),
        cause=cause.strip(),
        reason=" ".join(reason.split()),
        is_hazard=is_hazard,
        lane_is_down=lane_is_down,
        spoils_data=spoils_data,
        found_at_visit=visit,
        since_on=since_on or clock.today(wim_site.time_zone),
    )
    return _raise(item, by=by, why="found at a visit")


@transaction.atomic
def work_report(*, item: WorkItem, by: Any, why: str = "") -> WorkItem:
    """Put on the list what a person told: a new item, or a correction of one.

    Raises
    ------
    DomainError
        When the day lies ahead, or the lane or sensor is of another site.
    """
    item.source = item.source or WorkSource.REPORT.value
    item.reason = " ".join(item.reason.split())
    if item.pk is not None:
        _kept(item)
    return _raise(item, by=by, why=why or "a person's report")


def _raise(item: WorkItem, *, by: Any, why: str) -> WorkItem:
    today = clock.today(item.wim_site.time_zone)
    if item.since_on > today:
        raise DomainError(
            f"“Since {item.since_on}” lies ahead of today ({today}); give the day on "
            "which it was found."
        )
    _refuse_elsewhere(item)
    save_with_reason(item, by=by, why=why)
    return item


def _refuse_elsewhere(item: WorkItem) -> None:
    code = item.wim_site.code
    if item.lane is not None and item.lane.wim_site_id != item.wim_site_id:
        raise DomainError(
            f"Lane {item.lane} is not at {code}; choose a lane of this site."
        )
    there = item.installation
    if there is not None and there.lane.wim_site_id != item.wim_site_id:
        raise DomainError(f"{there} is not at {code}; choose a sensor of this site.")
    if item.found_at_visit is not None:
        _refuse_visit_elsewhere(item, item.found_at_visit)


def _refuse_visit_elsewhere(item: WorkItem, visit: MaintenanceVisit) -> None:
    if visit.wim_site_id != item.wim_site_id:
        raise DomainError(
            f"That visit was to {visit.wim_site.code}; this work is at "
            f"{item.wim_site.code}. Choose a visit to {item.wim_site.code}."
        )


def _kept(item: WorkItem) -> WorkItem:
    """The item as it is kept now, nobody else changing it meanwhile."""
    return (
        WorkItem.objects.select_for_update(of=("self",))
        .select_related("wim_site")
        .get(pk=item.pk)
    )


def _become(item: WorkItem, state: WorkState) -> None:
    now = WorkState(item.state)
    if state not in now.may_become:
        may = ", ".join(f"“{one}”" for one in now.may_become)
        ways = f"it can become {may}" if may else "nothing follows that"
        raise DomainError(
            f"“{item}” is “{now}”, so it cannot become “{state}”; {ways}. Somebody "
            "may have changed it meanwhile: look at its history."
        )
    item.state = state.value


@transaction.atomic
def work_assign(*, item: WorkItem, to: Any, by: Any, why: str = "") -> WorkItem:
    """Give the work to somebody; from a trip it keeps its place there.

    Raises
    ------
    DomainError
        When the work is no longer open, or that account is closed.
    """
    kept = _kept(item)
    if not to.is_active:
        raise DomainError(f"The account of {to} is closed; choose somebody else.")
    state = WorkState(kept.state)
    if state in (WorkState.ASSIGNED, WorkState.PLANNED):
        pass  # it goes to another; a trip stays as planned
    else:
        _become(kept, WorkState.ASSIGNED)
    kept.assigned_to = to
    save_with_reason(kept, by=by, why=why or f"given to {to}")
    return kept


@transaction.atomic
def work_release(*, item: WorkItem, by: Any, why: str = "") -> WorkItem:
    """Take open work back from its trip and from whom it was given to.

    Raises
    ------
    DomainError
        When it is neither assigned nor planned.
    """
    kept = _kept(item)
    if not WorkState(kept.state).is_open:
        raise DomainError(
            f"“{kept}” is “{kept.state}”; only open work is taken back. Reopen it "
            "first."
        )
    _become(kept, WorkState.FOUND)
    kept.assigned_to, kept.trip = None, None
    save_with_reason(kept, by=by, why=why or "taken back")
    return kept


@transaction.atomic
def work_plan(*, item: WorkItem, trip: Trip, by: Any, why: str = "") -> WorkItem:
    """Put the work on a trip (or on another one).

    Raises
    ------
    DomainError
        When the work is closed, or the trip was called off.
    """
    kept, trip = _kept(item), Trip.objects.select_for_update().get(pk=trip.pk)
    if trip.called_off_on is not None:
        raise DomainError(
            f"The trip of {trip.starts_on} was called off on {trip.called_off_on}; "
            "choose another or make a new one."
        )
    if WorkState(kept.state) is not WorkState.PLANNED:
        _become(kept, WorkState.PLANNED)
    kept.trip = trip
    if kept.assigned_to is None:
        kept.assigned_to = trip.leader
    save_with_reason(kept, by=by, why=why or f"planned for the {trip}")
    return kept


@transaction.atomic
def work_done(
    *,
    item: WorkItem,
    done_on: dt.date,
    visit: MaintenanceVisit | None = None,
    note: str = "",
    by: Any,
) -> WorkItem:
    """Say that the work was done, on which day and at which visit.

    Work that a preventive rule asked for counts as that rule's work done, so its next
    day follows from this one.

    Raises
    ------
    DomainError
        When it is closed already, the day lies ahead or before it was found, or the
        visit was to another site.
    """
    kept = _kept(item)
    today = clock.today(kept.wim_site.time_zone)
    if done_on > today:
        raise DomainError(
            f"{done_on} lies ahead of today ({today}); say so on the day it is done."
        )
    if done_on < kept.since_on and not WorkSource(kept.source).is_calendar:
        raise DomainError(
            f"It was found on {kept.since_on}, so it cannot have been done on "
            f"{done_on}; correct the day, or close it as not needed."
        )
    if visit is not None:
        _refuse_visit_elsewhere(kept, visit)
    _become(kept, WorkState.DONE)
    kept.done_on, kept.done_at_visit, kept.closing_note = done_on, visit, note.strip()
    save_with_reason(kept, by=by, why=note.strip() or f"done on {done_on}")
    _note_preventive(kept, by=by)
    return kept


@transaction.atomic
def work_verify(*, item: WorkItem, by: Any, why: str = "") -> WorkItem:
    """Say that the work was looked at and is good; nothing follows that.

    Raises
    ------
    DomainError
        When it is not done.
    """
    kept = _kept(item)
    _become(kept, WorkState.VERIFIED)
    kept.verified_on = clock.today(kept.wim_site.time_zone)
    save_with_reason(kept, by=by, why=why or "verified")
    return kept


@transaction.atomic
def work_drop(*, item: WorkItem, reason: str, by: Any) -> WorkItem:
    """Close work that need not be done, and say why.

    Raises
    ------
    DomainError
        Without a reason, or when it is not open.
    """
    kept = _kept(item)
    reason = " ".join(reason.split())
    if not reason:
        raise DomainError("Say why it need not be done; who looks later will ask.")
    _become(kept, WorkState.NOT_NEEDED)
    kept.closing_note, kept.trip = reason, None
    save_with_reason(kept, by=by, why=reason)
    return kept


@transaction.atomic
def work_reopen(*, item: WorkItem, reason: str, by: Any) -> WorkItem:
    """Open work again that was done but is not good, or that is needed after all.

    Raises
    ------
    DomainError
        Without a reason, when it is open or verified, or when the same finding is open
        as another item.
    """
    kept = _kept(item)
    reason = " ".join(reason.split())
    if not reason:
        raise DomainError("Say why it is opened again.")
    if WorkState(kept.state).is_open:
        raise DomainError(f"“{kept}” is open already ({kept.state}).")
    twin = (
        WorkItem.objects.open()
        .filter(source_key=kept.source_key)
        .exclude(pk=kept.pk)
        .first()
        if kept.source_key
        else None
    )
    if twin is not None:
        raise DomainError(
            f"The same finding is on the list again since {twin.since_on}; work on "
            "that item instead."
        )
    _become(kept, WorkState.FOUND)
    _forget_preventive(kept, by=by, why=reason)
    kept.done_on, kept.done_at_visit, kept.verified_on = None, None, None
    kept.closing_note, kept.trip, kept.assigned_to = "", None, None
    save_with_reason(kept, by=by, why=reason)
    return kept


def _scheduled(item: WorkItem) -> dict[str, Any] | None:
    """The rule, site and sensor that a scheduled item is for."""
    parts = item.source_key.split(":")
    if parts[0] != SCHEDULE_KEY or len(parts) not in (4, 6):
        return None
    return {
        "rule_id": int(parts[1]),
        "wim_site_id": item.wim_site_id,
        "installation_id": int(parts[5]) if len(parts) == 6 else None,
    }


def _note_preventive(item: WorkItem, *, by: Any) -> None:
    what, done_on = _scheduled(item), item.done_on
    if what is None or done_on is None:
        return
    if not PreventiveRule.objects.filter(pk=what["rule_id"]).exists():
        return
    if PreventiveDone.objects.filter(**what, done_on=done_on).exists():
        return
    done = PreventiveDone(
        **what,
        done_on=done_on,
        visit=item.done_at_visit,
        note=item.closing_note,
    )
    save_with_reason(done, by=by, why=f"work item {item.pk} done")


def _forget_preventive(item: WorkItem, *, by: Any, why: str) -> None:
    what, done_on = _scheduled(item), item.done_on
    if what is None or done_on is None:
        return
    for done in PreventiveDone.objects.filter(**what, done_on=done_on):
        done._history_user = by  # type: ignore[attr-defined]
        done._change_reason = f"not done after all: {why}"  # type: ignore[attr-defined]
        done.delete()
