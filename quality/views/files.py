"""Pages of record files: in, looked at, and what is in them."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST
from django_tables2 import RequestConfig

from quality import selectors, services
from quality.filters import RecordFileFilter
from quality.forms import HeldDaysForm, MappingForm, UploadForm
from quality.models import ImportState, RecordFile, RecordImport, SavedMapping
from quality.tables import RecordFileTable
from quality.tasks import send_import
from wimprog.lib.errors import DomainError
from wimprog.lib.tables import export_rows
from wimprog.lib.web import is_fragment, needs, try_service, vary_on_fragment


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


def _saved_for(job: RecordImport) -> list[SavedMapping]:
    """Saved mappings of files with the same headings."""
    headings = job.preview.get("headings")
    if not headings or _mapping_form(job) is None:
        return []
    return [one for one in SavedMapping.objects.all() if one.headings == headings]


def _held_form(job: RecordImport) -> HeldDaysForm | None:
    if not job.preview.get("overlaps") or job.state not in (
        ImportState.READ,
        ImportState.REFUSED,
    ):
        return None
    return HeldDaysForm(preview=job.preview, options=job.options)


@needs("quality.view_recordimport")
def import_detail(request: HttpRequest, pk: int) -> HttpResponse:
    """What is in a received file, and how far its taking-in has come."""
    job = get_object_or_404(RecordImport, pk=pk)
    context = {
        "job": job,
        "preview": job.preview,
        "mapping_form": _mapping_form(job),
        "held_form": _held_form(job),
        "saved": _saved_for(job),
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
