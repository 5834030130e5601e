"""Tolerance standards: their values, one session under all, all sessions under one."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from calibration.forms.agency import ReturnForm, StandardValueForm
from calibration.forms.standards import RejudgeForm
from calibration.selectors import rejudged, standards
from calibration.services import agency as services
from calibration.views.common import VIEW, session_or_404, show_form
from wimprog.lib.tables import export_rows
from wimprog.lib.web import form_page, needs, try_service, unit_system

PER_PAGE = 50
VIEW_VALUES = "calibration.view_standardvalue"


def _value_or_404(standard: str, key: str) -> standards.ValueRow:
    row = standards.value_row(standard, key)
    if row is None:
        raise Http404("There is no such value.")
    return row


def _recomputed(n: int) -> str:
    sessions = "1 session was" if n == 1 else f"{n} sessions were"
    return f"{sessions} judged anew by it."


@needs(VIEW_VALUES)
@require_safe
def standard_list(request: HttpRequest) -> HttpResponse:
    """All tolerance standards."""
    context = {"pages": standards.standard_pages()}
    return render(request, "calibration/standards_list.html", context)


@needs(VIEW_VALUES)
@require_safe
def standard_detail(request: HttpRequest, key: str) -> HttpResponse:
    """One standard: classes, what it leaves out, its values with their standing."""
    page = standards.standard_page(key)
    if page is None:
        raise Http404("There is no such standard.")
    return render(request, "calibration/standards_detail.html", {"page": page})


@needs(VIEW_VALUES)
@require_safe
def value_detail(request: HttpRequest, standard: str, key: str) -> HttpResponse:
    """One value with its history."""
    context = {
        "page": standards.standard_page(standard),
        "row": _value_or_404(standard, key),
        "changes": standards.value_changes(standard, key),
    }
    return render(request, "calibration/standards_value.html", context)


@needs("calibration.change_standardvalue", "calibration.add_standardvalue")
@form_page
def value_edit(request: HttpRequest, standard: str, key: str) -> HttpResponse:
    """Put the agency's own value in the place of a recalled one."""
    row = _value_or_404(standard, key)
    initial = {
        "value": f"{row.in_use:.10g}",
        "source": row.own.source if row.own else "",
    }
    form = StandardValueForm(request.POST or None, known=row.value, initial=initial)
    back = reverse("calibration:value-detail", args=[standard, key])
    if request.method == "POST" and form.is_valid():
        sent = dict(form.cleaned_data)
        n = try_service(
            form,
            lambda: services.standard_value_set(
                standard=standard, key=key, by=request.user, **sent
            ),
        )
        if n is not None:
            messages.success(request, f"The value is in use. {_recomputed(n)}")
            return redirect(back)
    title = f"Set a value: {row.value.name}"
    return show_form(request, form, title=title, back=back)


@needs("calibration.delete_standardvalue")
@form_page
def value_return(request: HttpRequest, standard: str, key: str) -> HttpResponse:
    """Go back to the recalled value."""
    row = _value_or_404(standard, key)
    form = ReturnForm(request.POST or None)
    back = reverse("calibration:value-detail", args=[standard, key])
    if request.method == "POST" and form.is_valid():
        n = try_service(
            form,
            lambda: services.standard_value_return(
                standard=standard, key=key, by=request.user, **form.cleaned_data
            ),
        )
        if n is not None:
            told = f"The recalled value is in use again. {_recomputed(n)}"
            messages.success(request, told)
            return redirect(back)
    return show_form(
        request,
        form,
        title=f"Return to the recalled value: {row.value.name}",
        back=back,
        submit="Return to it",
        intro=f"{row.value.value:g} {row.value.unit}, {row.value.standing}.",
    )


@needs(*VIEW, VIEW_VALUES)
@require_safe
def side_by_side(request: HttpRequest, pk: int) -> HttpResponse:
    """The same runs under every standard."""
    session = session_or_404(pk)
    stages = standards.session_side_by_side(session)
    context = {"session": session, "stages": stages}
    return render(request, "calibration/standards_side_by_side.html", context)


@needs(*VIEW, VIEW_VALUES)
@require_safe
def side_by_side_export(request: HttpRequest, pk: int, fmt: str) -> HttpResponse:
    """The same for a spreadsheet."""
    if fmt not in ("csv", "xlsx"):
        raise Http404("csv or xlsx")
    session = session_or_404(pk)
    headings, rows = standards.side_by_side_cells(
        standards.session_side_by_side(session)
    )
    lane = session.lane
    name = f"{lane.wim_site.code}-{lane.label}-{session.held_on}-standards"
    return export_rows(
        name=name, fmt=fmt, headings=headings, rows=rows, note=str(session)
    )


@needs(*VIEW, VIEW_VALUES)
@require_safe
def rejudge(request: HttpRequest) -> HttpResponse:
    """All sessions under the class that is asked about."""
    form = RejudgeForm(request.GET if "wanted" in request.GET else None)
    found = page = None
    if form.is_bound:
        found = try_service(
            form,
            lambda: rejudged.sessions_rejudged(
                **form.asked, system=unit_system(request)
            ),
        )
    if found is not None:
        page = Paginator(found.rows, PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "found": found,
        "page": page,
        "query": request.GET.urlencode(),
    }
    status = 422 if form.is_bound and found is None else 200
    return render(request, "calibration/standards_rejudge.html", context, status=status)


@needs(*VIEW, VIEW_VALUES)
@require_safe
def rejudge_export(request: HttpRequest, fmt: str) -> HttpResponse:
    """The same for a spreadsheet."""
    form = RejudgeForm(request.GET)
    if fmt not in ("csv", "xlsx") or not form.is_valid():
        raise Http404("csv or xlsx, of a class that there is")
    found = rejudged.sessions_rejudged(**form.asked, system=unit_system(request))
    headings, rows = rejudged.rejudged_cells(found.rows)
    note = f"{found.title}, {found.class_name}. {found.standing}"
    return export_rows(
        name="sessions-judged-again", fmt=fmt, headings=headings, rows=rows, note=note
    )
