"""The cabinet of a site: what is fitted, what was found, how long the lanes worked."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from installs import cautions
from installs.forms.visits import CabinetUnitEndForm, CabinetUnitForm
from installs.models import CabinetUnit
from installs.selectors.cabinet import cabinet_page
from installs.selectors.visits import today_at
from installs.services.cabinet import cabinet_unit_add, cabinet_unit_end
from installs.views.common import show_form
from sites.models import Site
from wimprog.lib.web import form_page, needs, try_service, unit_system


@needs("installs.view_cabinetunit", "installs.view_cabinetcheck")
@require_safe
def cabinet(request: HttpRequest, pk: int) -> HttpResponse:
    """Units, the last finding of each part, the battery's tests, the times down."""
    wim_site = get_object_or_404(Site, pk=pk)
    context = {"page": cabinet_page(wim_site), "wim_site": wim_site}
    return render(request, "installs/cabinet_detail.html", context)


@needs("installs.add_cabinetunit")
@form_page
def unit_add(request: HttpRequest, pk: int) -> HttpResponse:
    """Say that a unit was fitted."""
    wim_site = get_object_or_404(Site, pk=pk)
    form = CabinetUnitForm(
        request.POST or None,
        instance=CabinetUnit(wim_site=wim_site),
        system=unit_system(request),
        today=today_at(wim_site),
    )
    back = reverse("installs:cabinet", args=[pk])
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: cabinet_unit_add(
                unit=form.save(commit=False), by=request.user, why=form.reason
            ),
        )
        if kept:
            messages.success(request, f"{kept.name} is kept as fitted.")
            return redirect(back)
    title = f"A unit fitted in the cabinet of {wim_site.code}"
    return show_form(request, form, title=title, back=back, cautions=cautions.CABINET)


@needs("installs.change_cabinetunit")
@form_page
def unit_end(request: HttpRequest, pk: int) -> HttpResponse:
    """Say that a unit left the cabinet."""
    unit = get_object_or_404(CabinetUnit.objects.select_related("wim_site"), pk=pk)
    form = CabinetUnitEndForm(request.POST or None, today=today_at(unit.wim_site))
    back = reverse("installs:cabinet", args=[unit.wim_site_id])
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: cabinet_unit_end(unit=unit, by=request.user, **form.cleaned_data),
        )
        if kept:
            messages.success(request, f"{kept.name} is kept as gone.")
            return redirect(back)
    title = f"{unit.name} left the cabinet of {unit.wim_site.code}"
    return show_form(request, form, title=title, back=back, cautions=cautions.CABINET)
