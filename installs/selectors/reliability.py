"""Reliability: how sensors live and lanes work, by group, with intervals and tests."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from installs.calc.types import (
    EndReason,
    GroupComparison,
    IncidenceCurve,
    LaneHistory,
    Life,
    years_between,
)
from installs.models import CabinetUnit, DownSpell, Installation
from installs.selectors.downtime import LaneAvailability, lane_availability
from installs.selectors.life_curves import doubts
from installs.selectors.lives import LifeRow, life_rows
from sites.models import Lane

if TYPE_CHECKING:
    from installs.calc.group_figures import GroupFigures

NOT_RECORDED = "not recorded"
HOURS_PER_YEAR = 24 * 365.25
_BEGIN = dt.date(1900, 1, 1)


class GroupBy(StrEnum):
    """What sensors are grouped by."""

    TECHNOLOGY = "technology"
    PAVEMENT = "pavement"
    INSTALLER = "installer"
    LOT = "lot"
    CLIMATE = "climate"


_FIELDS = {
    GroupBy.TECHNOLOGY: "sensor__model__technology",
    GroupBy.PAVEMENT: "lane__wim_site__pavement_type",
    GroupBy.INSTALLER: "installer",
    GroupBy.LOT: "sensor__lot",
    GroupBy.CLIMATE: "lane__wim_site__climate",
}


@dataclass(frozen=True)
class Reliability:
    """The figures of all groups, whether they live alike, and how sensors failed.

    Attributes
    ----------
    comparison
        None with fewer than two recorded groups.
    modes
        Share ended by each failure mode and by each other end, all at work together.
    warnings
        What must be said before anything is read off.
    window_begin, window_end
        Time over which the lanes' work is counted.
    n_lanes_unknown
        Lanes of which nothing is known in the window, left out of availability.
    """

    by: GroupBy
    groups: tuple[GroupFigures, ...]
    comparison: GroupComparison | None
    modes: tuple[IncidenceCurve, ...]
    ages_at_risk: tuple[int, ...]
    warnings: tuple[str, ...]
    n_lives: int
    n_failures: int
    n_not_reported: int
    window_begin: dt.datetime
    window_end: dt.datetime
    n_lanes_unknown: int


@dataclass(frozen=True)
class PartLives:
    """Lives of one kind of cabinet unit."""

    part: str
    n: int
    n_failed: int
    figures: GroupFigures


def reliability(
    today: dt.date, now: dt.datetime, *, by: GroupBy, technology: str, years: int
) -> Reliability:
    """Figures by group as of ``today``, in a bounded number of queries.

    Parameters
    ----------
    now
        With a time zone; the end of the window in which the lanes' work is counted.
    technology
        Only this one; empty: all.
    years
        Length of that window.
    """
    from installs.calc.competing import cumulative_incidence
    from installs.calc.group_figures import watched_at

    everything = life_rows(today)
    rows = [row for row in everything if technology in ("", row.technology)]
    labels = _labels(by)
    groups: dict[str, list[LifeRow]] = defaultdict(list)
    for row in rows:
        groups[labels.get(row.pk) or NOT_RECORDED].append(row)
    begin = now - dt.timedelta(days=365.25 * years)
    lanes = list(
        Lane.objects.filter(pk__in={row.lane_id for row in rows}).select_related(
            "wim_site"
        )
    )
    worked = {
        one.lane.pk: one for one in lane_availability(lanes, begin=begin, end=now)
    }
    repaired = _repairs(everything)
    named = sorted(groups, key=lambda name: (name == NOT_RECORDED, name))
    lives = [row.life for row in rows]
    ends = [row.failure_mode or row.end_reason for row in rows]
    return Reliability(
        by=by,
        groups=tuple(_figures(n, groups[n], repaired, worked) for n in named),
        comparison=_compared(groups),
        modes=cumulative_incidence(lives, ends) if lives else (),
        ages_at_risk=watched_at(lives),
        warnings=tuple(_warnings(rows, by, technology)),
        n_lives=len(rows),
        n_failures=sum(row.failed for row in rows),
        n_not_reported=sum(row.failed and not row.is_reported for row in rows),
        window_begin=begin,
        window_end=now,
        n_lanes_unknown=sum(one.figures is None for one in worked.values()),
    )


def _labels(by: GroupBy) -> dict[int, str]:
    rows = Installation.objects.order_by().values_list("pk", _FIELDS[by])
    return {pk: " ".join(str(word or "").split()) for pk, word in rows}


def _figures(
    name: str,
    rows: Sequence[LifeRow],
    repaired: Mapping[int, float | None],
    worked: Mapping[int, LaneAvailability],
) -> GroupFigures:
    from installs.calc.group_figures import group_figures

    days = [repaired[row.pk] for row in rows if row.pk in repaired]
    known = [
        worked[pk].figures
        for pk in sorted({row.lane_id for row in rows})
        if pk in worked
    ]
    shares = [one for one in known if one is not None and one.window_hours > 0]
    return group_figures(
        name,
        [row.life for row in rows],
        _histories(rows),
        repair_days=[one for one in days if one is not None],
        n_unrepaired=sum(one is None for one in days),
        up_years=[
            (one.window_hours - one.down_hours) / HOURS_PER_YEAR for one in shares
        ],
        in_service_years=[one.window_hours / HOURS_PER_YEAR for one in shares],
    )


def _histories(rows: Sequence[LifeRow]) -> list[LaneHistory]:
    from installs.calc.group_figures import lane_history

    by_lane: dict[int, list[LifeRow]] = defaultdict(list)
    for row in rows:
        by_lane[row.lane_id].append(row)
    found = []
    for lane_id, own in sorted(by_lane.items()):
        begins = [years_between(_BEGIN, row.installed_on) for row in own]
        lives = [row.life for row in own]
        found.append(
            lane_history(
                str(lane_id),
                [
                    (at, at + one.age_years)
                    for at, one in zip(begins, lives, strict=True)
                ],
                [
                    at + one.point_age_years
                    for at, one in zip(begins, lives, strict=True)
                    if one.failed
                ],
            )
        )
    return found


def _repairs(rows: Sequence[LifeRow]) -> dict[int, float | None]:
    """Days from each failure until its place was filled; None: still empty.

    A time down that was logged for that very sensor stands in the place of the days
    between the two sensors. A place is filled also when the lane got a sensor of
    another technology.
    """
    logged: dict[int, float | None] = {}
    for pk, began, ended in DownSpell.objects.filter(
        installation__isnull=False
    ).values_list("installation_id", "began_at", "ended_at"):
        days = (ended - began).total_seconds() / 86400.0 if ended else None
        logged[pk] = days
    by_lane: dict[int, list[LifeRow]] = defaultdict(list)
    for row in rows:
        by_lane[row.lane_id].append(row)
    found: dict[int, float | None] = {}
    for row in rows:
        if not row.failed or row.ended_on is None:
            continue
        if row.pk in logged:
            found[row.pk] = logged[row.pk]
            continue
        later = [
            one
            for one in by_lane[row.lane_id]
            if one.pk != row.pk and one.installed_on >= row.ended_on
        ]
        same = [o.installed_on for o in later if o.position == row.position]
        other = [o.installed_on for o in later if o.technology != row.technology]
        filled = min(same or other, default=None)
        found[row.pk] = None if filled is None else float((filled - row.ended_on).days)
    return found


def _compared(groups: Mapping[str, Sequence[LifeRow]]) -> GroupComparison | None:
    from installs.calc.groups import compare_lives

    kept = {
        name: [row.life for row in rows]
        for name, rows in sorted(groups.items())
        if name != NOT_RECORDED
    }
    return compare_lives(kept) if len(kept) > 1 else None


def _warnings(rows: Sequence[LifeRow], by: GroupBy, technology: str) -> list[str]:
    said = doubts(rows)
    several = len({row.technology for row in rows}) > 1
    if several and by is not GroupBy.TECHNOLOGY and not technology:
        said.append(
            f"Each {by} here mixes technologies that live differently, so a difference "
            "may be theirs. Choose one technology."
        )
    open_below = sum(row.is_open_below for row in rows)
    if open_below:
        said.append(
            f"Of {open_below} failure{'' if open_below == 1 else 's'} nothing says how "
            "long the sensor worked after its installation; midway is a guess there."
        )
    return said


def cabinet_lives(today: dt.date) -> list[PartLives]:
    """Lives of cabinet units by part, in one query."""
    from installs.calc.group_figures import group_figures, lane_history

    by_part: dict[str, list[tuple[int, float, Life]]] = defaultdict(list)
    for pk, site, part, fitted, ended, reason in CabinetUnit.objects.filter(
        fitted_on__lte=today
    ).values_list("pk", "wim_site_id", "part", "fitted_on", "ended_on", "end_reason"):
        until = today if ended is None else min(ended, today)
        age_years = years_between(fitted, until)
        failed = reason == EndReason.FAILED and ended == until
        life = Life(age_years=age_years, failed=failed, key=str(pk))
        by_part[part].append((site, years_between(_BEGIN, fitted), life))
    found = []
    for part, units in sorted(by_part.items()):
        histories = [
            lane_history(
                str(site),
                [(at, at + life.age_years) for s, at, life in units if s == site],
                [
                    at + life.point_age_years
                    for s, at, life in units
                    if s == site and life.failed
                ],
            )
            for site in sorted({site for site, _, _ in units})
        ]
        lives = [life for _, _, life in units]
        figures = group_figures(part, lives, histories)
        found.append(PartLives(part, len(lives), figures.n_failures, figures))
    return found
