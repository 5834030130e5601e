"""Charts behind the renewal forecast: fit, ends, money, past forecasts, best age."""

from __future__ import annotations

from collections.abc import Sequence

from installs.calc.types import BackTest, FleetForecast, Goodness, IncidenceCurve
from installs.selectors.policies import BestAge
from wimprog.lib.chart import Chart, Point, Series
from wimprog.lib.units import format_number


def fit_chart(technology: str, found: Goodness) -> Chart:
    """Share surviving by the curve against the share observed; a true curve: the line.

    The whiskers are the simultaneous band, the points half-way down each step.
    """
    points = tuple(
        Point(
            one.model_survival,
            1.0 - one.failed_frac,
            one.low,
            one.high,
            title=f"{one.age_years:.1f} years: curve "
            f"{100 * one.model_survival:.0f} %, observed "
            f"{100 * (1 - one.failed_frac):.0f} %",
        )
        for one in found.points
    )
    line = (Point(0.0, 0.0), Point(1.0, 1.0)) if points else ()
    level = format_number(100 * found.level, 0)
    return Chart(
        title=f"{technology.capitalize()}: does the curve fit the failures?",
        x_label="Share working by the fitted curve",
        y_label="Share working as observed",
        series=(
            Series("", points, kind="points"),
            Series("a true curve", line),
        ),
        caption=f"{found.n_failures} failures; whiskers: {level} % simultaneous band. "
        f"{found.sentence}",
        y_range=(0.0, 1.0),
    )


def ends_chart(technology: str, ends: Sequence[IncidenceCurve]) -> Chart:
    """Share of lives ended by each cause, the other causes competing."""
    last = max((one.age_years[-1] for one in ends if one.age_years), default=1.0)
    series = []
    for one in ends:
        if one.age_years:
            steps = [Point(0.0, 0.0)]
            steps += [
                Point(age, share)
                for age, share in zip(one.age_years, one.share, strict=True)
            ]
            steps.append(Point(last, one.share[-1]))
            series.append(Series(one.cause, tuple(steps), kind="steps"))
    counts = ", ".join(f"{one.n_ended} {one.cause}" for one in ends)
    n = ends[0].n_units if ends else 0
    return Chart(
        title=f"How the lives of {technology} sensors ended",
        x_label="Age, years",
        y_label="Share of lives ended",
        series=tuple(series),
        caption=f"{n} lives: {counts or 'none ended'}. Each cause is counted among "
        "all, as one end takes the chance of the others (Aalen–Johansen).",
        y_range=(0.0, 1.0),
    )


def cost_chart(fleet: FleetForecast, currency: str) -> Chart | None:
    """Expected cost by year, with the 10 to 90 % band; None without any price."""
    bars = []
    for i, year in enumerate(fleet.years):
        if year.cost is None:
            return None
        bars.append(
            Point(
                float(i),
                year.cost.expected / 1000.0,
                year.cost.p10 / 1000.0,
                year.cost.p90 / 1000.0,
                title=f"{year.period.label}: {currency}{year.cost.expected:,.0f}",
            )
        )
    flat = all(not p.high for p in bars)
    return Chart(
        title="Cost of replacements by year",
        x_label="Budget year",
        y_label=f"Cost, {currency}1,000",
        series=(Series("", tuple(bars), kind="bars"),),
        caption="Whiskers from the 10 to the 90 % point of "
        f"{fleet.n_draws:,} simulated futures.",
        names=tuple(year.period.label for year in fleet.years),
        y_range=(0.0, 1.0) if flat else None,
    )


def told_chart(found: BackTest) -> Chart:
    """Chance told against the share that failed, by fifths of the chance told."""
    most = max([0.1, *(max(one.told, one.came) for one in found.fifths)])
    points = tuple(
        Point(
            one.told,
            one.came,
            title=f"told {100 * one.told:.0f} %, "
            f"came {100 * one.came:.0f} % of {one.n}",
        )
        for one in found.fifths
    )
    line = (Point(0.0, 0.0), Point(most, most)) if points else ()
    return Chart(
        title="Chance told, and the share that failed",
        x_label=f"Chance told of failing within {found.horizon_years:g} years",
        y_label="Share that failed",
        series=(Series("", points, kind="points"), Series("as told", line)),
        caption=f"{found.n} past forecasts in fifths by the chance told.",
    )


def origins_chart(found: BackTest) -> Chart:
    """Failures expected and come, by the day forecast from."""
    years = [str(one.origin.year) for one in found.origins]
    expected = tuple(
        Point(float(i), one.expected, one.low, one.high)
        for i, one in enumerate(found.origins)
    )
    came = tuple(Point(float(i), one.failed) for i, one in enumerate(found.origins))
    most = max([1.0, *(max(one.high, one.failed) for one in found.origins)])
    return Chart(
        title=f"Failures within {found.horizon_years:g} years: expected and come",
        x_label="Forecast from the turn of the year",
        y_label="Failures",
        series=(
            Series("expected", expected, kind="bars"),
            Series("came", came, kind="points"),
        ),
        caption=f"Whiskers: {100 * found.level:.0f} % band of the forecast.",
        names=tuple(years),
        y_range=(0.0, 1.05 * most),
    )


def age_chart(found: BestAge, currency: str) -> Chart:
    """Long-run cost a year against the age of planned replacement."""
    curve = tuple(
        Point(age, cost)
        for age, cost in zip(found.ages_years, found.cost_per_year, strict=True)
    )
    on_failure = found.best.on_failure_cost_per_year
    most = min(max(found.cost_per_year), 3.0 * on_failure)
    low = min(min(found.cost_per_year), on_failure)
    series = [
        Series("at an age", tuple(p for p in curve if p.y is not None and p.y <= most)),
        Series(
            "on failure",
            (Point(found.ages_years[0], on_failure), Point(curve[-1].x, on_failure)),
        ),
    ]
    marks: tuple[tuple[float, str], ...] = ()
    if not found.best.never:
        marks = ((found.best.age_years, f"{found.best.age_years:.1f} years"),)
    return Chart(
        title=f"{found.technology.capitalize()}: cost a year by age of replacement",
        x_label="Age at which a working sensor is replaced, years",
        y_label=f"Cost a year and sensor, {currency}",
        series=tuple(series),
        caption=f"A failure {currency}{found.failure_cost:,.0f}, a planned "
        f"replacement {currency}{found.planned_cost:,.0f}; mean over the likely life "
        f"curves, whose median life is about {found.median_years:.1f} years.",
        marks=marks,
        y_range=(0.9 * low, 1.02 * most),
    )
