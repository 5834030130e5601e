"""Electrical tests of a sensor: one reading against a limit, many against time.

Insulation falls by powers of ten when moisture enters, so its trend is taken on log10;
other quantities on their own scale. The trend is the median of all pairwise slopes with
Sen's interval: one bad reading does not turn it. It is never drawn further beyond the
last reading than the readings themselves reach back.

Inclusive: a reading equal to a limit meets it. Readings held against the sensor's own
data sheet and first readings are in ``comparisons``, corrected for temperature in
``temperature``.

References
----------
Sen, "Estimates of the regression coefficient based on Kendall's tau", JASA 63 (1968)
1379-1389; computed by ``scipy.stats.theilslopes`` with ``method="separate"``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
from scipy.stats import theilslopes

from installs.calc.types import (
    DAYS_PER_YEAR,
    AcceptanceLimit,
    DatedReading,
    ElectricalQuantity,
    ElectricalTrend,
    LimitCrossing,
)
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Interval, Judgement, Verdict

#: Days with a reading below which no trend is told: with three points even a perfect
#: order happens by chance one time in three.
LEAST_DAYS = 4

READING_RULE = "one reading against the limit; a reading equal to it meets it"
TREND_RULE = (
    "median of pairwise slopes (Sen 1968); no date beyond the last reading by more "
    "than the readings reach back"
)


# --- one reading -------------------------------------------------------------------


def judge_reading(
    quantity: ElectricalQuantity,
    value: float | None,
    limit: AcceptanceLimit | None,
    *,
    over_range: bool = False,
) -> Judgement:
    """One reading held against the limit of its quantity.

    Parameters
    ----------
    quantity
        What was read.
    value
        The reading in the quantity's unit, or None for no reading.
    limit
        Limit, either side open, or None where nobody has entered one.
    over_range
        The meter said only that the value is above ``value``.

    Returns
    -------
    Judgement
        ``cannot say`` without a reading or a limit, or when the meter's range ends
        short of what decides.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the value is not a number, or negative where it cannot be.
    """
    if value is not None:
        _check_value(quantity, value)
    verdict, reason = reading_verdict(value, limit, over_range)
    shown = "no reading" if value is None else _shown(quantity, value, over_range)
    words = limit_words(quantity, limit)
    sentence = f"{_capital(quantity)} {shown}; {words}: {verdict}"
    return Judgement(
        quantity=str(quantity),
        value=value,
        unit=quantity.unit,
        n=0 if value is None else 1,
        interval=None,
        rule=f"{READING_RULE} ({limit.source})" if limit else READING_RULE,
        limit=words,
        verdict=verdict,
        sentence=f"{sentence} ({reason})." if reason else f"{sentence}.",
        standing=limit.standing if limit else "no limit entered",
        details=(
            ("over range", over_range),
            ("low", limit.low if limit else None),
            ("high", limit.high if limit else None),
        ),
    )


def reading_verdict(
    value: float | None, limit: AcceptanceLimit | None, over_range: bool
) -> tuple[Verdict, str]:
    """The verdict of :func:`judge_reading` and, where it needs one, the reason.

    For callers that judge thousands of readings and print none of them.
    """
    if value is None:
        return Verdict.CANNOT_SAY, "nothing was read"
    if limit is None:
        return Verdict.CANNOT_SAY, "no limit has been entered for it"
    low = -math.inf if limit.low is None else limit.low
    high = math.inf if limit.high is None else limit.high
    if not over_range:
        return (Verdict.MEETS if low <= value <= high else Verdict.MISSES), ""
    if value >= high:
        return Verdict.MISSES, "the meter's range ends above the highest value"
    if value < low or limit.high is not None:
        return Verdict.CANNOT_SAY, "the meter's range ends short of the limit"
    return Verdict.MEETS, ""


# --- many readings -----------------------------------------------------------------


def electrical_trend(
    quantity: ElectricalQuantity,
    readings: Sequence[DatedReading],
    *,
    level: float = 0.95,
) -> ElectricalTrend:
    """Robust trend of one quantity of one installed sensor.

    Readings beyond the meter's range and, on a log scale, readings of zero have no
    number that a slope could use: they are left out, counted and said.

    Parameters
    ----------
    quantity
        What was read; decides the scale.
    readings
        In any order.
    level
        Level of the slope's interval. With four readings Sen's interval spans the
        least and the greatest pairwise slope, and its level is 11/12 whatever was
        asked for; the interval carries that level.

    Returns
    -------
    ElectricalTrend
        Without a slope when fewer than :data:`LEAST_DAYS` days have a usable reading.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When a value is negative or not a number.
    """
    for reading in readings:
        _check_value(quantity, reading.value)
    measured = [r for r in readings if not r.over_range]
    n_over = len(readings) - len(measured)
    used = [r for r in measured if r.value > 0 or not quantity.on_log_scale]
    used.sort(key=lambda r: r.on)
    n_zero = len(measured) - len(used)
    left_out = _left_out(n_over, n_zero)
    if len({r.on for r in used}) < LEAST_DAYS:
        return ElectricalTrend(
            quantity=quantity,
            n=len(used),
            n_over_range=n_over,
            n_zero=n_zero,
            slope_per_year=None,
            interval=None,
            fitted_last=None,
            middle_days=None,
            middle_value=None,
            first_on=used[0].on if used else None,
            last_on=used[-1].on if used else None,
            sentence=(
                f"{_capital(quantity)}: {len(used)} "
                f"reading{'' if len(used) == 1 else 's'} to follow{left_out}; a trend "
                f"needs readings on at least {LEAST_DAYS} days."
            ),
        )
    days = np.array([(r.on - used[0].on).days for r in used], dtype=float)
    values = np.array([r.value for r in used])
    scaled = np.log10(values) if quantity.on_log_scale else values
    sen = theilslopes(scaled, days / DAYS_PER_YEAR, alpha=level, method="separate")
    slope = float(sen.slope)
    interval = Interval(
        float(sen.low_slope),
        float(sen.high_slope),
        min(level, 11.0 / 12.0) if len(used) == LEAST_DAYS else level,
    )
    middle_days, middle = float(np.median(days)), float(np.median(scaled))
    last = middle + slope * (days[-1] - middle_days) / DAYS_PER_YEAR
    return ElectricalTrend(
        quantity=quantity,
        n=len(used),
        n_over_range=n_over,
        n_zero=n_zero,
        slope_per_year=slope,
        interval=interval,
        fitted_last=float(10.0**last if quantity.on_log_scale else last),
        middle_days=middle_days,
        middle_value=middle,
        first_on=used[0].on,
        last_on=used[-1].on,
        sentence=_trend_words(quantity, slope, interval, len(used), left_out),
    )


def _left_out(n_over: int, n_zero: int) -> str:
    parts = []
    if n_over:
        parts.append(f"{n_over} above the meter's range")
    if n_zero:
        parts.append(f"{n_zero} of zero")
    return f" ({' and '.join(parts)} left out)" if parts else ""


def _trend_words(
    quantity: ElectricalQuantity, slope: float, interval: Interval, n: int, left: str
) -> str:
    if interval.low > 0:
        way = "rising"
    elif interval.high < 0:
        way = "falling"
    else:
        way = "no rise or fall can be told"
    if quantity.on_log_scale:
        size = f"× {10**slope:.3g} a year"
        ends = f"× {10**interval.low:.3g} to × {10**interval.high:.3g}"
    else:
        size = f"{slope:+.3g} {quantity.unit}".strip() + " a year"
        ends = f"{interval.low:+.3g} to {interval.high:+.3g}"
    return (
        f"{_capital(quantity)}: {way}, {size} "
        f"({interval.level:.0%} interval {ends}, {n} readings){left}."
    )


def limit_crossing(
    trend: ElectricalTrend, limit: AcceptanceLimit | None
) -> LimitCrossing | None:
    """When the trend reaches the limit, as far as the readings carry.

    The lines with the slope and with each end of its interval, all through the point of
    the medians, are followed until the day as far after the last reading as the first
    is before it.

    Returns
    -------
    LimitCrossing or None
        None without a trend or a limit.
    """
    if (
        limit is None
        or trend.slope_per_year is None
        or trend.interval is None
        or trend.fitted_last is None
        or trend.first_on is None
        or trend.last_on is None
    ):
        return None
    span = trend.last_on - trend.first_on
    until = trend.last_on + span
    beyond = _side_beyond(limit, trend.fitted_last)
    if beyond is not None:
        return LimitCrossing(None, None, None, until, True, beyond)
    slopes = (trend.slope_per_year, trend.interval.low, trend.interval.high)
    reached = [_reached_days(trend, limit, slope) for slope in slopes]
    days = [span.days if x < span.days else x for x, _ in reached]  # not in the past
    expected, earliest, latest = (
        trend.first_on + timedelta(days=round(x)) if x <= 2 * span.days else None
        for x in (days[0], min(days), max(days))
    )
    return LimitCrossing(
        expected, earliest, latest, until, limit_value=_nearest(reached)
    )


def _side_beyond(limit: AcceptanceLimit, value: float) -> float | None:
    """The side of the limit that the value is beyond, if it is."""
    if limit.low is not None and value < limit.low:
        return limit.low
    if limit.high is not None and value > limit.high:
        return limit.high
    return None


def _reached_days(
    trend: ElectricalTrend, limit: AcceptanceLimit, slope: float
) -> tuple[float, float | None]:
    """Days after the first reading at which a line reaches the limit it heads for."""
    side = limit.low if slope < 0 else limit.high
    on_log = trend.quantity.on_log_scale
    if (
        side is None
        or slope == 0
        or (on_log and side <= 0)
        or trend.middle_days is None
        or trend.middle_value is None
    ):
        return math.inf, None
    rise = (math.log10(side) if on_log else side) - trend.middle_value
    return trend.middle_days + rise / slope * DAYS_PER_YEAR, side


def _nearest(reached: Sequence[tuple[float, float | None]]) -> float | None:
    """The side reached by the line itself, else by the line that is there first."""
    ordered = [reached[0], *sorted(reached[1:], key=lambda one: one[0])]
    return next((side for _, side in ordered if side is not None), None)


def judge_trend(trend: ElectricalTrend, limit: AcceptanceLimit | None) -> Judgement:
    """Whether the quantity stays within its limit as far as its readings carry.

    ``misses`` when the fitted line is past the limit or every line of the slope's
    interval reaches it in time; ``meets`` when none does and no reading of zero was
    left out; else ``cannot say``.
    """
    crossing = limit_crossing(trend, limit)
    verdict, reason = _trend_verdict(trend, crossing)
    on_log = trend.quantity.on_log_scale
    words = limit_words(trend.quantity, limit)
    return Judgement(
        quantity=f"trend of {trend.quantity}",
        value=trend.slope_per_year,
        unit=f"{'decades' if on_log else trend.quantity.unit} a year".strip(),
        n=trend.n,
        interval=trend.interval,
        rule=f"{TREND_RULE} ({limit.source})" if limit else TREND_RULE,
        limit=words,
        verdict=verdict,
        sentence=f"{trend.sentence} {_capital(words)}: {verdict}, {reason}.",
        standing=limit.standing if limit else "no limit entered",
        details=(
            ("above the meter's range, left out", trend.n_over_range),
            ("zero, left out", trend.n_zero),
            ("fitted at the last reading", trend.fitted_last),
            ("expected on", _iso(crossing.expected_on if crossing else None)),
            ("earliest on", _iso(crossing.earliest_on if crossing else None)),
            ("latest on", _iso(crossing.latest_on if crossing else None)),
            ("not followed beyond", _iso(crossing.reach_until if crossing else None)),
        ),
    )


def _trend_verdict(
    trend: ElectricalTrend, crossing: LimitCrossing | None
) -> tuple[Verdict, str]:
    if crossing is None:
        why = "no limit has been entered" if trend.is_known else "too few readings"
        return Verdict.CANNOT_SAY, why
    until = crossing.reach_until.isoformat()
    if crossing.already_past:
        return Verdict.MISSES, "the fitted line is already past it"
    if crossing.earliest_on is None:
        if trend.n_zero:
            return Verdict.CANNOT_SAY, "a reading of zero has no place on the line"
        return Verdict.MEETS, f"not reached by {until}, as far as the readings carry"
    first = crossing.earliest_on.isoformat()
    if crossing.latest_on is not None:
        last = crossing.latest_on.isoformat()
        return Verdict.MISSES, f"reached between {first} and {last}"
    if crossing.expected_on is not None:
        when = f"on {crossing.expected_on.isoformat()} by the line"
        return Verdict.CANNOT_SAY, f"reached {when}, on {first} at the earliest"
    return Verdict.CANNOT_SAY, f"reached on {first} at the earliest, perhaps not at all"


# --- words -------------------------------------------------------------------------


def _check_value(quantity: ElectricalQuantity, value: float) -> None:
    if not math.isfinite(value):
        raise DomainError(f"The {quantity} is not a number; type the reading again.")
    if value < 0 and not quantity.signed:
        raise DomainError(
            f"The {quantity} of {value:g} {quantity.unit} is negative; no meter reads "
            "that. Type the reading again."
        )


def _shown(quantity: ElectricalQuantity, value: float, over_range: bool) -> str:
    return f"{'above ' if over_range else ''}{value:,.6g} {quantity.unit}".strip()


def limit_words(quantity: ElectricalQuantity, limit: AcceptanceLimit | None) -> str:
    """A limit in words with its unit: "at least 20 MΩ"."""
    if limit is None:
        return "no limit entered"
    unit = f" {quantity.unit}" if quantity.unit else ""
    if limit.high is None:
        return f"at least {limit.low:,.6g}{unit}"
    if limit.low is None:
        return f"at most {limit.high:,.6g}{unit}"
    return f"{limit.low:,.6g} to {limit.high:,.6g}{unit}"


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _iso(day: date | None) -> str | None:
    return day.isoformat() if day else None
