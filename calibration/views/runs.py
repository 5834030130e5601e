"""Truck runs: typed, brought in from sheets, set aside."""

from __future__ import annotations

import base64
from typing import Any

from django.contrib import messages
from django.core import signing
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from calibration import cautions, selectors, services
from calibration.forms import (
    ExcludeForm,
    RunForm,
    SheetsForm,
)
from calibration.models import (
    CalibrationSession,
    TruckRun,
)
from calibration.views.common import run_or_404, session_or_404, show_form
from installs.sending import sent_once
from wimprog.lib.errors import DomainError
from wimprog.lib.web import form_page, needs, try_service, unit_system

SHEETS_SALT = "calibration.sheets"
SHEETS_LIFE_S = 24 * 3600
RUN_WORDS = {
    "number": "number",
    "stage": "stage",
    "weighing_id": "vehicle or weighing",
    "run_at": "time",
    "axle_weights_kg": "axle weights",
    "speed_kmh": "speed",
    "reference_speed_kmh": "reference speed",
    "pavement_temp_c": "pavement temperature",
    "lane_position": "lane position",
    "axle_spacings_m": "spacings",
    "left_wheel_weights_kg": "left wheels",
    "right_wheel_weights_kg": "right wheels",
    "excluded": "in or aside",
}


@needs("calibration.add_truckrun")
@form_page
@sent_once("run")
def run_add(request: HttpRequest, pk: int) -> HttpResponse:
    """One run, typed beside the road; "save and next" stays here."""
    session, system = session_or_404(pk), unit_system(request)
    last = selectors.last_run(session)
    form = RunForm(
        request.POST or None,
        instance=TruckRun(session=session),
        zone=selectors.site_zone(session),
        system=system,
        last=last,
        initial={**_as_before(request), "run_at": selectors.time_of_next_run(session)},
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(form, lambda: _add(request, session, form))
        if kept:
            messages.success(request, f"Run {kept[0].number} is kept.")
            return _after_run(request, session, kept[0])
    live = None
    if last is not None and not form.is_bound:
        live = selectors.live_now(session, last.stage, system=system)
    context = {"session": session, "form": form, "cautions": cautions.RUNS}
    context |= {"live": live, "last": last, "title": "Add a run"}
    status = 422 if form.is_bound and form.errors else 200
    return render(request, "calibration/run_form.html", context, status=status)


def _add(
    request: HttpRequest, session: CalibrationSession, form: RunForm
) -> list[TruckRun]:
    return services.runs_add(
        session=session,
        runs=[form.save(commit=False)],
        by=request.user,
        why="typed at the roadside",
        units_are_right=form.cleaned_data.get("units_are_right", False),
    )


@needs("calibration.change_truckrun")
@form_page
@sent_once("run", changes=TruckRun)
def run_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct a run; what was there before stays in its history."""
    run = run_or_404(pk)
    title = f"Change run {run.number}"  # the form moves a new number into the run
    form = RunForm(
        request.POST or None,
        instance=run,
        zone=selectors.site_zone(run.session),
        system=unit_system(request),
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: services.run_change(
                run=form.save(commit=False),
                by=request.user,
                why=form.reason,
                units_are_right=form.cleaned_data.get("units_are_right", False),
            ),
        )
        if kept:
            messages.success(request, f"Run {kept.number} is changed.")
            return redirect(run.session)
    context = {
        "session": run.session,
        "form": form,
        "run": run,
        "title": title,
        "changes": selectors.changes_of(run, shown=RUN_WORDS),
        "zone": selectors.site_zone(run.session),
    }
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
    run = run_or_404(pk)
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
    return show_form(request, form, title=title, back=back, submit="Set aside")


@needs("calibration.change_truckrun")
@require_POST
def run_restore(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a run back in."""
    run = run_or_404(pk)
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
    session = session_or_404(pk)
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
