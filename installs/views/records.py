"""The installation record: list, head, overview, acceptance and closing."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe
from django_tables2 import RequestConfig

from installs import cautions, selectors, services
from installs.filters import RecordFilter
from installs.forms import AcceptForm, CloseForm, RecordForm
from installs.models import InstallationRecord
from installs.tables import RecordTable
from installs.views.common import show_form
from sites.models import Lane
from wimprog.lib import clock
from wimprog.lib.web import form_page, form_status, needs, try_service, unit_system


def record_or_404(pk: int) -> InstallationRecord:
    """A record with all that its pages name."""
    return get_object_or_404(
        InstallationRecord.objects.select_related(
            "lane__wim_site", "template", "plan", "sensor__model", "installation"
        ),
        pk=pk,
    )


@needs("installs.view_installationrecord")
@require_safe
def record_list(request: HttpRequest) -> HttpResponse:
    """Records, the newest work first."""
    chosen = RecordFilter(request.GET, queryset=selectors.record_list())
    table = RecordTable(chosen.qs)
    RequestConfig(request, paginate={"per_page": 25}).configure(table)
    context = {
        "filter": chosen,
        "table": table,
        "any": InstallationRecord.objects.exists(),
    }
    return render(request, "installs/record_list.html", context)


@needs("installs.add_installationrecord")
@form_page
def record_add(request: HttpRequest) -> HttpResponse:
    """Open the record of an installation; the lane comes with ``?lane=``."""
    lanes = Lane.objects.select_related("wim_site")
    lane = lanes.filter(pk=request.GET.get("lane") or 0).first()
    if lane is None:
        messages.info(request, "Find the lane first, then open its record.")
        return redirect("installs:roadside")
    form = RecordForm(
        request.POST or None,
        instance=InstallationRecord(lane=lane),
        system=unit_system(request),
        initial={"work_on": clock.today(lane.wim_site.time_zone)},
    )
    # the template is the technology's, and the service finds it
    if request.method == "POST" and form.is_valid():
        head = {name: form.cleaned_data[name] for name in RecordForm.Meta.fields}
        kept = try_service(
            form,
            lambda: services.record_start(
                lane=lane, by=request.user, why="record opened", **head
            ),
        )
        if kept:
            messages.success(request, "The record is open. Begin with its first stage.")
            return redirect(kept)
    back = f"{reverse('installs:roadside')}?site={lane.wim_site.code}"
    return show_form(
        request,
        form,
        title=f"Open an installation record in {lane}",
        back=back,
        cautions=cautions.INSTALLATION,
    )


@needs("installs.change_installationrecord")
@form_page
def record_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """The head of a record."""
    record = record_or_404(pk)
    title, back = f"Change the head of {record}", record.get_absolute_url()
    form = RecordForm(
        request.POST or None, instance=record, system=unit_system(request)
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: services.record_edit(
                record=form.save(commit=False), by=request.user, why=form.reason
            ),
        )
        if kept:
            messages.success(request, "The head is kept.")
            return redirect(kept)
    return show_form(request, form, title=title, back=back)


@needs("installs.view_installationrecord")
@require_safe
def record_detail(request: HttpRequest, pk: int) -> HttpResponse:
    """All stages at a glance, what is open, who signed."""
    record = record_or_404(pk)
    page = selectors.record_page(record)
    context = {
        "record": record,
        "page": page,
        "zone": record.lane.wim_site.time_zone,
        "history": record.history.select_related("history_user")[:20],
    }
    return render(request, "installs/record_detail.html", context)


@needs("installs.accept_installationrecord")
@form_page
def record_accept(request: HttpRequest, pk: int) -> HttpResponse:
    """Accept the work: the sensor's life in the lane begins."""
    record = record_or_404(pk)
    form = AcceptForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: services.record_accept(
                record=record, reason=form.cleaned_data["reason"], by=request.user
            ),
        )
        if kept:
            messages.success(request, f"Accepted: {kept.sensor} is in {kept.position}.")
            return redirect(kept)
    context = {
        "form": form,
        "record": record,
        "page": selectors.record_page(record),
        "zone": record.lane.wim_site.time_zone,
    }
    return render(
        request, "installs/record_accept.html", context, status=form_status(form)
    )


@needs("installs.change_installationrecord")
@form_page
def record_close(request: HttpRequest, pk: int) -> HttpResponse:
    """Close a record that is not accepted; nothing in it is lost."""
    record = record_or_404(pk)
    form = CloseForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        close = {
            "rejected": services.record_reject,
            "abandoned": services.record_abandon,
        }[form.cleaned_data["state"]]
        kept = try_service(
            form,
            lambda: close(
                record=record, reason=form.cleaned_data["reason"], by=request.user
            ),
        )
        if kept:
            messages.success(request, f"The record is {kept.state}.")
            return redirect(kept)
    return show_form(
        request, form, title=f"Close {record}", back=record.get_absolute_url()
    )
