"""When preventive work is next due, by calendar and season, or by condition.

The clock of a phone may be wrong: work "done" after today counts as done today, and is
told.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass

from installs.calc.types import Technology
from installs.calc.upkeep.types import CabinetPart, ScheduleState, ScheduleTrigger
from wimprog.lib.dates import add_months
from wimprog.lib.errors import DomainError

DUE_SOON_DAYS = 30
_MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


@dataclass(frozen=True)
class ScheduleRule:
    """A rule of the agency about one kind of preventive work.

    Attributes
    ----------
    name
        What is done ("load test of the battery").
    trigger
        By calendar or by condition.
    technology, part
        What it is done to: sensors of a technology, or a part of the cabinet. One of
        them.
    interval_months
        By calendar: months from one time to the next.
    season_months
        Months of the year (1 to 12) in which the work can be done here; empty: any. A
        due day outside them moves (:func:`seasonal`).
    condition
        By condition: what makes it due, in words ("battery below 11.8 V at rest").
    """

    name: str
    trigger: ScheduleTrigger
    technology: Technology | None = None
    part: CabinetPart | None = None
    interval_months: int | None = None
    season_months: tuple[int, ...] = ()
    condition: str = ""

    def __post_init__(self) -> None:
        """Refuse a rule that cannot be followed."""
        if (self.technology is None) == (self.part is None):
            raise DomainError(
                f"“{self.name}” needs a sensor technology or a part of the cabinet, "
                "not both."
            )
        if self.trigger is ScheduleTrigger.CALENDAR and (
            self.interval_months is None or self.interval_months < 1
        ):
            raise DomainError(f"“{self.name}” needs an interval of 1 month or more.")
        if self.trigger is ScheduleTrigger.CONDITION and not self.condition:
            raise DomainError(f"“{self.name}” needs its condition in words.")
        if not set(self.season_months) <= set(range(1, 13)):
            raise DomainError(f"“{self.name}”: months of a season are 1 to 12.")


@dataclass(frozen=True)
class ScheduleFinding:
    """Where a rule stands for one object on a day.

    Attributes
    ----------
    state
        Overdue, due soon, later, never done, or condition not met.
    due
        Day on which it is due; None where only a condition makes it due.
    moved_from
        The day by the interval or the condition alone, where the season moved it.
    sentence
        For people.
    """

    state: ScheduleState
    due: dt.date | None
    moved_from: dt.date | None
    sentence: str

    def days_overdue(self, today: dt.date) -> int:
        """Days past the due day; 0 when not overdue."""
        return max((today - self.due).days, 0) if self.due else 0


def next_due(
    rule: ScheduleRule,
    *,
    last_done: dt.date | None,
    in_service_since: dt.date,
    today: dt.date,
    condition_met_since: dt.date | None = None,
) -> ScheduleFinding:
    """When the work is next due.

    Parameters
    ----------
    rule
        Of the agency.
    last_done
        When it was last done; None for never.
    in_service_since
        Day from which the interval counts when it was never done.
    today
        Day to judge on.
    condition_met_since
        By condition: the day on which the condition was found met, if it is.
    """
    done, note = last_done, ""
    if last_done is not None and last_done > today:
        done = today
        note = (
            f" It is noted as done on {last_done:%Y-%m-%d}, after today: check that "
            "clock; it counts as done today."
        )
    if rule.trigger is ScheduleTrigger.CONDITION or rule.interval_months is None:
        return _by_condition(rule, done, today, condition_met_since, note)
    start = done or min(in_service_since, today)
    plain = add_months(start, rule.interval_months)
    due = seasonal(plain, rule.season_months, start=start)
    late = (today - due).days
    if late > 0:
        state = ScheduleState.OVERDUE
        when = f"overdue since {due:%Y-%m-%d} ({late} day{'' if late == 1 else 's'})"
    else:
        when = f"due on {due:%Y-%m-%d}"
        state = ScheduleState.LATER if -late > DUE_SOON_DAYS else ScheduleState.DUE_SOON
        if done is None:
            state = ScheduleState.NEVER_DONE
    last = f"last done {done:%Y-%m-%d}" if done else "never done"
    text = f"{rule.name}: {when}; {last}, every {_months_text(rule.interval_months)}."
    if due != plain:
        text += (
            f" By the interval it would be {plain:%Y-%m-%d}; the season here is "
            f"{season_text(rule.season_months)}."
        )
    return ScheduleFinding(state, due, plain if due != plain else None, text + note)


def _by_condition(
    rule: ScheduleRule,
    done: dt.date | None,
    today: dt.date,
    met_since: dt.date | None,
    note: str,
) -> ScheduleFinding:
    met = min(met_since, today) if met_since else None
    if met is None or (done is not None and done >= met):
        return ScheduleFinding(
            ScheduleState.NOT_DUE,
            None,
            None,
            f"{rule.name}: not due; it waits for: {rule.condition}.{note}",
        )
    # Met outside the season it waits for the next one.
    due = met
    while not _inside(due, rule.season_months):
        due = add_months(due.replace(day=1), 1)
    state = ScheduleState.OVERDUE if due < today else ScheduleState.DUE_SOON
    return ScheduleFinding(
        state,
        due,
        met if due != met else None,
        f"{rule.name}: due on {due:%Y-%m-%d}, as {rule.condition} since "
        f"{met:%Y-%m-%d}.{note}",
    )


def seasonal(
    due: dt.date, season_months: Collection[int], *, start: dt.date
) -> dt.date:
    """A due day moved into the season.

    To the last day of the season before it, so that the interval is kept; but to the
    first day of the next season where the former lies less than half the interval after
    ``start``, the last time.
    """
    if _inside(due, season_months):
        return due
    first = due.replace(day=1)
    one_day = dt.timedelta(days=1)
    before = first - one_day
    while not _inside(before, season_months):
        before = before.replace(day=1) - one_day
    if (before - start).days * 2 >= (due - start).days:
        return before
    after = add_months(first, 1)
    while not _inside(after, season_months):
        after = add_months(after, 1)
    return after


def _inside(day: dt.date, season_months: Collection[int]) -> bool:
    return not season_months or day.month in season_months


def season_text(season_months: Collection[int]) -> str:
    """Months of a season in words.

    >>> season_text((1, 2, 6, 11, 12))
    'June, November to February'
    """
    months = set(season_months)
    if not months or len(months) == 12:
        return "all year"
    runs = []
    for month in sorted(months):
        if (month - 2) % 12 + 1 in months:
            continue
        last = month
        while last % 12 + 1 in months:
            last = last % 12 + 1
        name = _MONTHS[month - 1]
        runs.append(name if last == month else f"{name} to {_MONTHS[last - 1]}")
    return ", ".join(runs)


def _months_text(months: int) -> str:
    if months % 12 == 0:
        return "year" if months == 12 else f"{months // 12} years"
    return "month" if months == 1 else f"{months} months"
