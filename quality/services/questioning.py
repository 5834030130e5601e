"""What a file makes one ask before it is taken in: its name's days, its clock.

These are questions, not obstacles: a person looks and decides.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from quality.services.deriving import lane_day_frame

if TYPE_CHECKING:
    import numpy as np

    from quality.calc.clock_shift import ClockShift
    from quality.calc.daily import Daily
    from quality.records.schema import LaneKey
    from sites.models import Lane

USUAL_WEEKS = 8
LEAST_USUAL_DAYS = 28
MOST_DAYS = 28
"""Days of a file whose hours are looked at: more tell no more of its clock."""


def questions_of(
    source_name: str,
    dailies: Mapping[LaneKey, Daily],
    lanes: Mapping[LaneKey, Lane],
) -> list[str]:
    """Sentences on what a file's days and hours do not agree with; reads only.

    Parameters
    ----------
    dailies
        Daily sums of the file's lanes.
    lanes
        Those of them that the program has.
    """
    from quality.calc.file_dates import name_disagrees

    found = []
    days = [day.date() for one in dailies.values() for day in one.by_day["date"]]
    named = name_disagrees(source_name, min(days), max(days)) if days else None
    if named is not None:
        found.append(
            f"The file's name says “{named.words}”, but its records are of "
            f"{min(days)} to {max(days)}. Is it the right file, and was the "
            "controller's date right?"
        )
    for key, lane in lanes.items():
        if key in dailies:
            shift = _clock(lane, dailies[key].by_day)
            if shift is not None:
                found.append(_clock_sentence(lane, shift))
    return found


def _clock(lane: Lane, by_day: Any) -> ClockShift | None:
    """The fault of a file's clock, against the lane's eight weeks before it."""
    import numpy as np

    from quality.calc.calendars import clocks_ahead_h
    from quality.calc.checks import LaneDays
    from quality.calc.clock_shift import clock_shift

    if by_day.empty:
        return None
    first_on = by_day["date"].min().date()
    before_on = first_on - dt.timedelta(weeks=USUAL_WEEKS)
    frame = lane_day_frame(lane, before_on, first_on - dt.timedelta(days=1))
    if len(frame) < LEAST_USUAL_DAYS:
        return None
    ahead = clocks_ahead_h(lane.wim_site.time_zone)
    usual = LaneDays.from_frame(frame, clock_ahead_h=ahead)
    file = LaneDays.from_frame(by_day, clock_ahead_h=ahead)
    weekday = (usual.date.astype(np.int64) + 3) % 7  # 1970-01-01 was a Thursday
    week = np.full((7, 24), np.nan)
    for day in range(7):
        chosen = usual.is_recorded & (weekday == day)
        if chosen.any():
            week[day] = usual.hourly[chosen].mean(axis=0)
    if np.isnan(week).any():
        return None
    known = np.repeat(file.is_recorded[:MOST_DAYS, None], 24, axis=1)
    shift = clock_shift(file.hourly[:MOST_DAYS], week, file.date[0], is_known=known)
    if shift is None or not shift.is_found():
        return None
    saved = _median(usual.clock_ahead_h) - _median(file.clock_ahead_h[:MOST_DAYS])
    return None if saved and shift.hours == saved else shift


def _median(hours: np.ndarray) -> int:
    import numpy as np

    return round(float(np.median(hours)))


def _clock_sentence(lane: Lane, shift: ClockShift) -> str:
    from quality.calc.clock_shift import ClockFault
    from wimprog.lib.units import format_number

    if shift.fault is ClockFault.NO_AM_PM:
        told = "had no AM and PM"
    else:
        days, hours = divmod(abs(shift.hours), 24)
        parts = [
            f"{number} {word}{'' if number == 1 else 's'}"
            for number, word in ((days, "day"), (hours, "hour"))
            if number
        ]
        side = "ahead" if shift.hours > 0 else "behind"
        told = f"was {' and '.join(parts)} {side}"
    return (
        f"{lane}: the hours of {format_number(shift.n, 0)} vehicles fit the lane's "
        f"eight weeks before far better if the controller's clock {told} (agreement "
        f"{format_number(shift.agreement_after, 2)} instead of "
        f"{format_number(shift.agreement_before, 2)}). Compare the clock with a watch."
    )
