"""Pages of later deliveries that took the place of earlier ones."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from quality import services
from quality.forms import HeldDaysForm, UndoForm
from quality.models import RecordImport, RecordReplacement
from wimprog.lib.errors import DomainError
from wimprog.lib.web import form_page, needs, try_service


@needs("quality.add_recordimport", "quality.add_recordreplacement")
@require_POST
def import_held_days(request: HttpRequest, pk: int) -> HttpResponse:
    """Say what becomes of the days of a received file that are held already."""
    job = get_object_or_404(RecordImport, pk=pk)
    form = HeldDaysForm(request.POST, preview=job.preview, options=job.options)
    if form.is_valid():
        try:
            services.import_look(
                record_import=job, options=form.options(), by=request.user
            )
            messages.success(request, "Read again with this choice.")
        except DomainError as error:
            messages.error(request, error.message)
    else:
        for problem in form.errors.values():
            messages.error(request, " ".join(str(one) for one in problem))
    return redirect(job)


@needs("quality.view_recordreplacement")
def replacement_list(request: HttpRequest) -> HttpResponse:
    """Replacements, latest first."""
    found = RecordReplacement.objects.select_related(
        "new_file", "lane__wim_site", "decided_by", "undone_by"
    ).defer("difference")
    context = {"replacements": found[:200], "n": found.count()}
    return render(request, "quality/replacement_list.html", context)


@needs("quality.view_recordreplacement")
def replacement_detail(request: HttpRequest, pk: int) -> HttpResponse:
    """What differed, who decided why, and what undoing would bring back."""
    one = get_object_or_404(
        RecordReplacement.objects.select_related("new_file", "lane__wim_site"), pk=pk
    )
    context = {"replacement": one, "overlap": one.difference, "form": UndoForm()}
    return render(request, "quality/replacement_detail.html", context)


@needs("quality.change_recordreplacement")
@form_page
def replacement_undo(request: HttpRequest, pk: int) -> HttpResponse:
    """Bring back what was replaced."""
    one = get_object_or_404(RecordReplacement, pk=pk)
    form = UndoForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        done = try_service(
            form,
            lambda: services.replacement_undo(
                replacement=one, by=request.user, why=form.cleaned_data["why"]
            ),
        )
        if done is not None:
            messages.success(request, "The earlier records are in use again.")
            return redirect("quality:replacement-detail", pk=pk)
    context = {"replacement": one, "overlap": one.difference, "form": form}
    status = 422 if form.errors else 200
    return render(request, "quality/replacement_detail.html", context, status=status)
