"""Calibrate a lane or leave it: a session's cost against that of biased loads.

Weights that are wrong by b % make design loads wrong by (1 + b/100)⁴, and pavements
designed with them too thick or too thin (:mod:`calibration.calc.pavement_design`):

    cost in a year = lane-km designed × price of a cm × E|thickness error|,

where a missing centimetre may be priced at a multiple of a needless one. Calibrating
saves the difference between the lane left as it is and the lane beginning anew from
what a session leaves, over one longest interval. Mean savings integrate over the
distribution of the bias; their interval comes from drawn paths, each with a wander and
drift of its own.

This prices pavement design alone: enforcement, bridge loads, research and the
program's standing are left out, as is the thickness of rigid pavements. The truth is
taken as nought bias on average over vehicles: spread of single weighings also raises
counted loads, calibrated or not. All prices and quantities are the agency's own.
"""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
from scipy.special import ndtr

from calibration.calc.bias_paths import BiasPaths
from calibration.calc.bias_types import (
    DAYS_PER_YEAR,
    BiasWalk,
    FloatArray,
    SteeringDrift,
    day_text,
)
from calibration.calc.pavement_design import expected_load_ratio, thickness_error_mm
from calibration.calc.worth_types import Advice, CostInputs, Worth
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Interval
from wimprog.lib.units import format_number

#: Seed used when the caller gives no generator: the same facts, the same numbers.
DEFAULT_SEED = 40_517
#: Step in time of the integrals and of the search for the day [days].
_STRIDE_DAYS = 14
#: Biases at which the cost is worked out [%]; beyond them the end's cost is taken.
_BIASES_PCT = np.linspace(-80.0, 120.0, 2001)


def calibrate_or_leave(
    walk: BiasWalk,
    key: str,
    today: dt.date,
    inputs: CostInputs,
    *,
    longest_days: int = 365,
    steering: SteeringDrift | None = None,
    level: float = 0.90,
    n_draws: int = 2000,
    rng: np.random.Generator | None = None,
) -> Worth:
    """Weigh a session on one lane against the cost of leaving it.

    Parameters
    ----------
    walk
        Fit of the lane's technology.
    key
        The lane, one of the fit's.
    today
        Day of the decision, not before its last session.
    inputs
        The agency's costs.
    longest_days
        Longest interval between sessions; also how long a session is counted on.
    steering
        Drift of the steering axle since the last session, where known.
    level
        Level of the interval of the saving.
    n_draws, rng
        Drawn paths behind the interval, and a seeded generator; without one
        :data:`DEFAULT_SEED` is used.

    Returns
    -------
    Worth
        A lane without a session is judged on what is believed of unknown biases.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the fit has no such lane, or today lies before its last session.
    """
    place = _place(walk, key, today)
    if longest_days < 1 or not 0.0 < level < 1.0:
        raise DomainError(
            "The longest interval is at least one day, and a level lies between 0 "
            "and 1."
        )
    end = walk.lanes[place]
    paths = BiasPaths.of(
        walk, None, {key: steering} if steering is not None else {}, today
    )
    since = float(paths.days_since(today)[place])
    cost = _yearly_costs(inputs)
    left = int(longest_days - since) if end.last_on is not None else 0
    stride = min(_STRIDE_DAYS, longest_days)
    n_window = math.ceil(longest_days / stride)
    window = np.append(np.arange(n_window) * float(stride), float(longest_days))
    waits = np.append(np.arange(0.0, max(left, 0), stride), float(max(left, 0)))

    fresh = _fresh_rates(walk, window, inputs.left_sd_pct, cost)
    known_days = np.arange(0.0, waits[-1] + longest_days + stride, stride)
    kept = _kept_rates(paths, place, since + known_days, cost)
    savings = np.array(
        [
            _integral(np.interp(wait + window, known_days, kept) - fresh, window)
            for wait in waits
        ]
    )
    drawn = _drawn_savings(
        paths,
        place,
        since,
        window,
        inputs.left_sd_pct,
        cost,
        n_draws,
        rng or np.random.default_rng(DEFAULT_SEED),
    )
    low, high = np.quantile(drawn, [0.5 - level / 2.0, 0.5 + level / 2.0])
    advice, on = _advice(
        savings, waits, inputs.session_cost, today, end.last_on is not None and left < 0
    )
    found = Worth(
        key=key,
        advice=advice,
        on=on,
        saving=float(savings[0]),
        saving_interval=Interval(float(low), float(high), level),
        chance_pays=float(np.mean(drawn > inputs.session_cost)),
        session_cost=inputs.session_cost,
        load_error_pct=_load_error_pct(paths, place, since),
        cost_rate=float(kept[0]),
        sentence="",
    )
    object.__setattr__(found, "sentence", _sentence(found, walk, inputs, longest_days))
    return found


def _place(walk: BiasWalk, key: str, today: dt.date) -> int:
    places = [i for i, end in enumerate(walk.lanes) if end.key == key]
    if not places:
        raise DomainError(f"The fit has no lane {key}; give one of its lanes.")
    last_on = walk.lanes[places[0]].last_on
    if last_on is not None and last_on > today:
        raise DomainError(
            f"Lane {key} has a session on {day_text(last_on)}, after the day of the "
            f"decision ({day_text(today)})."
        )
    return places[0]


def _yearly_costs(inputs: CostInputs) -> FloatArray:
    """Cost in a year of each bias of the table."""
    cm = thickness_error_mm(_BIASES_PCT, inputs.design) / 10.0
    priced = np.where(cm < 0.0, -inputs.too_thin_factor * cm, cm)
    scale = inputs.price_per_lane_km_cm * inputs.designed_lane_km_per_year
    return np.asarray(scale * priced)


def _expected(
    weights: FloatArray, mean: FloatArray, sd: FloatArray, cost: FloatArray
) -> FloatArray:
    """Mean of the table's cost under mixtures (G,), (G, m), (G, m); shape (m,)."""
    edges = (_BIASES_PCT[1:] + _BIASES_PCT[:-1]) / 2.0
    kept = weights > 1e-7
    z = (edges - mean[kept, :, None]) / sd[kept, :, None]
    below = np.einsum("g,gme->me", weights[kept] / weights[kept].sum(), ndtr(z))
    chances = np.diff(below, axis=1, prepend=0.0, append=1.0)
    return np.asarray(chances @ cost)


def _kept_rates(
    paths: BiasPaths, place: int, days: FloatArray, cost: FloatArray
) -> FloatArray:
    """Expected cost in a year on days since the last session, the lane left alone."""
    every = np.broadcast_to(days, (paths.mean.shape[1], days.size))
    mean, sd = paths.moments(np.asarray(every))
    return _expected(paths.weights, mean[:, place], sd[:, place], cost)


def _fresh_rates(
    walk: BiasWalk, days: FloatArray, left_sd_pct: float, cost: FloatArray
) -> FloatArray:
    """The same on days after a session that left the bias near nought."""
    years = days / DAYS_PER_YEAR
    mean = walk.effect_mean[:, :1] * years
    variance = (
        left_sd_pct**2
        + walk.wander_grid_pct[:, None] ** 2 * years
        + walk.effect_covariance[:, :1, 0] * years**2
    )
    return _expected(walk.weights, mean, np.sqrt(variance), cost)


def _integral(rates: FloatArray, days: FloatArray) -> FloatArray:
    """Cost over the days from rates per year, along the last axis."""
    return np.asarray(np.trapezoid(rates, days / DAYS_PER_YEAR, axis=-1))


def _drawn_savings(
    paths: BiasPaths,
    place: int,
    since: float,
    window: FloatArray,
    left_sd_pct: float,
    cost: FloatArray,
    n: int,
    rng: np.random.Generator,
) -> FloatArray:
    """Savings of a session today on drawn paths, shape (n,).

    With and without the session the lane wanders alike from today on.
    """
    kept = paths.draws(place, since + window, n=n, rng=rng)
    anew = kept - kept[:, :1] + left_sd_pct * rng.standard_normal((n, 1))
    without, with_it = (np.interp(path, _BIASES_PCT, cost) for path in (kept, anew))
    return _integral(without - with_it, window)


def _load_error_pct(paths: BiasPaths, place: int, since: float) -> float:
    days = np.full((paths.mean.shape[1], 1), since)
    mean, sd = paths.moments(days)
    ratios = [
        expected_load_ratio(float(m), float(s))
        for m, s in zip(mean[:, place, 0], sd[:, place, 0], strict=True)
    ]
    return 100.0 * (float(paths.weights @ np.array(ratios)) - 1.0)


def _advice(
    savings: FloatArray,
    waits: FloatArray,
    session_cost: float,
    today: dt.date,
    overdue: bool,
) -> tuple[Advice, dt.date]:
    if savings[0] > session_cost:
        return Advice.CALIBRATE_NOW, today
    if overdue:
        return Advice.OVERDUE, today
    pays = np.flatnonzero(savings > session_cost)
    if not pays.size:
        end = today + dt.timedelta(days=int(waits[-1]))
        return Advice.LONGEST_INTERVAL, end
    k = int(pays[0])
    over = (session_cost - savings[k - 1]) / (savings[k] - savings[k - 1])
    wait = waits[k - 1] + over * (waits[k] - waits[k - 1])
    return Advice.LEAVE, today + dt.timedelta(days=math.ceil(wait))


def _sentence(
    found: Worth, walk: BiasWalk, inputs: CostInputs, longest_days: int
) -> str:
    def money(value: float) -> str:
        sign = "−" if round(value) < 0 else ""
        return f"{sign}{inputs.currency}{format_number(abs(value), 0)}"

    span = found.saving_interval
    saves = (
        f"a session today is expected to save {money(found.saving)} over "
        f"{longest_days} days ({span.level * 100:g} % interval {money(span.low)} to "
        f"{money(span.high)}) and costs {money(found.session_cost)}; the chance that "
        f"it pays is {found.chance_pays * 100:.0f} %."
    )
    until = day_text(found.on)
    answer = {
        Advice.CALIBRATE_NOW: f"Worth it now: {saves}",
        Advice.LEAVE: f"Leave until {until}, when a session begins to pay: {saves}",
        Advice.LONGEST_INTERVAL: (
            f"Leave until {until}, when the longest interval ends: {saves}"
        ),
        Advice.OVERDUE: (
            "Calibrate, for the longest interval is over, although the costs given "
            f"here do not ask for it: {saves}"
        ),
    }[found.advice]
    return (
        f"{answer} Design loads are expected to be off by "
        f"{format_number(found.load_error_pct, 1)} % today (fourth-power rule). Rests "
        f"on {walk.basis}. {inputs.text} Only pavement design is priced."
    )
