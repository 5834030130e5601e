"""Derived rows of a lane: weeks, months and the findings of its days.

Always recomputed from the stored sums for whole weeks and months, and replaced as a
whole, so that doing it twice changes nothing.
"""

from __future__ import annotations

import datetime as dt
import logging
from typing import TYPE_CHECKING, Any

from django.db import transaction

from quality.models import DailySummary, DayDecision, LaneDay, LaneMonth, LaneWeek
from quality.selectors.limits import check_limits
from quality.services.week_figuring import week_figures_refresh
from sites.models import Lane
from wimprog.lib.dates import add_months
from wimprog.lib.errors import DomainError

if TYPE_CHECKING:
    import pandas as pd

    from quality.calc.checks import Finding

log = logging.getLogger(__name__)

STEERING_CLASS = 9
MOST_WEEKS = 9
"""Weeks whose figures are worked out at once, as after a month's or two months'
delivery; of a longer one `manage.py derive` does it (some 13 ms a week, measured)."""
RUN_REACH = dt.timedelta(days=7)
"""How far back a run of empty hours that ends on a refreshed day is looked for."""


@transaction.atomic
def derived_refresh(
    *, lane: Lane, first_on: dt.date, last_on: dt.date, findings: bool = True
) -> None:
    """Recompute a lane's weeks, months and day findings for a period.

    Parameters
    ----------
    first_on, last_on
        Days whose records or decisions changed, both included.
    findings
        Whether records changed; a decision alone changes no finding.
    """
    _weeks(lane, first_on, last_on)
    _months(lane, first_on, last_on)
    if findings:
        _findings(lane, first_on, last_on)
    _figures(lane, first_on, last_on)


def _figures(lane: Lane, first_on: dt.date, last_on: dt.date) -> None:
    """Figures of the weeks; where a part cannot be read they stay without.

    `check_store` alarms of such a part and `derive` fails on it; an import of other
    records, or a decision, must not.
    """
    try:
        week_figures_refresh(
            lane=lane, first_on=_monday(first_on), last_on=last_on, most=MOST_WEEKS
        )
    except DomainError as error:
        log.warning("No figures for weeks of %s: %s", lane, error.message)


def _monday(day: dt.date) -> dt.date:
    return day - dt.timedelta(days=day.weekday())


def _weeks(lane: Lane, first_on: dt.date, last_on: dt.date) -> None:
    import pandas as pd

    from quality.calc.steering import weekly_steering

    start = _monday(first_on)
    end = last_on + dt.timedelta(days=6 - last_on.weekday())
    dropped = LaneDay.objects.filter(
        lane=lane, date__range=(start, end), review__decision=DayDecision.SET_ASIDE
    ).values("date")
    columns = (
        "date", "n_vehicles", "gvw_sum_kg", "steering_sum_kg", "steering_sum_sq_kg2",
    )  # fmt: skip
    rows = (
        DailySummary.objects.filter(
            lane=lane, vehicle_class=STEERING_CLASS, date__range=(start, end)
        )
        .exclude(date__in=dropped)
        .order_by("date")
        .values_list(*columns)
    )
    replaced = LaneWeek.objects.filter(lane=lane, week_on__range=(start, end))
    figures = dict(replaced.values_list("week_on", "figures"))
    replaced.delete()
    days = pd.DataFrame.from_records(list(rows), columns=columns)
    if days.empty:
        return
    weeks: Any = weekly_steering(days)
    LaneWeek.objects.bulk_create(
        [
            LaneWeek(
                lane=lane,
                week_on=week.week_on.date(),
                n_vehicles=int(week.n_vehicles),
                steering_mean_kg=float(week.steering_mean_kg),
                steering_sd_kg=None
                if pd.isna(week.steering_sd_kg)
                else float(week.steering_sd_kg),
                gvw_mean_kg=float(week.gvw_mean_kg),
                n_days=int(week.n_days),
                # they carry what they were made of, and are made anew if that changed
                figures=figures.get(week.week_on.date(), {}),
            )
            for week in weeks.itertuples(index=False)
        ]
    )


def _months(lane: Lane, first_on: dt.date, last_on: dt.date) -> None:
    start = first_on.replace(day=1)
    end = add_months(last_on.replace(day=1), 1) - dt.timedelta(days=1)
    months: dict[dt.date, LaneMonth] = {}
    rows = LaneDay.objects.filter(lane=lane, date__range=(start, end)).values_list(
        "date", "n_vehicles", "review__decision"
    )
    for date, n_vehicles, decision in rows:
        month = date.replace(day=1)
        row = months.setdefault(
            month,
            LaneMonth(
                lane=lane, month=month, n_days=0, n_accepted=0, n_set_aside=0,
                n_vehicles=0,
            ),
        )  # fmt: skip
        row.n_days += 1
        row.n_vehicles += n_vehicles
        row.n_accepted += decision == DayDecision.ACCEPTED
        row.n_set_aside += decision == DayDecision.SET_ASIDE
    LaneMonth.objects.filter(lane=lane, month__range=(start, end)).delete()
    LaneMonth.objects.bulk_create(list(months.values()))


def lane_day_frame(lane: Lane, first_on: dt.date, last_on: dt.date) -> pd.DataFrame:
    """A lane's stored days in the shape that the checks read."""
    import numpy as np
    import pandas as pd

    from quality.calc.daily import DAY_COLUMNS
    from quality.calc.days import HOUR_COLUMNS

    rows = list(
        LaneDay.objects.filter(lane=lane, date__range=(first_on, last_on))
        .order_by("date")
        .values_list("date", *DAY_COLUMNS, "hourly", "figures")
    )
    data: dict[str, Any] = {"date": [row[0] for row in rows]}
    for place, name in enumerate(DAY_COLUMNS, start=1):
        data[name] = np.array([row[place] for row in rows], dtype=np.int64)
    hourly = np.zeros((len(rows), 24), dtype=np.int64)
    for place, row in enumerate(rows):
        counts = np.frombuffer(bytes(row[-2]), dtype="<u2")
        if counts.size == 24:
            hourly[place] = counts
    for hour, name in enumerate(HOUR_COLUMNS):
        data[name] = hourly[:, hour]
    data["figures"] = [row[-1] for row in rows]
    return pd.DataFrame(data)


def lanes_beside(lane: Lane) -> list[Lane]:
    """The lanes next to a lane in its direction, by number."""
    beside = Lane.objects.filter(
        wim_site=lane.wim_site_id,
        direction=lane.direction,
        number__in=(lane.number - 1, lane.number + 1),
    )
    return list(beside.order_by("number"))


def _findings(lane: Lane, first_on: dt.date, last_on: dt.date) -> None:
    """Findings of the days that a change can reach.

    The checks look back only, at most ``reach``; so days up to that much later may
    change, and as much before the first of them has to be read. What is found does
    not depend on how the days were delivered.
    """
    from quality.calc.checks import REACH_WEEKS

    reach = dt.timedelta(weeks=REACH_WEEKS)
    start, end = first_on - RUN_REACH, last_on + reach
    found = _found(lane, start - reach, end)
    changed = []
    days = LaneDay.objects.filter(lane=lane, date__range=(start, end))
    for day in days.only("pk", "date", "findings"):
        wanted = [
            {
                "check": finding.key,
                "weight": finding.weight.value,
                "sentence": finding.sentence,
            }
            for finding in found.get(day.date, ())
        ]
        if day.findings != wanted:
            day.findings = wanted
            changed.append(day)
    LaneDay.objects.bulk_update(changed, ["findings"], batch_size=200)


def _found(
    lane: Lane, first_on: dt.date, last_on: dt.date
) -> dict[dt.date, list[Finding]]:
    """What the checks in use find on a lane's stored days, alone and beside others."""
    from quality.calc.calendars import clocks_ahead_h, federal_holidays
    from quality.calc.checks import CHECKS, PAIR_CHECKS, LaneDays, propose

    own = lane_day_frame(lane, first_on, last_on)
    if own.empty:
        return {}
    span = own["date"].min(), own["date"].max()
    holidays = federal_holidays(*span)
    ahead = clocks_ahead_h(lane.wim_site.time_zone)

    def laid_out(frame: pd.DataFrame) -> LaneDays:
        return LaneDays.from_frame(
            frame,
            first_on=span[0],
            last_on=span[1],
            holidays=holidays,
            clock_ahead_h=ahead,
        )

    limits = check_limits(lane)
    lane_days = laid_out(own)
    used = [check for check in CHECKS if check.key not in limits.not_used]
    found = {
        proposal.date.astype(dt.date): list(proposal.findings)
        for proposal in propose(lane_days, limits=limits.values, checks=used)
    }
    pairs = [check for check in PAIR_CHECKS if check.key not in limits.not_used]
    for other in lanes_beside(lane) if pairs else ():
        beside = lane_day_frame(other, *span)
        if beside.empty:
            continue
        for check in pairs:
            limit = limits.values.get(check.key, check.default_limit)
            for finding in check.run(lane_days, laid_out(beside), check, limit):
                found[finding.date.astype(dt.date)].append(finding)
    return found
