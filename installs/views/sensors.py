"""Sensors: the list, one sensor's page, adding, installing, ending."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe
from django_tables2 import RequestConfig

from installs import cautions, figures, selectors
from installs.filters import SensorFilter
from installs.forms import InstallationForm, SensorForm
from installs.forms.failures import LifeEndForm
from installs.models import Installation, Sensor, SensorModel
from installs.selectors.failures import failure_facts, proposed_days
from installs.selectors.purchases import terms_words
from installs.selectors.sensor_models import data_sheet_words
from installs.services import installation_end as end_installation
from installs.services import sensor_install, sensor_save
from installs.services.failures import installation_fail
from installs.tables import SENSOR_HEADINGS, SensorTable, sensor_sheet
from installs.views.common import installations, show_form
from sites.models import Lane
from wimprog.lib import clock
from wimprog.lib.tables import export_rows
from wimprog.lib.web import form_page, needs, try_service, unit_system

NOTHING_NARROWS = (
    "Nothing says how long it worked: it may have failed at any time since its "
    "installation. Add the last day on which it is known to have worked, by its "
    "records say, or tell that the very day is known."
)


@needs("installs.view_sensor")
@require_safe
def sensor_list(request: HttpRequest) -> HttpResponse:
    """All sensors, in the road or not."""
    chosen = SensorFilter(request.GET, queryset=selectors.sensor_list())
    table = SensorTable(chosen.qs)
    RequestConfig(request, paginate={"per_page": 25}).configure(table)
    context = {"filter": chosen, "table": table, "any": Sensor.objects.exists()}
    return render(request, "installs/sensor_list.html", context)


@needs("installs.view_sensor")
@require_safe
def sensor_export(request: HttpRequest, fmt: str) -> HttpResponse:
    """The sensor list, as filtered, for a spreadsheet."""
    if fmt not in ("csv", "xlsx"):
        raise Http404("csv or xlsx")
    chosen = SensorFilter(request.GET, queryset=selectors.sensor_list())
    return export_rows(
        name="sensors", fmt=fmt, headings=SENSOR_HEADINGS, rows=sensor_sheet(chosen.qs)
    )


@needs("installs.view_sensor", "installs.view_installation")
@require_safe
def sensor_detail(request: HttpRequest, pk: int) -> HttpResponse:
    """One sensor: facts, lives, electrical tests with trends, chances."""
    sensor = get_object_or_404(
        Sensor.objects.select_related("model", "purchase"), pk=pk
    )
    lives = selectors.sensor_lives(sensor)
    context: dict[str, Any] = {
        "sensor": sensor,
        "warranty": terms_words(sensor.purchase) if sensor.purchase else "",
        "lives": lives,
        "data_sheet": data_sheet_words(sensor),
    }
    if lives:
        shown = _chosen_life(lives, request.GET.get("installation", ""))
        tests = selectors.installation_tests(shown)
        context |= {
            "shown": shown,
            "tests": tests,
            "stories": [(s, figures.quantity_chart(s)) for s in tests.stories],
        }
        if shown.ended_on is None:
            today = clock.today(shown.lane.wim_site.time_zone)
            context["chance"] = selectors.installation_chance(shown, today)
    return render(request, "installs/sensor_detail.html", context)


def _chosen_life(lives: list[Installation], wanted: str) -> Installation:
    return next((life for life in lives if str(life.pk) == wanted), lives[0])


@needs("installs.add_sensor")
@form_page
def sensor_add(request: HttpRequest) -> HttpResponse:
    """A sensor out of its box; ``?lane=`` goes on to its installation there."""
    form = SensorForm(
        request.POST or None, instance=Sensor(), system=unit_system(request)
    )
    lane = Lane.objects.filter(pk=request.GET.get("lane") or 0).first()
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: sensor_save(
                sensor=form.save(commit=False), by=request.user, why="sensor added"
            ),
        )
        if kept:
            messages.success(request, f"{kept} is added.")
            if lane is None:
                return redirect(kept)
            to = reverse("installs:installation-add", args=[lane.pk])
            return redirect(f"{to}?sensor={kept.pk}")
    return show_form(
        request,
        form,
        title="Add a sensor",
        back=reverse("installs:sensor-list"),
        no_models=not SensorModel.objects.exists(),
    )


@needs("installs.change_sensor")
@form_page
def sensor_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """What a sensor is."""
    sensor = get_object_or_404(Sensor.objects.select_related("model"), pk=pk)
    title, back = f"Change {sensor}", sensor.get_absolute_url()
    form = SensorForm(
        request.POST or None, instance=sensor, system=unit_system(request)
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: sensor_save(
                sensor=form.save(commit=False), by=request.user, why=form.reason
            ),
        )
        if kept:
            messages.success(request, f"{kept} is kept.")
            return redirect(kept)
    return show_form(request, form, title=title, back=back)


@needs("installs.add_installation")
@form_page
def installation_add(request: HttpRequest, lane: int) -> HttpResponse:
    """A sensor goes into a position of a lane."""
    where = get_object_or_404(Lane.objects.select_related("wim_site"), pk=lane)
    form = InstallationForm(
        request.POST or None,
        today=clock.today(where.wim_site.time_zone),
        initial={"sensor": request.GET.get("sensor")},
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: sensor_install(
                lane=where, by=request.user, why="installed", **form.cleaned_data
            ),
        )
        if kept:
            messages.success(request, f"{kept.sensor} is in {kept}.")
            return redirect(kept)
    return show_form(
        request,
        form,
        title=f"Install a sensor in {where}",
        back=where.get_absolute_url(),
        cautions=cautions.INSTALLATION,
        lane=where,
    )


@needs("installs.change_installation", "installs.add_failurereport")
@form_page
def installation_end(request: HttpRequest, pk: int) -> HttpResponse:
    """A sensor failed, or left the road for another reason."""
    shown = get_object_or_404(installations(), pk=pk)
    title, back = f"End {shown.sensor} in {shown}", shown.get_absolute_url()
    today = clock.today(shown.lane.wim_site.time_zone)
    form = LifeEndForm(
        request.POST or None,
        installation=shown,
        proposed=proposed_days(shown, today),
        today=today,
    )
    if request.method == "POST" and form.is_valid():
        end = _fail if form.failed else _leave
        kept = try_service(form, lambda: end(request, shown, form))
        if kept:
            return redirect(kept)
    return show_form(
        request, form, title=title, back=back, cautions=cautions.INSTALLATION
    )


def _fail(request: HttpRequest, life: Installation, form: LifeEndForm) -> Any:
    """End a life in failure; say at once whether it is inside warranty."""
    data = form.cleaned_data
    report = installation_fail(
        installation=life,
        ended_on=data["ended_on"],
        failure_mode=data["failure_mode"],
        known=form.known,
        by=request.user,
        why=data["why"],
    )
    facts = failure_facts(report)
    found, bracket = facts["warranty"], facts["bracket"]
    messages.success(request, f"{life.sensor} failed: {report.mode}.")
    if bracket is not None and bracket.low_years == 0:
        messages.warning(request, NOTHING_NARROWS)
    tell = messages.warning if found.may_claim else messages.info
    tell(request, found.sentence)
    return report


def _leave(request: HttpRequest, life: Installation, form: LifeEndForm) -> Any:
    """End a life that did not end in failure."""
    names = ("ended_on", "end_reason", "failure_mode", "why")
    given = {name: form.cleaned_data[name] for name in names}
    kept = end_installation(installation=life, by=request.user, **given)
    messages.success(request, f"{kept.sensor} ended: {kept.end_reason}.")
    return kept
