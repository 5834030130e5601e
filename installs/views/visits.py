"""Visits and electrical tests."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe
from django_tables2 import RequestConfig

from installs import cautions, selectors
from installs.filters import VisitFilter
from installs.forms import ElectricalTestForm
from installs.forms.visits import DownSpellForm, VisitForm, VisitPhotoForm
from installs.models import DownSpell, ElectricalTest, MaintenanceVisit
from installs.selectors.visits import sensors_of_site, visit_page
from installs.sending import sent_once
from installs.services import test_record
from installs.services.downtime import down_spell_save
from installs.services.visit_inputs import VisitKept
from installs.services.visit_photos import visit_photo_add
from installs.services.visits import visit_log
from installs.tables import VisitTable
from installs.views.common import installations, show_form
from sites.models import Site
from wimprog.lib import clock
from wimprog.lib.errors import DomainError
from wimprog.lib.web import form_page, form_status, needs, try_service, unit_system


@needs("installs.view_maintenancevisit")
@require_safe
def visit_list(request: HttpRequest) -> HttpResponse:
    """Visits, newest first."""
    chosen = VisitFilter(request.GET, queryset=selectors.visit_list())
    table = VisitTable(chosen.qs)
    RequestConfig(request, paginate={"per_page": 25}).configure(table)
    context = {
        "filter": chosen,
        "table": table,
        "any": MaintenanceVisit.objects.exists(),
        "site_code": request.GET.get("site", ""),
    }
    return render(request, "installs/visit_list.html", context)


@needs("installs.view_maintenancevisit")
@require_safe
def visit_detail(request: HttpRequest, pk: int) -> HttpResponse:
    """One visit: what was found, done, used, begun and ended, and who wrote it."""
    visit = get_object_or_404(
        MaintenanceVisit.objects.select_related("wim_site", "lane__wim_site", "trip"),
        pk=pk,
    )
    context = {
        "visit": visit,
        "page": visit_page(visit),
        "photo_form": VisitPhotoForm(sensors=sensors_of_site(visit.wim_site)),
        "history": visit.history.select_related("history_user")[:20],
    }
    return render(request, "installs/visit_detail.html", context)


@needs("installs.add_maintenancevisit")
@form_page
@sent_once("visit")
def visit_add(request: HttpRequest) -> HttpResponse:
    """Log a visit; the site comes with ``?site=CODE``."""
    code = request.GET.get("site", "")
    if not code:
        messages.info(request, "Find the site first, then log the visit.")
        return redirect("installs:roadside")
    wim_site = get_object_or_404(Site, code=code)
    return _visit_form(
        request,
        MaintenanceVisit(wim_site=wim_site),
        title=f"Log a visit to {wim_site.code}",
        back=f"{reverse('installs:roadside')}?site={wim_site.code}",
    )


@needs("installs.change_maintenancevisit")
@form_page
@sent_once("visit", changes=MaintenanceVisit)
def visit_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct a visit."""
    visit = get_object_or_404(
        MaintenanceVisit.objects.select_related("wim_site", "lane"), pk=pk
    )
    title = f"Change the visit to {visit.wim_site.code}"
    return _visit_form(request, visit, title=title, back=visit.get_absolute_url())


def _visit_form(
    request: HttpRequest, visit: MaintenanceVisit, *, title: str, back: str
) -> HttpResponse:
    initial = {} if visit.pk else {"people": request.user.get_full_name()}  # type: ignore[union-attr]
    form = VisitForm(
        request.POST or None,
        request.FILES or None,
        instance=visit,
        system=unit_system(request),
        now=clock.now(),
        initial=initial,
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(form, lambda: _log(request, form))
        if kept:
            _tell(request, kept, form.cleaned_data["photos"])
            return redirect(kept.visit)
    context = {
        "form": form,
        "visit": visit,
        "title": title,
        "back": back,
        "cautions": cautions.ANY_VISIT,
        "cabinet_cautions": cautions.CABINET,
    }
    status = form_status(form)
    return render(request, "installs/visit_form.html", context, status=status)


def _log(request: HttpRequest, form: VisitForm) -> VisitKept:
    visit = form.save(commit=False)
    return visit_log(visit=visit, **form.parts(), by=request.user, why=form.reason)


def _tell(request: HttpRequest, kept: VisitKept, photos: Sequence[Any]) -> None:
    """Take the photos of a kept visit in; say what was refused and what to look at."""
    for photo in photos:
        try:
            visit_photo_add(
                visit=kept.visit, upload=photo, name=photo.name, by=request.user
            )
        except DomainError as error:
            messages.error(request, f"{photo.name}: {error.message}")
    for warning in kept.warnings:
        messages.warning(request, warning)
    messages.success(request, "The visit is kept.")


@needs("installs.change_downspell")
@form_page
def down_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct a time down."""
    spell = get_object_or_404(
        DownSpell.objects.select_related("lane__wim_site", "installation__lane"), pk=pk
    )
    back = reverse("installs:cabinet", args=[spell.lane.wim_site_id])
    form = DownSpellForm(
        request.POST or None, instance=spell, system=unit_system(request)
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: down_spell_save(
                spell=form.save(commit=False), by=request.user, why=form.reason
            ),
        )
        if kept:
            messages.success(request, "The time down is corrected.")
            return redirect(f"{back}#down")
    title = f"Correct a time down: {spell.installation or spell.lane}"
    return show_form(request, form, title=title, back=f"{back}#down")


@needs("installs.add_electricaltest")
@form_page
@sent_once("test")
def test_add(request: HttpRequest, pk: int) -> HttpResponse:
    """Readings of one sensor; judged on its page as soon as they are kept."""
    shown = get_object_or_404(installations(), pk=pk)
    form = ElectricalTestForm(
        request.POST or None,
        instance=ElectricalTest(installation=shown),
        system=unit_system(request),
        now=clock.now(),
        initial={
            "tested_by": request.user.get_full_name(),  # type: ignore[union-attr]
            "visit": request.GET.get("visit"),
        },
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: test_record(
                test=form.save(commit=False),
                readings=form.readings,
                by=request.user,
                why=form.reason,
            ),
        )
        if kept:
            messages.success(request, "The test is kept; it is judged below.")
            to = f"{shown.get_absolute_url()}?installation={shown.pk}#tests"
            return redirect(to)
    context = {"form": form, "shown": shown, "cautions": cautions.ELECTRICAL_TEST}
    return render(request, "installs/test_form.html", context, status=form_status(form))
