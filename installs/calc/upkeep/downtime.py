"""Times without usable data, from failures, visits and gaps in the records.

Each source gives spells: a failure lasts from when it is known to have happened (or was
found) until a visit mended it; a gap in the records lasts while there are none. Spells
of one lane or sensor that overlap or touch are one, so that nothing counts twice. All
instants carry a time zone.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from installs.calc.upkeep.types import DowntimeCause
from wimprog.lib.errors import DomainError


@dataclass(frozen=True)
class Spell:
    """One time down, as one source tells it.

    Attributes
    ----------
    lane
        The caller's name.
    sensor
        The caller's name; empty when the whole lane is down.
    begin, end
        Instants with a time zone; ``end`` None while it is still down.
    cause
        Why.
    evidence
        What it rests on, for people ("visit of 2031-05-02").
    begin_uncertain_hours
        How much earlier it may have begun (to the last good test); 0 when known.
    """

    lane: str
    begin: dt.datetime
    end: dt.datetime | None
    cause: DowntimeCause
    sensor: str = ""
    evidence: str = ""
    begin_uncertain_hours: float = 0.0

    def __post_init__(self) -> None:
        """Refuse instants without a zone and ends before beginnings."""
        for instant in (self.begin, self.end):
            if instant is not None and instant.tzinfo is None:
                raise DomainError(
                    f"Lane {self.lane}: a time down needs a time zone, not {instant}."
                )
        if self.end is not None and self.end < self.begin:
            raise DomainError(
                f"Lane {self.lane}: it worked again at {self.end:%Y-%m-%d %H:%M}, "
                f"before it went down at {self.begin:%Y-%m-%d %H:%M}; correct one."
            )


@dataclass(frozen=True)
class Downtime:
    """Spells of one lane or sensor that overlap, as one.

    Attributes
    ----------
    causes
        In the order in which they began.
    is_open
        Whether it is still down at the end of the window.
    """

    begin: dt.datetime
    end: dt.datetime
    causes: tuple[DowntimeCause, ...]
    evidence: tuple[str, ...]
    is_open: bool

    @property
    def hours(self) -> float:
        """Length [h]."""
        return (self.end - self.begin).total_seconds() / 3600.0


@dataclass(frozen=True)
class Availability:
    """What availability is computed from, for one lane or sensor in a window.

    Attributes
    ----------
    window_hours, down_hours
        Length of the window in service, and down in it.
    n_times_down, n_mended
        Number of merged times down, and of those that ended in the window.
    mended_hours
        Sum of the lengths of those that ended, from their beginnings (which may lie
        before the window).
    down_hours_by_cause
        Each hour counts for the cause that began first among those then active.
    """

    window_hours: float
    down_hours: float
    n_times_down: int
    n_mended: int
    mended_hours: float
    down_hours_by_cause: tuple[tuple[DowntimeCause, float], ...]

    @property
    def share(self) -> float | None:
        """Share of the window in which it worked; None for an empty window."""
        if self.window_hours <= 0:
            return None
        return 1.0 - self.down_hours / self.window_hours

    @property
    def mean_hours_to_repair(self) -> float | None:
        """Mean length of the times down that ended; None when none did."""
        return self.mended_hours / self.n_mended if self.n_mended else None

    @property
    def mean_hours_between(self) -> float | None:
        """Hours up for each time down; None when it was never down."""
        if not self.n_times_down:
            return None
        return (self.window_hours - self.down_hours) / self.n_times_down


def lane_spells(spells: Iterable[Spell], lane: str) -> list[Spell]:
    """Spells in which a lane gives no data: its own, and those of its sensors."""
    return [spell for spell in spells if spell.lane == lane]


def sensor_spells(spells: Iterable[Spell], lane: str, sensor: str) -> list[Spell]:
    """Spells in which a sensor gives no data: its own, and those of its lane."""
    return [one for one in spells if one.lane == lane and one.sensor in ("", sensor)]


def merged(
    spells: Sequence[Spell], now: dt.datetime, *, join_within_hours: float = 0.0
) -> tuple[Downtime, ...]:
    """Overlapping spells as one, in order.

    Parameters
    ----------
    spells
        Of one lane or sensor.
    now
        End of spells that are still open. Spells that begin later are left out: a
        phone whose clock runs ahead must not make a lane down tomorrow.
    join_within_hours
        Spells no further apart than this are one (a lane that works for an hour
        between two gaps was not mended).

    Raises
    ------
    wimprog.lib.errors.DomainError
        When ``now`` has no time zone.
    """
    if now.tzinfo is None:
        raise DomainError("The present instant needs a time zone.")
    join = dt.timedelta(hours=join_within_hours)
    groups: list[list[Spell]] = []
    reach: dt.datetime | None = None
    for spell in sorted(spells, key=lambda one: one.begin):
        if spell.begin > now:
            continue
        end = _end(spell, now)
        if reach is not None and spell.begin <= reach + join:
            groups[-1].append(spell)
            reach = max(reach, end)
        else:
            groups.append([spell])
            reach = end
    return tuple(
        Downtime(
            begin=group[0].begin,
            end=max(_end(one, now) for one in group),
            causes=tuple(dict.fromkeys(one.cause for one in group)),
            evidence=tuple(dict.fromkeys(o.evidence for o in group if o.evidence)),
            is_open=any(one.end is None or one.end > now for one in group),
        )
        for group in groups
    )


def availability(
    spells: Sequence[Spell],
    *,
    begin: dt.datetime,
    end: dt.datetime,
    join_within_hours: float = 0.0,
) -> Availability:
    """Inputs of availability for one lane or sensor.

    Parameters
    ----------
    spells
        Of that lane or sensor, from :func:`lane_spells` or :func:`sensor_spells`.
    begin, end
        Window in which it was in service, with time zones; ``end`` not after now.
    join_within_hours
        As for :func:`merged`.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the window is out of order or has no time zone.
    """
    if begin.tzinfo is None or end < begin:
        raise DomainError("The window of availability must begin before it ends.")
    times = [
        one
        for one in merged(spells, end, join_within_hours=join_within_hours)
        if one.end > begin
    ]
    down = sum(
        (one.end - max(one.begin, begin)).total_seconds() / 3600.0 for one in times
    )
    mended = [one for one in times if not one.is_open]
    return Availability(
        window_hours=(end - begin).total_seconds() / 3600.0,
        down_hours=down,
        n_times_down=len(times),
        n_mended=len(mended),
        mended_hours=sum(one.hours for one in mended),
        down_hours_by_cause=_by_cause(spells, begin, end),
    )


def _by_cause(
    spells: Sequence[Spell], begin: dt.datetime, end: dt.datetime
) -> tuple[tuple[DowntimeCause, float], ...]:
    hours: dict[DowntimeCause, float] = {}
    reach = begin
    for spell in sorted(spells, key=lambda one: one.begin):
        first, last = max(spell.begin, reach), min(_end(spell, end), end)
        if last > first:
            more = (last - first).total_seconds() / 3600.0
            hours[spell.cause] = hours.get(spell.cause, 0.0) + more
            reach = last
    return tuple(sorted(hours.items(), key=lambda one: -one[1]))


def _end(spell: Spell, now: dt.datetime) -> dt.datetime:
    return now if spell.end is None else min(spell.end, now)
