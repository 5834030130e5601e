"""Trips: proposed from the open work, planned, printed, called off."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from installs import cautions
from installs.calc.upkeep.types import WorkSource
from installs.forms.work import ReasonForm, TripForm, TripReachForm
from installs.models import Trip
from installs.models.work import OPEN_WORK
from installs.selectors.work import trip_proposals, trip_stops
from installs.services.trips import trip_call_off, trip_save
from installs.views.common import show_form
from installs.views.work import today_of
from wimprog.lib.errors import DomainError
from wimprog.lib.web import form_page, form_status, needs, try_service, unit_system

#: Proposals a page.
PER_PAGE = 10
#: What a trip of each kind of work takes along (common practice, no source).
TAKE_ALONG: dict[WorkSource, str] = {
    WorkSource.DRIFT: "laptop with the controller's program, last calibration record",
    WorkSource.ELECTRICAL_LIMIT: "insulation tester, multimeter, capacitance meter, "
    "splice kit",
    WorkSource.SENSOR_FAILURE: "sensor and lead of the same model, grout or resin in "
    "date, saw, insulation tester",
    WorkSource.CALIBRATION_DUE: "test truck with its weighing ticket, radios, run "
    "sheets",
    WorkSource.INSPECTION_DUE: "insulation tester, multimeter, camera",
    WorkSource.FAILED_COMMUNICATION: "modem and antenna, SIM card, fuses, battery",
    WorkSource.REPORT: "camera",
    WorkSource.SCHEDULE: "battery load tester, earth tester, desiccant, cleaning gear",
    WorkSource.VISIT: "what the visit asked for",
}


@needs("installs.view_trip")
@require_safe
def trip_list(request: HttpRequest) -> HttpResponse:
    """Trips, the latest first."""
    waits = Q(work_items__state__in=OPEN_WORK)
    rows = (
        Trip.objects.select_related("leader")
        .annotate(n_items=Count("work_items"), n_open=Count("work_items", filter=waits))
        .order_by("-starts_on", "-pk")[:200]
    )
    context = {"rows": rows, "today": today_of(request)}
    return render(request, "installs/trip_list.html", context)


@needs("installs.view_trip", "installs.view_workitem")
@require_safe
def trip_proposed(request: HttpRequest) -> HttpResponse:
    """Open work that is on no trip, grouped by place, with the hours and why."""
    form = TripReachForm(request.GET, system=unit_system(request))
    found = form.cleaned_data if form.is_valid() else {}
    reach = {"within_km": 40.0, "hours_per_trip": 8.0}
    reach |= {name: value for name, value in found.items() if value is not None}
    wrong, proposals = "", []
    try:
        proposals = trip_proposals(today_of(request), **reach)
    except DomainError as error:
        wrong = error.message
    context = {
        "form": form,
        "wrong": wrong,
        "proposals": Paginator(proposals, PER_PAGE).get_page(request.GET.get("page")),
        "n_proposals": len(proposals),
        "tomorrow": today_of(request) + dt.timedelta(days=1),
        "reach": reach,
    }
    return render(request, "installs/trip_proposed.html", context)


@needs("installs.add_trip", "installs.change_workitem")
@form_page
def trip_add(request: HttpRequest) -> HttpResponse:
    """Make a trip; the work to put on it comes with the form."""
    tomorrow = today_of(request) + dt.timedelta(days=1)
    initial = {"starts_on": tomorrow, "leader": request.user.pk}
    return _trip_form(
        request,
        Trip(),
        title="Plan a trip",
        back=reverse("installs:trip-proposed"),
        initial=initial,
    )


@needs("installs.change_trip")
@form_page
def trip_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change when, who and under which plan."""
    trip = get_object_or_404(Trip, pk=pk)
    title, back = f"Change the {trip}", trip.get_absolute_url()
    return _trip_form(request, trip, title=title, back=back, initial={})


def _trip_form(
    request: HttpRequest,
    trip: Trip,
    *,
    title: str,
    back: str,
    initial: dict[str, Any],
) -> HttpResponse:
    form = TripForm(
        request.POST or None,
        instance=trip,
        system=unit_system(request),
        initial=initial,
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: trip_save(
                trip=form.save(commit=False),
                items=list(form.cleaned_data["items"]),
                by=request.user,
                why=form.reason,
            ),
        )
        if kept:
            messages.success(request, "The trip is kept.")
            return redirect(kept)
    return show_form(request, form, title=title, back=back)


@needs("installs.view_trip", "installs.view_workitem")
@require_safe
def trip_detail(request: HttpRequest, pk: int) -> HttpResponse:
    """One trip: sites in order, work, what to take along, cautions; prints well."""
    trip = get_object_or_404(Trip.objects.select_related("leader"), pk=pk)
    stops = trip_stops(trip, today_of(request))
    rows = [row for _, some in stops for row in some]
    sources = {WorkSource(item.source) for row in rows for item in row.items}
    context = {
        "trip": trip,
        "stops": stops,
        "n_items": len(rows),
        "hours": sum(row.hours or 0.0 for row in rows),
        "take_along": [(s, TAKE_ALONG[s]) for s in WorkSource if s in sources],
        "cautions": [
            "The drive: rest before it, belts, no phone in the hand, and tell the "
            "office where you are and when you will be back.",
            *cautions.ANY_VISIT,
        ],
        "history": trip.history.select_related("history_user")[:20],
    }
    return render(request, "installs/trip_detail.html", context)


@needs("installs.change_trip")
@form_page
def trip_off(request: HttpRequest, pk: int) -> HttpResponse:
    """Call a trip off; its work goes back to the list."""
    trip = get_object_or_404(Trip, pk=pk)
    form = ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: trip_call_off(
                trip=trip, reason=form.cleaned_data["reason"], by=request.user
            ),
        )
        if kept:
            messages.success(
                request, "The trip is called off; its open work is on the list again."
            )
            return redirect(kept)
    context = {
        "form": form,
        "title": f"Call off the {trip}",
        "back": trip.get_absolute_url(),
    }
    return render(request, "installs/form.html", context, status=form_status(form))
