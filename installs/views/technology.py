"""Which technology for a new or renewed lane: the page, the paper, the uses."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from installs.calc.upkeep.types import DataUse
from installs.forms.technology import LaneUsesForm, uses_of
from installs.papers.technology_choice import technology_pdf
from installs.selectors.technology import (
    TechnologyPage,
    lanes_and_surveys,
    technology_page,
    uses_kept,
)
from installs.services.lane_uses import lane_uses_set
from installs.views.common import show_form
from sites.models import Lane, SiteSurvey
from wimprog.lib import clock
from wimprog.lib.paper import PDF
from wimprog.lib.web import attachment, form_page, needs, try_service

SEES = needs(
    "installs.view_laneuse",
    "installs.view_installation",
    "installs.view_technologyprofile",
    "installs.view_technologymoney",
    "installs.view_renewalsettings",
    "sites.view_sitesurvey",
)


def _of_lane(request: HttpRequest, lane: int) -> TechnologyPage:
    program = request.program  # type: ignore[attr-defined]
    found = get_object_or_404(Lane.objects.select_related("wim_site"), pk=lane)
    return technology_page(program, clock.today(program.time_zone), lane=found)


def _of_survey(request: HttpRequest, pk: int) -> TechnologyPage:
    program = request.program  # type: ignore[attr-defined]
    found = get_object_or_404(SiteSurvey, pk=pk)
    uses = uses_of(request.GET.getlist("use"))
    today = clock.today(program.time_zone)
    return technology_page(program, today, survey=found, uses=uses)


def _shown(request: HttpRequest, page: TechnologyPage, paper: str) -> HttpResponse:
    context = {"page": page, "paper": paper, "all_uses": list(DataUse)}
    return render(request, "installs/technology_choice.html", context)


def _printed(request: HttpRequest, page: TechnologyPage, name: str) -> HttpResponse:
    program = request.program  # type: ignore[attr-defined]
    today = clock.today(program.time_zone)
    content = technology_pdf(page, program=program, as_of=today)
    return attachment(content, name=f"{name}-{today}.pdf", content_type=PDF)


@SEES
@require_safe
def technology_list(request: HttpRequest) -> HttpResponse:
    """Lanes and candidate places for which a technology can be chosen."""
    lanes, places = lanes_and_surveys()
    context = {"lanes": lanes, "places": places}
    return render(request, "installs/technology_list.html", context)


@SEES
@require_safe
def technology_lane(request: HttpRequest, lane: int) -> HttpResponse:
    """Which technology for a lane, by its uses and its latest survey."""
    paper = reverse("installs:technology-lane-paper", args=[lane])
    return _shown(request, _of_lane(request, lane), paper)


@SEES
@require_safe
def technology_lane_paper(request: HttpRequest, lane: int) -> HttpResponse:
    """The same for a procurement file."""
    return _printed(request, _of_lane(request, lane), f"technology-lane-{lane}")


@SEES
@require_safe
def technology_survey(request: HttpRequest, pk: int) -> HttpResponse:
    """Which technology for a surveyed place; the uses are in the address."""
    paper = reverse("installs:technology-survey-paper", args=[pk])
    paper = f"{paper}?{request.GET.urlencode()}"
    return _shown(request, _of_survey(request, pk), paper)


@SEES
@require_safe
def technology_survey_paper(request: HttpRequest, pk: int) -> HttpResponse:
    """The same for a procurement file."""
    return _printed(request, _of_survey(request, pk), f"technology-survey-{pk}")


@needs("installs.change_laneuse")
@form_page
def lane_uses_edit(request: HttpRequest, lane: int) -> HttpResponse:
    """Say what a lane's weights are used for, and why."""
    found = get_object_or_404(Lane.objects.select_related("wim_site"), pk=lane)
    back = reverse("installs:technology-lane", args=[lane])
    form = LaneUsesForm(request.POST or None, initial={"uses": uses_kept(found)})
    if request.method == "POST" and form.is_valid():
        chosen, why = form.chosen, form.cleaned_data["why"]
        done = try_service(
            form,
            lambda: (lane_uses_set(lane=found, uses=chosen, by=request.user, why=why),),
        )
        if done:
            messages.success(request, f"Uses of {found}: kept.")
            return redirect(back)
    return show_form(request, form, title=f"What {found} is used for", back=back)
