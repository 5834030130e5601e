"""Reads of the roadside pages: sites, lanes, sensors, visits."""

from __future__ import annotations

from collections.abc import Sequence

from django.db.models import (
    Case,
    CharField,
    Count,
    DateTimeField,
    Max,
    OuterRef,
    Prefetch,
    Q,
    QuerySet,
    Subquery,
    Value,
    When,
)

from installs.models import ElectricalTest, Installation, MaintenanceVisit, Sensor
from sites.models import Lane, Site

IN_ROAD = "in the road"
FAILED = "failed"
TAKEN_OUT = "taken out"
IN_STORE = "in store"
SENSOR_STATES = (IN_ROAD, FAILED, TAKEN_OUT, IN_STORE)


def sites_at_roadside(q: str = "") -> QuerySet[Site]:
    """Sites not retired, with what was last done; ``q`` in any of their names."""
    visits = MaintenanceVisit.objects.filter(wim_site=OuterRef("pk"))
    tests = ElectricalTest.objects.filter(installation__lane__wim_site=OuterRef("pk"))
    found = Site.objects.exclude(state="retired").annotate(
        n_live=Count(
            "lanes__installations",
            filter=Q(
                lanes__installations__isnull=False,
                lanes__installations__ended_on__isnull=True,
            ),
        ),
        last_visit_at=Subquery(
            visits.order_by("-arrived_at").values("arrived_at")[:1],
            output_field=DateTimeField(),
        ),
        last_test_at=Subquery(
            tests.order_by("-tested_at").values("tested_at")[:1],
            output_field=DateTimeField(),
        ),
    )
    for word in q.split():
        found = found.filter(
            Q(code__icontains=word)
            | Q(name__icontains=word)
            | Q(route__icontains=word)
            | Q(location_ref__icontains=word)
            | Q(station_id__icontains=word)
        )
    return found.order_by("code")


def lanes_at_roadside(wim_site: Site) -> Sequence[Lane]:
    """Lanes of a site, each with ``live_sensors`` (and when each was last tested)."""
    live = (
        Installation.objects.live()
        .select_related("sensor__model")
        .annotate(last_test_at=Max("electrical_tests__tested_at"))
        .order_by("position")
    )
    lanes = list(
        Lane.objects.filter(wim_site=wim_site)
        .prefetch_related(Prefetch("installations", live, to_attr="live_sensors"))
        .order_by("direction", "number")
    )
    for lane in lanes:
        lane.wim_site = wim_site
    return lanes


def sensor_list() -> QuerySet[Sensor]:
    """All sensors with their state, latest place and latest test."""
    latest = Installation.objects.filter(sensor=OuterRef("pk")).order_by(
        "-installed_on", "-pk"
    )
    tests = ElectricalTest.objects.filter(installation__sensor=OuterRef("pk"))
    return (
        Sensor.objects.select_related("model")
        .annotate(
            last_reason=Subquery(latest.values("end_reason")[:1]),
            place_site=Subquery(latest.values("lane__wim_site__code")[:1]),
            place_id=Subquery(latest.values("pk")[:1]),
            installed_on=Subquery(latest.values("installed_on")[:1]),
            ended_on=Subquery(latest.values("ended_on")[:1]),
            last_test_at=Subquery(
                tests.order_by("-tested_at").values("tested_at")[:1],
                output_field=DateTimeField(),
            ),
        )
        .annotate(
            state=Case(
                When(place_id__isnull=True, then=Value(IN_STORE)),
                When(ended_on__isnull=True, then=Value(IN_ROAD)),
                When(last_reason=FAILED, then=Value(FAILED)),
                default=Value(TAKEN_OUT),
                output_field=CharField(),
            )
        )
        .prefetch_related(
            Prefetch(
                "installations",
                Installation.objects.select_related("lane__wim_site").order_by(
                    "-installed_on", "-pk"
                ),
                to_attr="places",
            )
        )
        .order_by("place_site", "pk")
    )


def sensor_lives(sensor: Sensor) -> list[Installation]:
    """A sensor's installations, newest first, with their places."""
    found = (
        sensor.installations.select_related("lane__wim_site", "record", "failure")
        .annotate(n_tests=Count("electrical_tests"))
        .order_by("-installed_on", "-pk")
    )
    rows = list(found)
    for row in rows:
        row.sensor = sensor
    return rows


def visit_list(codes: Sequence[str] = ()) -> QuerySet[MaintenanceVisit]:
    """Visits, newest first, with their sites and lanes and number of tests."""
    found = MaintenanceVisit.objects.select_related(
        "wim_site", "lane__wim_site"
    ).annotate(n_tests=Count("electrical_tests"))
    if codes:
        found = found.filter(wim_site__code__in=codes)
    return found.order_by("-arrived_at", "-pk")
