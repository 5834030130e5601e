"""Drift of all lanes, one episode, and what is decided of it."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from quality.deciding_forms import CorrectionForm, EpisodeForm, ReasonForm
from quality.figures import drift_chart
from quality.models import BackCorrection, DriftEpisode
from quality.selectors.corrections import corrections_used
from quality.selectors.episodes import (
    EpisodePage,
    episode_list,
    episode_page,
    found_of,
    size_condition,
)
from quality.services.correcting import correction_decide, corrections_propose
from quality.services.drifting import drift_refresh, episode_decide
from sites.models import Lane
from wimprog.lib import clock
from wimprog.lib.web import needs, try_service, unit_system

EPISODES_A_PAGE = 25


@needs("quality.view_driftepisode")
def drift_list(request: HttpRequest) -> HttpResponse:
    """Drift of all lanes, the latest onset first."""
    state = request.GET.get("state", "open")
    site_code = request.GET.get("site", "")
    rows = episode_list(state=state, site_code=site_code)
    page = Paginator(rows, EPISODES_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "rows": [
            (one, found_of(one), size_condition(one, request.program))  # type: ignore[attr-defined]
            for one in page
        ],
        "state": state,
        "site_code": site_code,
        "states": ("open", "explained", "closed", "all"),
    }
    return render(request, "quality/drift_list.html", context)


@needs("quality.change_driftepisode")
@require_POST
def drift_look(request: HttpRequest) -> HttpResponse:
    """Look for drift in all lanes now."""
    found = drift_refresh(
        lanes=list(Lane.objects.select_related("wim_site")),
        today=clock.today(),
        by=request.user,
    )
    messages.success(request, found.sentence)
    return redirect("quality:drift-list")


def _episode(pk: int) -> DriftEpisode:
    rows = DriftEpisode.objects.select_related("lane__wim_site", "decided_by")
    return get_object_or_404(rows, pk=pk)


@needs("quality.view_driftepisode")
def drift_detail(request: HttpRequest, pk: int) -> HttpResponse:
    """One episode with its evidence."""
    return _detail(request, _episode(pk), EpisodeForm())


def _detail(request: HttpRequest, episode: DriftEpisode, form: Any) -> HttpResponse:
    page = episode_page(episode)
    context = {
        "episode": episode,
        "page": page,
        "found": page.found,
        "chart": _chart(request, page),
        "form": form,
        "correction_form": CorrectionForm(),
        "corrections_used": corrections_used(),
    }
    status = 422 if form.is_bound else 200
    return render(request, "quality/drift_detail.html", context, status=status)


def _chart(request: HttpRequest, page: EpisodePage) -> Any:
    episode = page.episode
    program = request.program  # type: ignore[attr-defined]
    return drift_chart(
        page.weeks,
        page.found,
        onset=(episode.onset_on, episode.onset_low_on, episode.onset_high_on),
        limit_pct=program.act_drift_pct,
        events=[(day, word) for day, word, url in page.events if url],
        title=f"Class 9 steering axle by week, {episode.lane}",
        system=unit_system(request),
    )


@needs("quality.change_driftepisode")
@require_POST
def drift_decide(request: HttpRequest, pk: int) -> HttpResponse:
    """Explain an episode, close it, or open it again."""
    episode, form = _episode(pk), EpisodeForm(request.POST)
    done = form.is_valid() and try_service(
        form,
        lambda: episode_decide(
            episode=episode, state=form.cleaned_data["state"],
            reason=form.cleaned_data["reason"], by=request.user,
        ),
    )  # fmt: skip
    if not done:
        return _detail(request, _episode(pk), form)
    messages.success(request, f"{episode}: {episode.state}.")
    return redirect(episode)


@needs("quality.add_backcorrection")
@require_POST
def correction_propose(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep the scaling that the drift proposes, for somebody to decide."""
    episode, form = _episode(pk), ReasonForm({"reason": "proposed"})
    form.is_valid()
    made = try_service(
        form, lambda: corrections_propose(episode=episode, by=request.user)
    )
    if not made:
        return _detail(request, episode, form)
    messages.success(request, f"{len(made)} proposed; weights stay as recorded.")
    return redirect(episode)


@needs("quality.change_backcorrection")
@require_POST
def correction_answer(request: HttpRequest, pk: int) -> HttpResponse:
    """Allow, refuse or withdraw a back-correction."""
    correction = get_object_or_404(BackCorrection, pk=pk, episode__isnull=False)
    form = CorrectionForm(request.POST)
    done = form.is_valid() and try_service(
        form,
        lambda: correction_decide(
            correction=correction, state=form.cleaned_data["state"],
            reason=form.cleaned_data["reason"], by=request.user,
        ),
    )  # fmt: skip
    episode = _episode(correction.episode_id or 0)
    if not done:
        return _detail(request, episode, form)
    messages.success(request, f"The correction is {done.state}.")
    return redirect(episode)
