"""What the replacements of simulated futures cost, by year, with bands.

A replacement pays for its parts and work; the replacements at one site within one
planning window make one trip, which pays one mobilisation; the replacements in one lane
in one trip share the setting up of its closure. Money is today's, in the program's
currency; prices may grow.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields

import numpy as np

from installs.calc.likelihood import Array
from installs.calc.types import Band, ForecastPeriod, Technology
from installs.calc.upkeep.fleet import Position
from installs.calc.upkeep.futures import Events, Ints, Replaced
from wimprog.lib.errors import DomainError

BAND_QUANTILES = (0.10, 0.50, 0.90)


@dataclass(frozen=True)
class SensorPrice:
    """What replacing one sensor of a technology costs, in today's money.

    Attributes
    ----------
    parts
        Sensor, lead, grout.
    work
        Crew and tools, without mobilisation and closure.
    """

    parts: float
    work: float = 0.0


@dataclass(frozen=True)
class SharedCosts:
    """What replacements share, in today's money.

    Attributes
    ----------
    mobilisation
        Of one trip of a crew to a site.
    closure_rate_per_hour
        Of a closed lane, with traffic control.
    closure_setup_hours
        To set up and clear the closure of one lane, once a trip.
    closure_hours_each
        Of closure for each sensor replaced.
    urgent_extra
        More for each trip on which something had failed (no joining with other work).
    trip_window_years
        Replacements at a site within the same window make one trip.
    price_growth_per_year
        0.03 for 3 % a year, on everything, compounded from today.
    """

    mobilisation: float
    closure_rate_per_hour: float = 0.0
    closure_setup_hours: float = 0.0
    closure_hours_each: float = 0.0
    urgent_extra: float = 0.0
    trip_window_years: float = 0.25
    price_growth_per_year: float = 0.0

    def __post_init__(self) -> None:
        """Refuse costs that cannot be."""
        for field in fields(self):
            value = getattr(self, field.name)
            least = -1.0 if field.name == "price_growth_per_year" else 0.0
            strict = field.name in ("price_growth_per_year", "trip_window_years")
            if not math.isfinite(value) or value < least or (strict and value == least):
                raise DomainError(f"Costs: {field.name} cannot be {value}.")


@dataclass(frozen=True)
class YearCost:
    """Cost of one period and what it is made of.

    Attributes
    ----------
    period
        The budget year.
    trips, replacements, cost
        Expected and with the 10, 50 and 90 % points.
    parts_and_work, mobilisation, closure
        Expected shares of ``cost``.
    """

    period: ForecastPeriod
    replacements: Band
    trips: Band
    cost: Band
    parts_and_work: float
    mobilisation: float
    closure: float


@dataclass(frozen=True)
class ProgrammeCost:
    """Cost of replacements by year; the band of the total is that of the sum."""

    years: tuple[YearCost, ...]
    total: Band
    method: str


@dataclass(frozen=True)
class Priced:
    """Replacements of futures with their money, one entry each, within the horizon.

    ``when_years`` is when the new sensor begins to work; the three parts of the cost
    have prices of that time. The first replacement of a trip carries its mobilisation,
    the first of a lane in it the setting up of the closure.
    """

    draw: Ints
    position: Ints
    when_years: Array
    starts_trip: Ints
    parts_and_work: Array
    mobilisation: Array
    closure: Array

    @property
    def cost(self) -> Array:
        """The whole of each entry."""
        return np.asarray(self.parts_and_work + self.mobilisation + self.closure)


def price_events(
    events: Events,
    positions: Sequence[Position],
    prices: Mapping[Technology, SensorPrice],
    shared: SharedCosts,
    *,
    horizon_years: float,
) -> Priced:
    """Money of each replacement.

    Replacements with pavement works find the lane closed and the crews there: they pay
    parts and work only.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When a technology has no price, or a price cannot be.
    """
    each = _price_of(positions, prices)
    kept = events.renewed_years < horizon_years
    draw, position = events.draw[kept], events.position[kept]
    when, why = events.renewed_years[kept], events.why[kept]
    pays_trip = why != Replaced.WITH_WORKS
    sites = _numbers([p.site for p in positions])[position]
    lanes = _numbers([p.lane for p in positions])[position]
    window = np.floor(when / shared.trip_window_years).astype(int)
    trip = _numbers_of(draw, sites, window)
    lane_trip = _numbers_of(draw, lanes, window)
    urgent = np.zeros(trip.max(initial=-1) + 1, dtype=bool)
    urgent[trip[why == Replaced.FAILED]] = True
    starts = _first_of(trip, pays_trip)
    opens = _first_of(lane_trip, pays_trip)
    growth = (1.0 + shared.price_growth_per_year) ** when
    hours = shared.closure_hours_each * pays_trip + shared.closure_setup_hours * opens
    return Priced(
        draw=draw,
        position=position,
        when_years=when,
        starts_trip=starts,
        parts_and_work=each[position] * growth,
        mobilisation=(
            starts * (shared.mobilisation + shared.urgent_extra * urgent[trip]) * growth
        ),
        closure=hours * shared.closure_rate_per_hour * growth,
    )


def programme_cost(
    priced: Priced, periods: Sequence[ForecastPeriod], *, n_draws: int
) -> ProgrammeCost:
    """Cost by period from priced futures.

    Parameters
    ----------
    priced
        From :func:`price_events`.
    periods
        Budget years in order, as from :func:`installs.calc.forecast.budget_years`.
    n_draws
        Number of futures played.
    """
    if not periods:
        raise DomainError("A programme needs at least one period.")
    edges = np.array([p.to_years for p in periods])
    period = np.searchsorted(edges, priced.when_years, side="right")
    inside = period < edges.size
    place = priced.draw[inside] * edges.size + period[inside]

    def table(values: np.ndarray) -> Array:
        flat = np.bincount(place, values[inside], minlength=n_draws * edges.size)
        return np.asarray(flat.reshape(n_draws, edges.size), dtype=float)

    counts, trips = table(np.ones(len(priced.draw))), table(priced.starts_trip)
    parts, moved = table(priced.parts_and_work), table(priced.mobilisation)
    closed = table(priced.closure)
    cost = parts + moved + closed
    years = tuple(
        YearCost(
            period=one,
            replacements=_band(counts[:, i]),
            trips=_band(trips[:, i]),
            cost=_band(cost[:, i]),
            parts_and_work=float(parts[:, i].mean()),
            mobilisation=float(moved[:, i].mean()),
            closure=float(closed[:, i].mean()),
        )
        for i, one in enumerate(periods)
    )
    return ProgrammeCost(
        years,
        _band(cost.sum(axis=1)),
        f"Mean and 10, 50 and 90 % points of {n_draws:,} simulated futures with "
        "renewals. Replacements at a site within one planning window share a "
        "mobilisation, those in a lane the setting up of its closure.",
    )


def _band(drawn: Array) -> Band:
    p10, p50, p90 = np.quantile(drawn, BAND_QUANTILES)
    return Band(float(drawn.mean()), float(p10), float(p50), float(p90))


def _price_of(
    positions: Sequence[Position], prices: Mapping[Technology, SensorPrice]
) -> Array:
    missing = sorted({p.technology for p in positions} - set(prices))
    if missing:
        raise DomainError(f"There is no replacement cost for {', '.join(missing)}.")
    for technology, price in prices.items():
        for value in (price.parts, price.work):
            if not (math.isfinite(value) and value >= 0):
                raise DomainError(
                    f"The replacement cost of a {technology} cannot be {value}; give "
                    "zero or more."
                )
    return np.array(
        [prices[p.technology].parts + prices[p.technology].work for p in positions]
    )


def _numbers(names: Sequence[str]) -> Ints:
    return np.unique(np.array(names), return_inverse=True)[1]


def _numbers_of(*keys: Ints) -> Ints:
    """One number for each different row of keys, from 0."""
    whole = np.zeros(len(keys[0]), dtype=np.int64)
    for key in keys:
        whole = whole * (int(key.max(initial=0)) + 1) + key
    return np.unique(whole, return_inverse=True)[1]


def _first_of(group: Ints, counts: Ints) -> Ints:
    """True for the first entry of each group among those that count."""
    first = np.zeros(len(group), dtype=bool)
    where = np.flatnonzero(counts)
    first[where[np.unique(group[where], return_index=True)[1]]] = True
    return first
