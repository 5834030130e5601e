"""What the program found, kept on the work list: each finding once.

A finding raises one item. Seen again, it brings that item up to date; gone, the item
stays and says so, for a person to close. What somebody closed stays closed on the same
evidence: as not needed for good, as done until the finding is still there some days
after the work (:attr:`WorkFinding.again_after_days`).
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Any

from django.db import transaction

from installs.calc.upkeep.findings import GONE, WorkFinding
from installs.calc.upkeep.types import WorkSource, WorkState
from installs.models import WorkItem
from installs.selectors.work import is_gone
from wimprog.lib.models import save_with_reason

BY_THE_PROGRAM = "found by the program"


@dataclass(frozen=True)
class FoundWork:
    """What one look came to: numbers of items."""

    n_seen: int
    n_raised: int
    n_updated: int
    n_gone: int
    n_left_closed: int

    @property
    def sentence(self) -> str:
        """For people."""
        return (
            f"{self.n_seen} findings looked at: {self.n_raised} new on the list, "
            f"{self.n_updated} brought up to date, {self.n_gone} no longer seen, "
            f"{self.n_left_closed} left closed as somebody decided."
        )


@transaction.atomic
def findings_keep(
    findings: Iterable[WorkFinding],
    *,
    looked_at: Collection[WorkSource],
    today: dt.date,
    by: Any = None,
) -> FoundWork:
    """Raise, bring up to date and mark as gone; close nothing.

    Parameters
    ----------
    looked_at
        Sources that were looked at: items of others are not called gone.
    by
        Who asked; None where the program looked by itself.
    """
    by_key = {one.key: one for one in findings}
    rows = list(
        WorkItem.objects.select_for_update()
        .exclude(source_key="")
        .filter(source__in=[source.value for source in looked_at])
    )
    opened = {one.source_key: one for one in rows if WorkState(one.state).is_open}
    closed: dict[tuple[str, str], list[WorkItem]] = defaultdict(list)
    for one in rows:
        if not WorkState(one.state).is_open:
            closed[one.source_key, one.evidence_key].append(one)
    n_raised = n_updated = n_left = 0
    for key, finding in by_key.items():
        if key in opened:
            n_updated += _update(opened[key], finding, by)
            continue
        before = closed[key, finding.evidence_key]
        if _stays_closed(before, finding, today):
            n_left += 1
            continue
        _raise(finding, _done_on(before), by)
        n_raised += 1
    n_gone = sum(
        _mark_gone(item, today, by)
        for key, item in opened.items()
        if key not in by_key and not is_gone(item)
    )
    return FoundWork(len(by_key), n_raised, n_updated, n_gone, n_left)


def _done_on(before: Collection[WorkItem]) -> dt.date | None:
    return max((one.done_on for one in before if one.done_on), default=None)


def _stays_closed(
    before: Collection[WorkItem], finding: WorkFinding, today: dt.date
) -> bool:
    if not before:
        return False
    if any(one.state == WorkState.NOT_NEEDED for one in before):
        return True
    done_on = _done_on(before)
    if finding.again_after_days is None or done_on is None:
        return True
    return (today - done_on).days <= finding.again_after_days


def _raise(finding: WorkFinding, done_on: dt.date | None, by: Any) -> None:
    item = WorkItem(source=finding.source.value, source_key=finding.key)
    since = finding.since_on
    if done_on is not None:  # it waits anew since then
        since = max(since, done_on)
    _copy(item, finding)
    item.since_on = since
    if done_on is not None:
        again = {"text": f"Said to be done on {done_on}, but still there.", "page": []}
        item.evidence = [*item.evidence, again]
    save_with_reason(item, by=by, why=BY_THE_PROGRAM)


def _copy(item: WorkItem, finding: WorkFinding) -> None:
    item.evidence_key = finding.evidence_key
    item.wim_site_id = finding.wim_site_id
    item.lane_id = finding.lane_id
    item.installation_id = finding.installation_id
    item.part = finding.part
    item.cause = finding.cause
    item.reason = _shortened(finding.reason)
    item.since_on = finding.since_on
    item.due_on = finding.due_on
    item.evidence = [one.as_json() for one in finding.evidence]
    item.lane_is_down = finding.lane_is_down
    item.spoils_data = finding.spoils_data
    item.hours = finding.hours


def _shortened(reason: str) -> str:
    longest = WorkItem._meta.get_field("reason").max_length or 400
    return reason if len(reason) <= longest else f"{reason[: longest - 1]}…"


_FOLLOWED = (
    "evidence_key", "reason", "due_on", "evidence", "lane_is_down", "spoils_data",
)  # fmt: skip


def _update(item: WorkItem, finding: WorkFinding, by: Any) -> bool:
    """Bring an open item up to date; whether anything had changed.

    The day since when it waits stays, and so does what a person set.
    """
    now = {
        "evidence_key": finding.evidence_key,
        "reason": _shortened(finding.reason),
        "due_on": finding.due_on,
        "evidence": [one.as_json() for one in finding.evidence],
        "lane_is_down": finding.lane_is_down,
        "spoils_data": finding.spoils_data,
    }
    if all(getattr(item, name) == now[name] for name in _FOLLOWED):
        return False
    came_back = is_gone(item)
    for name in _FOLLOWED:
        setattr(item, name, now[name])
    save_with_reason(
        item, by=by, why="seen again" if came_back else "brought up to date"
    )
    return True


def _mark_gone(item: WorkItem, today: dt.date, by: Any) -> bool:
    item.evidence = [
        *item.evidence,
        {
            "text": f"On {today} the program no longer saw this. Close it as not "
            "needed if nothing is left to do.",
            "page": [],
            GONE: today.isoformat(),
        },
    ]
    save_with_reason(item, by=by, why=GONE)
    return True
