"""Figures of lane-weeks, worked out from the stored records and kept beside them.

Each week's figures carry a digest of what they were made of (parts, days left out,
settings, method), so that a second look works out only what has changed: an interrupted
run goes on where it stopped.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.conf import settings
from django.db import transaction

from quality.models import (
    DayDecision,
    LaneDay,
    LaneWeek,
    RecordPart,
    RecordSettings,
)
from quality.selectors.computing import record_executor
from quality.selectors.weeks import (
    HELD_AGAINST,
    MADE_OF,
    calibration_days,
    stored_figures,
)
from sites.models import Lane
from sites.selectors import program_get

if TYPE_CHECKING:
    import numpy as np

    from quality.calc.class9_week import WeekSettings
    from quality.calc.week_parts import StoredPart
    from quality.calc.week_types import ReferencePeriod, WeekFigures

REFERENCE_WEEKS = 8
"""Weeks after a calibration that later weeks are held against (as the drift line)."""


@dataclass(frozen=True)
class WeeksDone:
    """How many weeks were worked out anew, held anew, and let be."""

    n_worked_out: int
    n_held: int
    n_let_be: int


def week_settings() -> WeekSettings:
    """The program's legal gross weight and the pavements of the record settings."""
    from quality.calc.class9_week import WeekSettings
    from quality.calc.esals import FlexiblePavement, RigidPavement
    from wimprog.lib.units import MM_PER_IN

    chosen = RecordSettings.objects.first() or RecordSettings()
    end = chosen.terminal_serviceability
    return WeekSettings(
        gross_limit_kg=program_get().legal_gross_kg,
        flexible=FlexiblePavement(chosen.flexible_sn, end),
        rigid=RigidPavement(chosen.rigid_slab_in * MM_PER_IN, end),
    )


def week_figures_refresh(
    *,
    lane: Lane,
    first_on: dt.date = dt.date.min,
    last_on: dt.date = dt.date.max,
    most: int | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> WeeksDone:
    """Work out the figures of a lane's weeks that have changed since they were made.

    Parameters
    ----------
    first_on, last_on
        Mondays to look at, both included.
    most
        Where more weeks than this have changed, their old figures are dropped and
        nothing is worked out: `manage.py derive` does it, while nobody waits.
    progress
        Called with the weeks done and the weeks to do.

    Raises
    ------
    DomainError
        When a stored part is missing or cannot be read.
    """
    found = LaneWeek.objects.filter(lane=lane, week_on__range=(first_on, last_on))
    weeks = {week.week_on: week for week in found}
    if not weeks:
        return WeeksDone(0, 0, 0)
    parts = _parts(lane)
    away = set(
        LaneDay.objects.filter(
            lane=lane, review__decision=DayDecision.SET_ASIDE
        ).values_list("date", flat=True)
    )
    chosen = week_settings()
    digests = {day: _digest(day, parts, away, chosen) for day in weeks}
    wanted = [
        day for day, week in weeks.items()
        if digests[day] and week.figures.get(MADE_OF) != digests[day]
    ]  # fmt: skip
    if most is not None and (not wanted or len(wanted) > most):
        stale = [weeks[day] for day in weeks if day in set(wanted) or not digests[day]]
        _drop(stale)
        return WeeksDone(0, 0, len(weeks) - len(wanted))
    _drop([week for day, week in weeks.items() if not digests[day]])
    _work_out(weeks, wanted, parts, away, chosen, digests, progress)
    n_held = _hold(lane, min(weeks), max(weeks))
    return WeeksDone(len(wanted), n_held, len(weeks) - len(wanted))


def _drop(weeks: Sequence[LaneWeek]) -> None:
    """Old figures of weeks that have changed: better none than wrong ones."""
    stale = [week.pk for week in weeks if week.figures]
    if stale:
        LaneWeek.objects.filter(pk__in=stale).update(figures={})


def _parts(lane: Lane) -> list[StoredPart]:
    from quality.calc.week_parts import StoredPart

    rows = RecordPart.objects.current().filter(lane=lane).order_by("path")
    return [
        StoredPart(path, first_at.date(), last_at.date())
        for path, first_at, last_at in rows.values_list("path", "first_at", "last_at")
    ]


def _digest(
    monday: dt.date,
    parts: Sequence[StoredPart],
    away: set[dt.date],
    chosen: WeekSettings,
) -> str:
    """What a week's figures are made of; empty when no part holds records of it."""
    from quality.calc.week_parts import meets
    from quality.calc.week_types import METHOD_VERSION

    sunday = monday + dt.timedelta(days=6)
    paths = [one.path for one in parts if meets(one, monday, sunday)]
    if not paths:
        return ""
    dropped = sorted(str(day) for day in away if monday <= day <= sunday)
    facts = json.dumps([METHOD_VERSION, paths, dropped, repr(chosen)])
    return hashlib.sha256(facts.encode()).hexdigest()[:16]


def _work_out(
    weeks: dict[dt.date, LaneWeek],
    wanted: Sequence[dt.date],
    parts: Sequence[StoredPart],
    away: set[dt.date],
    chosen: WeekSettings,
    digests: dict[dt.date, str],
    progress: Callable[[int, int], None] | None,
) -> None:
    """Each run of weeks is stored as soon as it is done."""
    from quality.calc.week_parts import figures_of, jobs_of

    if not wanted:
        return
    root = str(settings.RECORD_STORE)
    jobs = jobs_of(root, parts, wanted, dropped=away, settings=chosen)
    done = 0
    with record_executor() as place:
        for results in place.map(figures_of, jobs):
            run = []
            for monday, figures in results:
                week = weeks[monday]
                week.figures = figures | {MADE_OF: digests[monday]}
                run.append(week)
            LaneWeek.objects.bulk_update(run, ["figures"])
            done += len(run)
            if progress is not None:
                progress(done, len(wanted))


@transaction.atomic
def _hold(lane: Lane, first_on: dt.date, last_on: dt.date) -> int:
    """Hold the weeks against the first weeks after their calibration.

    Where the weeks that changed are those of a reference, so do the weeks after them.
    """
    days = calibration_days([lane.pk]).get(lane.pk, [])
    if not days:
        return 0
    # the periods between calibrations that these weeks lie in, whole
    start = days[max(bisect_right(days, first_on) - 1, 0)]
    after = bisect_right(days, last_on)
    end = days[after] if after < len(days) else dt.date.max
    rows = LaneWeek.objects.filter(
        lane=lane, week_on__gte=start, week_on__lt=end
    ).order_by("week_on")
    periods: list[list[tuple[LaneWeek, WeekFigures]]] = [[] for _ in days]
    for week in rows:
        figures = stored_figures(week)
        if figures is not None:
            periods[bisect_right(days, week.week_on) - 1].append((week, figures))
    changed: list[LaneWeek] = []
    for period in periods:
        changed.extend(_hold_period(period))
    LaneWeek.objects.bulk_update(changed, ["figures"], batch_size=100)
    return len(changed)


def _hold_period(period: Sequence[tuple[LaneWeek, WeekFigures]]) -> list[LaneWeek]:
    from quality.calc.class9_week import MOST_WEEKS_POOLED, held_against
    from quality.calc.week_types import ReferencePeriod
    from wimprog.lib.errors import DomainError

    first = [figures for _, figures in period[:REFERENCE_WEEKS]]
    if len(first) < REFERENCE_WEEKS:
        return []  # the reference is not whole yet
    reference: ReferencePeriod
    try:
        reference = ReferencePeriod.of(first)
    except DomainError:
        return []  # too few trucks; the week's own note says so
    of_reference = _sums_digest([one.counts for one in first])
    changed = []
    for place, (week, figures) in enumerate(period):
        before = [one.counts for _, one in period[:place]][-MOST_WEEKS_POOLED + 1 :]
        key = of_reference + _sums_digest([*before, figures.counts])
        if week.figures.get(HELD_AGAINST) == key:
            continue
        held = held_against(figures, reference, before)
        made_of = week.figures[MADE_OF]
        week.figures = held.as_dict() | {MADE_OF: made_of, HELD_AGAINST: key}
        changed.append(week)
    return changed


def _sums_digest(counts: Sequence[np.ndarray]) -> str:
    digest = hashlib.sha256()
    for one in counts:
        digest.update(one.astype("<i8").tobytes())
    return digest.hexdigest()[:16]
