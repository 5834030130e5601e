"""By what surveys are judged: seen by all, set by the program manager."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from sites import selectors, services
from sites.forms import SurveyLimitForm, SurveyLimitReturnForm, SurveySettingsForm
from sites.selectors import LimitRow
from wimprog.lib.web import form_page, form_status, needs, try_service, unit_system


def _row(request: HttpRequest, standard: str, key: str) -> LimitRow:
    row = selectors.limit_row(standard, key, unit_system(request))
    if row is None:
        raise Http404("There is no such limit.")
    return row


@needs("sites.view_surveysettings", "sites.view_surveylimit")
@require_safe
def survey_settings(request: HttpRequest) -> HttpResponse:
    """Thresholds, every standard with its limits, and who changed them."""
    system = unit_system(request)
    page = selectors.survey_settings_page(system)
    shown = SurveySettingsForm(instance=page.settings, system=system)
    thresholds = [
        (field.label, field.value(), field.field.widget.attrs.get("data-unit", ""))
        for field in shown
        if field.name not in ("governing", "site_class_wanted", "why")
    ]
    context = {"page": page, "thresholds": thresholds}
    return render(request, "sites/survey_settings.html", context)


@needs("sites.change_surveysettings", "sites.add_surveysettings")
@form_page
def survey_settings_edit(request: HttpRequest) -> HttpResponse:
    """Change which standards count, the class wanted and the thresholds."""
    form = SurveySettingsForm(
        request.POST or None,
        instance=selectors.survey_settings_get(),
        system=unit_system(request),
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: services.survey_settings_save(
                settings=form.save(commit=False), by=request.user, why=form.reason
            ),
        )
        if kept:
            messages.success(request, "Surveys are judged by these from now on.")
            return redirect("sites:survey-settings")
    return _show(request, form, "How surveys are judged")


@needs("sites.change_surveylimit", "sites.add_surveylimit")
@form_page
def survey_limit_edit(request: HttpRequest, standard: str, key: str) -> HttpResponse:
    """Put the agency's own limit in the place of a recalled one."""
    row = _row(request, standard, key)
    initial = {"value": row.number, "source": row.own.source if row.own else ""}
    form = SurveyLimitForm(request.POST or None, row=row, initial=initial)
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: services.survey_limit_set(
                standard=standard,
                key=key,
                by=request.user,
                system=row.system,
                **form.asked,
            ),
        )
        if kept:
            messages.success(request, "The limit is in use.")
            return redirect("sites:survey-settings")
    intro = f"Recalled: {row.recalled}, {row.value.standing}. {row.value.source}"
    return _show(request, form, f"{row.standard.title}: set a limit", intro=intro)


@needs("sites.delete_surveylimit")
@form_page
def survey_limit_return(request: HttpRequest, standard: str, key: str) -> HttpResponse:
    """Go back to the recalled limit."""
    row = _row(request, standard, key)
    form = SurveyLimitReturnForm(request.POST or None)

    def give_up() -> bool:
        services.survey_limit_return(
            standard=standard,
            key=key,
            by=request.user,
            why=form.cleaned_data["why"],
            system=row.system,
        )
        return True

    if request.method == "POST" and form.is_valid() and try_service(form, give_up):
        messages.success(request, "The recalled limit is in use again.")
        return redirect("sites:survey-settings")
    title = f"Return to the recalled limit: {row.value.name}"
    return _show(request, form, title, intro=f"{row.recalled}, {row.value.standing}.")


def _show(
    request: HttpRequest,
    form: SurveySettingsForm | SurveyLimitForm | SurveyLimitReturnForm,
    title: str,
    intro: str = "",
) -> HttpResponse:
    back = reverse("sites:survey-settings")
    context = {"form": form, "title": title, "back": back, "intro": intro}
    return render(request, "sites/form.html", context, status=form_status(form))
