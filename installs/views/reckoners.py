"""Reckoners of the layout: asked by address, kept nowhere, open to all who may look."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from installs import cautions
from installs.forms.reckoners import SpacingReckoner, SquareReckoner
from installs.selectors import reckoners as selectors
from installs.views.plans import length_digits, system_of
from wimprog.lib.units import Kind, shown_unit
from wimprog.lib.web import needs, try_service


def _basis(request: HttpRequest) -> selectors.Basis:
    get = request.GET.get
    return selectors.basis(plan=get("plan", ""), lane=get("lane", ""))


def _show(request: HttpRequest, template: str, context: dict[str, Any]) -> HttpResponse:
    status = 422 if context["form"].errors else 200
    context["digits"] = length_digits(request)
    return render(request, template, context, status=status)


@needs("installs.view_arrayplan")
@require_safe
def tool_square(request: HttpRequest) -> HttpResponse:
    """Marks for a right angle, and how square a line laid out is."""
    basis = _basis(request)
    form = SquareReckoner(
        request.GET, system=system_of(request), first=basis.first_for_square()
    )
    answer = None
    if form.is_valid():
        answer = try_service(
            form,
            lambda: selectors.square_answer(
                form.triangles,
                width_m=form.si("width"),
                speed_kmh=form.si("speed"),
                tape_sd_mm=form.si("tape"),
                tolerance_mm=form.si("tolerance"),
                track_m=form.si("track"),
                against_traffic=form.cleaned_data["against"],
                unit=shown_unit(Kind.LENGTH, form.system).symbol,
            ),
        )
    width_m = form.si("width") if answer else basis.width_m
    context = {
        "form": form,
        "basis": basis,
        "answer": answer,
        "width_m": width_m,
        "marks": selectors.marks_for(width_m, form.system),
        "cautions": (cautions.TRAFFIC, cautions.WEATHER),
    }
    return _show(request, "installs/tool_square.html", context)


@needs("installs.view_arrayplan")
@require_safe
def tool_spacing(request: HttpRequest) -> HttpResponse:
    """What a spacing that is not the controller's does to speed and axle spacing."""
    basis, system = _basis(request), system_of(request)
    form = SpacingReckoner(
        request.GET, system=system, first=basis.first_for_spacing(system)
    )
    answer = None
    if form.is_valid():
        answer = try_service(
            form,
            lambda: selectors.spacing_answer(
                form.readings_m,
                setting_m=form.si("setting"),
                planned_m=form.si("planned"),
                speed_kmh=form.si("speed"),
                tape_sd_mm=form.si("tape"),
                tolerance_mm=form.si("tolerance"),
                step_m=form.si("step"),
                system=form.system,
            ),
        )
    context = {
        "form": form,
        "basis": basis,
        "answer": answer,
        "cautions": (cautions.TRAFFIC, cautions.WEATHER),
    }
    return _show(request, "installs/tool_spacing.html", context)
