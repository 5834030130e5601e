"""What no visit may say: a time ahead or too old, a thing of another site."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError

from installs.calc.types import VisitPurpose
from installs.models import Installation, MaintenanceVisit
from installs.selectors.visits import first_known_day
from sites.models import Lane, Site
from wimprog.lib import clock
from wimprog.lib.errors import DomainError

#: How far a phone's clock may run ahead before a time is refused.
CLOCK_SLACK = dt.timedelta(minutes=5)
#: How long before a site's first known day people may be there to build it.
BUILDING_TIME = dt.timedelta(days=365)
MINUTES = "%Y-%m-%d %H:%M"


def refuse_times(visit: MaintenanceVisit) -> None:
    """Refuse a clock that runs ahead, a crossed pair, a day before there was a site."""
    zone = ZoneInfo(visit.wim_site.time_zone)
    refuse_ahead(visit.arrived_at, zone, "arrived_at")
    if visit.left_at is None:
        return _refuse_too_old(visit, zone)
    refuse_ahead(visit.left_at, zone, "left_at")
    if visit.left_at < visit.arrived_at:
        raise ValidationError(
            {
                "left_at": "Nobody can leave before arriving. Arrived "
                f"{visit.arrived_at.astimezone(zone):{MINUTES}}, left "
                f"{visit.left_at.astimezone(zone):{MINUTES}}: correct one."
            }
        )
    return _refuse_too_old(visit, zone)


def refuse_ahead(at: dt.datetime, zone: ZoneInfo, field: str) -> None:
    """Refuse a time ahead of the program's clock, naming both."""
    now = clock.now()
    if at <= now + CLOCK_SLACK:
        return
    raise ValidationError(
        {
            field: f"That lies ahead: you wrote {at.astimezone(zone):{MINUTES}}, and "
            f"the program's clock shows {now.astimezone(zone):{MINUTES}} at the site. "
            "It is logged once it has happened; check the clock of your phone, or "
            "correct the time."
        }
    )


def _refuse_too_old(visit: MaintenanceVisit, zone: ZoneInfo) -> None:
    known = first_known_day(visit.wim_site)
    if known is None:
        return
    building = visit.purpose in (VisitPurpose.INSTALLATION, VisitPurpose.OTHER)
    earliest = known - BUILDING_TIME if building else known
    on = visit.arrived_at.astimezone(zone).date()
    if on < earliest:
        raise ValidationError(
            {
                "arrived_at": f"{on} is older than the site: the first that is known "
                f"of {visit.wim_site.code} is {known}. Correct the day, or choose the "
                "purpose “installation” if it was being built (up to a year before)."
            }
        )


def day_of(visit: MaintenanceVisit) -> dt.date:
    """The day of a visit at its site, on which its work was done."""
    zone = ZoneInfo(visit.wim_site.time_zone)
    return (visit.left_at or visit.arrived_at).astimezone(zone).date()


def refuse_foreign(
    visit: MaintenanceVisit, lane: Lane | None, installation: Installation | None
) -> None:
    """Refuse a lane of another site, and a sensor of another lane."""
    code = visit.wim_site.code
    if lane is not None and lane.wim_site_id != visit.wim_site_id:
        raise DomainError(f"{lane} is no lane of {code}; nothing was saved.")
    if installation is None:
        return
    if installation.lane.wim_site_id != visit.wim_site_id:
        raise DomainError(f"{installation} is no sensor of {code}; nothing was saved.")
    if lane is not None and installation.lane_id != lane.pk:
        raise DomainError(
            f"{installation} is not in lane {lane.label}; nothing was saved. Choose "
            "the lane that the sensor is in."
        )


def refuse_day_ahead(day: dt.date, wim_site: Site, field: str) -> None:
    """Refuse a day that is still to come at the site."""
    today = clock.today(wim_site.time_zone)
    if day > today:
        raise ValidationError(
            {field: f"{day} lies ahead of today ({today}); write the day it happened."}
        )
