"""Pages that join all apps: program health, sites, a lane; /healthz, the worker."""

from __future__ import annotations

import hashlib
import json
import logging
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.staticfiles import finders
from django.core.paginator import Paginator
from django.db import DatabaseError, connection
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.templatetags.static import static
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET

from sites.models import Site
from sites.selectors import lane_by_label
from wimprog import pages, selectors
from wimprog.forms import HealthFilter
from wimprog.lib import clock
from wimprog.lib.tables import export_rows
from wimprog.lib.version import version
from wimprog.lib.web import needs
from wimprog.tables import HealthTable

log = logging.getLogger(__name__)

WORKER = "installs/roadside_worker.js"
#: What the pages that open without signal are made of; their texts are in its version.
WORKER_FILES = (
    "wimprog/base.css",
    "wimprog/enhance.js",
    "wimprog/mark.svg",
    "installs/roadside.css",
    "installs/roadside.js",
    "installs/roadside_queue.js",
    "calibration/calibration.css",
)
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


@require_GET
@never_cache
def roadside_worker(request: HttpRequest) -> HttpResponse:
    """The script that keeps roadside pages on a phone, for the whole site's scope.

    It holds nothing of anybody's, so that a browser may look for its newer version
    whether somebody is signed in or not.
    """
    facts = {
        "version": f"{version()}-{_fingerprint()}",
        "assets": [static(name) for name in WORKER_FILES],
        "staticPath": static(""),
        "ends": [reverse("login"), reverse("logout")],
        "list": reverse("installs:send-list"),
    }
    body = f"self.ROADSIDE = {json.dumps(facts)};\n{_source(WORKER)}"
    return HttpResponse(body, content_type="text/javascript; charset=utf-8")


def _source(name: str) -> str:
    found = finders.find(name)
    if not isinstance(found, str):
        raise Http404(f"{name} is not among the static files.")
    return Path(found).read_text(encoding="utf-8")


def _fingerprint() -> str:
    """Says that one of the files changed (read anew each time while debugging)."""
    return _kept_fingerprint() if not settings.DEBUG else _fresh_fingerprint()


def _fresh_fingerprint() -> str:
    texts = "".join(_source(name) for name in (WORKER, *WORKER_FILES))
    return hashlib.sha256(texts.encode()).hexdigest()[:12]


@cache
def _kept_fingerprint() -> str:
    return _fresh_fingerprint()


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
        "work": pages.work_totals(health.as_of)
        if request.user.has_perm("installs.view_workitem")
        else [],
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
