"""Session plans: drawn up, changed, printed, begun."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from calibration import cautions
from calibration.calc.types import SessionPurpose
from calibration.forms.plans import EDGES, PlanBeginForm, SessionPlanForm
from calibration.models import SessionPlan
from calibration.selectors import plans as selectors
from calibration.services import plans as services
from calibration.views.common import show_form
from sites.models import Lane
from wimprog.lib import clock
from wimprog.lib.tables import export_rows
from wimprog.lib.web import form_page, needs, try_service, unit_system

VIEW = ("calibration.view_sessionplan", "calibration.view_testvehicle")
PER_PAGE = 25


def _plan_or_404(pk: int) -> SessionPlan:
    plan = selectors.plan_get(pk)
    if plan is None:
        raise Http404("There is no such plan.")
    return plan


@needs(*VIEW)
@require_safe
def plan_list(request: HttpRequest) -> HttpResponse:
    """All plans, newest first."""
    page = Paginator(selectors.plan_list(), PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "calibration/plan_list.html", {"page": page})


@needs("calibration.add_sessionplan")
@form_page
def plan_add(request: HttpRequest) -> HttpResponse:
    """A new plan, for the lane in the address where one is given."""
    program = request.program  # type: ignore[attr-defined]
    blank = SessionPlan(
        planned_on=clock.today(program.time_zone),
        standard=program.default_standard,
        wanted_class=program.default_class,
        speeds_kmh=[],
        lane_positions=EDGES,
    )
    lane_pk = request.GET.get("lane", "")
    if lane_pk.isdecimal():
        blank.lane = get_object_or_404(Lane, pk=int(lane_pk))
        expected = selectors.expected_sd_of(blank.lane)
        blank.expected_sd_pct = (
            round(expected, 2) if expected else blank.expected_sd_pct
        )
    form = SessionPlanForm(
        request.POST or None, instance=blank, system=unit_system(request)
    )
    kept = _keep(request, form)
    if kept:
        messages.success(request, "The plan is kept.")
        return redirect(kept)
    back = reverse("calibration:plan-list")
    return show_form(request, form, title="Plan a calibration session", back=back)


def _keep(request: HttpRequest, form: SessionPlanForm) -> Any:
    if request.method != "POST" or not form.is_valid():
        return None
    return try_service(
        form,
        lambda: services.plan_save(
            plan=form.save(commit=False),
            vehicles=form.cleaned_data["vehicles"],
            by=request.user,
            why=form.reason,
        ),
    )


@needs("calibration.change_sessionplan")
@form_page
def plan_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change a plan whose session has not begun."""
    plan = _plan_or_404(pk)
    title, back = f"Change the {plan}", plan.get_absolute_url()
    form = SessionPlanForm(
        request.POST or None, instance=plan, system=unit_system(request)
    )
    kept = _keep(request, form)
    if kept:
        messages.success(request, "The plan is kept.")
        return redirect(kept)
    return show_form(request, form, title=title, back=back)


@needs(*VIEW)
@require_safe
def plan_detail(request: HttpRequest, pk: int) -> HttpResponse:
    """One plan: what it can show, what the standard asks, the order of the runs."""
    from calibration.figures_plans import plan_charts

    page = selectors.plan_page(_plan_or_404(pk), system=unit_system(request))
    context = {
        "page": page,
        "plan": page.plan,
        "charts": plan_charts(page),
        "expected": selectors.expected_words(page),
        "cautions": cautions.RUNS,
    }
    return render(request, "calibration/plan_detail.html", context)


@needs(*VIEW)
@require_safe
def plan_export(request: HttpRequest, pk: int, fmt: str) -> HttpResponse:
    """The curves for a spreadsheet."""
    if fmt not in ("csv", "xlsx"):
        raise Http404("csv or xlsx")
    page = selectors.plan_page(_plan_or_404(pk), system=unit_system(request))
    headings, rows = selectors.curve_cells(page)
    lane = page.plan.lane
    name = f"plan-{lane.wim_site.code}-{lane.label}-{page.plan.planned_on}"
    note = f"{page.plan}. {selectors.expected_words(page)}"
    return export_rows(name=name, fmt=fmt, headings=headings, rows=rows, note=note)


@needs(*VIEW)
@require_safe
def plan_sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """The runs on paper, in the order in which they are driven."""
    page = selectors.plan_page(_plan_or_404(pk), system=unit_system(request))
    context = {
        "page": page,
        "plan": page.plan,
        "cautions": (*cautions.RUNS, cautions.WEIGHING),
    }
    return render(request, "calibration/plan_sheet.html", context)


@needs("calibration.add_calibrationsession", "calibration.change_sessionplan")
@form_page
def plan_begin(request: HttpRequest, pk: int) -> HttpResponse:
    """Open the session as it was planned."""
    plan = _plan_or_404(pk)
    if plan.session is not None and request.method != "POST":
        messages.info(request, "This session has begun.")
        return redirect(plan.session)
    today = clock.today(request.program.time_zone)  # type: ignore[attr-defined]
    initial = {"held_on": today, "purpose": SessionPurpose.ROUTINE.value}
    form = PlanBeginForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        begun = try_service(
            form,
            lambda: services.plan_begin(
                plan=plan, by=request.user, **form.cleaned_data
            ),
        )
        if begun:
            messages.success(request, "The session is open. Record its runs next.")
            return redirect(begun)
    return show_form(
        request,
        form,
        title=f"Begin the session: {plan}",
        back=plan.get_absolute_url(),
        submit="Begin the session",
        cautions=cautions.RUNS,
    )
