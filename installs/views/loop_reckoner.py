"""What a loop should read, from its size, turns and lead; kept nowhere."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from installs import cautions
from installs.calc import expected
from installs.forms.loop_reckoner import LoopReckoner
from wimprog.lib.units import M_PER_FT
from wimprog.lib.web import needs, unit_system


@needs("installs.view_sensor")
@require_safe
def loop_expected(request: HttpRequest) -> HttpResponse:
    """Expected inductance and resistance of a loop with its lead."""
    asked = "turns" in request.GET
    form = LoopReckoner(request.GET if asked else None, system=unit_system(request))
    context: dict[str, Any] = {"form": form, "cautions": cautions.ELECTRICAL_TEST}
    if form.is_valid():
        context |= _answer(form.cleaned_data)
    status = 422 if form.errors else 200
    return render(request, "installs/loop_expected.html", context, status=status)


def _answer(asked: dict[str, Any]) -> dict[str, Any]:
    perimeter_ft = asked["perimeter_m"] / M_PER_FT
    lead_ft = (asked["lead_m"] or 0.0) / M_PER_FT
    loop_uh = expected.loop_inductance_uh(perimeter_ft, asked["turns"])
    low, high = expected.lead_inductance_uh(lead_ft) if lead_ft else (0.0, 0.0)
    gauge = asked["gauge_awg"]
    wire_ohm = perimeter_ft * asked["turns"] * expected.WIRE_OHM_PER_1000_FT[gauge]
    lead_ohm = expected.lead_resistance_ohm(lead_ft, gauge) if lead_ft else 0.0
    return {
        "answer": True,
        "loop_uh": loop_uh,
        "low_uh": loop_uh + low,
        "high_uh": loop_uh + high,
        "ohm": wire_ohm / 1000.0 + lead_ohm,
        "lead": bool(lead_ft),
        "source": expected.INDUCTANCE_SOURCE,
        "standing": expected.INDUCTANCE_STANDING,
        "wire_standing": expected.WIRE_STANDING,
    }
