"""Work from every source: how urgent, and said once.

Urgency follows from what is lost while the work waits, and from how long it has waited
already; each item says which rule put it where it is. Items about one object with one
cause are one piece of work. :mod:`installs.calc.upkeep.trips` groups them by place.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

from installs.calc.upkeep.types import Urgency, WorkSource
from wimprog.lib.errors import DomainError

#: Hours on site for a piece of work of each source, without travel and closure; the
#: agency's own come first (common practice, no source).
USUAL_HOURS: dict[WorkSource, float] = {
    WorkSource.DRIFT: 2.0,
    WorkSource.ELECTRICAL_LIMIT: 2.0,
    WorkSource.SENSOR_FAILURE: 6.0,
    WorkSource.CALIBRATION_DUE: 6.0,
    WorkSource.INSPECTION_DUE: 1.5,
    WorkSource.FAILED_COMMUNICATION: 1.5,
    WorkSource.REPORT: 1.0,
    WorkSource.SCHEDULE: 1.0,
    WorkSource.VISIT: 2.0,
}
_IN_DOUBT = (
    WorkSource.DRIFT,
    WorkSource.SENSOR_FAILURE,
    WorkSource.ELECTRICAL_LIMIT,
)
#: Days after which waiting makes work more urgent; the agency's own, change them here.
LANE_DOWN_DAYS = 14
IN_DOUBT_DAYS = 30
OVERDUE_DAYS = 30


@dataclass(frozen=True)
class WorkFacts:
    """One thing that somebody should see to.

    Attributes
    ----------
    key
        The caller's key.
    source
        Where it came from.
    site, lane, sensor
        The object; lane and sensor are empty where it is the whole site or lane.
    cause
        What is wrong or due, as a fixed word ("insulation resistance", "battery"):
        items of one object and cause are one.
    since
        Day on which it was found or fell due.
    reason
        A sentence for people.
    evidence
        What it rests on.
    lane_is_down
        Whether the lane gives no usable data because of it.
    is_hazard
        Whether it can hurt somebody (a loose plate, an open pull box).
    spoils_data
        Whether the lane's data is in doubt while it waits.
    hours
        Hours on site, where known better than :data:`USUAL_HOURS`.
    """

    key: str
    source: WorkSource
    site: str
    since: dt.date
    reason: str
    cause: str = ""
    lane: str = ""
    sensor: str = ""
    evidence: tuple[str, ...] = ()
    lane_is_down: bool = False
    is_hazard: bool = False
    spoils_data: bool = False
    hours: float | None = None

    def __post_init__(self) -> None:
        """Refuse hours that cannot be."""
        if self.hours is not None and not (
            math.isfinite(self.hours) and self.hours >= 0
        ):
            raise DomainError(
                f"Work {self.key}: its hours cannot be {self.hours}; give zero or more."
            )

    @property
    def subject(self) -> tuple[str, str, str, str]:
        """What makes two items one: object and cause."""
        return self.site, self.lane, self.sensor, self.cause or str(self.source)

    @property
    def expected_hours(self) -> float:
        """Hours on site: its own, else the usual ones of its source."""
        return USUAL_HOURS[self.source] if self.hours is None else self.hours


@dataclass(frozen=True)
class RankedWork:
    """A piece of work with its urgency and the rule that gave it.

    Attributes
    ----------
    facts
        Of the earliest item, with the reasons and evidence of all.
    urgency, why
        How soon, and the rule in words.
    merged_keys, sources
        Of the items that are this one piece of work.
    hours
        On site.
    """

    facts: WorkFacts
    urgency: Urgency
    why: str
    merged_keys: tuple[str, ...]
    sources: tuple[WorkSource, ...]
    hours: float

    @property
    def order(self) -> tuple[int, dt.date, str]:
        """Sort key: most urgent first, then the longest waiting."""
        return self.urgency.rank, self.facts.since, self.facts.key


def urgency_of(facts: WorkFacts, today: dt.date) -> tuple[Urgency, str]:
    """How soon, and by which rule.

    In order: a hazard, at once; a lane down or without contact, this week (at once
    after 14 days); data in doubt, this month (this week after 30 days); a date overdue
    by more than 30 days, this month; the rest with the next trip. A day after today
    counts as today, so that a clock running ahead hides nothing.
    """
    waited = max((today - facts.since).days, 0)
    days = f"{waited} day{'' if waited == 1 else 's'}"
    if facts.is_hazard:
        return Urgency.AT_ONCE, "can hurt somebody"
    if facts.lane_is_down or facts.source is WorkSource.FAILED_COMMUNICATION:
        what = (
            "the lane gives no data"
            if facts.lane_is_down
            else "no contact, so nobody knows whether it records"
        )
        if waited > LANE_DOWN_DAYS:
            more = f"{what}, for {days} now (more than {LANE_DOWN_DAYS})"
            return Urgency.AT_ONCE, more
        return Urgency.THIS_WEEK, f"{what}, for {days}"
    if facts.spoils_data or facts.source in _IN_DOUBT:
        what = f"its data is in doubt, for {days}"
        if waited > IN_DOUBT_DAYS:
            return Urgency.THIS_WEEK, f"{what} now (more than {IN_DOUBT_DAYS})"
        return Urgency.THIS_MONTH, what
    if facts.source.is_calendar and waited > OVERDUE_DAYS:
        return Urgency.THIS_MONTH, f"overdue by {days} (more than {OVERDUE_DAYS})"
    return Urgency.NEXT_TRIP, "nothing is lost while it waits for a trip"


def ranked(items: Iterable[WorkFacts], today: dt.date) -> tuple[RankedWork, ...]:
    """Items with duplicates merged, most urgent first, then the longest waiting.

    A merged item keeps the earliest day, the reasons and evidence of all, and the worst
    of what they say is lost; its hours are those of the longest, not the sum.
    """
    groups: dict[tuple[str, str, str, str], list[WorkFacts]] = {}
    for item in items:
        groups.setdefault(item.subject, []).append(item)
    found = [_merged(group, today) for group in groups.values()]
    return tuple(sorted(found, key=lambda one: one.order))


def _merged(group: list[WorkFacts], today: dt.date) -> RankedWork:
    group = sorted(group, key=lambda one: (one.since, one.key))
    whole = replace(
        group[0],
        reason=" ".join(dict.fromkeys(one.reason for one in group)),
        evidence=tuple(dict.fromkeys(e for one in group for e in one.evidence)),
        lane_is_down=any(one.lane_is_down for one in group),
        is_hazard=any(one.is_hazard for one in group),
        spoils_data=any(one.spoils_data for one in group),
    )
    rules = [urgency_of(one, today) for one in (whole, *group)]
    urgency, why = min(rules, key=lambda rule: rule[0].rank)
    return RankedWork(
        facts=whole,
        urgency=urgency,
        why=why,
        merged_keys=tuple(one.key for one in group),
        sources=tuple(dict.fromkeys(one.source for one in group)),
        hours=max(one.expected_hours for one in group),
    )
