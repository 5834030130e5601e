"""Trips: made with the work they take along, and called off."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db import transaction

from installs.models import Trip, WorkItem
from installs.services.work import work_plan, work_release
from wimprog.lib import clock
from wimprog.lib.errors import DomainError
from wimprog.lib.models import save_with_reason

#: How long after it a trip can still be written down.
LATEST_DAYS = 60


@transaction.atomic
def trip_save(
    *, trip: Trip, items: Sequence[WorkItem] = (), by: Any, why: str = ""
) -> Trip:
    """Make a trip, or keep what was changed in one, and put work on it.

    Raises
    ------
    DomainError
        When it was called off, ends before it starts, or some of the work is closed;
        then nothing is kept.
    """
    if trip.pk is not None and (
        Trip.objects.select_for_update().get(pk=trip.pk).called_off_on is not None
    ):
        raise DomainError("This trip was called off; make a new one.")
    if trip.pk is None and (clock.today() - trip.starts_on).days > LATEST_DAYS:
        raise DomainError(
            f"{trip.starts_on} is more than {LATEST_DAYS} days ago; give the day on "
            "which the trip starts."
        )
    save_with_reason(trip, by=by, why=why or "trip planned")
    for item in items:
        work_plan(item=item, trip=trip, by=by)
    return trip


@transaction.atomic
def trip_call_off(*, trip: Trip, reason: str, by: Any) -> Trip:
    """Call a trip off and say why; its open work goes back to the list.

    Raises
    ------
    DomainError
        Without a reason, or when it was called off already.
    """
    kept = Trip.objects.select_for_update().get(pk=trip.pk)
    reason = " ".join(reason.split())
    if not reason:
        raise DomainError("Say why the trip is called off.")
    if kept.called_off_on is not None:
        raise DomainError(f"It was called off on {kept.called_off_on} already.")
    for item in kept.work_items.open():
        work_release(item=item, by=by, why=f"trip called off: {reason}")
    kept.called_off_on = clock.today()
    kept.note = "\n".join(part for part in (kept.note, f"Called off: {reason}") if part)
    save_with_reason(kept, by=by, why=reason)
    return kept
