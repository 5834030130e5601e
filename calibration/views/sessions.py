"""Calibration sessions: the list, one session, its head and its end."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django_tables2 import RequestConfig

from calibration import selectors, services
from calibration.filters import SessionFilter
from calibration.forms import (
    CloseForm,
    SessionForm,
)
from calibration.models import (
    CalibrationSession,
)
from calibration.tables import SessionTable
from calibration.views.common import VIEW, session_or_404, show_form
from sites.models import Lane
from wimprog.lib import clock
from wimprog.lib.tables import export_rows
from wimprog.lib.web import form_page, needs, try_service, unit_system


@needs(*VIEW)
def session_list(request: HttpRequest) -> HttpResponse:
    """All sessions, filtered."""
    found = SessionFilter(request.GET or None, queryset=selectors.session_list())
    table = SessionTable(found.qs)
    RequestConfig(request, paginate={"per_page": 25}).configure(table)
    context = {
        "filter": found,
        "table": table,
        "is_any": CalibrationSession.objects.exists(),
    }
    return render(request, "calibration/session_list.html", context)


@needs(*VIEW)
def session_list_export(request: HttpRequest, fmt: str) -> HttpResponse:
    """The sessions, as filtered, for a spreadsheet."""
    if fmt not in ("csv", "xlsx"):
        raise Http404("csv or xlsx")
    found = SessionFilter(request.GET or None, queryset=selectors.session_list())
    headings, rows = selectors.session_cells(found.qs)
    return export_rows(name="sessions", fmt=fmt, headings=headings, rows=rows)


@needs("calibration.add_calibrationsession")
@form_page
def session_add(request: HttpRequest) -> HttpResponse:
    """A new session, of the lane in the address where one is given."""
    program = request.program  # type: ignore[attr-defined]
    blank = CalibrationSession(
        held_on=clock.today(program.time_zone),
        standard=program.default_standard,
        wanted_class=program.default_class,
    )
    lane_pk = request.GET.get("lane", "")
    if lane_pk.isdecimal():
        blank.lane = get_object_or_404(Lane, pk=int(lane_pk))
        blank.factor_before = selectors.factor_in_use(blank.lane)
    form = SessionForm(
        request.POST or None, instance=blank, system=unit_system(request)
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: services.session_save(
                session=form.save(commit=False), by=request.user, why="session opened"
            ),
        )
        if kept:
            messages.success(request, "The session is open. Record its runs next.")
            return redirect(kept)
    back = reverse("calibration:session-list")
    return show_form(request, form, title="Open a calibration session", back=back)


@needs(*VIEW)
def session_detail(request: HttpRequest, pk: int) -> HttpResponse:
    """One session: how it stands, plots, statistics, effects, verdicts, runs."""
    from calibration.calc.standards import find_standard
    from calibration.figures_runs import session_plots

    session, system = session_or_404(pk), unit_system(request)
    stages, before_after = selectors.session_page(session, system=system)
    weighings = selectors.weighings_for(session)
    context = {
        "session": session,
        "standard": find_standard(session.standard),
        "zone": selectors.site_zone(session),
        "weighings": [(one, selectors.certificate_word(one)) for one in weighings],
        "before_after": before_after,
        "stages": [
            {
                "page": page,
                "plots": session_plots(page.name, page.judged, system=system),
            }
            for page in stages
        ],
    }
    return render(request, "calibration/session_detail.html", context)


@needs("calibration.change_calibrationsession")
@form_page
def session_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """What a session is."""
    session = session_or_404(pk)
    title, back = f"Change {session}", session.get_absolute_url()
    form = SessionForm(
        request.POST or None, instance=session, system=unit_system(request)
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: services.session_save(
                session=form.save(commit=False), by=request.user, why=form.reason
            ),
        )
        if kept:
            messages.success(request, "The session is kept.")
            return redirect(kept)
    return show_form(request, form, title=title, back=back)


@needs("calibration.change_calibrationsession")
@form_page
def session_close(request: HttpRequest, pk: int) -> HttpResponse:
    """End a session with the factor it leaves behind."""
    session = session_or_404(pk)
    form = CloseForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: services.session_close(
                session=session, by=request.user, **form.cleaned_data
            ),
        )
        if kept:
            messages.success(request, "The session is closed.")
            return redirect(kept)
    return show_form(
        request,
        form,
        title=f"Close {session}",
        back=session.get_absolute_url(),
        submit="Close the session",
        intro="A closed session takes no more runs, and none is set aside any more.",
    )


@needs(*VIEW)
def session_export(request: HttpRequest, pk: int, what: str, fmt: str) -> HttpResponse:
    """Runs or results of a session for a spreadsheet."""
    if fmt not in ("csv", "xlsx") or what not in ("runs", "results"):
        raise Http404("runs or results, as csv or xlsx")
    session, system = session_or_404(pk), unit_system(request)
    stages = selectors.session_stages(session, unit_system=system)
    if what == "runs":
        zone = selectors.site_zone(session)
        headings, rows = selectors.run_cells(stages, system=system, zone=zone)
    else:
        headings, rows = selectors.result_cells(stages)
    return export_rows(
        name=f"{session.lane.wim_site.code}-{session.lane.label}-"
        f"{session.held_on}-{what}",
        fmt=fmt,
        headings=headings,
        rows=rows,
        note=f"{session}; errors in per cent of the static weight",
    )
