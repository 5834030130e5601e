"""Drift of lanes since their calibration."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from quality.models import (
    LaneWeek,
)
from sites.models import Program
from sites.selectors import program_get

if TYPE_CHECKING:
    from quality.calc.drift import DriftResult


def lane_drifts(
    lane_ids: Sequence[int],
    since: Mapping[int, dt.date],
    *,
    today: dt.date,
    program: Program | None = None,
) -> dict[int, DriftResult]:
    """Drift of each calibrated lane since its calibration, as of ``today``.

    Parameters
    ----------
    since
        Day of the last calibration by lane; lanes without one are left out.
    """
    import numpy as np

    from quality.calc.drift import drift_since
    from quality.calc.steering import MIN_TRUCKS

    program = program or program_get()
    wanted = [lane_id for lane_id in lane_ids if lane_id in since]
    if not wanted:
        return {}
    earliest = min(since[lane_id] for lane_id in wanted)
    weeks: dict[int, list[tuple[dt.date, float, int]]] = defaultdict(list)
    rows = (
        LaneWeek.objects.filter(
            lane_id__in=wanted, week_on__gte=earliest, week_on__lte=today
        )
        .order_by("lane_id", "week_on")
        .values_list("lane_id", "week_on", "steering_mean_kg", "n_vehicles")
    )
    for lane_id, week_on, mean, n in rows:
        if week_on >= since[lane_id]:
            weeks[lane_id].append((week_on, mean, n))
    found = {}
    for lane_id in wanted:
        series = weeks.get(lane_id, [])
        counts = np.array([row[2] for row in series], dtype=np.int64)
        found[lane_id] = drift_since(
            week_on=np.array([row[0] for row in series], dtype="datetime64[D]"),
            mean_kg=np.array([row[1] for row in series], dtype=float),
            n_trucks=counts,
            is_enough=counts >= MIN_TRUCKS,
            calibrated_on=since[lane_id],
            limit_pct=program.act_drift_pct,
        )
    return found
