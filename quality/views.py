"""Pages of the records' side: files in, what is in them, review, the rows behind."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST
from django_tables2 import RequestConfig

from quality import selectors, services
from quality.figures import steering_chart
from quality.filters import RecordFileFilter
from quality.forms import DecisionForm, MappingForm, UploadForm
from quality.models import DayDecision, ImportState, RecordFile, RecordImport
from quality.report_views import report, report_download
from quality.tables import LaneDayTable, LaneWeekTable, RecordFileTable
from quality.tasks import send_import
from sites.models import Lane
from wimprog.lib.errors import DomainError
from wimprog.lib.tables import export_rows
from wimprog.lib.web import is_fragment, needs, try_service, vary_on_fragment

__all__ = ["report", "report_download"]

RUNS_A_PAGE = 25


@needs("quality.view_recordfile")
def record_list(request: HttpRequest) -> HttpResponse:
    """Files taken in, and those on their way."""
    found = RecordFileFilter(request.GET, queryset=selectors.record_file_list())
    if request.GET.get("as") in ("csv", "xlsx"):
        return _files_sheet(found.qs, request.GET["as"])
    table = RecordFileTable(found.qs)
    RequestConfig(request, paginate={"per_page": 25}).configure(table)
    context = {
        "filter": found,
        "table": table,
        "any": RecordFile.objects.exists(),
        "imports": selectors.open_imports()[:20],
    }
    return render(request, "quality/record_list.html", context)


def _files_sheet(files: Any, fmt: str) -> HttpResponse:
    headings = ["file", "sha256", "layout", "from", "to", "read", "kept", "refused"]
    rows = files.values_list(
        "source_name", "sha256", "layout", "first_on", "last_on", "n_read", "n_kept",
        "n_refused",
    )  # fmt: skip
    return export_rows(name="record-files", fmt=fmt, headings=headings, rows=rows)


@needs("quality.add_recordimport")
def import_add(request: HttpRequest) -> HttpResponse:
    """Receive a file and say what is in it."""
    form = UploadForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        received = try_service(
            form,
            lambda: services.import_receive(
                upload=form.cleaned_data["file"],
                options=form.options(),
                by=request.user,
            ),
        )
        if received is not None:
            return redirect(received)
    status = 422 if form.is_bound and form.errors else 200
    return render(request, "quality/import_add.html", {"form": form}, status=status)


def _mapping_form(job: RecordImport, data: Any = None) -> MappingForm | None:
    mapping = job.preview.get("mapping")
    if not mapping or job.state not in (ImportState.READ, ImportState.REFUSED):
        return None
    headings = job.preview.get("headings") or []
    return MappingForm(data, headings=headings, mapping=mapping, options=job.options)


@needs("quality.view_recordimport")
def import_detail(request: HttpRequest, pk: int) -> HttpResponse:
    """What is in a received file, and how far its taking-in has come."""
    job = get_object_or_404(RecordImport, pk=pk)
    context = {
        "job": job,
        "preview": job.preview,
        "mapping_form": _mapping_form(job),
        "interrupted": selectors.is_interrupted(job),
    }
    return render(request, "quality/import_detail.html", context)


@needs("quality.add_recordimport")
@require_POST
def import_map(request: HttpRequest, pk: int) -> HttpResponse:
    """Read a received CSV again with another mapping."""
    job = get_object_or_404(RecordImport, pk=pk)
    form = _mapping_form(job, request.POST)
    if form is None:
        raise Http404("This file has no mapping to change.")
    if form.is_valid():
        done = try_service(
            form,
            lambda: services.import_look(
                record_import=job, options=form.options(), by=request.user
            ),
        )
        if done is not None:
            messages.success(request, "Read again with this mapping.")
            return redirect(job)
    context = {"job": job, "preview": job.preview, "mapping_form": form}
    return render(request, "quality/import_detail.html", context, status=422)


@needs("quality.view_recordimport")
def import_progress(request: HttpRequest, pk: int) -> HttpResponse:
    """How far an import has come: the piece that the page fetches again."""
    job = get_object_or_404(RecordImport, pk=pk)
    if not is_fragment(request):
        return vary_on_fragment(redirect(job))
    context = {"job": job, "interrupted": selectors.is_interrupted(job)}
    return vary_on_fragment(render(request, "quality/_import_progress.html", context))


@needs("quality.add_recordimport", "quality.add_recordfile")
@require_POST
def import_start(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a received file in."""
    job = get_object_or_404(RecordImport, pk=pk)
    try:
        services.import_enqueue(record_import=job, send=send_import, by=request.user)
    except DomainError as error:
        messages.error(request, error.message)
    return redirect(job)


@needs("quality.change_recordimport")
@require_POST
def import_discard(request: HttpRequest, pk: int) -> HttpResponse:
    """Forget a received file."""
    job = get_object_or_404(RecordImport, pk=pk)
    try:
        services.import_discard(record_import=job, by=request.user)
        messages.success(request, f"{job.source_name} was discarded.")
    except DomainError as error:
        messages.error(request, error.message)
    return redirect("quality:record-list")


@needs("quality.view_recordfile")
def record_file_detail(request: HttpRequest, pk: int) -> HttpResponse:
    """One file: counts, parts, refused lines."""
    record_file = get_object_or_404(RecordFile, pk=pk)
    parts = record_file.parts.select_related("lane__wim_site")
    lines = Paginator(record_file.refused_lines.all(), 50)
    context = {
        "record_file": record_file,
        "parts": parts[:400],
        "n_parts": parts.count(),
        "page": lines.get_page(request.GET.get("page")),
    }
    return render(request, "quality/record_file_detail.html", context)


@needs("quality.view_laneday")
def review_list(request: HttpRequest) -> HttpResponse:
    """Days that nobody has judged, with what is proposed."""
    return _review_page(request, None)


def _review_page(request: HttpRequest, refused: DecisionForm | None) -> HttpResponse:
    site_code = request.GET.get("site", "")
    runs = selectors.review_runs(site_code=site_code)
    page = Paginator(runs, RUNS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "n_runs": len(runs),
        "n_days": sum(run.n_days for run in runs),
        "site_code": site_code,
        "refused": refused,
        "accepted": DayDecision.ACCEPTED,
        "set_aside": DayDecision.SET_ASIDE,
    }
    status = 422 if refused is not None else 200
    return render(request, "quality/review_list.html", context, status=status)


@needs("quality.add_dayreview")
@require_POST
def review_decide(request: HttpRequest) -> HttpResponse:
    """Accept or set aside a run of days."""
    form = DecisionForm(request.POST)
    if not form.is_valid():
        return _review_page(request, form)
    data = form.cleaned_data
    lane = get_object_or_404(Lane.objects.select_related("wim_site"), pk=data["lane"])
    review = try_service(
        form,
        lambda: services.days_decide(
            lane=lane, from_on=data["from_on"], to_on=data["to_on"],
            decision=data["decision"], reason=data["reason"], by=request.user,
        ),
    )  # fmt: skip
    if review is None:
        return _review_page(request, form)
    messages.success(
        request, f"{lane}, {review.from_on} to {review.to_on}: {review.decision}."
    )
    back = request.POST.get("next", "")
    return redirect(back if back.startswith("/records/") else "quality:review-list")


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
