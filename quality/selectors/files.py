"""Files taken in and on their way, and the parts of the store."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from django.db.models import Count, Max, QuerySet
from django.utils import timezone

from quality.models import (
    ImportState,
    LaneDay,
    RecordFile,
    RecordImport,
    RecordPart,
)
from sites.models import Lane


def record_file_list() -> QuerySet[RecordFile]:
    """Files taken in, newest first, with what they cover."""
    return (
        RecordFile.objects.select_related("imported_by")
        .annotate(n_lanes=Count("lane_days__lane", distinct=True))
        .order_by("-imported_at", "-pk")
    )


def open_imports() -> QuerySet[RecordImport]:
    """Files on their way in."""
    return RecordImport.objects.exclude(state="done").select_related("requested_by")


def is_interrupted(job: RecordImport) -> bool:
    """Whether the job's worker has fallen silent, so that it may be taken up again."""
    return (
        job.state == ImportState.RUNNING
        and job.lease_until is not None
        and job.lease_until < timezone.now()
    )


def parts_of(lane: Lane, first_on: dt.date, last_on: dt.date) -> list[str]:
    """Paths of the store's parts that hold a lane's period (the manifest's word)."""
    return list(
        RecordPart.objects.current()
        .filter(lane=lane, month__gte=first_on.replace(day=1), month__lte=last_on)
        .values_list("path", flat=True)
    )


def last_data_on(lane_ids: Sequence[int]) -> dict[int, dt.date]:
    """Last day with a record, by lane."""
    rows = (
        LaneDay.objects.filter(lane_id__in=lane_ids, n_vehicles__gt=0)
        .values("lane_id")
        .annotate(last=Max("date"))
        .values_list("lane_id", "last")
    )
    return dict(rows)


def lanes_taken_in(record_import_id: int) -> list[int]:
    """Lanes whose days a finished import brought; none while it is not done."""
    taken = RecordImport.objects.filter(pk=record_import_id, state=ImportState.DONE)
    files = taken.values("record_file")
    days = LaneDay.objects.filter(record_file__in=files)
    return list(days.order_by("lane_id").values_list("lane_id", flat=True).distinct())
