"""When each lane is next due, and what is believed of its bias.

One function for every page: the due list, the lane's history and band, program health
and the calendar feed all ask :func:`lane_dues`, so they cannot disagree.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from django.core.cache import cache

from calibration.models import (
    CalibrationSettings,
)
from calibration.selectors.lane_records import LaneRecord, lane_records
from calibration.selectors.references import settings_get
from sites.models import Lane, Program
from wimprog.lib.dates import add_months

if TYPE_CHECKING:
    from calibration.calc.bias_types import (
        BiasWalk,
        LaneBias,
        LaneSessions,
    )
    from calibration.calc.due import DueEntry, DueRules

METHOD_VERSION = "1"


@dataclass(frozen=True)
class LaneDue:
    """When a lane is next due and why, and what is believed of its bias."""

    record: LaneRecord
    entry: DueEntry
    bias: LaneBias | None
    today: dt.date

    @property
    def lane(self) -> Lane:
        """The lane."""
        return self.record.lane

    @property
    def due_on(self) -> dt.date:
        """The last sensible day."""
        return self.entry.due_on

    @property
    def days_left(self) -> int:
        """Days from today; negative when overdue."""
        return (self.entry.due_on - self.today).days

    @property
    def word(self) -> str:
        """Condition word of the due state."""
        return str(self.entry.state.condition)


def due_rules(settings: CalibrationSettings, *, longest_days: int) -> DueRules:
    """The agency's rules of the due list.

    Raises
    ------
    DomainError
        When they contradict each other.
    """
    from calibration.calc.due import DueRules

    return DueRules(
        longest_days=longest_days,
        settling_hours=settings.settling_hours,
        weeks_after_installation=settings.weeks_after_installation,
        weeks_after_works=settings.weeks_after_works,
        soon_days=settings.soon_days,
    )


def longest_days_of(program: Program, since: dt.date) -> int:
    """The agency's longest interval in days, counted from a day."""
    return (add_months(since, program.calibration_interval_months) - since).days


def bias_walks(records: Sequence[LaneRecord]) -> dict[str, BiasWalk]:
    """How the bias wanders, fitted to all lanes of each technology."""
    from calibration.calc.bias_walk import fit_bias_walk

    by_technology: dict[str, list[LaneSessions]] = defaultdict(list)
    for record in records:
        by_technology[record.technology].append(record.sessions)
    return {
        name: kept_by_facts(
            "walk", (name, lanes), lambda n, ls: fit_bias_walk(ls, technology=n)
        )
        for name, lanes in by_technology.items()
    }


def lane_biases(
    records: Sequence[LaneRecord],
    walks: Mapping[str, BiasWalk],
    *,
    program: Program,
    settings: CalibrationSettings,
    today: dt.date,
    later_days: Sequence[int] = (),
) -> dict[int, LaneBias]:
    """What is believed of each lane's bias, by lane id.

    Lanes whose longest interval has one length are forecast together.
    """
    from calibration.calc.bias_forecast import forecast_bias

    groups: dict[tuple[str, int], list[str]] = defaultdict(list)
    for record in records:
        days = longest_days_of(program, record.last_session_on or today)
        groups[record.technology, days].append(record.key)
    found = {}
    for (technology, days), keys in groups.items():
        walk = walks[technology]
        wanted = set(keys)
        part = replace(walk, lanes=tuple(e for e in walk.lanes if e.key in wanted))
        for one in forecast_bias(
            part,
            today,
            tolerance_pct=settings.bias_tolerance_pct,
            level=settings.chance_level,
            longest_days=days,
            later_days=later_days,
        ):
            found[int(one.key)] = one
    return found


def lane_dues(program: Program, today: dt.date) -> dict[int, LaneDue]:
    """When each open lane of a site in service is next due, most urgent first.

    A fixed number of queries. By lane id; other lanes are not there.
    """
    settings = settings_get()
    records = lane_records(today)
    due = [record for record in records if record.is_due_ever]
    facts = [
        (one.technology, one.sessions, one.last_session_on, one.installed_on)
        for one in records
    ]
    biases = kept_by_facts(
        "biases",
        (
            facts,
            [one.key for one in due],
            today,
            program.calibration_interval_months,
            settings.bias_tolerance_pct,
            settings.chance_level,
        ),
        lambda *_: lane_biases(
            due, bias_walks(records), program=program, settings=settings, today=today
        ),
    )
    return _dues(due, biases, program=program, settings=settings, today=today)


def _dues(
    records: Iterable[LaneRecord],
    biases: Mapping[int, LaneBias],
    *,
    program: Program,
    settings: CalibrationSettings,
    today: dt.date,
) -> dict[int, LaneDue]:
    from calibration.calc.due import LaneFacts, due_entry

    rows = []
    for one in records:
        days = longest_days_of(program, one.last_session_on or today)
        bias = biases.get(one.lane.pk)
        entry = due_entry(
            LaneFacts(
                key=one.key,
                name=str(one.lane),
                last_session_on=one.last_session_on,
                installed_on=one.installed_on,
                events=one.events,
                bias=bias,
            ),
            today=today,
            rules=due_rules(settings, longest_days=days),
        )
        rows.append(LaneDue(one, entry, bias, today))

    def urgency(row: LaneDue) -> tuple[Any, ...]:
        chance = row.entry.chance_out
        return row.due_on, -(1.0 if chance is None else chance), row.entry.name

    return {row.lane.pk: row for row in sorted(rows, key=urgency)}


def lane_due(lane_id: int, program: Program, today: dt.date) -> LaneDue | None:
    """When one lane is next due; None where it is closed or its site not in service."""
    return lane_dues(program, today).get(lane_id)


def kept_by_facts(what: str, facts: tuple[Any, ...], compute: Any) -> Any:
    """What follows from facts, kept in the cache under a fingerprint of those facts."""
    text = repr((METHOD_VERSION, what, facts))
    key = f"calibration-{what}:{hashlib.sha256(text.encode()).hexdigest()[:32]}"
    found = cache.get(key)
    if found is None:
        found = compute(*facts)
        cache.set(key, found, 24 * 3600)
    return found
