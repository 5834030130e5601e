"""Calibration: sessions, runs, test vehicles, sheets. Every change is a POST."""

from __future__ import annotations

import base64
from typing import Any

from django.contrib import messages
from django.core import signing
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST
from django_tables2 import RequestConfig

from calibration import cautions, selectors, services
from calibration.filters import SessionFilter
from calibration.forms import (
    CloseForm,
    ExcludeForm,
    RunForm,
    SessionForm,
    SheetsForm,
    StaticWeighingForm,
    TestVehicleForm,
)
from calibration.models import (
    CalibrationSession,
    StaticWeighing,
    TestVehicle,
    TruckRun,
)
from calibration.tables import SessionTable, VehicleTable
from sites.models import Lane
from wimprog.lib import clock
from wimprog.lib.errors import DomainError
from wimprog.lib.tables import export_rows
from wimprog.lib.web import needs, try_service

form_page = require_http_methods(["GET", "HEAD", "POST"])
VIEW = (
    "calibration.view_calibrationsession",
    "calibration.view_truckrun",
    "calibration.view_sessionresult",
)
SHEETS_SALT = "calibration.sheets"
SHEETS_LIFE_S = 24 * 3600


def _system(request: HttpRequest) -> str:
    return str(request.program.unit_system)  # type: ignore[attr-defined]


def _session(pk: int) -> CalibrationSession:
    session = selectors.session_get(pk)
    if session is None:
        raise Http404("There is no such session.")
    return session


def _run(pk: int) -> TruckRun:
    runs = TruckRun.objects.select_related(
        "session__lane__wim_site", "weighing__vehicle"
    )
    return get_object_or_404(runs, pk=pk)


def _form(request: HttpRequest, form: Any, **context: Any) -> HttpResponse:
    status = 422 if form.is_bound and form.errors else 200
    context = {"form": form, "submit": "Save", **context}
    return render(request, "calibration/form.html", context, status=status)


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


@needs(*VIEW)
def due_list(request: HttpRequest) -> HttpResponse:
    """When each lane is next due."""
    program = request.program  # type: ignore[attr-defined]
    rows = selectors.due_list(clock.today(program.time_zone), program)
    return render(request, "calibration/due_list.html", {"rows": rows})


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
    form = SessionForm(request.POST or None, instance=blank, system=_system(request))
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
    return _form(request, form, title="Open a calibration session", back=back)


@needs(*VIEW)
def session_detail(request: HttpRequest, pk: int) -> HttpResponse:
    """One session: facts, runs, statistics, verdicts, proposed factor."""
    from calibration.figures import gross_weight_chart

    session, system = _session(pk), _system(request)
    stages = selectors.session_stages(session, unit_system=system)
    context = {
        "session": session,
        "zone": selectors.site_zone(session),
        "weighings": selectors.weighings_for(session),
        "stages": [
            {
                "name": one.stage,
                "key": one.stage.replace(" ", "-"),
                "judged": one.judged,
                "rows": selectors.run_rows(one.runs, one.judged.errors),
                "statistics": selectors.statistic_rows(one, system=system),
                "chart": gross_weight_chart(one.stage, one.judged),
            }
            for one in stages
        ],
    }
    return render(request, "calibration/session_detail.html", context)


@needs("calibration.change_calibrationsession")
@form_page
def session_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """What a session is."""
    session = _session(pk)
    title, back = f"Change {session}", session.get_absolute_url()
    form = SessionForm(request.POST or None, instance=session, system=_system(request))
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
    return _form(request, form, title=title, back=back)


@needs("calibration.change_calibrationsession")
@form_page
def session_close(request: HttpRequest, pk: int) -> HttpResponse:
    """End a session with the factor it leaves behind."""
    session = _session(pk)
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
    return _form(
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
    session, system = _session(pk), _system(request)
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


@needs("calibration.add_truckrun")
@form_page
def run_add(request: HttpRequest, pk: int) -> HttpResponse:
    """One run, typed beside the road; "save and next" stays here."""
    session = _session(pk)
    form = RunForm(
        request.POST or None,
        instance=TruckRun(session=session),
        zone=selectors.site_zone(session),
        system=_system(request),
        initial=_as_before(request),
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: services.runs_add(
                session=session,
                runs=[form.save(commit=False)],
                by=request.user,
                why="typed at the roadside",
                units_are_right=form.cleaned_data.get("units_are_right", False),
            ),
        )
        if kept:
            messages.success(request, f"Run {kept[0].number} is kept.")
            return _after_run(request, session, kept[0])
    context = {"session": session, "form": form, "cautions": cautions.RUNS}
    status = 422 if form.is_bound and form.errors else 200
    return render(request, "calibration/run_form.html", context, status=status)


def _as_before(request: HttpRequest) -> dict[str, str]:
    """Stage, vehicle and position of the run typed before."""
    names = ("stage", "weighing", "lane_position")
    return {name: request.GET[name] for name in names if name in request.GET}


def _after_run(
    request: HttpRequest, session: CalibrationSession, run: TruckRun
) -> HttpResponse:
    if "next" not in request.POST:
        return redirect(session)
    page = reverse("calibration:run-add", args=[session.pk])
    return redirect(
        f"{page}?stage={run.stage}&weighing={run.weighing_id}"
        f"&lane_position={run.lane_position}"
    )


@needs("calibration.change_truckrun")
@form_page
def run_exclude(request: HttpRequest, pk: int) -> HttpResponse:
    """Set a run aside with the reason."""
    run = _run(pk)
    form = ExcludeForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: services.run_set_aside(
                run=run, reason=form.cleaned_data["reason"], by=request.user
            ),
        )
        if kept:
            messages.success(request, f"Run {run.number} is set aside.")
            return redirect(run.session)
    title, back = f"Set run {run.number} aside", run.session.get_absolute_url()
    return _form(request, form, title=title, back=back, submit="Set aside")


@needs("calibration.change_truckrun")
@require_POST
def run_restore(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a run back in."""
    run = _run(pk)
    try:
        services.run_restore(run=run, by=request.user)
    except DomainError as error:
        messages.error(request, error.message)
    else:
        messages.success(request, f"Run {run.number} is taken back in.")
    return redirect(run.session)


@needs(
    "calibration.add_truckrun",
    "calibration.add_testvehicle",
    "calibration.add_staticweighing",
)
@form_page
def runs_import(request: HttpRequest, pk: int) -> HttpResponse:
    """Two sheets: read and shown first, kept when confirmed."""
    session = _session(pk)
    if "sheets" in request.POST:
        return _keep_sheets(request, session)
    form = SheetsForm(request.POST or None, request.FILES or None)
    context: dict[str, Any] = {"session": session, "form": form}
    if request.method == "POST" and form.is_valid():
        sheets = _sheets_of(form)
        try:
            context["plan"] = services.runs_from_sheets(session=session, **sheets)
            context["token"] = _sealed(sheets, session)
            context["zone"] = selectors.site_zone(session)
        except DomainError as error:
            context["error"] = error
    refused = "error" in context or (form.is_bound and form.errors)
    status = 422 if refused else 200
    return render(request, "calibration/runs_import.html", context, status=status)


def _sheets_of(form: SheetsForm) -> dict[str, Any]:
    static, runs = form.cleaned_data["static_file"], form.cleaned_data["runs_file"]
    return {
        "static_file": static.read(),
        "runs_file": runs.read(),
        "static_name": static.name,
        "runs_name": runs.name,
        "stage": form.cleaned_data["stage"],
        "units_are_right": form.cleaned_data["units_are_right"],
    }


def _sealed(sheets: dict[str, Any], session: CalibrationSession) -> str:
    """The sheets as text that nobody can change between preview and confirming."""
    plain = {
        name: base64.b64encode(value).decode() if isinstance(value, bytes) else value
        for name, value in sheets.items()
    }
    return signing.dumps([session.pk, plain], salt=SHEETS_SALT, compress=True)


def _opened(token: str, session: CalibrationSession) -> dict[str, Any]:
    try:
        pk, plain = signing.loads(token, salt=SHEETS_SALT, max_age=SHEETS_LIFE_S)
    except signing.BadSignature:
        pk, plain = None, {}
    if pk != session.pk:
        raise DomainError(
            "What was previewed cannot be read any more; give the sheets again. "
            "Nothing was stored."
        )
    for name in ("static_file", "runs_file"):
        plain[name] = base64.b64decode(plain[name])
    return dict(plain)


def _keep_sheets(request: HttpRequest, session: CalibrationSession) -> HttpResponse:
    try:
        sheets = _opened(request.POST["sheets"], session)
        plan = services.runs_from_sheets(session=session, **sheets)
        made = services.sheets_keep(
            session=session,
            plan=plan,
            by=request.user,
            why=f"imported from {sheets['static_name']} and {sheets['runs_name']}",
            units_are_right=sheets["units_are_right"],
        )
    except DomainError as error:
        context = {"session": session, "form": SheetsForm(), "error": error}
        return render(request, "calibration/runs_import.html", context, status=422)
    messages.success(
        request, f"{len(made)} runs added; {len(plan.runs_known)} were there already."
    )
    return redirect(session)


@needs("calibration.view_testvehicle")
def vehicle_list(request: HttpRequest) -> HttpResponse:
    """Test vehicles."""
    table = VehicleTable(selectors.vehicle_list())
    if not request.user.has_perm("calibration.add_staticweighing"):
        table.exclude = ("weigh",)
    RequestConfig(request).configure(table)
    return render(request, "calibration/vehicle_list.html", {"table": table})


@needs("calibration.add_testvehicle")
@form_page
def vehicle_add(request: HttpRequest) -> HttpResponse:
    """A new test vehicle."""
    form = TestVehicleForm(request.POST or None, system=_system(request))
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: services.vehicle_save(
                vehicle=form.save(commit=False), by=request.user, why="vehicle added"
            ),
        )
        if kept:
            messages.success(request, f"{kept} is added. Record its weighing next.")
            return redirect("calibration:weighing-add", kept.pk)
    back = reverse("calibration:vehicle-list")
    return _form(request, form, title="Add a test vehicle", back=back)


@needs("calibration.add_staticweighing")
@form_page
def weighing_add(request: HttpRequest, pk: int) -> HttpResponse:
    """A static weighing of a vehicle on a certified scale."""
    from zoneinfo import ZoneInfo

    vehicle = get_object_or_404(TestVehicle, pk=pk)
    form = StaticWeighingForm(
        request.POST or None,
        instance=StaticWeighing(vehicle=vehicle),
        zone=ZoneInfo(request.program.time_zone),  # type: ignore[attr-defined]
        system=_system(request),
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: services.weighing_save(
                weighing=form.save(commit=False), by=request.user, why="weighed"
            ),
        )
        if kept:
            messages.success(request, f"The weighing of {vehicle} is kept.")
            return redirect("calibration:vehicle-list")
    back = reverse("calibration:vehicle-list")
    return _form(
        request,
        form,
        title=f"Static weighing of {vehicle}",
        back=back,
        cautions=cautions.STATIC,
    )
