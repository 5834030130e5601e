"""A session's record: signatures, papers and files."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from calibration.forms.signing import SessionSignForm
from calibration.models import CalibrationSession
from calibration.selectors.record import SessionRecord, session_record
from calibration.selectors.signatures import roles_wanting, signature_views
from calibration.services.signing import may_sign_as, session_sign
from calibration.views.common import VIEW, session_or_404
from wimprog.lib.errors import DomainError
from wimprog.lib.paper import PDF
from wimprog.lib.tables import XLSX
from wimprog.lib.web import attachment, form_page, needs, try_service, unit_system


def _record(request: HttpRequest, pk: int) -> SessionRecord:
    return session_record(session_or_404(pk), unit_system=unit_system(request))


def _file_name(session: CalibrationSession, what: str, ending: str) -> str:
    place = f"{session.lane.wim_site.code}-{session.lane.label}".replace(" ", "-")
    return f"{place}-{session.held_on}-{what}.{ending}"


@needs(*VIEW)
@require_safe
def session_record_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Who signed, whether it still stands, and what can be taken away on paper."""
    from calibration.papers import certificate_refusal

    record = _record(request, pk)
    views = signature_views(record)
    context = {
        "session": record.session,
        "zone": record.zone,
        "views": views,
        "wanting": roles_wanting(views),
        "refusal": certificate_refusal(record),
        "is_unproved": record.is_adjusted_unproved,
    }
    return render(request, "calibration/session_record.html", context)


@needs("calibration.add_sessionsignature")
@form_page
def session_sign_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Sign a closed session; refused in words while it cannot be."""
    session = session_or_404(pk)
    form = SessionSignForm(
        request.POST or None,
        roles=may_sign_as(request.user),
        initial={"name_signed": request.user.get_full_name()},  # type: ignore[union-attr]
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: session_sign(session=session, by=request.user, **form.cleaned_data),
        )
        if kept:
            messages.success(request, f"The session is signed as {kept.role}.")
            return redirect("calibration:session-record", session.pk)
    status = 422 if form.is_bound and form.errors else 200
    context = {"form": form, "session": session}
    return render(request, "calibration/session_sign.html", context, status=status)


@needs(*VIEW)
@require_safe
def session_record_paper(request: HttpRequest, pk: int) -> HttpResponse:
    """The record as a PDF."""
    from calibration.papers import session_record_pdf

    record = _record(request, pk)
    content = session_record_pdf(record, program=request.program)  # type: ignore[attr-defined]
    name = _file_name(record.session, "record", "pdf")
    return attachment(content, name=name, content_type=PDF)


@needs(*VIEW)
@require_safe
def session_certificate(request: HttpRequest, pk: int) -> HttpResponse:
    """The certificate as a PDF; back to the page, in words, where there is none."""
    from calibration.papers import certificate_pdf

    record = _record(request, pk)
    try:
        content = certificate_pdf(record, program=request.program)  # type: ignore[attr-defined]
    except DomainError as error:
        messages.error(request, f"There is no certificate. {error.message}")
        return redirect("calibration:session-record", pk)
    name = _file_name(record.session, "certificate", "pdf")
    return attachment(content, name=name, content_type=PDF)


@needs(*VIEW)
@require_safe
def session_file(request: HttpRequest, pk: int, fmt: str) -> HttpResponse:
    """Everything of the session in one workbook, or as JSON for machines."""
    from calibration.papers import session_json, session_workbook

    if fmt not in ("json", "xlsx"):
        raise Http404("json or xlsx")
    record = _record(request, pk)
    name = _file_name(record.session, "session", fmt)
    if fmt == "json":
        content = session_json(record)
        return attachment(content, name=name, content_type="application/json")
    content = session_workbook(record, program=request.program)  # type: ignore[attr-defined]
    return attachment(content, name=name, content_type=XLSX)
