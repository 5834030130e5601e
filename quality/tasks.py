"""Work that a worker does: `manage.py db_worker` runs these."""

from __future__ import annotations

from django_tasks import task

from quality.selectors import lanes_taken_in
from quality.services import import_run
from quality.services.drifting import drift_refresh
from quality.services.limits import findings_refresh
from quality.services.reopening import questions_refresh
from sites.models import Lane
from wimprog.lib import clock


@task()
def take_in(record_import_id: int) -> None:
    """Take a received file of records in, then look for drift in its lanes."""
    import_run(record_import_id)
    touched = lanes_taken_in(record_import_id)
    if touched:
        send_drift(touched)


def send_import(record_import_id: int) -> None:
    """Hand a record import to the workers."""
    take_in.enqueue(record_import_id)


@task()
def find_anew(lane_id: int | None) -> None:
    """Find by the limits now in force on all stored days, of one lane or of all."""
    findings_refresh(lane_id=lane_id)


def send_findings(lane_id: int | None) -> None:
    """Hand the search by changed limits to the workers."""
    find_anew.enqueue(lane_id)


@task()
def look_for_drift(lane_ids: list[int]) -> None:
    """Look for drift in these lanes, and for decisions that later facts reopen."""
    lanes = Lane.objects.select_related("wim_site").filter(pk__in=lane_ids)
    drift_refresh(lanes=list(lanes), today=clock.today())
    questions_refresh()


def send_drift(lane_ids: list[int]) -> None:
    """Hand the search for drift to the workers."""
    look_for_drift.enqueue(lane_ids)
