"""Settings of the program; sites and lanes added and changed."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from sites.forms import (
    LaneForm,
    ProgramForm,
    SiteAddForm,
    SiteForm,
    SiteStateForm,
)
from sites.models import Lane, Site, SiteState
from sites.selectors import program_get
from sites.services import lane_save, program_save, site_save, site_set_state
from wimprog.lib import clock
from wimprog.lib.web import form_page, form_status, needs, try_service, unit_system


def _show(
    request: HttpRequest, form: Any, *, title: str, back: str, **more: Any
) -> Any:
    context = {"form": form, "title": title, "back": back, **more}
    return render(request, "sites/form.html", context, status=form_status(form))


@needs("sites.change_program")
@form_page
def program_edit(request: HttpRequest) -> HttpResponse:
    """The agency's settings."""
    program = program_get()
    form = ProgramForm(
        request.POST or None, instance=program, system=program.unit_system
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: program_save(
                program=form.save(commit=False), by=request.user, why=form.reason
            ),
        )
        if kept:
            messages.success(request, "The program’s settings are kept.")
            return redirect("health")
    return _show(request, form, title="Program settings", back=reverse("health"))


@needs("sites.add_site")
@form_page
def site_add(request: HttpRequest) -> HttpResponse:
    """A new site."""
    blank = Site(time_zone=request.program.time_zone)  # type: ignore[attr-defined]
    form = SiteAddForm(
        request.POST or None, instance=blank, system=unit_system(request)
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: site_save(
                wim_site=form.save(commit=False), by=request.user, why="site added"
            ),
        )
        if kept:
            messages.success(request, f"{kept.code} is added. Add its lanes next.")
            return redirect("sites:lane-add", kept.code)
    return _show(request, form, title="Add a site", back=reverse("site-list"))


@needs("sites.change_site")
@form_page
def site_edit(request: HttpRequest, code: str) -> HttpResponse:
    """What a site is."""
    wim_site = get_object_or_404(Site, code=code)
    form = SiteForm(
        request.POST or None, instance=wim_site, system=unit_system(request)
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: site_save(
                wim_site=form.save(commit=False), by=request.user, why=form.reason
            ),
        )
        if kept:
            messages.success(request, f"{kept.code} is kept.")
            return redirect(kept)
    back = reverse("site-detail", args=[code])
    return _show(request, form, title=f"Change {code}", back=back)


@needs("sites.change_site")
@form_page
def site_state(request: HttpRequest, code: str) -> HttpResponse:
    """Planned, in service, suspended, retired."""
    wim_site = get_object_or_404(Site, code=code)
    today = clock.today(wim_site.time_zone)
    form = SiteStateForm(request.POST or None, wim_site=wim_site, today=today)
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: site_set_state(
                wim_site=wim_site,
                state=SiteState(form.cleaned_data["state"]),
                on=form.cleaned_data["on"],
                by=request.user,
                why=form.cleaned_data["why"],
            ),
        )
        if kept:
            messages.success(request, f"{kept.code} is now {kept.state}.")
            return redirect(kept)
        wim_site = get_object_or_404(Site, code=code)
    return _show(
        request,
        form,
        title=f"Change the state of {code}",
        back=reverse("site-detail", args=[code]),
        intro=f"{code} is {wim_site.get_state_display()} now.",
    )


@needs("sites.add_lane")
@form_page
def lane_add(request: HttpRequest, code: str) -> HttpResponse:
    """A new lane of a site."""
    wim_site = get_object_or_404(Site, code=code)
    blank = Lane(wim_site=wim_site, opened_on=wim_site.in_service_on)
    form = LaneForm(request.POST or None, instance=blank, system=unit_system(request))
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: lane_save(
                lane=form.save(commit=False), by=request.user, why="lane added"
            ),
        )
        if kept:
            messages.success(request, f"{kept} is added. Record its sensors next.")
            return redirect(kept)
    back = reverse("site-detail", args=[code])
    return _show(request, form, title=f"Add a lane to {code}", back=back)


@needs("sites.change_lane")
@form_page
def lane_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """A lane's number, direction, width, arrangement and days."""
    lane = get_object_or_404(Lane.objects.select_related("wim_site"), pk=pk)
    title, back = f"Change {lane}", lane.get_absolute_url()
    form = LaneForm(request.POST or None, instance=lane, system=unit_system(request))
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: lane_save(
                lane=form.save(commit=False), by=request.user, why=form.reason
            ),
        )
        if kept:
            messages.success(request, f"{kept} is kept.")
            return redirect(kept)
    return _show(request, form, title=title, back=back)
