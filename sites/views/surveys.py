"""Surveys: listed, made, judged, compared, and a site planned where one leads to it."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe
from django_tables2 import RequestConfig

from sites import cautions, selectors
from sites.calc.suitability.base import check_type
from sites.filters import SurveyFilter
from sites.forms import SiteFromSurveyForm, StudyForm, SurveyForm, blank_survey
from sites.models import Site, SiteSurvey
from sites.selectors import StudyComparison
from sites.services import site_from_survey, survey_save
from sites.tables import STUDY_HEADINGS, SurveyTable, study_sheet
from wimprog.lib import clock
from wimprog.lib.errors import DomainError
from wimprog.lib.tables import export_rows
from wimprog.lib.web import form_page, form_status, needs, try_service, unit_system


def _survey(pk: int) -> SiteSurvey:
    return get_object_or_404(
        SiteSurvey.objects.select_related("wim_site", "lane__wim_site"), pk=pk
    )


@needs("sites.view_sitesurvey")
@require_safe
def survey_list(request: HttpRequest) -> HttpResponse:
    """Surveys, newest first, each with what it comes to."""
    chosen = SurveyFilter(request.GET, queryset=selectors.survey_list())
    table = SurveyTable(chosen.qs, system=unit_system(request))
    RequestConfig(request, paginate={"per_page": 25}).configure(table)
    context = {
        "filter": chosen,
        "table": table,
        "any": SiteSurvey.objects.exists(),
        "studies": selectors.study_names(),
        "study": request.GET.get("study", ""),
        "site_code": request.GET.get("site", ""),
    }
    return render(request, "sites/survey_list.html", context)


@needs("sites.view_sitesurvey")
@require_safe
def survey_detail(request: HttpRequest, pk: int) -> HttpResponse:
    """One survey, judged line by line by every standard."""
    page = selectors.survey_page(_survey(pk), unit_system(request))
    return render(
        request, "sites/survey_detail.html", {"page": page, "survey": page.survey}
    )


@needs("sites.add_sitesurvey")
@form_page
def survey_add(request: HttpRequest) -> HttpResponse:
    """A new survey; ``?site=CODE`` or ``?study=NAME`` begins it."""
    code, study = request.GET.get("site", ""), request.GET.get("study", "")
    wim_site = get_object_or_404(Site, code=code) if code else None
    blank = blank_survey(
        today=clock.today(request.program.time_zone),  # type: ignore[attr-defined]
        by_name=request.user.get_full_name(),  # type: ignore[union-attr]
        wim_site=wim_site,
        study=study,
    )
    return _survey_form(
        request,
        blank,
        title=f"Survey {code}" if code else "Survey a place",
        back=wim_site.get_absolute_url() if wim_site else reverse("sites:survey-list"),
    )


@needs("sites.change_sitesurvey")
@form_page
def survey_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct or complete a survey."""
    survey = _survey(pk)
    back = survey.get_absolute_url()
    return _survey_form(request, survey, title=f"Change survey: {survey}", back=back)


def _survey_form(
    request: HttpRequest, survey: SiteSurvey, *, title: str, back: str
) -> HttpResponse:
    form = SurveyForm(
        request.POST or None, instance=survey, system=unit_system(request)
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: survey_save(
                survey=form.save(commit=False), by=request.user, why=form.reason
            ),
        )
        if kept:
            messages.success(request, "The survey is kept; it is judged below.")
            return redirect(kept)
    context = {"form": form, "title": title, "back": back, "cautions": cautions.SURVEY}
    return render(request, "sites/survey_form.html", context, status=form_status(form))


def _comparison(request: HttpRequest) -> tuple[StudyComparison, StudyForm]:
    wanted = request.GET.get("wanted", "")
    study = request.GET.get("study", "")
    try:
        check_type(wanted) if wanted else None
    except DomainError as error:
        raise Http404(error.message) from None
    found = selectors.study_comparison(study, unit_system(request), wanted)
    if found is None:
        raise Http404(f"No survey belongs to a study “{study}”.")
    return found, StudyForm(initial={"wanted": found.wanted})


@needs("sites.view_sitesurvey")
@require_safe
def study(request: HttpRequest) -> HttpResponse:
    """The candidates of a study side by side."""
    found, form = _comparison(request)
    return render(request, "sites/study.html", {"found": found, "form": form})


@needs("sites.view_sitesurvey")
@require_safe
def study_export(request: HttpRequest, fmt: str) -> HttpResponse:
    """The comparison for a spreadsheet: a row a condition of a candidate."""
    if fmt not in ("csv", "xlsx"):
        raise Http404("csv or xlsx")
    found, _ = _comparison(request)
    today = clock.today(request.program.time_zone)  # type: ignore[attr-defined]
    return export_rows(
        name=f"study-{today}",
        fmt=fmt,
        headings=STUDY_HEADINGS,
        rows=study_sheet(found),
        note=f"{found.study}, {found.wanted}, as of {today}. {found.rule}",
    )


@needs("sites.add_site", "sites.change_sitesurvey")
@form_page
def site_plan(request: HttpRequest, pk: int) -> HttpResponse:
    """Make a planned site of a candidate place."""
    survey = _survey(pk)
    if survey.wim_site is not None:
        messages.info(request, f"This survey is of {survey.wim_site.code} already.")
        return redirect(survey)
    form = SiteFromSurveyForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        made = try_service(
            form,
            lambda: site_from_survey(
                survey=survey, by=request.user, **form.cleaned_data
            ),
        )
        if made:
            messages.success(request, f"{made.code} is planned. Add its lanes next.")
            return redirect("sites:lane-add", made.code)
    context = {
        "form": form,
        "title": f"Plan a site: {survey}",
        "intro": "Place, route, coordinates and pavement come from the survey.",
        "back": survey.get_absolute_url(),
    }
    return render(request, "sites/form.html", context, status=form_status(form))
