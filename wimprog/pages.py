"""What each page that joins the apps shows, as plain context for its template."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from typing import Any

from calibration.models import SessionResult
from installs.models import ElectricalTest, Installation, MaintenanceVisit
from installs.selectors import sensor_chances
from installs.selectors.work import work_counts
from quality.bands import lane_bands
from quality.calc.condition import drift_sentence
from quality.figures import steering_chart
from quality.models import LaneMonth, LaneWeek
from sites.models import Lane, Program, Site
from sites.selectors import site_list, surveys_of_site
from wimprog.lib.band import Band
from wimprog.lib.chart import Chart
from wimprog.lib.judgement import Condition
from wimprog.lib.outline import SiteMap, SitePoint, read_outline
from wimprog.selectors import LaneHealth, ProgramHealth, program_health

SHOWN_VISITS = 8
SHOWN_MONTHS = 12


def totals(health: ProgramHealth) -> list[dict[str, Any]]:
    """Lanes of each condition, in the order of urgency."""
    return [{"word": word.value, "n": health.totals.get(word, 0)} for word in Condition]


def work_totals(today: dt.date) -> list[dict[str, Any]]:
    """Open work of each urgency, most urgent first."""
    return [
        {"word": str(urgency), "condition": urgency.condition, "n": n}
        for urgency, n in work_counts(today).items()
    ]


def health_rows(
    lanes: Sequence[LaneHealth], *, program: Program, today: dt.date
) -> dict[str, Any]:
    """Rows of the health page with their bands, for one page of lanes."""
    bands = lane_bands([lane.lane_id for lane in lanes], program=program, today=today)
    return {
        "rows": [
            {
                "lane": lane,
                "band": bands.get(lane.lane_id),
                "band_id": f"band-{lane.lane_id}",
            }
            for lane in lanes
        ],
        "any_band": next(iter(bands.values()), None),
        "technologies": _technologies(bands.values()),
    }


def _technologies(bands: Iterable[Band]) -> list[str]:
    return sorted({bar.technology for band in bands for bar in band.sensors})


def health_sheet(rows: Iterable[LaneHealth]) -> tuple[list[str], list[list[Any]]]:
    """Headings and rows of the health page's export."""
    headings = [
        "lane", "route", "technologies", "condition", "reasons", "drift %",
        "drift low %", "drift high %", "weeks since calibration", "class 9 trucks",
        "last gross weight bias %", "last calibrated", "calibration due",
        "last record", "chance of a failure within 2 years",
    ]  # fmt: skip
    cells = [
        [
            row.name,
            row.route,
            ", ".join(row.technologies),
            row.condition.value,
            " ".join(row.reasons),
            row.evidence.drift_pct,
            row.evidence.drift_low_pct,
            row.evidence.drift_high_pct,
            row.evidence.drift_n_weeks,
            row.n_drift_trucks,
            row.last_bias_pct,
            row.evidence.last_calibrated_on,
            row.evidence.calibration_due_on,
            row.evidence.last_data_on,
            row.p_fail_2y,
        ]
        for row in rows
    ]
    return headings, cells


def site_map(program: Program, today: dt.date) -> dict[str, Any]:
    """The map of the sites and its table."""
    health = program_health(program, today)
    worst: dict[str, LaneHealth] = {}
    for lane in health.lanes:  # already worst first
        worst.setdefault(lane.site_code, lane)
    rows = []
    points = []
    for wim_site in site_list():
        row = worst.get(wim_site.code)
        rows.append(
            {
                "wim_site": wim_site,
                "condition": row.condition if row else None,
                "sentence": f"{row.label}: {row.sentence}" if row else "",
            }
        )
        if wim_site.latitude is not None and wim_site.longitude is not None:
            points.append(
                SitePoint(
                    code=wim_site.code,
                    name=wim_site.route,
                    longitude=wim_site.longitude,
                    latitude=wim_site.latitude,
                    condition=row.condition if row else Condition.NO_DATA,
                    url=wim_site.get_absolute_url(),
                )
            )
    lines = read_outline(program.outline) if program.outline else ()
    return {
        "rows": rows,
        "places": SiteMap(points=tuple(points), lines=lines),
        "n_placed": len(points),
    }


def site_page(wim_site: Site, program: Program, today: dt.date) -> dict[str, Any]:
    """One site with its lanes, bands and latest visits."""
    lanes = list(wim_site.lanes.all())
    for lane in lanes:
        lane.wim_site = wim_site
    health = program_health(program, today)
    bands = lane_bands([lane.pk for lane in lanes], program=program, today=today)
    visits = MaintenanceVisit.objects.filter(wim_site=wim_site).select_related(
        "lane", "lane__wim_site"
    )
    return {
        "wim_site": wim_site,
        "lanes": [
            {
                "lane": lane,
                "name": str(lane),
                "health": health.of_lane(lane.pk),
                "band": bands.get(lane.pk),
                "band_id": f"band-{lane.pk}",
            }
            for lane in lanes
        ],
        "any_band": next(iter(bands.values()), None),
        "visits": visits[:SHOWN_VISITS],
        "n_visits": visits.count(),
        "surveys": surveys_of_site(wim_site),
    }


def _installations(lane: Lane, today: dt.date) -> list[dict[str, Any]]:
    chances = sensor_chances(today)
    installations = (
        Installation.objects.filter(lane=lane)
        .select_related("sensor__model", "record")
        .order_by("-installed_on", "position")
    )
    tests = ElectricalTest.objects.filter(installation__lane=lane).order_by("tested_at")
    last = dict(tests.values_list("installation_id", "tested_at"))
    return [
        {
            "installation": one,
            "last_test": last.get(one.pk),
            "chance": [chances[one.pk][years] for years in (1, 2, 5)]
            if one.pk in chances
            else None,
        }
        for one in installations
    ]


def _drift_chart(
    lane: Lane, health: LaneHealth | None, program: Program
) -> tuple[Chart | None, str]:
    if health is None or health.evidence.last_calibrated_on is None:
        return None, "Drift is counted from a calibration, and there is none yet."
    since = health.evidence.last_calibrated_on
    weeks = LaneWeek.objects.filter(lane=lane, week_on__gte=since).order_by("week_on")
    chart = steering_chart(
        weeks.values_list(
            "week_on", "n_vehicles", "steering_mean_kg", "steering_sd_kg"
        ),
        title=f"Class 9 steering axle by week since {since}",
        system=program.unit_system,
    )
    return chart, drift_sentence(health.evidence)


def lane_page(lane: Lane, program: Program, today: dt.date) -> dict[str, Any]:
    """One lane, from its installation record to its vehicle records."""
    health = program_health(program, today).of_lane(lane.pk)
    band = lane_bands([lane.pk], program=program, today=today, years_back=12).get(
        lane.pk
    )
    chart, caption = _drift_chart(lane, health, program)
    sessions = (
        SessionResult.objects.filter(session__lane=lane)
        .select_related("session")
        .order_by("-session__held_on", "stage")
    )
    months = LaneMonth.objects.filter(lane=lane).order_by("-month")[:SHOWN_MONTHS]
    return {
        "lane": lane,
        "name": str(lane),
        "health": health,
        "facts": band,
        "technologies": _technologies([band] if band else []),
        "installations": _installations(lane, today),
        "sessions": sessions,
        "drift_chart": chart,
        "drift_caption": caption,
        "months": [
            {
                "month": one.month,
                "n_days": one.n_days,
                "n_accepted": one.n_accepted,
                "n_set_aside": one.n_set_aside,
                "n_open": one.n_days - one.n_accepted - one.n_set_aside,
                "vehicles": f"{one.n_vehicles:,}",
            }
            for one in months
        ],
    }
