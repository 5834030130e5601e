"""Reckoners of the layout: asked by address, kept nowhere, open to all who may look."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from installs import cautions
from installs.forms.reckoners import (
    Reckoner,
    SpacingReckoner,
    SquareReckoner,
    WeatherReckoner,
)
from installs.models import CuringTable
from installs.selectors import reckoners as selectors
from installs.views.plans import length_digits, system_of
from wimprog.lib.errors import DomainError
from wimprog.lib.web import needs


def _basis(request: HttpRequest) -> selectors.Basis:
    get = request.GET.get
    return selectors.basis(plan=get("plan", ""), lane=get("lane", ""))


def _show(request: HttpRequest, template: str, context: dict[str, Any]) -> HttpResponse:
    status = 422 if context["form"].errors else 200
    context["digits"] = length_digits(request)
    return render(request, template, context, status=status)


def _ask(form: Reckoner, call: Callable[[], Any]) -> Any | None:
    """The answer; or, in the form, why there is none and how to mend it."""
    try:
        return call()
    except DomainError as error:
        form.add_error(None, error.message)
        for one in error.complaints:
            told = one.message.casefold() == error.message.casefold()
            form.add_error(None, one.remedy if told and one.remedy else str(one))
    return None


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
        answer = _ask(
            form,
            lambda: selectors.square_answer(form.triangles, **form.given),
        )
    width_m = form.given["width_m"] if answer else basis.width_m
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
        answer = _ask(
            form,
            lambda: selectors.spacing_answer(form.readings_m, **form.given),
        )
    context = {
        "form": form,
        "basis": basis,
        "answer": answer,
        "cautions": (cautions.TRAFFIC, cautions.WEATHER),
    }
    return _show(request, "installs/tool_spacing.html", context)


@needs("installs.view_curingtable")
@require_safe
def tool_weather(request: HttpRequest) -> HttpResponse:
    """May it be poured today, with how much hardener, and how long must it cure?"""
    only = CuringTable.objects.values_list("pk", flat=True)[:2]
    chosen = request.GET.get("table") or (str(only[0]) if len(only) == 1 else "")
    form = WeatherReckoner(request.GET, system=system_of(request), table=chosen)
    answer = None
    if form.is_valid():
        answer = _ask(
            form,
            lambda: selectors.weather_answer(form.cleaned_data["table"], **form.given),
        )
    context = {
        "form": form,
        "basis": _basis(request),
        "answer": answer,
        "questions": form.questions() if answer else (),
        "any": bool(only),
        "cautions": (cautions.RESIN, cautions.WEATHER, cautions.TRAFFIC),
    }
    return _show(request, "installs/tool_weather.html", context)
