"""One stage of a record on a phone: answers, decisions, limits, signatures."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from installs import cautions, selectors, services
from installs.forms import (
    AnswerInput,
    DispositionForm,
    RecordLimitForm,
    SignForm,
)
from installs.models import (
    InstallationRecord,
    ItemEntry,
    RecordLimit,
    TemplateItem,
    TemplateStage,
)
from installs.views.common import show_form
from installs.views.records import record_or_404
from wimprog.lib.errors import DomainError
from wimprog.lib.web import form_page, form_status, needs, try_service, unit_system

FRAGMENT = "installs/_record_item.html"


def stage_or_404(record: InstallationRecord, slug: str) -> TemplateStage:
    return get_object_or_404(TemplateStage, template_id=record.template_id, key=slug)


def item_or_404(record: InstallationRecord, pk: int) -> TemplateItem:
    items = TemplateItem.objects.select_related("stage")
    return get_object_or_404(items, pk=pk, stage__template_id=record.template_id)


def url_of_item(record: InstallationRecord, item: TemplateItem) -> str:
    stage = reverse("installs:record-stage", args=[record.pk, item.stage.key])
    return f"{stage}#item-{item.pk}"


@needs("installs.view_installationrecord")
@require_safe
def record_stage(request: HttpRequest, pk: int, slug: str) -> HttpResponse:
    """What this stage asks for, what is answered, what it came to, who signed."""
    record = record_or_404(pk)
    return _show_stage(request, record, stage_or_404(record, slug), None)


def _show_stage(
    request: HttpRequest,
    record: InstallationRecord,
    stage: TemplateStage,
    form: SignForm | None,
) -> HttpResponse:
    view = selectors.stage_view(record, stage.key)
    others = list(TemplateStage.objects.filter(template_id=record.template_id))
    place = [other.key for other in others].index(stage.key)
    context = {
        "record": record,
        "view": view,
        "stages": others,
        "before": others[place - 1] if place else None,
        "after": others[place + 1] if place + 1 < len(others) else None,
        "cautions": cautions.of_keys(stage.cautions),
        "sign": form
        or SignForm(
            roles=list(view.missing_roles),
            initial={
                "name_signed": request.user.get_full_name(),  # type: ignore[union-attr]
                "client_id": uuid.uuid4(),
            },
        ),
        "zone": record.lane.wim_site.time_zone,
        **selectors.registers(),
    }
    status = form_status(form) if form else 200
    return render(request, "installs/record_stage.html", context, status=status)


@needs("installs.add_itementry")
@require_POST
def answer_save(request: HttpRequest, pk: int, item: int) -> HttpResponse:
    """Keep an answer. A script gets the item back, judged; others see the stage."""
    record = record_or_404(pk)
    asked = item_or_404(record, item)
    form = AnswerInput(request.POST)
    trouble: list[str] = []
    if form.is_valid():
        try:
            services.answer_save(
                record=record, item=asked, by=request.user, **form.values
            )
        except DomainError as error:
            trouble = [error.message, *(str(one) for one in error.complaints)]
            trouble = list(dict.fromkeys(trouble))
    else:
        trouble = [
            f"{name}: {message}"
            for name, found in form.errors.items()
            for message in found
        ]
    if request.headers.get("X-Answer") == "fragment":
        return item_fragment(request, record, asked, trouble)
    for message in trouble:
        messages.error(request, f"{asked.prompt}: {message}")
    return redirect(url_of_item(record, asked))


def item_fragment(
    request: HttpRequest,
    record: InstallationRecord,
    item: TemplateItem,
    trouble: list[str],
) -> HttpResponse:
    view = selectors.stage_view(record, item.stage.key)
    one = next(one for one in view.items if one.item.pk == item.pk)
    context: dict[str, Any] = {
        "record": record,
        "view": view,
        "one": one,
        "trouble": trouble,
        "typed_again": request.POST.getlist("number"),
        "zone": record.lane.wim_site.time_zone,
        **selectors.registers(),
    }
    status = 422 if trouble else 200
    return render(request, FRAGMENT, context, status=status)


@needs("installs.add_signoff")
@require_POST
def stage_sign(request: HttpRequest, pk: int, slug: str) -> HttpResponse:
    """Sign a stage; refused in words while its proof is not whole."""
    record = record_or_404(pk)
    stage = stage_or_404(record, slug)
    form = SignForm(request.POST, roles=list(stage.sign_roles))
    if form.is_valid():
        kept = try_service(
            form,
            lambda: services.stage_sign(
                record=record,
                stage=stage,
                by=request.user,
                **form.cleaned_data,
            ),
        )
        if kept:
            messages.success(request, f"{stage.title} is signed as {kept.role}.")
            return redirect("installs:record-stage", record.pk, stage.key)
    return _show_stage(request, record, stage, form)


@needs("installs.add_disposition")
@form_page
def entry_dispose(request: HttpRequest, pk: int, entry: int) -> HttpResponse:
    """Decide about an answer out of its limits."""
    record = record_or_404(pk)
    found = get_object_or_404(
        ItemEntry.objects.select_related("item__stage", "record"),
        pk=entry,
        record=record,
    )
    form = DispositionForm(
        request.POST or None,
        initial={"decided_by": request.user.get_full_name()},  # type: ignore[union-attr]
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: services.dispose(entry=found, by=request.user, **form.cleaned_data),
        )
        if kept:
            messages.success(request, f"Kept: {kept.kind}.")
            return redirect(url_of_item(record, found.item))
    return show_form(
        request,
        form,
        title=f"Decide: {found.item.prompt}",
        back=url_of_item(record, found.item),
    )


@needs("installs.add_recordlimit")
@form_page
def limit_edit(request: HttpRequest, pk: int, item: int) -> HttpResponse:
    """Hold this record to another limit, such as the contract's."""
    record = record_or_404(pk)
    asked = item_or_404(record, item)
    limit = RecordLimit.objects.filter(record=record, item=asked).first()
    form = RecordLimitForm(
        request.POST or None,
        instance=limit,
        system=unit_system(request),
        asked=asked,
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: services.limit_set(
                record=record, item=asked, by=request.user, **form.values
            ),
        )
        if kept:
            messages.success(request, "The limit is kept for this record.")
            return redirect(url_of_item(record, asked))
    return show_form(
        request,
        form,
        title=f"Limit of this record: {asked.prompt}",
        back=url_of_item(record, asked),
    )
