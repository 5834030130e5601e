"""The renewal forecast: what to replace, what it costs, what it rests on."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe
from django_tables2 import RequestConfig

from installs import figures, figures_renewal, selectors
from installs.calc.types import Technology
from installs.forms.renewal import YEAR_CHOICES, WhatIfForm
from installs.papers.replacement_programme import programme_pdf, programme_xlsx
from installs.selectors.life_curves import doubts
from installs.selectors.policies import policies_compared
from installs.selectors.replacement_order import order_of
from installs.tables.renewal import RISK_HEADINGS, RiskTable, risk_sheet
from wimprog.lib import clock
from wimprog.lib.paper import PDF
from wimprog.lib.tables import XLSX, export_rows
from wimprog.lib.web import attachment, needs

SEES = needs("installs.view_installation", "installs.view_technologyprofile")
SEES_MONEY = needs(
    "installs.view_installation",
    "installs.view_technologyprofile",
    "installs.view_renewalsettings",
)
#: Steps of the budget slider.
BUDGET_STEP = 500


def _found(request: HttpRequest) -> tuple[selectors.Renewal, WhatIfForm]:
    """The forecast as asked for in the address, which can be shared."""
    program = request.program  # type: ignore[attr-defined]
    form = WhatIfForm(request.GET)
    today = clock.today(program.time_zone)
    return selectors.renewal_forecast(program, today, asked=form.asked), form


@SEES
@require_safe
def forecast(request: HttpRequest) -> HttpResponse:
    """What to replace next year, what it costs, how far to trust it; then the rest."""
    found, form = _found(request)
    currency = request.program.currency  # type: ignore[attr-defined]
    table = RiskTable(found.risks, order_by="-two")
    RequestConfig(request, paginate={"per_page": 25}).configure(table)
    context = {
        "found": found,
        "form": form,
        "table": table,
        "order": order_of(found, found.asked.budget, currency=currency),
        "curves": [(one, _survival(one)) for one in found.curves],
        "years_chart": figures.years_chart(found.fleet) if found.fleet else None,
        "cost_chart": figures_renewal.cost_chart(found.fleet, currency)
        if found.fleet
        else None,
        "year_choices": YEAR_CHOICES,
        "budget_step": BUDGET_STEP,
        "query": request.GET.urlencode(),
        **_head(found),
    }
    return render(request, "installs/forecast.html", context)


def _head(found: selectors.Renewal) -> dict[str, float]:
    """Next year's cost to the digits that it is known to."""
    year = found.next_year
    if year is None or year.cost is None:
        return {}
    parts = (year.cost.p10, year.cost.expected, year.cost.p90)
    rounded = [round_money(value) for value in parts]
    return dict(zip(("cost_low", "cost_expected", "cost_high"), rounded, strict=True))


def round_money(value: float) -> float:
    """Three digits: nobody knows next year's cost to the last dollar."""
    return float(f"{value:.3g}")


def _survival(one: selectors.TechnologyCurve) -> Any:
    ages = tuple(life.age_years for life in one.lives)
    return figures.survival_chart(one.technology, one.curve, one.fit, ages)


@SEES
@require_safe
def curves(request: HttpRequest) -> HttpResponse:
    """How long each technology lasts: curve, fit, ends and lots."""
    found, _ = _found(request)
    drawn = [
        (
            one,
            _survival(one),
            figures_renewal.fit_chart(one.technology, one.goodness),
            figures_renewal.ends_chart(one.technology, one.ends),
        )
        for one in found.curves
    ]
    context = {"found": found, "curves": drawn}
    return render(request, "installs/renewal_curves.html", context)


@SEES
@require_safe
def past(request: HttpRequest) -> HttpResponse:
    """Forecasts from past years held against what came."""
    found, _ = _found(request)
    test = found.back_test
    context = {
        "found": found,
        "test": test,
        "told": figures_renewal.told_chart(test) if test.fifths else None,
        "origins": figures_renewal.origins_chart(test) if test.origins else None,
    }
    return render(request, "installs/renewal_past.html", context)


@SEES_MONEY
@require_safe
def policies(request: HttpRequest) -> HttpResponse:
    """Policies compared on the same futures, and the best age by theory."""
    found, form = _found(request)
    currency = request.program.currency  # type: ignore[attr-defined]
    page = policies_compared(found, found.asked, currency=currency)
    context = {
        "found": found,
        "form": form,
        "page": page,
        "ages": [
            (one, figures_renewal.age_chart(one, currency))
            for one in (page.ages if page else ())
        ],
        "year_choices": YEAR_CHOICES,
    }
    return render(request, "installs/renewal_policies.html", context)


@SEES
@require_safe
def forecast_export(request: HttpRequest, fmt: str) -> HttpResponse:
    """Every sensor with its chances, for a spreadsheet."""
    if fmt not in ("csv", "xlsx"):
        raise Http404("csv or xlsx")
    found, _ = _found(request)
    return export_rows(
        name=f"renewal-{found.as_of}",
        fmt=fmt,
        headings=RISK_HEADINGS,
        rows=risk_sheet(found),
        note=found.fleet.method if found.fleet else "",
    )


@SEES_MONEY
@require_safe
def programme(request: HttpRequest, fmt: str) -> HttpResponse:
    """The replacement programme as a paper or a workbook, as asked for."""
    if fmt not in ("pdf", "xlsx"):
        raise Http404("pdf or xlsx")
    found, _ = _found(request)
    program = request.program  # type: ignore[attr-defined]
    order = order_of(found, found.asked.budget, currency=program.currency)
    make, kind = {"pdf": (programme_pdf, PDF), "xlsx": (programme_xlsx, XLSX)}[fmt]
    name = f"replacement-programme-{found.as_of}.{fmt}"
    return attachment(make(found, order, program=program), name=name, content_type=kind)


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
        "n_open_below": sum(row.is_open_below for row in rows),
        "doubts": doubts(rows, {row.pk: str(row.installation) for row in rows}),
    }
    return render(request, "installs/lives.html", context)
