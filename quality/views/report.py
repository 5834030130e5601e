"""The report's page and its downloads."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from quality.report.making import report_file, sections_of, years_with_data
from quality.report.sections import plain
from sites.models import Site
from wimprog.lib import clock
from wimprog.lib.web import attachment, needs

VIEW_REPORT = ("quality.view_laneday", "calibration.view_sessionresult")


def _chosen(request: HttpRequest, year: int | None) -> tuple[int, Site | None, dt.date]:
    today = clock.today(request.program.time_zone)  # type: ignore[attr-defined]
    text = request.GET.get("year", "")
    chosen = year or (int(text) if text.isdigit() else today.year)
    if not 1980 <= chosen <= today.year:
        raise Http404(f"There is no report for {chosen}.")
    code = request.GET.get("site", "")
    wim_site = Site.objects.filter(code=code).first()
    if code and wim_site is None:
        raise Http404(f"There is no site {code}.")
    return chosen, wim_site, today


@needs(*VIEW_REPORT)
def report(request: HttpRequest) -> HttpResponse:
    """The year's report on screen, with its downloads."""
    year, wim_site, today = _chosen(request, None)
    facts, sections = sections_of(
        program=request.program,  # type: ignore[attr-defined]
        year=year,
        as_of=today,
        wim_site=wim_site,
    )
    context: dict[str, Any] = {
        "facts": facts,
        "year": year,
        "years": years_with_data(today),
        "wim_site": wim_site,
        "wim_sites": Site.objects.order_by("code"),
        "sections": [plain(section) for section in sections],
    }
    return render(request, "quality/report.html", context)


@needs(*VIEW_REPORT)
def report_download(request: HttpRequest, year: int, fmt: str) -> HttpResponse:
    """The report as a PDF or XLSX file."""
    year, wim_site, today = _chosen(request, year)
    if fmt not in ("pdf", "xlsx"):
        raise Http404("The report comes as pdf or xlsx.")
    made = report_file(
        program=request.program,  # type: ignore[attr-defined]
        year=year,
        as_of=today,
        wim_site=wim_site,
        fmt=fmt,
    )
    return attachment(made.content, name=made.name, content_type=made.content_type)
