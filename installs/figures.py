"""Charts of electrical trends, survival and replacements, from calc's results."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable

import numpy as np

from installs.calc.survival import weibull_survival
from installs.calc.types import (
    AcceptanceLimit,
    DatedReading,
    ElectricalQuantity,
    FleetForecast,
    SurvivalCurve,
    WeibullFit,
    YearForecast,
)
from installs.selectors import QuantityStory
from wimprog.lib.chart import Chart, Limit, Point, Series
from wimprog.lib.units import format_number

CURVE_POINTS = 41
DAYS_PER_YEAR = 365.25


def reading_number(value: float) -> str:
    """A reading with digits enough for its size."""
    size = abs(value)
    digits = 0 if size >= 100 else 1 if size >= 10 else 2 if size >= 1 else 4
    return format_number(value, digits)


def _scaled(value: float, quantity: ElectricalQuantity) -> float | None:
    if not quantity.on_log_scale:
        return value
    return math.log10(value) if value > 0 else None


def _limit_lines(
    limit: AcceptanceLimit | None, quantity: ElectricalQuantity
) -> tuple[Limit, ...]:
    if limit is None:
        return ()
    found = []
    for side, words in ((limit.low, "lowest"), (limit.high, "highest")):
        at = None if side is None else _scaled(side, quantity)
        if side is not None and at is not None:
            label = f"{words} accepted {reading_number(side)} {quantity.unit}".strip()
            found.append(Limit(at, label))
    return tuple(found)


def _trend_points(story: QuantityStory) -> tuple[Point, ...]:
    """The line, with the fan of its slope about the middle of the readings."""
    trend = story.trend
    if (
        trend.slope_per_year is None
        or trend.interval is None
        or trend.middle_days is None
        or trend.middle_value is None
        or trend.first_on is None
        or trend.last_on is None
    ):
        return ()
    middle = trend.first_on + dt.timedelta(days=round(trend.middle_days))
    found = []
    for on in sorted({trend.first_on, middle, trend.last_on}):
        years = (on - trend.first_on).days / DAYS_PER_YEAR
        years -= trend.middle_days / DAYS_PER_YEAR
        ends = sorted(
            trend.middle_value + slope * years
            for slope in (trend.interval.low, trend.interval.high)
        )
        at = trend.middle_value + trend.slope_per_year * years
        found.append(Point(on, at, ends[0], ends[1]))
    return tuple(found)


def _reading_points(
    readings: Iterable[DatedReading], quantity: ElectricalQuantity, words: str = ""
) -> tuple[Point, ...]:
    return tuple(
        Point(
            one.on,
            _scaled(one.value, quantity),
            title=f"{one.on}: {'above ' if one.over_range else ''}"
            f"{reading_number(one.value)} {quantity.unit}{words}".strip(),
        )
        for one in readings
    )


def quantity_chart(story: QuantityStory) -> Chart:
    """Readings of one quantity over the years with their trend and limits."""
    quantity, followed = story.quantity, story.followed
    readings = _reading_points(story.readings, quantity)
    unit = f"log10 {quantity.unit}" if quantity.on_log_scale else quantity.unit
    line = _trend_points(story)
    caption = story.trend.sentence
    if followed.is_corrected:
        corrected = _reading_points(followed.readings, quantity, ", corrected")
        series = [
            Series("corrected", corrected, kind="points"),
            Series("as read", readings, kind="points"),
        ]
        caption += f" Trend on values {followed.words}."
    else:
        series = [Series("", readings, kind="points")]
        caption += f" As read; {followed.why_not}." if followed.why_not else ""
    if line:
        series.append(Series("trend", line))
    if quantity.on_log_scale:
        caption += f" Scale in powers of ten: 3 is 1,000 {quantity.unit}."
    return Chart(
        title=f"{str(quantity).capitalize()} over the years",
        x_label="Day of the test",
        y_label=", ".join(filter(None, [str(quantity).capitalize(), unit])),
        series=tuple(series),
        caption=caption,
        limits=_limit_lines(story.limit, quantity),
    )


def survival_chart(
    technology: str, curve: SurvivalCurve, fit: WeibullFit, ages: tuple[float, ...]
) -> Chart:
    """The share still working by age: as observed (steps), and the curve fitted.

    ``ages``: the exits of all lives [years], for the numbers at risk.
    """
    last = max(curve.last_age_years, 1.0)
    grid = np.linspace(0.0, last, CURVE_POINTS)
    series = [
        Series(
            "fitted",
            tuple(
                Point(float(x), float(y))
                for x, y in zip(grid, weibull_survival(fit, grid), strict=True)
            ),
        )
    ]
    if curve.n_units:
        steps = [Point(0.0, 1.0, 1.0, 1.0)]
        steps += [
            Point(age, share, low, high)
            for age, share, low, high in zip(
                curve.age_years, curve.survival, curve.low, curve.high, strict=True
            )
        ]
        end = steps[-1]
        steps.append(Point(curve.last_age_years, end.y, end.low, end.high))
        series.insert(0, Series("observed", tuple(steps), kind="steps"))
    marks = range(0, math.floor(last) + 1, max(1, math.ceil(last / 6)))
    level = format_number(100 * curve.level, 0)
    return Chart(
        title=f"Share of {technology} sensors still working, by age",
        x_label="Age, years",
        y_label="Share working",
        series=tuple(series),
        caption=f"Kaplan–Meier steps with {level} % interval (dotted), "
        f"{curve.n_failures} failures in {curve.n_units} lives; fitted: {fit.basis}.",
        at_risk=tuple((float(at), sum(age >= at for age in ages)) for at in marks),
        y_range=(0.0, 1.0),
    )


def _bar(place: int, year: YearForecast) -> Point:
    band = year.replacements
    return Point(
        float(place),
        band.expected,
        band.p10,
        band.p90,
        title=f"{year.period.label}: {band.expected:.1f} expected, "
        f"{band.p10:g} to {band.p90:g}",
    )


def years_chart(fleet: FleetForecast) -> Chart:
    """Expected replacements by year, with the 10 to 90 % band."""
    return Chart(
        title="Replacements to expect by year",
        x_label="Budget year",
        y_label="Sensors replaced",
        series=(
            Series(
                "", tuple(_bar(i, y) for i, y in enumerate(fleet.years)), kind="bars"
            ),
        ),
        caption=f"{fleet.n_sensors} sensors in the road; whiskers from the 10 to the "
        f"90 % point of {fleet.n_draws:,} simulated fleets.",
        names=tuple(year.period.label for year in fleet.years),
        y_range=None
        if any(y.replacements.p90 > 0 for y in fleet.years)
        else (0.0, 1.0),
    )
