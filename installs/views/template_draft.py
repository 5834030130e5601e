"""Changing a draft: its stages, and the items of one stage."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from installs.calc.types.records import TemplateState
from installs.forms.templates import (
    ItemForm,
    ItemKindForm,
    MoveForm,
    ReasonForm,
    StageForm,
)
from installs.models import StageTemplate, TemplateItem, TemplateStage
from installs.selectors import templates as selectors
from installs.services import templates as services
from installs.views.templates import system_of, tell_refusal
from wimprog.lib.errors import DomainError
from wimprog.lib.web import form_page, form_status, needs, try_service


def _stage(pk: int) -> TemplateStage:
    return get_object_or_404(TemplateStage.objects.select_related("template"), pk=pk)


def _item(pk: int) -> TemplateItem:
    found = TemplateItem.objects.select_related("stage__template")
    return get_object_or_404(found, pk=pk)


def _of_stage(stage: TemplateStage) -> str:
    return reverse("installs:template-stage", args=[stage.pk])


def _frozen(request: HttpRequest, template: StageTemplate) -> HttpResponse | None:
    """Away from the editor, in words, when the template is no draft (any more)."""
    if template.state == TemplateState.DRAFT:
        return None
    messages.error(
        request,
        f"The {template} are {template.state} and do not change; make a draft of the "
        "next version.",
    )
    return redirect(template)


def _show(request: HttpRequest, form: Any, **context: Any) -> HttpResponse:
    context = {"form": form, **context}
    status = form_status(form)
    return render(request, "installs/template_form.html", context, status=status)


# --- stages -------------------------------------------------------------------------


@needs("installs.change_stagetemplate")
@form_page
def stage_add(request: HttpRequest, pk: int) -> HttpResponse:
    """A stage at the end of a draft."""
    template = get_object_or_404(StageTemplate, pk=pk)
    return _frozen(request, template) or _stage_form(
        request, TemplateStage(template=template), title="Add a stage"
    )


@needs("installs.change_stagetemplate")
@form_page
def stage_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """What a stage proves, its cautions, who signs."""
    stage = _stage(pk)
    return _frozen(request, stage.template) or _stage_form(
        request, stage, title=f"Change stage {stage.number}, {stage.title}"
    )


def _stage_form(
    request: HttpRequest, stage: TemplateStage, *, title: str
) -> HttpResponse:
    template = stage.template
    back = _of_stage(stage) if stage.pk else template.get_absolute_url()
    form = StageForm(request.POST or None, instance=stage)
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: services.stage_change(
                stage=form.save(commit=False),
                by=request.user,
                why=form.cleaned_data["why"],
            ),
        )
        if kept:
            messages.success(request, f"The stage “{kept.title}” is kept.")
            return redirect(_of_stage(kept))
    return _show(request, form, template=template, title=title, back=back)


@needs("installs.change_stagetemplate")
@form_page
def stage_page(request: HttpRequest, pk: int) -> HttpResponse:
    """One stage of a draft with the ways to change it and its items."""
    stage = _stage(pk)
    if frozen := _frozen(request, stage.template):
        return frozen
    stages = selectors.template_stages(stage.template, system_of(request))
    here = next(i for i, one in enumerate(stages) if one.stage.pk == pk)
    context = {
        "template": stage.template,
        "stage": stage,
        "rows": stages[here].items,
        "previous": stages[here - 1].stage if here else None,
        "next": stages[here + 1].stage if here + 1 < len(stages) else None,
        "n_stages": len(stages),
        "cautions": ", ".join(key.replace("_", " ") for key in stage.cautions),
    }
    return render(request, "installs/template_stage.html", context)


@needs("installs.change_stagetemplate")
@require_POST
def stage_move(request: HttpRequest, pk: int) -> HttpResponse:
    """A stage before, or behind, its neighbour."""
    stage = _stage(pk)
    _move(
        request,
        lambda up: services.stage_move(stage=stage, up=up, by=request.user),
    )
    return redirect(_of_stage(stage))


def _move(request: HttpRequest, move: Callable[[bool], None]) -> None:
    form = MoveForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Say which way: up or down.")
        return
    try:
        move(form.cleaned_data["way"] == "up")
    except (DomainError, ValidationError) as error:
        tell_refusal(request, error)


@needs("installs.change_stagetemplate")
@form_page
def stage_remove(request: HttpRequest, pk: int) -> HttpResponse:
    """A stage and all its items out of a draft."""
    stage = _stage(pk)
    if frozen := _frozen(request, stage.template):
        return frozen
    return _removal(
        request,
        lambda why: services.stage_remove(stage=stage, by=request.user, why=why),
        template=stage.template,
        title=f"Remove stage {stage.number}, {stage.title}",
        said=f"Its {stage.items.count()} items go with it.",
        back=_of_stage(stage),
        to=stage.template.get_absolute_url(),
    )


def _removal(
    request: HttpRequest,
    remove: Callable[[str], None],
    *,
    to: str,
    **context: Any,
) -> HttpResponse:
    form = ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():

        def done() -> bool:
            remove(form.cleaned_data["why"])
            return True

        if try_service(form, done):
            messages.success(request, "It is removed from the draft.")
            return redirect(to)
    return _show(request, form, submit="Remove", **context)


# --- items --------------------------------------------------------------------------


@needs("installs.change_stagetemplate")
@form_page
def item_add(request: HttpRequest, pk: int) -> HttpResponse:
    """A new item in two steps: what kind of answer, then what it asks."""
    stage = _stage(pk)
    if frozen := _frozen(request, stage.template):
        return frozen
    kinds = ItemKindForm(request.GET if "kind" in request.GET else None)
    if kinds.is_valid():
        return _item_form(request, kinds.item(stage), title="Add an item")
    return _show(
        request,
        kinds,
        template=stage.template,
        stage=stage,
        title="Add an item",
        back=_of_stage(stage),
        method="get",
        submit="Go on",
    )


@needs("installs.change_stagetemplate")
@form_page
def item_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """What an item asks, its limits and whose they are."""
    item = _item(pk)
    return _frozen(request, item.stage.template) or _item_form(
        request, item, title="Change an item"
    )


def _item_form(request: HttpRequest, item: TemplateItem, *, title: str) -> HttpResponse:
    stage = item.stage
    place = (stage.number, item.number if item.pk else float("inf"))
    earlier = [
        one
        for one in selectors.items_in_order(stage.template)
        if (one.stage.number, one.number) < place
    ]
    form = ItemForm(
        request.POST or None, instance=item, system=system_of(request), earlier=earlier
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: services.item_change(
                item=form.save(commit=False), by=request.user, why=form.reason
            ),
        )
        if kept:
            messages.success(request, f"“{kept.prompt}” is kept.")
            return redirect(f"{_of_stage(stage)}#item-{kept.pk}")
    back = _of_stage(stage)
    return _show(
        request,
        form,
        template=stage.template,
        stage=stage,
        item=item,
        title=title,
        back=back,
    )


@needs("installs.change_stagetemplate")
@require_POST
def item_move(request: HttpRequest, pk: int) -> HttpResponse:
    """An item before, or behind, its neighbour in the stage."""
    item = _item(pk)
    _move(request, lambda up: services.item_move(item=item, up=up, by=request.user))
    return redirect(f"{_of_stage(item.stage)}#item-{item.pk}")


@needs("installs.change_stagetemplate")
@form_page
def item_remove(request: HttpRequest, pk: int) -> HttpResponse:
    """An item out of a draft."""
    item = _item(pk)
    if frozen := _frozen(request, item.stage.template):
        return frozen
    return _removal(
        request,
        lambda why: services.item_remove(item=item, by=request.user, why=why),
        template=item.stage.template,
        stage=item.stage,
        title="Remove an item",
        said=f"“{item.prompt}”",
        back=_of_stage(item.stage),
        to=_of_stage(item.stage),
    )
