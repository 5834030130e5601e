"""The report's replacement outlook, from the renewal forecast."""

from __future__ import annotations

import datetime as dt

from installs.selectors import renewal_forecast
from quality.report.sections import ReportTable, Section
from sites.models import Program, Site

MOST_SENSORS = 40


def replacement_outlook(
    *, program: Program, today: dt.date, wim_site: Site | None
) -> Section:
    """What is likely to fail, and for the whole program what the years ahead hold."""
    renewal = renewal_forecast(program, today)
    risks = [
        risk
        for risk in renewal.risks
        if wim_site is None or risk.installation.lane.wim_site_id == wim_site.pk
    ]
    sensors = ReportTable(
        f"Sensors most likely to fail (of {len(risks)})",
        ("Lane", "Sensor", "Technology", "Age, years", "Within 1 y, %",
         "Within 2 y, %", "Low, %", "High, %", "Within 5 y, %"),
        tuple(
            (
                str(risk.installation.lane),
                f"{risk.installation.position}: {risk.installation.sensor}",
                risk.technology,
                risk.age_years,
                100 * risk.chance_1y,
                100 * risk.chance_2y,
                100 * risk.forecast.within(2).low,
                100 * risk.forecast.within(2).high,
                100 * risk.chance_5y,
            )
            for risk in risks[:MOST_SENSORS]
        ),
        frozenset(range(3, 9)),
        tuple((i, 0) for i in range(4, 9)),
    )  # fmt: skip
    paragraphs = [
        f"{curve.technology}: {curve.fit.basis}." for curve in renewal.curves
    ] or ["No sensor has been recorded, so nothing can be forecast: no data."]
    tables = [sensors]
    if wim_site is None and renewal.fleet is not None:
        fleet = renewal.fleet
        paragraphs.append(fleet.method)
        if fleet.unpriced:
            words = ", ".join(technology.value for technology in fleet.unpriced)
            paragraphs.append(
                f"No price is entered for: {words}; they cost nothing here."
            )
        tables.append(
            ReportTable(
                f"Replacements a year, as of {today}",
                ("Year", "Expected", "10 %", "50 %", "90 %", "Cost expected",
                 "Cost 10 %", "Cost 90 %"),
                tuple(
                    (
                        year.period.label,
                        year.replacements.expected,
                        year.replacements.p10,
                        year.replacements.p50,
                        year.replacements.p90,
                        year.cost.expected if year.cost else None,
                        year.cost.p10 if year.cost else None,
                        year.cost.p90 if year.cost else None,
                    )
                    for year in fleet.years
                ),
                frozenset(range(1, 8)),
                ((1, 1), (2, 0), (3, 0), (4, 0), (5, 0), (6, 0), (7, 0)),
            )
        )  # fmt: skip
    return Section("outlook", "Replacement outlook", tuple(paragraphs), tuple(tables))
