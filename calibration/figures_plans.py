"""Charts of what a planned number of runs can show, from plain values."""

from __future__ import annotations

from typing import Any

from calibration.selectors.plans import PlanPage
from wimprog.lib.chart import Chart, Point, Series


def _line(
    label: str, rows: list[dict[str, Any]], key: str, times: float = 1.0
) -> Series:
    points = tuple(
        Point(float(row["each"]), None if row[key] is None else times * row[key])
        for row in rows
    )
    return Series(label, points)


def plan_charts(page: PlanPage) -> list[tuple[str, Chart]]:
    """The curves with their identifiers; empty where there are no vehicles."""
    rows = page.curve_rows
    if not rows or page.bias is None:
        return []
    trucks = page.bias.n_vehicles
    planned = page.plan.runs_per_vehicle
    marks = ((float(planned), "plan"),) if planned >= 2 else ()
    x_label = f"Runs of each truck ({trucks} {'truck' if trucks == 1 else 'trucks'})"
    alike = f"{trucks} trucks are {trucks}: their own errors do not average away by "
    alike += "more runs of the same trucks."
    if trucks == 1:
        alike = "One truck says nothing about others, however often it is driven."
    charts = [
        (
            "power",
            Chart(
                title=f"Chance to show a bias of {page.plan.bias_to_show_pct:g} %",
                x_label=x_label,
                y_label="Sessions that show it, %",
                series=(
                    _line("these trucks", rows, "power_these", 100.0),
                    _line("trucks like these", rows, "power_like", 100.0),
                ),
                y_range=(0.0, 100.0),
                marks=marks,
                caption=f"Two-sided 95 % t test, noncentral t. {alike}",
            ),
        ),
        (
            "width",
            Chart(
                title="How well the bias is known",
                x_label=x_label,
                y_label="Half-width of the 95 % interval, %",
                series=(
                    _line("these trucks", rows, "half_these"),
                    _line("trucks like these", rows, "half_like"),
                ),
                marks=marks,
                caption=f"Student t. {alike}",
            ),
        ),
        (
            "spread",
            Chart(
                title="How well the spread is known",
                x_label=x_label,
                y_label="True spread over the one found",
                series=(
                    _line("at most", rows, "sd_high"),
                    _line("at least", rows, "sd_low"),
                ),
                marks=marks,
                caption="95 % chi-square interval of a standard deviation, all runs.",
            ),
        ),
    ]
    if page.passing is not None:
        how = "binomial, exact" if page.passing.is_exact else "simulated sessions"
        charts.append(
            (
                "passing",
                Chart(
                    title="Chance of passing",
                    x_label=x_label,
                    y_label="Sessions that pass, %",
                    series=(
                        _line("as expected", rows, "as_expected", 100.0),
                        _line("truly at the limit", rows, "at_limit", 100.0),
                    ),
                    y_range=(0.0, 100.0),
                    marks=marks,
                    caption=f"{page.passing.rule}; {how}. A system truly at the limit "
                    "is neither good nor bad: the lower its curve, the sharper the "
                    "rule.",
                ),
            )
        )
    return charts
