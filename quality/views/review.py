"""Pages of review: what is proposed, what it rests on, and what was decided."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from quality import selectors, services
from quality.deciding_forms import AcceptPlainForm, SpanForm
from quality.figures import steering_chart
from quality.figures_days import gross_chart, hour_map
from quality.forms import DecisionForm
from quality.models import DayDecision, DayReview, ReviewQuestion
from quality.selectors.evidence import Evidence, evidence_of
from quality.selectors.review import last_decision, open_questions, plain_months
from quality.services.reopening import questions_refresh
from quality.services.reviewing import (
    days_accept_plain,
    decided_together,
    question_keep,
    reviews_undo,
)
from sites.models import Lane
from wimprog.lib.web import needs, try_service, unit_system

RUNS_A_PAGE = 25
QUESTIONS_SHOWN = 50


@needs("quality.view_laneday")
def review_list(request: HttpRequest) -> HttpResponse:
    """Days that nobody has judged, with what is proposed."""
    return _review_page(request, None)


def _review_page(request: HttpRequest, refused: Any) -> HttpResponse:
    site_code = request.GET.get("site", "") or request.POST.get("site", "")
    runs = selectors.review_runs(site_code=site_code)
    plain = plain_months(site_code=site_code)
    odd = [run for run in runs if run.proposal != "accept"]
    page = Paginator(odd, RUNS_A_PAGE).get_page(request.GET.get("page"))
    questions = open_questions(site_code=site_code)
    context = {
        "page": page,
        "n_odd": len(odd),
        "n_runs": len(runs),
        "n_days": sum(run.n_days for run in runs),
        "plain": plain,
        "plain_runs": [run for run in runs if run.proposal == "accept"][:100],
        "n_plain": sum(one.n_days for one in plain),
        "n_plain_lanes": len({one.lane.pk for one in plain}),
        "questions": questions[:QUESTIONS_SHOWN],
        "last": last_decision(request.user),
        "site_code": site_code,
        "refused": refused,
        "accepted": DayDecision.ACCEPTED,
        "set_aside": DayDecision.SET_ASIDE,
    }
    status = 422 if refused is not None else 200
    return render(request, "quality/review_list.html", context, status=status)


def _back(request: HttpRequest) -> HttpResponse:
    """To the page that the decision was made on, when it is one of the records'."""
    back = request.POST.get("next", "")
    return redirect(back if back.startswith("/records/") else "quality:review-list")


@needs("quality.add_dayreview")
@require_POST
def review_decide(request: HttpRequest) -> HttpResponse:
    """Accept or set aside a run of days."""
    form = DecisionForm(request.POST)
    if not form.is_valid():
        return _review_page(request, form)
    data = form.cleaned_data
    lane = get_object_or_404(Lane.objects.select_related("wim_site"), pk=data["lane"])
    review = try_service(
        form,
        lambda: services.days_decide(
            lane=lane, from_on=data["from_on"], to_on=data["to_on"],
            decision=data["decision"], reason=data["reason"], by=request.user,
        ),
    )  # fmt: skip
    if review is None:
        return _review_page(request, form)
    messages.success(
        request, f"{lane}, {review.from_on} to {review.to_on}: {review.decision}."
    )
    return _back(request)


@needs("quality.add_dayreview")
@require_POST
def review_accept_plain(request: HttpRequest) -> HttpResponse:
    """Accept the days on which no check found anything, as many as were shown."""
    form = AcceptPlainForm(request.POST)
    made = form.is_valid() and try_service(
        form, lambda: days_accept_plain(by=request.user, **form.chosen())
    )
    if not made:
        return _review_page(request, form)
    n_days = form.cleaned_data["expected_days"]
    messages.success(request, f"{n_days} days without a finding: accepted.")
    return _back(request)


@needs("quality.add_dayreview")
@require_POST
def review_undo(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a decision back, with those made in the same stroke."""
    review = get_object_or_404(DayReview, pk=pk)
    form = SpanForm({"lane": review.lane_id})
    together = decided_together(review) or [review]
    n_days = try_service(form, lambda: reviews_undo(reviews=together, by=request.user))
    if n_days is None:
        return _review_page(request, form)
    messages.success(
        request, f"Taken back: {n_days} days are as they were before the decision."
    )
    return _back(request)


@needs("quality.change_reviewquestion")
@require_POST
def question_answer(request: HttpRequest, pk: int) -> HttpResponse:
    """Looked at again; the decision stays as it is."""
    question = get_object_or_404(ReviewQuestion, pk=pk)
    form = SpanForm({"lane": question.lane_id})
    kept = try_service(form, lambda: question_keep(question=question, by=request.user))
    if kept is None:
        return _review_page(request, form)
    messages.success(request, f"{question.lane}: kept as it is.")
    return _back(request)


@needs("quality.change_reviewquestion")
@require_POST
def question_look(request: HttpRequest) -> HttpResponse:
    """Look whether later facts bear on earlier decisions."""
    n_new = questions_refresh(by=request.user)
    messages.success(request, f"{n_new} new question{'' if n_new == 1 else 's'}.")
    return _back(request)


@needs("quality.view_laneday")
def review_evidence(request: HttpRequest, pk: int) -> HttpResponse:
    """What a decision on a lane's days is made by, and what was decided."""
    lane = get_object_or_404(Lane.objects.select_related("wim_site"), pk=pk)
    form = SpanForm({"lane": pk, **request.GET.dict()})
    from_on, to_on = form.span(_last_day(lane))
    found = evidence_of(lane, from_on, to_on)
    context = {"lane": lane, "found": found, "form": form} | _charts(request, found)
    return render(request, "quality/review_evidence.html", context)


def _last_day(lane: Lane) -> dt.date:
    newest = lane.days.order_by("-date").values_list("date", flat=True).first()
    return newest or dt.date(2000, 1, 1)


def _charts(request: HttpRequest, found: Evidence) -> dict[str, Any]:
    system = unit_system(request)
    lane = found.lane
    hours = [
        (day.date, day.hours, found.from_on <= day.date <= found.to_on)
        for day in found.days
    ]
    return {
        "steering": steering_chart(
            found.weeks, title=f"Class 9 steering axle by week, {lane}", system=system
        ),
        "gross": gross_chart(
            found.counts, found.reference, since=found.calibrated_on, system=system,
            title=f"Class 9 gross weights, {lane}",
        ),
        "hours": hour_map(hours, title=f"Vehicles by day and hour, {lane}"),
        "hour_names": range(24),
        "proposed": " ".join(found.sentences)[:300] or "No check found anything.",
    }  # fmt: skip
