"""Factors of a session: proposed by its runs, and set in the controller."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from calibration import selectors, services
from calibration.calc.words import FactorOrigin
from calibration.forms.factors import FactorSetForm, write_speeds
from calibration.models import FactorSet, RunStage
from calibration.selectors import FactorPage
from calibration.views.common import VIEW, session_or_404, show_form
from wimprog.lib.units import Kind, UnitSystem, shown_unit
from wimprog.lib.web import form_page, needs, try_service, unit_system

STAGES = {one.replace(" ", "-"): one for one in RunStage.values}
CLOSE_TO_IT = 5e-4
"""A factor typed this near to the proposed one is the proposed one, rounded."""


@needs(*VIEW, "calibration.view_factorset")
def session_factors(request: HttpRequest, pk: int) -> HttpResponse:
    """Factors set and proposed, with what to expect of them."""
    from calibration.figures_factors import factor_chart

    session, system = session_or_404(pk), unit_system(request)
    page = selectors.factor_page(session, system=system)
    context = {
        "session": session,
        "page": page,
        "chart": factor_chart(page.proposals, system=system),
        "zone": selectors.site_zone(session),
        "sets": [
            (RunStage.AS_FOUND.value, "as-found", page.found),
            (RunStage.AS_LEFT.value, "as-left", page.left),
        ],
    }
    return render(request, "calibration/session_factors.html", context)


@needs("calibration.add_factorset", "calibration.change_factorset")
@form_page
def factors_edit(request: HttpRequest, pk: int, stage: str) -> HttpResponse:
    """Type the factors that the controller has, as found or as left."""
    if stage not in STAGES:
        raise Http404("as-found or as-left")
    session, system = session_or_404(pk), unit_system(request)
    kept = selectors.factor_sets(session).get(STAGES[stage])
    factors = kept or FactorSet(session=session, stage=STAGES[stage])
    page = selectors.factor_page(session, system=system)
    form = FactorSetForm(
        request.POST or None,
        instance=factors,
        system=system,
        offered=_offered(request, page, system),
    )
    if request.method == "POST" and form.is_valid():
        factors = form.save(commit=False)
        factors.predicted = _predicted(factors, page)
        saved = try_service(
            form,
            lambda: services.factors_save(
                factors=factors, by=request.user, why=form.reason
            ),
        )
        if saved:
            messages.success(request, f"The factors {saved.stage} are kept.")
            return redirect("calibration:session-factors", session.pk)
    title = f"Factors {STAGES[stage]} of {session}"
    intro = "As the controller shows them; the session’s own factor follows."
    back = reverse("calibration:session-factors", args=[session.pk])
    return show_form(request, form, title=title, back=back, intro=intro)


def _offered(request: HttpRequest, page: FactorPage, system: str) -> dict[str, str]:
    """Boxes filled with the proposal, where the address asks for it."""
    wanted, proposals = request.GET.get("use"), page.proposals
    if proposals is None or wanted not in ("one", "speed"):
        return {}
    offered = {"method": FactorOrigin.RATIO_OF_SUMS.value}
    if proposals.overall.new is not None:
        offered["overall_text"] = f"{proposals.overall.new:.4f}"
    if wanted == "speed":
        unit = shown_unit(Kind.SPEED, UnitSystem(system))
        pairs = [
            [one.speed_kmh, one.new]
            for one in proposals.by_speed
            if one.new is not None and one.speed_kmh is not None
        ]
        offered["speed_lines"] = write_speeds(pairs, unit)
    return offered


def _predicted(factors: FactorSet, page: FactorPage) -> dict[str, object]:
    """What was predicted, where the proposal is what was set."""
    proposals = page.proposals
    if factors.stage != RunStage.AS_LEFT or proposals is None:
        return {}
    new = proposals.overall.new
    is_it = new and factors.overall and abs(factors.overall / new - 1) <= CLOSE_TO_IT
    return selectors.predicted_facts(proposals) if is_it else {}
