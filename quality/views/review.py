"""Pages of review: what is proposed, and what was decided."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from quality import selectors, services
from quality.forms import DecisionForm
from quality.models import DayDecision
from sites.models import Lane
from wimprog.lib.web import needs, try_service

RUNS_A_PAGE = 25


@needs("quality.view_laneday")
def review_list(request: HttpRequest) -> HttpResponse:
    """Days that nobody has judged, with what is proposed."""
    return _review_page(request, None)


def _review_page(request: HttpRequest, refused: DecisionForm | None) -> HttpResponse:
    site_code = request.GET.get("site", "")
    runs = selectors.review_runs(site_code=site_code)
    page = Paginator(runs, RUNS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "n_runs": len(runs),
        "n_days": sum(run.n_days for run in runs),
        "site_code": site_code,
        "refused": refused,
        "accepted": DayDecision.ACCEPTED,
        "set_aside": DayDecision.SET_ASIDE,
    }
    status = 422 if refused is not None else 200
    return render(request, "quality/review_list.html", context, status=status)


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
    back = request.POST.get("next", "")
    return redirect(back if back.startswith("/records/") else "quality:review-list")
