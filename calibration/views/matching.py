"""Runs from the controller's records: read, matched, looked at, corrected, kept."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core import signing
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from calibration import selectors, services
from calibration.forms import MatchForm
from calibration.models import CalibrationSession
from calibration.services import MatchGiven, MatchPlan
from calibration.views.common import session_or_404
from wimprog.lib.errors import DomainError
from wimprog.lib.web import form_page, needs, unit_system

SALT = "calibration.matching"
LIFE_S = 24 * 3600
TEMPLATE = "calibration/runs_match.html"
CHOICE = "choice-"


@needs("calibration.add_truckrun")
@form_page
def runs_match(request: HttpRequest, pk: int) -> HttpResponse:
    """Records and passes: matched and shown first, kept when confirmed."""
    session = session_or_404(pk)
    if "given" in request.POST:
        return _again_or_keep(request, session)
    form = MatchForm(
        request.POST or None,
        request.FILES or None,
        system=unit_system(request),
        zone=selectors.site_zone(session),
    )
    context: dict[str, Any] = {"form": form}
    if request.method == "POST" and form.is_valid():
        try:
            given = _read(form, session, unit_system(request))
            return _show(request, session, given)
        except DomainError as error:
            context["error"] = error
    return _page(request, session, context)


def _read(form: MatchForm, session: CalibrationSession, system: str) -> MatchGiven:
    content, name = form.content
    return services.match_read(
        session=session,
        content=content,
        name=name,
        passes_text=form.cleaned_data["passes"],
        stage=form.cleaned_data["stage"],
        system=system,
        pavement_temp=form.cleaned_data["pavement_temp"],
    )


def _show(
    request: HttpRequest, session: CalibrationSession, given: MatchGiven
) -> HttpResponse:
    plan = services.match_plan(
        session=session, given=given, system=unit_system(request)
    )
    return _page(request, session, {"plan": plan})


def _page(
    request: HttpRequest, session: CalibrationSession, context: dict[str, Any]
) -> HttpResponse:
    form, plan = context.get("form"), context.get("plan")
    if plan is not None:
        sealed = [session.pk, plan.given.as_plain()]
        context["token"] = signing.dumps(sealed, salt=SALT, compress=True)
    context |= {"session": session, "zone": selectors.site_zone(session)}
    refused = "error" in context or (form is not None and form.errors)
    return render(request, TEMPLATE, context, status=422 if refused else 200)


def _again_or_keep(request: HttpRequest, session: CalibrationSession) -> HttpResponse:
    system = unit_system(request)
    context: dict[str, Any] = {}
    try:
        given = _opened(request.POST["given"], session)
        plan = services.match_plan(session=session, given=given, system=system)
        context["plan"] = plan
        corrected = given.corrected(_choices(request), plan.matched)
        if corrected != given:
            context["plan"] = services.match_plan(
                session=session, given=corrected, system=system
            )
            if "keep" in request.POST:
                messages.warning(
                    request, "You changed matches. Look at them once more, then add."
                )
        elif "keep" in request.POST:
            return _keep(request, session, plan)
    except DomainError as error:
        context["error"] = error
        if "plan" not in context:
            context["form"] = MatchForm(
                system=system, zone=selectors.site_zone(session)
            )
    return _page(request, session, context)


def _choices(request: HttpRequest) -> dict[str, str]:
    return {
        name.removeprefix(CHOICE): str(value)
        for name, value in request.POST.items()
        if name.startswith(CHOICE) and value
    }


def _keep(
    request: HttpRequest, session: CalibrationSession, plan: MatchPlan
) -> HttpResponse:
    made = services.match_keep(
        session=session,
        plan=plan,
        by=request.user,
        units_are_right="units_are_right" in request.POST,
    )
    n = len(made)
    messages.success(
        request,
        f"{n} run{'' if n == 1 else 's'} added; {len(plan.runs_known)} were there "
        "already.",
    )
    return redirect(session)


def _opened(token: str, session: CalibrationSession) -> MatchGiven:
    try:
        pk, plain = signing.loads(token, salt=SALT, max_age=LIFE_S)
    except signing.BadSignature:
        pk, plain = None, {}
    if pk != session.pk:
        raise DomainError(
            "What was shown cannot be read any more; give the records again. Nothing "
            "was stored."
        )
    return MatchGiven.from_plain(plain)
