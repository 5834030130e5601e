"""Papers of a record: the blank field sheet, typing it in, the as-built record."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from installs import selectors, services
from installs.forms import PaperForm
from installs.papers import as_built_pdf, field_sheet_pdf
from installs.views.records import record_or_404
from installs.views.stages import stage_or_404
from wimprog.lib import clock
from wimprog.lib.paper import PDF
from wimprog.lib.web import attachment, form_page, form_status, needs, try_service


@needs("installs.view_installationrecord")
@require_safe
def record_sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """The blank field sheet of a record."""
    record = record_or_404(pk)
    content = field_sheet_pdf(record, program=request.program)  # type: ignore[attr-defined]
    return attachment(content, name=f"field-sheet-{pk}.pdf", content_type=PDF)


@needs("installs.view_installationrecord", "installs.view_photo")
@require_safe
def record_as_built(request: HttpRequest, pk: int) -> HttpResponse:
    """The as-built record, with drawing, photos, tests and signatures."""
    record = record_or_404(pk)
    content = as_built_pdf(record, program=request.program)  # type: ignore[attr-defined]
    return attachment(content, name=f"as-built-{pk}.pdf", content_type=PDF)


@needs("installs.add_itementry")
@form_page
def record_paper(request: HttpRequest, pk: int, slug: str) -> HttpResponse:
    """Type a stage in from its paper sheet: all of it, or nothing."""
    record = record_or_404(pk)
    stage = stage_or_404(record, slug)
    view = selectors.stage_view(record, slug)
    form = PaperForm(
        request.POST or None,
        view=view,
        zone=record.lane.wim_site.time_zone,
        now=clock.now(),
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: services.paper_save(
                record=record,
                answers=form.answers,
                observed_at=form.cleaned_data["observed_at"],
                written_by=form.cleaned_data["written_by"],
                by=request.user,
            ),
        )
        if kept is not None:
            messages.success(request, f"{kept} answers of the sheet are kept.")
            return redirect("installs:record-stage", record.pk, stage.key)
    context = {"form": form, "record": record, "stage": stage}
    return render(
        request, "installs/record_paper.html", context, status=form_status(form)
    )
