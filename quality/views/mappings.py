"""Saved mappings of headed files: kept from a file, used again, forgotten."""

from __future__ import annotations

from dataclasses import replace

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from quality import services
from quality.models import RecordImport, SavedMapping
from quality.services.mappings import mapping_delete as delete_saved
from quality.services.mappings import mapping_save as save_mapping
from wimprog.lib.errors import DomainError
from wimprog.lib.web import needs


@needs("quality.view_savedmapping")
def mapping_list(request: HttpRequest) -> HttpResponse:
    """Saved mappings, with their columns and units."""
    context = {"mappings": SavedMapping.objects.all()}
    return render(request, "quality/mapping_list.html", context)


@needs("quality.add_savedmapping", "quality.change_savedmapping")
@require_POST
def mapping_save(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep the mapping of a received file under a name."""
    job = get_object_or_404(RecordImport, pk=pk)
    try:
        saved = save_mapping(
            record_import=job, name=request.POST.get("name", ""), by=request.user
        )
        messages.success(request, f"The mapping is saved as {saved}.")
    except DomainError as error:
        messages.error(request, error.message)
    return redirect(job)


@needs("quality.add_recordimport", "quality.view_savedmapping")
@require_POST
def mapping_use(request: HttpRequest, pk: int) -> HttpResponse:
    """Read a received file again with a saved mapping."""
    job = get_object_or_404(RecordImport, pk=pk)
    saved = get_object_or_404(SavedMapping, pk=request.POST.get("saved") or 0)
    options = services.ImportOptions.from_dict(job.options)
    try:
        services.import_look(
            record_import=job,
            options=replace(options, mapping=saved.mapping),
            by=request.user,
        )
        messages.success(request, f"Read again with {saved}.")
    except DomainError as error:
        messages.error(request, error.message)
    return redirect(job)


@needs("quality.delete_savedmapping")
@require_POST
def mapping_delete(request: HttpRequest, pk: int) -> HttpResponse:
    """Forget a saved mapping."""
    saved = get_object_or_404(SavedMapping, pk=pk)
    delete_saved(saved=saved, by=request.user)
    messages.success(request, f"The mapping {saved} was deleted.")
    return redirect("quality:mapping-list")
