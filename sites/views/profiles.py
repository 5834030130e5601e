"""Road profiles: sent in, looked at, and their roughness taken into the survey."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from sites import cautions, selectors
from sites.forms import ProfileForm, TakeForm
from sites.models import RoadProfile, SiteSurvey
from sites.services import profile_add as add_profile
from sites.services import survey_take_from_profile
from wimprog.lib.web import form_page, form_status, needs, try_service, unit_system


def _profile(pk: int) -> RoadProfile:
    return get_object_or_404(
        RoadProfile.objects.select_related(
            "survey__wim_site", "survey__lane__wim_site"
        ),
        pk=pk,
    )


@needs("sites.add_roadprofile")
@form_page
def profile_add(request: HttpRequest, pk: int) -> HttpResponse:
    """Send in a profile; all of it is taken, or nothing."""
    survey = get_object_or_404(
        SiteSurvey.objects.select_related("wim_site", "lane__wim_site"), pk=pk
    )
    form = ProfileForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        kept = try_service(
            form,
            lambda: add_profile(
                survey=survey,
                upload=said["upload"],
                columns=form.columns,
                resample_mm=said["resample_mm"],
                question_elevation=not said["as_measured"],
                by=request.user,
            ),
        )
        if kept:
            messages.success(request, f"{kept.file_name}: {kept.n:,} samples are kept.")
            return redirect(kept)
    context = {"form": form, "survey": survey, "cautions": cautions.SURVEY}
    return render(request, "sites/profile_form.html", context, status=form_status(form))


@needs("sites.view_roadprofile")
@require_safe
def profile_detail(request: HttpRequest, pk: int) -> HttpResponse:
    """Roughness along the road and the best places."""
    return _show(request, _profile(pk), TakeForm(system=unit_system(request)))


def _show(request: HttpRequest, profile: RoadProfile, form: TakeForm) -> HttpResponse:
    windows = {f"{one:g}": one for one in selectors.WINDOWS_M}
    window_m = windows.get(request.GET.get("window", ""))
    context = {
        "profile": profile,
        "survey": profile.survey,
        "view": selectors.profile_view(profile, unit_system(request), window_m),
        "windows": selectors.window_choices(unit_system(request)),
        "form": form,
    }
    return render(
        request, "sites/profile_detail.html", context, status=form_status(form)
    )


@needs("sites.change_sitesurvey")
@require_POST
def profile_take(request: HttpRequest, pk: int) -> HttpResponse:
    """Write the approach's IRI about a place into the survey."""
    profile = _profile(pk)
    form = TakeForm(request.POST, system=unit_system(request))
    if form.is_valid():
        kept = try_service(
            form,
            lambda: survey_take_from_profile(
                survey=profile.survey,
                profile=profile,
                at_m=form.at_m,
                by=request.user,
                why=form.cleaned_data["why"],
            ),
        )
        if kept:
            messages.success(request, "The survey has the roughness of that approach.")
            return redirect(kept)
    return _show(request, profile, form)
