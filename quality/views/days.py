"""The days and weeks behind a lane's counts."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django_tables2 import RequestConfig

from quality import selectors
from quality.figures import steering_chart
from quality.tables import LaneDayTable, LaneWeekTable
from sites.models import Lane
from wimprog.lib.tables import export_rows
from wimprog.lib.web import needs


def _lane(pk: int) -> Lane:
    return get_object_or_404(Lane.objects.select_related("wim_site"), pk=pk)


@needs("quality.view_laneday")
def lane_days(request: HttpRequest, pk: int) -> HttpResponse:
    """The days behind a lane's counts."""
    lane = _lane(pk)
    month = request.GET.get("month", "")
    decision = request.GET.get("decision", "")
    days = selectors.lane_days(lane, month=month, decision=decision)
    if request.GET.get("as") in ("csv", "xlsx"):
        return _days_sheet(lane, days, request.GET["as"])
    table = LaneDayTable(days, exclude=())
    RequestConfig(request, paginate={"per_page": 31}).configure(table)
    context = {"lane": lane, "table": table, "month": month, "decision": decision}
    context["first"] = days.order_by("date").first()
    context["last"] = days.first()
    return render(request, "quality/lane_days.html", context)


def _days_sheet(lane: Lane, days: Any, fmt: str) -> HttpResponse:
    headings = ["date", "hours seen", "vehicles", "unclassified", "findings",
                "decision", "reason", "file"]  # fmt: skip
    rows = (
        (
            day.date,
            int(day.hours_seen).bit_count(),
            day.n_vehicles,
            day.n_unclassified,
            " ".join(one["sentence"] for one in day.findings),
            day.review.decision if day.review else "",
            day.review.reason if day.review else "",
            day.record_file.source_name,
        )
        for day in days
    )
    name = f"days-{lane.wim_site.code}-{lane.label}"
    return export_rows(name=name, fmt=fmt, headings=headings, rows=rows)


@needs("quality.view_laneweek")
def lane_weeks(request: HttpRequest, pk: int) -> HttpResponse:
    """The weeks behind a lane's drift."""
    lane = _lane(pk)
    system = request.program.unit_system  # type: ignore[attr-defined]
    table = LaneWeekTable(selectors.lane_weeks(lane), system=system)
    RequestConfig(request, paginate={"per_page": 26}).configure(table)
    chart = steering_chart(
        selectors.steering_weeks(lane),
        title=f"Class 9 steering axle by week, {lane}",
        system=system,
    )
    context = {"lane": lane, "table": table, "chart": chart}
    return render(request, "quality/lane_weeks.html", context)
