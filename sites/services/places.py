"""Changes of the program, its sites and lanes. Each knows who and why."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db import transaction

from sites.models import Direction, Lane, Program, Site, SiteState
from wimprog.lib.errors import DomainError
from wimprog.lib.models import save_with_reason


@transaction.atomic
def program_save(*, program: Program, by: Any, why: str) -> Program:
    """Keep the program's settings."""
    save_with_reason(program, by=by, why=why or "program settings")
    return program


@transaction.atomic
def site_save(*, wim_site: Site, by: Any, why: str) -> Site:
    """Add a site or keep what was changed in one."""
    save_with_reason(wim_site, by=by, why=why or "site saved")
    return wim_site


@transaction.atomic
def lane_save(*, lane: Lane, by: Any, why: str) -> Lane:
    """Add a lane or keep what was changed in one."""
    save_with_reason(lane, by=by, why=why or "lane saved")
    return lane


@transaction.atomic
def site_set_state(
    *, wim_site: Site, state: SiteState, on: dt.date, by: Any, why: str
) -> Site:
    """Move a site to another state from a day on.

    Raises
    ------
    DomainError
        When a retired site is to be brought back to being merely planned.
    """
    if wim_site.state == SiteState.RETIRED and state == SiteState.PLANNED:
        raise DomainError(
            f"{wim_site.code} is retired and cannot become planned again; add a new "
            "site for what is planned there, so that the old one's years stay its own."
        )
    wim_site.state = state
    if state == SiteState.IN_SERVICE:
        wim_site.in_service_on = wim_site.in_service_on or on
        wim_site.suspended_on = None
        wim_site.retired_on = None
    elif state == SiteState.SUSPENDED:
        wim_site.suspended_on = on
    elif state == SiteState.RETIRED:
        wim_site.retired_on = on
    save_with_reason(wim_site, by=by, why=why or f"{state} from {on}")
    return wim_site


@transaction.atomic
def site_from_records(
    *,
    state_code: str,
    station_id: str,
    lanes: list[tuple[int, int]],
    first_on: dt.date | None,
    by: Any,
    source_name: str,
) -> Site:
    """Make a planned site, with its lanes, from what a record file says of itself.

    Parameters
    ----------
    lanes
        (direction code, lane code) pairs as the records carry them.
    first_on
        First day in the file; the lanes record since then.
    """
    why = f"first seen in {source_name}"
    wim_site = Site(
        code=f"{state_code}-{station_id}",
        name="Found in a record file; complete its entry",
        state_code=state_code,
        station_id=station_id,
        route="not known",
        directions=", ".join(
            sorted({str(Direction(direction).label) for direction, _ in lanes})
        ),
        time_zone=Program.objects.filter(pk=1).values_list("time_zone", flat=True)[:1][
            0
        ]
        if Program.objects.filter(pk=1).exists()
        else "UTC",
    )
    save_with_reason(wim_site, by=by, why=why)
    for direction, number in sorted(lanes):
        lane = Lane(
            wim_site=wim_site, direction=direction, number=number, opened_on=first_on
        )
        save_with_reason(lane, by=by, why=why)
    return wim_site
