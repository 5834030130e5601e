"""The renewal forecast, the lives behind it, and its export."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe
from django_tables2 import RequestConfig

from installs import figures, selectors
from installs.calc.types import Technology
from installs.tables import RISK_HEADINGS, RiskTable, risk_sheet
from wimprog.lib import clock
from wimprog.lib.tables import export_rows
from wimprog.lib.web import needs

MOST_YEARS = 20


def _found(request: HttpRequest) -> selectors.Renewal:
    program = request.program  # type: ignore[attr-defined]
    wanted = request.GET.get("years", "")
    years = int(wanted) if wanted.isdecimal() and len(wanted) < 3 else 5
    return selectors.renewal_forecast(
        program,
        clock.today(program.time_zone),
        n_years=min(max(years, 1), MOST_YEARS),
    )


@needs("installs.view_installation", "installs.view_technologyprofile")
@require_safe
def forecast(request: HttpRequest) -> HttpResponse:
    """Survival by technology, chances by sensor, replacements and cost by year."""
    found = _found(request)
    table = RiskTable(found.risks, order_by="-two")
    RequestConfig(request, paginate={"per_page": 25}).configure(table)
    context = {
        "found": found,
        "table": table,
        "curves": [
            (
                one,
                figures.survival_chart(
                    one.technology,
                    one.curve,
                    one.fit,
                    tuple(life.age_years for life in one.lives),
                ),
            )
            for one in found.curves
        ],
        "years_chart": figures.years_chart(found.fleet) if found.fleet else None,
        "year_choices": (3, 5, 10, 20),
    }
    return render(request, "installs/forecast.html", context)


@needs("installs.view_installation", "installs.view_technologyprofile")
@require_safe
def forecast_export(request: HttpRequest, fmt: str) -> HttpResponse:
    """Every sensor with its chances, for a spreadsheet."""
    if fmt not in ("csv", "xlsx"):
        raise Http404("csv or xlsx")
    found = _found(request)
    return export_rows(
        name=f"renewal-{found.as_of}",
        fmt=fmt,
        headings=RISK_HEADINGS,
        rows=risk_sheet(found),
        note=found.fleet.method if found.fleet else "",
    )


@needs("installs.view_installation")
@require_safe
def lives(request: HttpRequest) -> HttpResponse:
    """The lives behind a curve: every installation of a technology."""
    technology = request.GET.get("technology", "")
    if technology not in {word.value for word in Technology}:
        raise Http404("a technology")
    program = request.program  # type: ignore[attr-defined]
    rows = selectors.life_page(clock.today(program.time_zone), technology)
    context = {
        "technology": technology,
        "rows": rows,
        "n_failed": sum(row.failed for row in rows),
    }
    return render(request, "installs/lives.html", context)
