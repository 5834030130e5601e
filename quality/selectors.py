"""Reads of the records' side, each in a bounded number of queries."""

from __future__ import annotations

import calendar
import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from django.db.models import Count, Max, QuerySet
from django.utils import timezone

from quality.models import (
    DayDecision,
    ImportState,
    LaneDay,
    LaneMonth,
    LaneWeek,
    RecordFile,
    RecordImport,
    RecordPart,
)
from sites.models import Lane, Program
from sites.selectors import program_get

if TYPE_CHECKING:
    from quality.calc.drift import DriftResult

RUN_GAP_DAYS = 3


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
        RecordPart.objects.filter(
            lane=lane, month__gte=first_on.replace(day=1), month__lte=last_on
        ).values_list("path", flat=True)
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


def lane_drifts(
    lane_ids: Sequence[int],
    since: Mapping[int, dt.date],
    *,
    today: dt.date,
    program: Program | None = None,
) -> dict[int, DriftResult]:
    """Drift of each calibrated lane since its calibration, as of ``today``.

    Parameters
    ----------
    since
        Day of the last calibration by lane; lanes without one are left out.
    """
    import numpy as np

    from quality.calc.drift import drift_since
    from quality.calc.steering import MIN_TRUCKS

    program = program or program_get()
    wanted = [lane_id for lane_id in lane_ids if lane_id in since]
    if not wanted:
        return {}
    earliest = min(since[lane_id] for lane_id in wanted)
    weeks: dict[int, list[tuple[dt.date, float, int]]] = defaultdict(list)
    rows = (
        LaneWeek.objects.filter(
            lane_id__in=wanted, week_on__gte=earliest, week_on__lte=today
        )
        .order_by("lane_id", "week_on")
        .values_list("lane_id", "week_on", "steering_mean_kg", "n_vehicles")
    )
    for lane_id, week_on, mean, n in rows:
        if week_on >= since[lane_id]:
            weeks[lane_id].append((week_on, mean, n))
    found = {}
    for lane_id in wanted:
        series = weeks.get(lane_id, [])
        counts = np.array([row[2] for row in series], dtype=np.int64)
        found[lane_id] = drift_since(
            week_on=np.array([row[0] for row in series], dtype="datetime64[D]"),
            mean_kg=np.array([row[1] for row in series], dtype=float),
            n_trucks=counts,
            is_enough=counts >= MIN_TRUCKS,
            calibrated_on=since[lane_id],
            limit_pct=program.act_drift_pct,
        )
    return found


def months_accepted(
    lane_ids: Sequence[int],
    *,
    first_on: dt.date = dt.date.min,
    last_on: dt.date = dt.date.max,
) -> dict[int, list[tuple[dt.date, float | None]]]:
    """Accepted share of each recorded month, by lane; None where nothing was.

    ``first_on``, ``last_on``: months whose first day lies between them.
    """
    found: dict[int, list[tuple[dt.date, float | None]]] = defaultdict(list)
    rows = LaneMonth.objects.filter(
        lane_id__in=lane_ids, month__range=(first_on, last_on)
    ).order_by("month")
    for lane_id, month, n_days, accepted in rows.values_list(
        "lane_id", "month", "n_days", "n_accepted"
    ):
        length = calendar.monthrange(month.year, month.month)[1]
        found[lane_id].append((month, accepted / length if n_days else None))
    return dict(found)


# --- review -----------------------------------------------------------------------


@dataclass(frozen=True)
class ReviewRun:
    """A run of a lane's days that nobody has judged, with what is proposed."""

    lane: Lane
    from_on: dt.date
    to_on: dt.date
    n_days: int
    n_vehicles: int
    proposal: str
    reasons: tuple[str, ...]

    @property
    def reason(self) -> str:
        """The reason that is proposed with the decision."""
        if self.reasons:
            return " ".join(self.reasons[:2])[:300]
        return "No check found anything."


def _proposal(findings: Iterable[Mapping[str, Any]]) -> str:
    weights = {finding.get("weight") for finding in findings}
    if "set aside" in weights:
        return "set aside"
    return "look at" if weights else "accept"


def review_runs(*, lane_id: int | None = None, site_code: str = "") -> list[ReviewRun]:
    """Undecided days grouped into runs of one proposal each.

    Days of one proposal that follow each other within three days make a run, unless a
    decided day lies between them: a run never covers what somebody has decided. Those
    that need a look come first, then those to be set aside, then the plain ones.
    """
    days = LaneDay.objects.filter(review__isnull=True)
    if lane_id is not None:
        days = days.filter(lane_id=lane_id)
    if site_code:
        days = days.filter(lane__wim_site__code=site_code)
    columns = ("lane_id", "date", "n_vehicles", "findings")
    rows = list(days.order_by("lane_id", "date").values_list(*columns))
    lanes = Lane.objects.select_related("wim_site").in_bulk({row[0] for row in rows})
    groups: list[list[tuple[int, dt.date, int, list[dict[str, Any]]]]] = []
    decided = _decided_between(rows)
    for row in rows:
        before = groups[-1][-1] if groups else None
        follows = (
            before is not None
            and before[0] == row[0]
            and (row[1] - before[1]).days <= RUN_GAP_DAYS
            and _proposal(before[3]) == _proposal(row[3])
            and decided.isdisjoint(_dates_between(before, row))
        )
        if follows:
            groups[-1].append(row)
        else:
            groups.append([row])
    runs = [
        ReviewRun(
            lane=lanes[group[0][0]],
            from_on=group[0][1],
            to_on=group[-1][1],
            n_days=len(group),
            n_vehicles=sum(row[2] for row in group),
            proposal=_proposal(group[0][3]),
            reasons=tuple(
                dict.fromkeys(one["sentence"] for row in group for one in row[3])
            ),
        )
        for group in groups
    ]
    order = {"look at": 0, "set aside": 1, "accept": 2}
    runs.sort(key=lambda run: (order[run.proposal], str(run.lane), run.from_on))
    return runs


def _dates_between(
    before: tuple[Any, ...], after: tuple[Any, ...]
) -> list[tuple[int, dt.date]]:
    """The lane-days between two of one lane's rows that are a short gap apart."""
    gap = (after[1] - before[1]).days
    if before[0] != after[0] or not 1 < gap <= RUN_GAP_DAYS:
        return []
    return [(before[0], before[1] + dt.timedelta(days=n)) for n in range(1, gap)]


def _decided_between(rows: Sequence[tuple[Any, ...]]) -> set[tuple[int, dt.date]]:
    """Decided lane-days in the short gaps between undecided ones."""
    between = {one for pair in pairwise(rows) for one in _dates_between(*pair)}
    if not between:
        return set()
    found = LaneDay.objects.filter(
        review__isnull=False,
        lane_id__in={lane_id for lane_id, _ in between},
        date__in={date for _, date in between},
    )
    return set(found.values_list("lane_id", "date"))


def lane_days(lane: Lane, *, month: str = "", decision: str = "") -> QuerySet[LaneDay]:
    """The days behind a lane's counts, newest first.

    ``month`` is "2031-05"; ``decision`` a decision's word, or "open" for the days that
    nobody has judged. What does not read as either is left out of account.
    """
    days = (
        LaneDay.objects.filter(lane=lane)
        .select_related("record_file", "review__decided_by")
        .order_by("-date")
    )
    try:
        first = dt.datetime.strptime(month, "%Y-%m").date()  # noqa: DTZ007
    except ValueError:
        pass
    else:
        days = days.filter(date__year=first.year, date__month=first.month)
    if decision == "open":
        days = days.filter(review__isnull=True)
    elif decision in DayDecision.values:
        days = days.filter(review__decision=decision)
    return days


def lane_weeks(lane: Lane) -> QuerySet[LaneWeek]:
    """The weeks behind a lane's drift, newest first."""
    return LaneWeek.objects.filter(lane=lane).order_by("-week_on")


def steering_weeks(
    lane: Lane, *, most: int = 156
) -> list[tuple[dt.date, int, float, float | None]]:
    """The latest weeks of a lane in order of time: Monday, n, mean and spread [kg]."""
    rows = LaneWeek.objects.filter(lane=lane).order_by("-week_on")
    columns = ("week_on", "n_vehicles", "steering_mean_kg", "steering_sd_kg")
    return list(rows.values_list(*columns)[:most])[::-1]
