"""Pages that join all apps: program health, sites, a site, a lane, and /healthz."""

from __future__ import annotations

import logging
import tempfile
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.paginator import Paginator
from django.db import DatabaseError, connection
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET

from sites.models import Site
from sites.selectors import lane_by_label
from wimprog import pages, selectors
from wimprog.forms import HealthFilter
from wimprog.lib import clock
from wimprog.lib.tables import export_rows
from wimprog.lib.web import needs
from wimprog.tables import HealthTable

log = logging.getLogger(__name__)

VIEW_HEALTH = ("sites.view_lane", "installs.view_installation")


def home(request: HttpRequest) -> HttpResponse:
    """The front door leads to the program's health."""
    return redirect("health")


@require_GET
def healthz(request: HttpRequest) -> JsonResponse:
    """Can the database and the record store be used? 200 if so, 503 if not."""
    found: dict[str, str] = {}
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
            cursor.fetchone()
        found["database"] = "ok"
    except DatabaseError as error:
        log.error("healthz: database: %s", error)
        found["database"] = "cannot be reached"
    try:
        Path(settings.RECORD_STORE).mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=settings.RECORD_STORE) as probe:
            probe.write(b"ok")
        found["store"] = "ok"
    except OSError as error:
        log.error("healthz: store: %s", error)
        found["store"] = "cannot be written"
    good = set(found.values()) == {"ok"}
    return JsonResponse(found, status=200 if good else 503)


def _filtered(request: HttpRequest) -> tuple[Any, HealthFilter, list[Any]]:
    today = clock.today(request.program.time_zone)  # type: ignore[attr-defined]
    health = selectors.program_health(
        request.program,  # type: ignore[attr-defined]
        today,
    )
    form = HealthFilter(request.GET or None, health=health)
    return health, form, form.apply(health.lanes)


@needs(*VIEW_HEALTH)
def health(request: HttpRequest) -> HttpResponse:
    """The site health dashboard: one row a lane."""
    health, form, rows = _filtered(request)
    table = HealthTable(rows, order_by=request.GET.get("sort", "condition"))
    page = Paginator([row.record for row in table.rows], 25).get_page(
        request.GET.get("page")
    )
    context = pages.health_rows(
        list(page.object_list),
        program=request.program,  # type: ignore[attr-defined]
        today=health.as_of,
    )
    context |= {
        "health": health,
        "form": form,
        "table": table,
        "page": page,
        "totals": pages.totals(health),
        "n_shown": len(rows),
    }
    return render(request, "wimprog/health.html", context)


@needs(*VIEW_HEALTH)
def health_export(request: HttpRequest, fmt: str) -> HttpResponse:
    """The rows of the dashboard, as filtered, for a spreadsheet."""
    if fmt not in ("csv", "xlsx"):
        raise Http404("csv or xlsx")
    health, _, rows = _filtered(request)
    headings, cells = pages.health_sheet(rows)
    return export_rows(
        name=f"health-{health.as_of}",
        fmt=fmt,
        headings=headings,
        rows=cells,
        note=f"wimprog, as of {health.as_of}, method {selectors.METHOD_VERSION}",
    )


@needs("sites.view_site")
def site_list(request: HttpRequest) -> HttpResponse:
    """The map of the sites, and the table that says the same in words."""
    today = clock.today(request.program.time_zone)  # type: ignore[attr-defined]
    context = pages.site_map(request.program, today)  # type: ignore[attr-defined]
    return render(request, "wimprog/site_list.html", context)


@needs("sites.view_site")
def site_detail(request: HttpRequest, code: str) -> HttpResponse:
    """One site: its facts, lanes and visits."""
    wim_site = get_object_or_404(Site, code=code)
    today = clock.today(wim_site.time_zone)
    context = pages.site_page(wim_site, request.program, today)  # type: ignore[attr-defined]
    return render(request, "wimprog/site_detail.html", context)


@needs(*VIEW_HEALTH)
def lane_detail(request: HttpRequest, code: str, label: str) -> HttpResponse:
    """One lane, from its installation record to its vehicle records."""
    lane = lane_by_label(code, label)
    if lane is None:
        raise Http404(f"There is no lane {label} at {code}.")
    today = clock.today(lane.wim_site.time_zone)
    context = pages.lane_page(lane, request.program, today)  # type: ignore[attr-defined]
    return render(request, "wimprog/lane_detail.html", context)
