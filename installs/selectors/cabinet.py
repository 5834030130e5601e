"""Reads of a site's cabinet: units, what was last found, the battery over time."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from installs.calc.upkeep.types import CabinetFinding, CabinetPart
from installs.models import CabinetCheck, CabinetUnit, DownSpell, Installation
from installs.selectors.downtime import SiteAvailability, site_availability
from installs.selectors.visits import dead_in_place, local_day, today_at
from sites.models import Site
from wimprog.lib import clock
from wimprog.lib.judgement import Condition

if TYPE_CHECKING:
    from wimprog.lib.chart import Chart

YEAR = dt.timedelta(days=365)
DAYS_A_YEAR = 365.25


@dataclass(frozen=True)
class PartState:
    """A part of the cabinet as it was last looked at; no check is no data."""

    part: CabinetPart
    check: CabinetCheck | None
    condition: Condition
    found_on: dt.date | None
    units: Sequence[CabinetUnit]


@dataclass(frozen=True)
class UnitAge:
    """A unit and how long it has been (or was) in service."""

    unit: CabinetUnit
    years: float


@dataclass(frozen=True)
class CabinetPage:
    """All of a site's cabinet, and how long its lanes worked."""

    wim_site: Site
    parts: Sequence[PartState]
    units: Sequence[UnitAge]
    past_units: Sequence[UnitAge]
    battery_tests: Sequence[tuple[dt.date, CabinetCheck]]
    battery_chart: Chart | None
    availability: SiteAvailability
    spells: Sequence[DownSpell]
    dead: Sequence[Installation]


def cabinet_page(wim_site: Site) -> CabinetPage:
    """Everything of a site's cabinet, in a bounded number of queries."""
    today = today_at(wim_site)
    checks = list(
        CabinetCheck.objects.filter(visit__wim_site=wim_site)
        .select_related("visit")
        .order_by("-visit__arrived_at", "-pk")
    )
    units = list(CabinetUnit.objects.filter(wim_site=wim_site).order_by("fitted_on"))
    battery = [
        (local_day(one.visit.arrived_at, wim_site), one)
        for one in checks
        if one.part == CabinetPart.BATTERY and one.rest_voltage_v is not None
    ]
    ages = [UnitAge(one, _years(one, today)) for one in units]
    now = clock.now()
    return CabinetPage(
        wim_site=wim_site,
        parts=_parts(wim_site, checks, [one for one in units if not one.ended_on]),
        units=[one for one in ages if not one.unit.ended_on],
        past_units=[one for one in ages if one.unit.ended_on],
        battery_tests=battery,
        battery_chart=_battery_chart(battery),
        availability=site_availability(wim_site, begin=now - YEAR, end=now),
        spells=list(
            DownSpell.objects.filter(lane__wim_site=wim_site).select_related(
                "lane__wim_site",
                "installation__lane__wim_site",
                "begun_at_visit",
                "ended_at_visit",
            )[:50]
        ),
        dead=list(dead_in_place(wim_site)),
    )


def _years(unit: CabinetUnit, today: dt.date) -> float:
    return ((unit.ended_on or today) - unit.fitted_on).days / DAYS_A_YEAR


def _parts(
    wim_site: Site, checks: Sequence[CabinetCheck], units: Sequence[CabinetUnit]
) -> list[PartState]:
    latest: dict[str, CabinetCheck] = {}
    for one in checks:
        if one.finding != CabinetFinding.NOT_CHECKED:
            latest.setdefault(one.part, one)
    found = []
    for part in CabinetPart:
        check = latest.get(part)
        found.append(
            PartState(
                part=part,
                check=check,
                condition=CabinetFinding(check.finding).condition
                if check
                else Condition.NO_DATA,
                found_on=local_day(check.visit.arrived_at, wim_site) if check else None,
                units=[one for one in units if one.part == part],
            )
        )
    return found


def _battery_chart(tests: Sequence[tuple[dt.date, CabinetCheck]]) -> Chart | None:
    """Voltage at rest and under load by day; None below two tests."""
    from wimprog.lib.chart import Chart, Point, Series

    if len(tests) < 2:
        return None
    rest = tuple(Point(day, one.rest_voltage_v) for day, one in reversed(tests))
    load = tuple(Point(day, one.load_voltage_v) for day, one in reversed(tests))
    series = [Series("at rest", rest, "points")]
    if any(point.y is not None for point in load):
        series.append(Series("under load", load, "points"))
    return Chart(
        title="Battery voltage at rest and under load",
        x_label="Day of the visit",
        y_label="Voltage, V",
        series=tuple(series),
        caption=f"n = {len(tests)} visits. The load is that of each test; compare "
        "only tests with the same load.",
        height=230,
    )
