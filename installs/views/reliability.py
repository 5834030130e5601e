"""Reliability: how sensors live and lanes work, by group."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from installs import figures_renewal
from installs.calc.group_figures import AGES_YEARS, ended_by
from installs.figures_reliability import groups_count_chart, groups_survival_chart
from installs.forms.reliability import ReliabilityForm
from installs.selectors.reliability import Reliability, cabinet_lives, reliability
from installs.tables.reliability import HEADINGS, NOTE, reliability_sheet
from wimprog.lib import clock
from wimprog.lib.tables import export_rows
from wimprog.lib.web import needs

SEES = needs(
    "installs.view_installation",
    "installs.view_failurereport",
    "installs.view_downspell",
)


def _found(request: HttpRequest) -> tuple[Reliability, ReliabilityForm]:
    """The figures as asked for in the address, which can be shared."""
    form = ReliabilityForm(request.GET)
    program = request.program  # type: ignore[attr-defined]
    today = clock.today(program.time_zone)
    return reliability(today, clock.now(), **form.asked()), form


@SEES
@require_safe
def reliability_page(request: HttpRequest) -> HttpResponse:
    """Survival, failures per lane, times and shares by group; modes; cabinet units."""
    found, form = _found(request)
    program = request.program  # type: ignore[attr-defined]
    asked = form.asked()
    context: dict[str, Any] = {
        "found": found,
        "form": ReliabilityForm(initial=asked),
        "ages": AGES_YEARS,
        "query": request.GET.urlencode(),
        "units": cabinet_lives(clock.today(program.time_zone)),
        "modes": [(one, ended_by(one, found.ages_at_risk)) for one in found.modes],
    }
    if found.groups:
        named = asked["technology"] or "all"
        context |= {
            "survival": groups_survival_chart(found.groups),
            "counts": groups_count_chart(found.groups),
            "ends": figures_renewal.ends_chart(named, found.modes),
        }
    return render(request, "installs/reliability.html", context)


@SEES
@require_safe
def reliability_export(request: HttpRequest, fmt: str) -> HttpResponse:
    """The figures of every group, for a spreadsheet."""
    if fmt not in ("csv", "xlsx"):
        raise Http404("csv or xlsx")
    found, _ = _found(request)
    return export_rows(
        name=f"reliability-by-{found.by}",
        fmt=fmt,
        headings=HEADINGS,
        rows=reliability_sheet(found),
        note=NOTE,
    )
