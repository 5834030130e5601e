"""Test vehicles and their static weighings."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django_tables2 import RequestConfig

from calibration import cautions, selectors, services
from calibration.forms import (
    StaticWeighingForm,
    TestVehicleForm,
)
from calibration.models import (
    StaticWeighing,
    TestVehicle,
)
from calibration.tables import VehicleTable
from calibration.views.common import (
    form_page,
    show_form,
    unit_system,
)
from wimprog.lib.web import needs, try_service


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
        system=unit_system(request),
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
    return show_form(
        request,
        form,
        title=f"Static weighing of {vehicle}",
        back=back,
        cautions=cautions.STATIC,
    )
