"""Makes and models of sensors: what their readings are held to, and data sheets."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe
from django_tables2 import RequestConfig

from installs.forms.sensor_models import DataSheetForm, SensorModelForm, limit_formset
from installs.models import Sensor, SensorModel
from installs.selectors.sensor_models import (
    held_to,
    model_changes,
    sensor_model_list,
)
from installs.services.road import sensor_save
from installs.services.sensor_models import sensor_model_save
from installs.tables.sensor_models import SensorModelTable
from installs.views.common import show_form
from wimprog.lib.web import form_page, needs, try_service, unit_system

WRITE = (
    "installs.add_sensormodel",
    "installs.change_sensormodel",
    "installs.add_electricallimit",
    "installs.change_electricallimit",
    "installs.delete_electricallimit",
)


@needs("installs.view_sensormodel")
@require_safe
def model_list(request: HttpRequest) -> HttpResponse:
    """All makes and models."""
    table = SensorModelTable(sensor_model_list())
    RequestConfig(request, paginate={"per_page": 25}).configure(table)
    context = {"table": table, "any": SensorModel.objects.exists()}
    return render(request, "installs/sensor_model_list.html", context)


@needs("installs.view_sensormodel", "installs.view_electricallimit")
@require_safe
def model_detail(request: HttpRequest, pk: int) -> HttpResponse:
    """One make and model: what its readings are held to, and who changed that."""
    found = SensorModel.objects.annotate(n_sensors=Count("sensors"))
    model = get_object_or_404(found, pk=pk)
    context = {"model": model, "held": held_to(model), "changes": model_changes(model)}
    return render(request, "installs/sensor_model_detail.html", context)


@needs(*WRITE)
@form_page
def model_add(request: HttpRequest) -> HttpResponse:
    """A new make and model, with what its readings are held to."""
    return _model_form(request, SensorModel(), title="Add a make and model")


@needs(*WRITE)
@form_page
def model_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change a make and model, or what its readings are held to."""
    model = get_object_or_404(SensorModel, pk=pk)
    return _model_form(request, model, title=f"Change {model}")


def _model_form(request: HttpRequest, model: SensorModel, *, title: str) -> Any:
    system = unit_system(request)
    data = request.POST or None
    form = SensorModelForm(data, instance=model, system=system)
    limits = limit_formset(
        data, model=model, system=system, usual="usual" in request.GET
    )
    if request.method == "POST" and form.is_valid() and limits.is_valid():
        kept = try_service(form, lambda: _save(request, form, limits))
        if kept:
            messages.success(request, f"{kept} is kept.")
            if "more" in request.POST:
                return redirect("installs:sensor-model-edit", kept.pk)
            return redirect("installs:sensor-model-detail", kept.pk)
    refused = form.is_bound and not (form.is_valid() and limits.is_valid())
    refused = refused or bool(form.errors)
    context = {"form": form, "limits": limits, "title": title, "model": model}
    status = 422 if refused else 200
    return render(request, "installs/sensor_model_form.html", context, status=status)


def _save(request: HttpRequest, form: SensorModelForm, limits: Any) -> SensorModel:
    changed = limits.save(commit=False)
    return sensor_model_save(
        model=form.save(commit=False),
        limits=changed,
        removed=limits.deleted_objects,
        by=request.user,
        why=form.reason,
    )


@needs("installs.change_sensor")
@form_page
def data_sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """The maker's values for this very sensor."""
    sensor = get_object_or_404(Sensor.objects.select_related("model"), pk=pk)
    form = DataSheetForm(request.POST or None, sensor=sensor)
    if request.method == "POST" and form.is_valid():
        sensor.data_sheet = form.data_sheet
        why = form.cleaned_data["why"] or "data sheet"
        kept = try_service(
            form, lambda: sensor_save(sensor=sensor, by=request.user, why=why)
        )
        if kept:
            messages.success(request, f"The data sheet of {kept} is kept.")
            return redirect(kept)
    title, back = (
        f"Data sheet of {sensor}",
        reverse("installs:sensor-detail", args=[pk]),
    )
    return show_form(request, form, title=title, back=back)
