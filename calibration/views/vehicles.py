"""Test vehicles and their static weighings."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django_tables2 import RequestConfig

from calibration import cautions, selectors, services
from calibration.drawings import axle_layout_svg, layout_sentence
from calibration.forms import StaticWeighingForm, TestVehicleForm
from calibration.models import StaticWeighing, TestVehicle
from calibration.tables import VehicleTable
from calibration.views.common import show_form
from wimprog.lib.web import form_page, needs, try_service, unit_system

VEHICLE_WORDS = {
    "name": "name",
    "vehicle_class": "class",
    "axle_spacings_m": "axle spacings",
    "origin": "origin",
    "body": "body",
    "suspension": "suspension",
    "tyres": "tyres",
    "note": "note",
}
WEIGHING_WORDS = {
    "weighed_at": "time",
    "scale": "scale",
    "certificate": "certificate",
    "certificate_until": "certificate’s end",
    "axle_weights_kg": "axle weights",
    "readings": "readings",
    "scale_step_kg": "display’s step",
    "scale_expanded_kg": "certificate’s uncertainty",
    "scale_expanded_pct": "certificate’s uncertainty",
    "scale_coverage_k": "coverage factor",
    "fuel_kg_per_hour": "fuel burnt",
    "note": "note",
}


def vehicle_or_404(pk: int) -> TestVehicle:
    vehicle = selectors.vehicle_get(pk)
    if vehicle is None:
        raise Http404("There is no such test vehicle.")
    return vehicle


def weighing_or_404(pk: int) -> StaticWeighing:
    weighing = selectors.weighing_get(pk)
    if weighing is None:
        raise Http404("There is no such weighing.")
    return weighing


def program_zone(request: HttpRequest) -> ZoneInfo:
    return ZoneInfo(request.program.time_zone)  # type: ignore[attr-defined]


@needs("calibration.view_testvehicle")
def vehicle_list(request: HttpRequest) -> HttpResponse:
    """Test vehicles."""
    table = VehicleTable(selectors.vehicles_weighed())
    if not request.user.has_perm("calibration.add_staticweighing"):
        table.exclude = ("weigh",)
    RequestConfig(request).configure(table)
    return render(request, "calibration/vehicle_list.html", {"table": table})


@needs("calibration.view_testvehicle", "calibration.view_staticweighing")
def vehicle_detail(request: HttpRequest, pk: int) -> HttpResponse:
    """One vehicle: its axles drawn, its weighings, who changed it and why."""
    vehicle, system = vehicle_or_404(pk), unit_system(request)
    spacings = vehicle.axle_spacings_m
    context = {
        "vehicle": vehicle,
        "groups": selectors.groups_of(vehicle),
        "drawing": axle_layout_svg(spacings, system=system, drawing_id="layout"),
        "layout": layout_sentence(spacings, system=system),
        "weighings": [
            {"one": one, "expired": selectors.certificate_word(one)}
            for one in selectors.weighing_list(vehicle)
        ],
        "changes": selectors.changes_of(vehicle, shown=VEHICLE_WORDS),
        "zone": program_zone(request),
    }
    return render(request, "calibration/vehicle_detail.html", context)


@needs("calibration.add_testvehicle")
@form_page
def vehicle_add(request: HttpRequest) -> HttpResponse:
    """A new test vehicle."""
    form = TestVehicleForm(request.POST or None, system=unit_system(request))
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
    return show_form(request, form, title="Add a test vehicle", back=back)


@needs("calibration.change_testvehicle")
@form_page
def vehicle_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """What a test vehicle is; results of its runs follow."""
    vehicle = vehicle_or_404(pk)
    title, back = f"Change {vehicle}", _page("vehicle-detail", vehicle.pk)
    form = TestVehicleForm(
        request.POST or None, instance=vehicle, system=unit_system(request)
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: services.vehicle_save(
                vehicle=form.save(commit=False), by=request.user, why=form.reason
            ),
        )
        if kept:
            messages.success(request, f"{kept} is kept.")
            return redirect(back)
    return show_form(request, form, title=title, back=back)


@needs("calibration.add_staticweighing")
@form_page
def weighing_add(request: HttpRequest, pk: int) -> HttpResponse:
    """A static weighing of a vehicle on a certified scale."""
    vehicle = vehicle_or_404(pk)
    weighing = StaticWeighing(vehicle=vehicle)
    return _weighing_form(
        request,
        weighing,
        title=f"Static weighing of {vehicle}",
        back=_page("vehicle-detail", vehicle.pk),
        cautions=cautions.STATIC,
    )


@needs("calibration.change_staticweighing")
@form_page
def weighing_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct a weighing; the results of runs held against it are computed anew."""
    weighing = weighing_or_404(pk)
    n_runs = weighing.n_runs  # type: ignore[attr-defined]
    return _weighing_form(
        request,
        weighing,
        title=f"Change the weighing of {weighing.vehicle}",
        back=_page("weighing-detail", weighing.pk),
        intro=f"{n_runs} runs are held against it." if n_runs else "",
    )


def _weighing_form(
    request: HttpRequest, weighing: StaticWeighing, **context: Any
) -> HttpResponse:
    form = StaticWeighingForm(
        request.POST or None,
        instance=weighing,
        zone=program_zone(request),
        system=unit_system(request),
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: services.weighing_save(
                weighing=form.save(commit=False),
                by=request.user,
                why=form.reason,
                split_groups=form.cleaned_data["split_groups"],
            ),
        )
        if kept:
            _tell_kept(request, kept)
            return redirect("calibration:weighing-detail", kept.pk)
    return show_form(request, form, **context)


def _tell_kept(request: HttpRequest, weighing: StaticWeighing) -> None:
    messages.success(request, f"The weighing of {weighing.vehicle} is kept.")
    expired = selectors.certificate_word(weighing)
    if expired:
        messages.warning(request, expired)


@needs("calibration.view_staticweighing", "calibration.view_testvehicle")
def weighing_detail(request: HttpRequest, pk: int) -> HttpResponse:
    """One weighing: readings, spread, uncertainty and its budget."""
    weighing = weighing_or_404(pk)
    program = request.program  # type: ignore[attr-defined]
    context = {
        "weighing": weighing,
        "sheet": selectors.reference_sheet(weighing, program),
        "expired": selectors.certificate_word(weighing),
        "not_alone": selectors.axles_not_alone(weighing),
        "burn": selectors.burn_found(weighing),
        "changes": selectors.changes_of(weighing, shown=WEIGHING_WORDS),
        "zone": program_zone(request),
    }
    return render(request, "calibration/weighing_detail.html", context)


def _page(name: str, pk: int) -> str:
    return reverse(f"calibration:{name}", args=[pk])
