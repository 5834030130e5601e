"""When each lane is next to be calibrated, and why then.

The day is the earliest of what the agency's rules and the wander of the bias ask for:

* a lane without a session, or whose sensors, electronics or pavement changed since the
  last one, within so many weeks of that, and not before it has settled: at least 72
  hours after installation (confirmed in public guidance);
* the day on which the chance of a bias beyond tolerance reaches the agency's level
  (:mod:`calibration.calc.bias_forecast`);
* in any case the longest interval the agency allows; calibration at least once a year
  is federal guidance (Traffic Monitoring Guide; confirmed).
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from calibration.calc.bias_types import LaneBias, day_text
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Condition


class DueReason(StrEnum):
    """What sets the day."""

    NEVER_CALIBRATED = "never calibrated"
    AFTER_INSTALLATION = "after installation"
    AFTER_WORKS = "after works"
    BIAS = "bias may be out of tolerance"
    LONGEST_INTERVAL = "longest interval"


class DueState(StrEnum):
    """Where the day lies from today."""

    condition: Condition

    OVERDUE = "overdue", Condition.ACT
    DUE_NOW = "due now", Condition.ACT
    DUE_SOON = "due soon", Condition.WATCH
    SETTLING = "settling", Condition.WATCH
    LATER = "later", Condition.SOUND

    def __new__(cls, word: str, condition: Condition = Condition.NO_DATA) -> DueState:
        """Keep the word as the value, the condition it is shown as beside it."""
        state = str.__new__(cls, word)
        state._value_ = word
        state.condition = condition
        return state


@dataclass(frozen=True)
class DueRules:
    """The agency's rules.

    Attributes
    ----------
    longest_days
        Longest interval between sessions.
    settling_hours
        From installation or works until the first runs, at least 72.
    weeks_after_installation, weeks_after_works
        By when the lane is to be calibrated then (common practice, no source).
    soon_days
        How far ahead a day counts as soon.
    """

    longest_days: int = 365
    settling_hours: int = 72
    weeks_after_installation: int = 6
    weeks_after_works: int = 6
    soon_days: int = 60

    def __post_init__(self) -> None:
        """Refuse rules that contradict each other or the guidance."""
        if self.longest_days < 1:
            raise DomainError("The longest interval is at least one day.")
        if self.settling_hours < 72:
            raise DomainError(
                f"A lane settles for at least 72 hours after installation, not "
                f"{self.settling_hours}."
            )
        if self.soon_days < 0:
            raise DomainError("“Soon” is zero days ahead or more.")
        for name, weeks in [
            ("installation", self.weeks_after_installation),
            ("works", self.weeks_after_works),
        ]:
            if weeks * 7 <= self.settling_days:
                raise DomainError(
                    f"{weeks} weeks after {name} leave no day to calibrate on: the "
                    f"lane settles for {self.settling_hours} hours first."
                )

    @property
    def settling_days(self) -> int:
        """Whole days after which settling is over at any hour of the day.

        The hour of the work is not kept, so its day does not count.
        """
        return math.ceil(self.settling_hours / 24) + 1


@dataclass(frozen=True)
class LaneEvent:
    """A day that changed the lane, and what was done ("sensor replaced")."""

    day: dt.date
    what: str


@dataclass(frozen=True)
class LaneFacts:
    """What the due day of one lane rests on.

    Attributes
    ----------
    key, name
        What the caller and people know the lane by.
    last_session_on
        Day of its last session; None without one.
    installed_on
        Day on which its sensors were installed, where known.
    events
        Repairs of the weighing sensors or electronics, and pavement works.
    bias
        Its forecast; None where there is none.
    """

    key: str
    name: str
    last_session_on: dt.date | None = None
    installed_on: dt.date | None = None
    events: tuple[LaneEvent, ...] = ()
    bias: LaneBias | None = None


@dataclass(frozen=True)
class DueEntry:
    """When a lane is next to be calibrated.

    ``from_on`` is the first sensible day, ``due_on`` the last; ``chance_out`` the
    chance that its bias lies beyond tolerance today, None where nothing is known.
    """

    key: str
    name: str
    from_on: dt.date
    due_on: dt.date
    reason: DueReason
    state: DueState
    chance_out: float | None
    sentence: str


def due_list(
    lanes: Iterable[LaneFacts], *, today: dt.date, rules: DueRules | None = None
) -> tuple[DueEntry, ...]:
    """Due days of the lanes, the most urgent first.

    Parameters
    ----------
    lanes
        Lanes in service.
    today
        The day of the list.
    rules
        The agency's rules.

    Returns
    -------
    tuple of DueEntry
        By day, then by the chance of being out today (unknown counts as certain), then
        by name.
    """
    rules = rules or DueRules()
    entries = [due_entry(lane, today=today, rules=rules) for lane in lanes]
    return tuple(
        sorted(
            entries,
            key=lambda one: (
                one.due_on,
                -(1.0 if one.chance_out is None else one.chance_out),
                one.name,
                one.key,
            ),
        )
    )


def due_entry(lane: LaneFacts, *, today: dt.date, rules: DueRules) -> DueEntry:
    """When one lane is next to be calibrated, and why then.

    Parameters
    ----------
    lane, today, rules
        As for :func:`due_list`.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the last session lies after today.
    """
    last = lane.last_session_on
    if last is not None and last > today:
        raise DomainError(
            f"{lane.name} has a session on {day_text(last)}, after the day of the list "
            f"({day_text(today)})."
        )
    if last is None:
        from_on, due_on, reason, why = _first(lane, today, rules)
    else:
        from_on, due_on, reason, why = _next(lane, last, today, rules)
    return DueEntry(
        key=lane.key,
        name=lane.name,
        from_on=from_on,
        due_on=due_on,
        reason=reason,
        state=_state(from_on, due_on, today, rules),
        chance_out=lane.bias.today.chance_out
        if lane.bias is not None and lane.bias.today is not None
        else None,
        sentence=why,
    )


_Due = tuple[dt.date, dt.date, DueReason, str]


def _first(lane: LaneFacts, today: dt.date, rules: DueRules) -> _Due:
    """A lane without a session: after its latest change, else now."""
    changes = _changes(lane, None, today)
    if not changes:
        why = "This lane has no session: calibrate it now."
        return today, today, DueReason.NEVER_CALIBRATED, why
    return _after(changes, rules)


def _next(lane: LaneFacts, last: dt.date, today: dt.date, rules: DueRules) -> _Due:
    end = last + dt.timedelta(days=rules.longest_days)
    choices: list[_Due] = [
        (
            last,
            end,
            DueReason.LONGEST_INTERVAL,
            f"Last calibrated on {day_text(last)}; the longest interval of "
            f"{rules.longest_days} days ends on {day_text(end)}.",
        )
    ]
    bias = lane.bias
    if bias is not None and bias.passes_on is not None:
        choices.append(
            (
                last,
                max(bias.passes_on, last),
                DueReason.BIAS,
                f"The chance of a bias beyond ±{bias.tolerance_pct:g} % reaches "
                f"{bias.level * 100:g} % on {day_text(bias.passes_on)}, before the "
                f"longest interval ends ({day_text(end)}). {bias.sentence}",
            )
        )
    changes = _changes(lane, last, today)
    if changes:
        # What was known of the bias is gone, so only these and the interval count.
        choices = [choices[0], _after(changes, rules)]
    best = min(choices, key=lambda one: (one[1], one[2] is DueReason.LONGEST_INTERVAL))
    from_on, due_on, reason, why = best
    if changes and reason is DueReason.LONGEST_INTERVAL:
        settled = changes[-1][0] + dt.timedelta(days=rules.settling_days)
        from_on = max(from_on, min(settled, due_on))
        why = f"{why} It also changed since ({changes[-1][2]})."
    return from_on, due_on, reason, why


def _changes(
    lane: LaneFacts, last: dt.date | None, today: dt.date
) -> list[tuple[dt.date, DueReason, str]]:
    """Installation and works since the last session, up to today, oldest first."""
    found = [(one.day, DueReason.AFTER_WORKS, one.what) for one in lane.events]
    if lane.installed_on is not None:
        found.append((lane.installed_on, DueReason.AFTER_INSTALLATION, "installed"))
    return sorted(
        one for one in found if one[0] <= today and (last is None or one[0] > last)
    )


def _after(changes: list[tuple[dt.date, DueReason, str]], rules: DueRules) -> _Due:
    """After changes without a calibration since.

    The latest one is to settle; further ones put the day off no more than that needs.
    """
    day, reason, what = changes[-1]
    from_on = day + dt.timedelta(days=rules.settling_days)
    weeks = {
        DueReason.AFTER_INSTALLATION: rules.weeks_after_installation,
        DueReason.AFTER_WORKS: rules.weeks_after_works,
    }
    by = min(one[0] + dt.timedelta(weeks=weeks[one[1]]) for one in changes)
    due_on = max(by, from_on)
    why = (
        f"Changed on {day_text(day)} ({what}) and not calibrated since: let it settle "
        f"for {rules.settling_hours} hours, so from {day_text(from_on)}, and calibrate "
        f"by {day_text(due_on)} (agency's rule: within {weeks[reason]} weeks)."
    )
    return from_on, due_on, reason, why


def _state(
    from_on: dt.date, due_on: dt.date, today: dt.date, rules: DueRules
) -> DueState:
    if due_on < today:
        return DueState.OVERDUE
    if due_on == today:
        return DueState.DUE_NOW
    if from_on > today:
        return DueState.SETTLING
    if (due_on - today).days <= rules.soon_days:
        return DueState.DUE_SOON
    return DueState.LATER
