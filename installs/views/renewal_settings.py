"""What renewal is reckoned with: settings, costs, expectations, effects, works."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from installs.calc.types import Technology
from installs.calc.types.condition import Effect
from installs.forms.renewal import (
    EFFECTS,
    ExpectationForm,
    HazardEffectForm,
    PavementWorkForm,
    RenewalSettingsForm,
    TechnologyMoneyForm,
    WhyForm,
)
from installs.models import (
    HazardEffect,
    PavementWork,
    TechnologyMoney,
    TechnologyProfile,
)
from installs.selectors.renewal_money import (
    renewal_settings_get,
    settings_page,
    slug_of,
    technology_of,
)
from installs.services import renewal_settings as services
from installs.views.common import show_form
from wimprog.lib import clock
from wimprog.lib.web import form_page, needs, try_service, unit_system


@needs(
    "installs.view_renewalsettings",
    "installs.view_technologymoney",
    "installs.view_technologyprofile",
    "installs.view_hazardeffect",
)
@require_safe
def renewal_settings(request: HttpRequest) -> HttpResponse:
    """Every figure that renewal is reckoned with, and whose it is."""
    page = settings_page()
    form = RenewalSettingsForm(instance=page.settings, system=unit_system(request))
    boxes = [box for box in form if box.name != "why"]
    context = {"page": page, "boxes": boxes}
    return render(request, "installs/renewal_settings.html", context)


@needs("installs.change_renewalsettings")
@form_page
def renewal_settings_edit(request: HttpRequest) -> HttpResponse:
    """Write what replacements share, how long they take, and the policy."""
    form = RenewalSettingsForm(
        request.POST or None,
        instance=renewal_settings_get(),
        system=unit_system(request),
    )
    return _kept_or_shown(
        request,
        form,
        lambda fact: services.renewal_settings_save(
            settings=fact, by=request.user, why=form.reason
        ),
        title="Change what renewal is reckoned with",
    )


def _kept_or_shown(
    request: HttpRequest,
    form: Any,
    keep: Callable[[Any], Any],
    *,
    title: str,
    back: str = "",
    **more: Any,
) -> HttpResponse:
    """Keep a form of one fact and go back, or show it with what is wrong."""
    back = back or reverse("installs:renewal-settings")
    if request.method == "POST" and form.is_valid():
        kept = try_service(form, lambda: keep(form.save(commit=False)))
        if kept:
            messages.success(request, f"{str(kept).capitalize()}: kept.")
            return redirect(back)
    return show_form(request, form, title=title, back=back, **more)


def _technology(slug: str) -> Technology:
    found = technology_of(slug)
    if found is None:
        raise Http404("a technology")
    return found


@needs("installs.change_technologyprofile")
@form_page
def expectation_edit(request: HttpRequest, slug: str) -> HttpResponse:
    """Write what the agency expects of a technology."""
    word = _technology(slug)
    profile = TechnologyProfile.objects.filter(technology=word.value).first()
    form = ExpectationForm(
        request.POST or None,
        instance=profile or TechnologyProfile(technology=word.value),
        system=unit_system(request),
    )
    return _kept_or_shown(
        request,
        form,
        lambda fact: services.expectation_save(
            profile=fact, by=request.user, why=form.reason
        ),
        title=f"What is expected of {word} sensors",
    )


@needs("installs.change_technologymoney")
@form_page
def money_edit(request: HttpRequest, slug: str) -> HttpResponse:
    """Write the agency's own costs of a technology."""
    word = _technology(slug)
    kept = TechnologyMoney.objects.filter(technology=word.value).first()
    today = clock.today(request.program.time_zone)  # type: ignore[attr-defined]
    form = TechnologyMoneyForm(
        request.POST or None,
        instance=kept or TechnologyMoney(technology=word.value, price_year=today.year),
        system=unit_system(request),
    )
    return _kept_or_shown(
        request,
        form,
        lambda fact: services.technology_money_save(
            money=fact, by=request.user, why=form.reason
        ),
        title=f"What {word} sensors cost",
    )


def _effect(slug: str) -> Effect:
    for effect in EFFECTS.values():
        if slug_of(effect.name) == slug:
            return effect
    raise Http404("an effect")


@needs("installs.change_hazardeffect")
@form_page
def effect_edit(request: HttpRequest, slug: str) -> HttpResponse:
    """Write the agency's own word on an effect of condition."""
    effect = _effect(slug)
    kept = HazardEffect.objects.filter(name=effect.name).first()
    form = HazardEffectForm(
        request.POST or None,
        instance=kept
        or HazardEffect(name=effect.name, ratio=effect.ratio, log_sd=effect.log_sd),
        system=unit_system(request),
    )
    return _kept_or_shown(
        request,
        form,
        lambda fact: services.hazard_effect_save(
            effect=fact, by=request.user, why=form.reason
        ),
        title=f"Effect on the chance of failing: {effect.step}",
    )


def _take_back(
    request: HttpRequest,
    fact: Any,
    take: Callable[[str], Any],
    *,
    title: str,
    back: str,
) -> HttpResponse:
    """Ask why, then take a fact back."""
    form = WhyForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        words = str(fact)
        done = try_service(form, lambda: (take(form.cleaned_data["why"]), True))
        if done:
            messages.success(request, f"{words.capitalize()}: taken back.")
            return redirect(back)
    return show_form(request, form, title=title, back=back)


def _own_back(request: HttpRequest, own: Any, *, title: str) -> HttpResponse:
    return _take_back(
        request,
        own,
        lambda why: services.own_figure_take_back(own=own, by=request.user, why=why),
        title=title,
        back=reverse("installs:renewal-settings"),
    )


@needs("installs.delete_technologyprofile")
@form_page
def expectation_back(request: HttpRequest, slug: str) -> HttpResponse:
    """Return to the published expectation."""
    word = _technology(slug)
    own = get_object_or_404(TechnologyProfile, technology=word.value)
    title = f"Return to the published life of {word} sensors"
    return _own_back(request, own, title=title)


@needs("installs.delete_technologymoney")
@form_page
def money_back(request: HttpRequest, slug: str) -> HttpResponse:
    """Take the agency's own costs of a technology back."""
    word = _technology(slug)
    own = get_object_or_404(TechnologyMoney, technology=word.value)
    return _own_back(request, own, title=f"Take back the costs of {word} sensors")


@needs("installs.delete_hazardeffect")
@form_page
def effect_back(request: HttpRequest, slug: str) -> HttpResponse:
    """Return to the effect that is assumed."""
    effect = _effect(slug)
    own = get_object_or_404(HazardEffect, name=effect.name)
    return _own_back(request, own, title=f"Return to what is assumed: {effect.step}")


@needs("installs.view_pavementwork")
@require_safe
def pavement_list(request: HttpRequest) -> HttpResponse:
    """Works on the pavement, past and to come."""
    works = PavementWork.objects.select_related("wim_site", "lane__wim_site")
    today = clock.today(request.program.time_zone)  # type: ignore[attr-defined]
    context = {"works": works, "today": today}
    return render(request, "installs/renewal_works.html", context)


@needs("installs.add_pavementwork")
@form_page
def pavement_add(request: HttpRequest) -> HttpResponse:
    """Put works on the programme."""
    return _pavement_form(request, PavementWork(), title="Add pavement works")


@needs("installs.change_pavementwork")
@form_page
def pavement_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change works on the programme."""
    work = get_object_or_404(PavementWork, pk=pk)
    return _pavement_form(request, work, title="Change pavement works")


def _pavement_form(
    request: HttpRequest, work: PavementWork, *, title: str
) -> HttpResponse:
    form = PavementWorkForm(
        request.POST or None, instance=work, system=unit_system(request)
    )
    return _kept_or_shown(
        request,
        form,
        lambda fact: services.pavement_work_save(
            work=fact, by=request.user, why=form.reason
        ),
        title=title,
        back=reverse("installs:pavement-list"),
    )


@needs("installs.delete_pavementwork")
@form_page
def pavement_remove(request: HttpRequest, pk: int) -> HttpResponse:
    """Take works off the programme."""
    work = get_object_or_404(PavementWork.objects.select_related("wim_site"), pk=pk)
    return _take_back(
        request,
        work,
        lambda why: services.pavement_work_remove(work=work, by=request.user, why=why),
        title=f"Take off the programme: {work}",
        back=reverse("installs:pavement-list"),
    )
