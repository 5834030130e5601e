"""The stage templates: the versions, one as a check list, and two held together."""

from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from installs import cautions
from installs.calc.types.records import TemplateState
from installs.forms.templates import NoteForm, ReasonForm
from installs.models import StageTemplate
from installs.selectors import templates as selectors
from installs.services import templates as services
from installs.views.common import show_form
from wimprog.lib.errors import DomainError
from wimprog.lib.units import UnitSystem
from wimprog.lib.web import form_page, form_status, needs, try_service, unit_system


def system_of(request: HttpRequest) -> UnitSystem:
    """The unit system that limits are shown in."""
    return UnitSystem(unit_system(request))


def tell_refusal(request: HttpRequest, error: DomainError | ValidationError) -> None:
    """What a service refused, as messages on the next page."""
    if isinstance(error, ValidationError):
        for text in error.messages:
            messages.error(request, text)
        return
    messages.error(request, error.message)
    for complaint in error.complaints[:5]:
        messages.error(request, str(complaint))


@needs("installs.view_stagetemplate")
@require_safe
def template_list(request: HttpRequest) -> HttpResponse:
    """Every technology with its versions."""
    rows = selectors.templates_by_technology()
    context = {
        "rows": rows,
        "any": any(row.versions for row in rows),
        "without": [row.technology for row in rows if not row.versions],
    }
    return render(request, "installs/template_list.html", context)


@needs("installs.change_stagetemplate")
@require_POST
def template_seed(request: HttpRequest) -> HttpResponse:
    """Put the usual stages in use where a technology has none."""
    made = services.templates_seed(by=request.user)
    told = ", ".join(one.technology for one in made)
    messages.success(
        request,
        f"The usual stages are in use for {told}."
        if made
        else "Every technology has its stages already; nothing was changed.",
    )
    return redirect("installs:template-list")


@needs("installs.change_stagetemplate")
@require_POST
def template_draft(request: HttpRequest) -> HttpResponse:
    """Begin the next version of a technology."""
    try:
        made = services.template_draft(
            technology=request.POST.get("technology", ""), by=request.user
        )
    except ValueError:
        messages.error(request, "Choose the technology that the version is for.")
    except (DomainError, ValidationError) as error:
        tell_refusal(request, error)
    else:
        messages.success(request, f"Version {made.version} is a draft; change it here.")
        return redirect(made)
    return redirect("installs:template-list")


@needs("installs.view_stagetemplate")
@require_safe
def template_detail(request: HttpRequest, pk: int) -> HttpResponse:
    """One version as a check list; a draft with the ways to change it."""
    template = get_object_or_404(selectors.template_versions(), pk=pk)
    stages = selectors.template_stages(template, system_of(request))
    is_draft = template.state == TemplateState.DRAFT
    context = {
        "template": template,
        "stages": [(one, cautions.of_keys(one.stage.cautions)) for one in stages],
        "may_edit": is_draft and request.user.has_perm("installs.change_stagetemplate"),
        "before": selectors.version_before(template),
        "history": template.history.select_related("history_user")[:30],
    }
    return render(request, "installs/template_detail.html", context)


@needs("installs.view_stagetemplate")
@require_safe
def template_differences(request: HttpRequest, pk: int) -> HttpResponse:
    """What a version differs in from another (``?from=``), or the one before it."""
    template = get_object_or_404(StageTemplate, pk=pk)
    others = StageTemplate.objects.filter(technology=template.technology).exclude(pk=pk)
    wanted = request.GET.get("from", "")
    old = others.filter(pk=wanted).first() if wanted.isdecimal() else None
    old = old or selectors.version_before(template) or others.first()
    found = (
        selectors.template_differences(old, template, system_of(request)) if old else []
    )
    context = {"template": template, "old": old, "others": others, "found": found}
    return render(request, "installs/template_differences.html", context)


@needs("installs.change_stagetemplate")
@form_page
def template_note(request: HttpRequest, pk: int) -> HttpResponse:
    """What a draft changes, and why."""
    template = get_object_or_404(StageTemplate, pk=pk)
    form = NoteForm(request.POST or None, initial={"note": template.note})
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: services.template_note(
                template=template, note=form.cleaned_data["note"], by=request.user
            ),
        )
        if kept:
            messages.success(request, "The note is kept.")
            return redirect(kept)
    title, back = f"Note of {template}", template.get_absolute_url()
    return show_form(request, form, title=title, back=back)


@needs("installs.change_stagetemplate")
@form_page
def template_use(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a draft in use, after a look at what it changes."""
    template = get_object_or_404(StageTemplate, pk=pk)
    old = StageTemplate.objects.filter(
        technology=template.technology, state=TemplateState.IN_USE.value
    ).first()
    form = ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: services.template_put_in_use(
                template=template, by=request.user, why=form.cleaned_data["why"]
            ),
        )
        if kept:
            messages.success(request, f"New records are made by the {kept} from now.")
            return redirect(kept)
    found = []
    if old is not None and old.pk != template.pk:
        found = selectors.template_differences(old, template, system_of(request))
    context = {"template": template, "old": old, "found": found, "form": form}
    status = form_status(form)
    return render(request, "installs/template_use.html", context, status=status)


@needs("installs.change_stagetemplate")
@form_page
def template_discard(request: HttpRequest, pk: int) -> HttpResponse:
    """Throw a draft away."""
    template = get_object_or_404(StageTemplate, pk=pk)
    title, back = f"Discard the draft: {template}", template.get_absolute_url()
    form = ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():

        def discard() -> bool:
            services.template_discard(
                template=template, by=request.user, why=form.cleaned_data["why"]
            )
            return True

        if try_service(form, discard):
            messages.success(request, "The draft is discarded.")
            return redirect(reverse("installs:template-list"))
    return show_form(request, form, title=title, back=back)
