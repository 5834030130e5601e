"""Lanes' weeks with their figures, and the calibrations that part them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import TYPE_CHECKING

from calibration.models import SessionResult
from quality.models import LaneWeek

if TYPE_CHECKING:
    from quality.calc.week_types import WeekFigures

MADE_OF = "made_of"
HELD_AGAINST = "held_against"
OURS = (MADE_OF, HELD_AGAINST)
"""Keys of the stored figures that are not figures."""


def calibration_days(
    lane_ids: Iterable[int], *, until: dt.date = dt.date.max
) -> dict[int, list[dt.date]]:
    """Days of each lane's calibrations that came to a result, in order; one query."""
    rows = (
        SessionResult.objects.filter(
            session__lane_id__in=list(lane_ids), session__held_on__lte=until
        )
        .order_by("session__lane_id", "session__held_on")
        .values_list("session__lane_id", "session__held_on")
        .distinct()
    )
    found: dict[int, list[dt.date]] = {}
    for lane_id, day in rows:
        found.setdefault(lane_id, []).append(day)
    return found


def stored_figures(week: LaneWeek) -> WeekFigures | None:
    """A week's figures; None where none were worked out, or by another method."""
    from quality.calc.week_types import METHOD_VERSION, WeekFigures

    data = {key: value for key, value in week.figures.items() if key not in OURS}
    if data.get("method_version") != METHOD_VERSION:
        return None
    return WeekFigures.from_dict(data)
