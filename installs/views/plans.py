"""Array plans: drawn up, changed, approved, printed."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from installs import cautions
from installs.calc.types import Technology
from installs.calc.types.records import PlanState
from installs.forms.plans import PlanSheet, PlanStartForm
from installs.forms.reckoners import ClosureReckoner
from installs.models import ArrayPlan
from installs.selectors import plans as selectors
from installs.selectors.quantities import Quantities, quantities_of
from installs.selectors.reckoners import marks_for
from installs.services import plans as services
from installs.tables.plans import QUANTITY_HEADINGS, quantity_sheet
from sites.models import Lane
from wimprog.lib.errors import DomainError
from wimprog.lib.tables import export_rows
from wimprog.lib.units import UnitSystem
from wimprog.lib.web import form_page, needs, try_service, unit_system


def system_of(request: HttpRequest) -> UnitSystem:
    """The unit system that this program shows."""
    return UnitSystem(unit_system(request))


def length_digits(request: HttpRequest) -> int:
    """Places of a length told as closely as a tape is read: 0.01 ft or 1 mm."""
    return 2 if system_of(request) is UnitSystem.US else 3


def plans() -> QuerySet[ArrayPlan]:
    """Plans with all that their pages name."""
    return ArrayPlan.objects.select_related("lane__wim_site", "approved_by")


@needs("installs.view_arrayplan")
@require_safe
def plan_list(request: HttpRequest, lane: int) -> HttpResponse:
    """The plans of a lane, and the way to a new one."""
    where = get_object_or_404(Lane.objects.select_related("wim_site"), pk=lane)
    context = {
        "lane": where,
        "plans": selectors.plans_of_lane(where),
        "form": PlanStartForm(),
    }
    return render(request, "installs/plan_list.html", context)


@needs("installs.add_arrayplan")
@require_POST
def plan_start(request: HttpRequest, lane: int) -> HttpResponse:
    """Begin a draft: the approved plan's next version, or the usual array."""
    where = get_object_or_404(Lane.objects.select_related("wim_site"), pk=lane)
    form = PlanStartForm(request.POST)
    if form.is_valid():
        begun = try_service(
            form,
            lambda: services.plan_start(
                lane=where,
                technology=Technology(form.cleaned_data["technology"]),
                system=system_of(request),
                by=request.user,
                why="",
            ),
        )
        if begun:
            messages.success(request, f"Plan {begun.version} is a draft; change it.")
            return redirect("installs:plan-edit", begun.pk)
    found = selectors.plans_of_lane(where)
    context = {"lane": where, "plans": found, "form": form}
    return render(request, "installs/plan_list.html", context, status=422)


@needs("installs.view_arrayplan")
@require_safe
def plan_detail(request: HttpRequest, pk: int) -> HttpResponse:
    """One plan: drawing, positions, what is wrong with it."""
    plan = get_object_or_404(plans(), pk=pk)
    context = {
        "page": selectors.plan_page(plan, system=system_of(request)),
        "digits": length_digits(request),
        "cautions": cautions.INSTALLATION,
        "history": plan.history.select_related("history_user")[:20],
    }
    return render(request, "installs/plan_detail.html", context)


@needs("installs.view_arrayplan")
@require_safe
def plan_sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """The plan on paper: drawing, positions, marks, quantities, cautions."""
    plan, system = get_object_or_404(plans(), pk=pk), system_of(request)
    page = selectors.plan_page(plan, system=system)
    context = {
        "page": page,
        "digits": length_digits(request),
        "marks": marks_for(plan.lane_width_m, system),
        "quantities": quantities_of(
            page.layout, selectors.work_settings_get(), system=system
        ),
        "cautions": cautions.INSTALLATION,
    }
    return render(request, "installs/plan_sheet.html", context)


@needs("installs.view_arrayplan")
@require_safe
def plan_quantities(request: HttpRequest, pk: int) -> HttpResponse:
    """What the plan takes: the pick list, the work, crew hours and the closure."""
    plan = get_object_or_404(plans(), pk=pk)
    form = ClosureReckoner(request.GET, system=system_of(request))
    context = {
        "plan": plan,
        "form": form,
        "quantities": _quantities(request, plan, form),
        "query": request.GET.urlencode(),
        "cautions": cautions.INSTALLATION,
    }
    status = 422 if form.errors else 200
    return render(request, "installs/plan_quantities.html", context, status=status)


@needs("installs.view_arrayplan")
@require_safe
def plan_quantities_export(request: HttpRequest, pk: int, fmt: str) -> HttpResponse:
    """The same lines as a spreadsheet."""
    if fmt not in ("csv", "xlsx"):
        raise Http404("Quantities come as csv or xlsx.")
    plan = get_object_or_404(plans(), pk=pk)
    form = ClosureReckoner(request.GET, system=system_of(request))
    found = _quantities(request, plan, form)
    name = f"quantities-{plan.lane.wim_site.code}-{plan.lane.label}-plan-{plan.version}"
    return export_rows(
        name=name,
        fmt=fmt,
        headings=QUANTITY_HEADINGS,
        rows=quantity_sheet(found, system_of(request)),
        note=f"{plan} ({plan.state}). {found.refused}".strip(),
    )


def _quantities(
    request: HttpRequest, plan: ArrayPlan, form: ClosureReckoner
) -> Quantities:
    return quantities_of(
        selectors.layout_of(plan, selectors.plan_rows(plan)),
        selectors.work_settings_get(),
        **form.answers,
        system=system_of(request),
    )


@needs("installs.change_arrayplan")
@form_page
def plan_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change a draft with all its elements; an approved plan is shown instead."""
    plan = get_object_or_404(plans(), pk=pk)
    if plan.state != PlanState.DRAFT and request.method != "POST":
        messages.info(request, f"Plan {plan.version} is frozen; make a new version.")
        return redirect(plan)
    sheet = PlanSheet(request.POST or None, plan=plan, system=system_of(request))
    if request.method == "POST" and sheet.is_valid():
        kept = try_service(sheet.form, lambda: _save(sheet, request.user))
        if kept:
            messages.success(request, f"Plan {kept.version} is kept.")
            more = "more" in request.POST
            return redirect("installs:plan-edit", kept.pk) if more else redirect(kept)
    stored = plans().get(pk=pk) if sheet.form.is_bound else plan
    context = {
        "sheet": sheet,
        "form": sheet.form,
        "plan": stored,
        "page": selectors.plan_page(stored, system=system_of(request)),
    }
    status = 422 if sheet.form.errors else 200
    return render(request, "installs/plan_edit.html", context, status=status)


def _save(sheet: PlanSheet, by: Any) -> ArrayPlan:
    return services.plan_save(
        plan=sheet.form.save(commit=False),
        elements=sheet.changed,
        removed=sheet.removed,
        seen=sheet.form.cleaned_data["seen"],
        by=by,
        why=sheet.form.reason,
    )


@needs("installs.add_arrayplan")
@require_POST
def plan_new_version(request: HttpRequest, pk: int) -> HttpResponse:
    """A draft as a copy of this plan."""
    plan = get_object_or_404(plans(), pk=pk)
    try:
        draft = services.plan_new_version(plan=plan, by=request.user, why="")
    except DomainError as error:
        messages.error(request, error.message)
        return redirect(plan)
    messages.success(request, f"Plan {draft.version} is a draft; change it.")
    return redirect("installs:plan-edit", draft.pk)


@needs("installs.approve_arrayplan")
@require_POST
def plan_approve(request: HttpRequest, pk: int) -> HttpResponse:
    """Freeze a draft as the lane's plan."""
    plan = get_object_or_404(plans(), pk=pk)
    try:
        kept = services.plan_approve(
            plan=plan,
            system=system_of(request),
            by=request.user,
            why=request.POST.get("why", "")[:100],
        )
    except DomainError as error:
        messages.error(request, error.message)
        return redirect(plan)
    messages.success(request, f"Plan {kept.version} is approved and frozen.")
    return redirect(kept)
