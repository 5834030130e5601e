"""The age at which replacing a working sensor costs least.

A sensor is replaced on failure, at ``cost_failure``, or on reaching an age, at
``cost_planned``, whichever comes first, and the new one is like the old. By the renewal
reward theorem the long-run cost per year is

    C(T) = (c_f F(T) + c_p R(T)) / integral of R from 0 to T.

Planned replacement pays only where the hazard rises and a planned replacement costs
less than a failure; the best age then solves

    h(T) * integral of R from 0 to T - F(T) = c_p / (c_f - c_p),

whose left side rises with T when the hazard does, so that there is one solution.

References
----------
Barlow and Hunter, "Optimum preventive maintenance policies", Operations Research 8
(1960) 90-100 (from memory); Barlow and Proschan, Mathematical Theory of Reliability,
Wiley 1965, chapter 4 (from memory); with discounting: Fox, "Age replacement with
discounting", Operations Research 14 (1966) 533-537 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import gamma, gammainc

from installs.calc.likelihood import Array
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Interval
from wimprog.lib.units import format_number

#: Cumulative hazard beyond which nothing survives to be replaced (exp(-60) is 1e-26).
_ALL_FAILED = 60.0
#: Ages compared when the life curve is uncertain.
_GRID_SIZE = 240


@dataclass(frozen=True)
class ReplacementCosts:
    """What one replacement costs in today's money, in any one currency.

    Attributes
    ----------
    failure
        After a failure: sensor, work, closure, and the worth of the data lost until it
        works again.
    planned
        Before it: sensor, work, closure, data lost during the work.
    """

    failure: float
    planned: float

    def __post_init__(self) -> None:
        """Refuse costs that cannot be."""
        for name, value in (("failure", self.failure), ("planned", self.planned)):
            if not (math.isfinite(value) and value > 0):
                raise DomainError(
                    f"The cost of a {name} replacement must be above zero, not {value}."
                )


@dataclass(frozen=True)
class ReplacementAge:
    """The best age and what it saves.

    Attributes
    ----------
    age_years
        Infinite when replacing on failure alone costs least.
    cost_per_year
        Long-run cost per position and year at that age.
    on_failure_cost_per_year
        The same when replacing on failure alone.
    age_interval
        What the life curve leaves open; an end may be infinite. None when the curve
        was taken as known.
    never_share
        Share of the draws of the curve in which replacing on failure is best.
    sentence
        For people.
    """

    age_years: float
    cost_per_year: float
    on_failure_cost_per_year: float
    sentence: str
    age_interval: Interval | None = None
    never_share: float | None = None

    @property
    def never(self) -> bool:
        """Whether working sensors should be left until they fail."""
        return math.isinf(self.age_years)

    @property
    def saving_frac(self) -> float:
        """Share of the cost of replacing on failure that the age saves."""
        return 1.0 - self.cost_per_year / self.on_failure_cost_per_year


def cost_rate(
    shape: ArrayLike,
    scale_years: ArrayLike,
    age_years: ArrayLike,
    costs: ReplacementCosts,
) -> Array:
    """Long-run cost per year when Weibull lives are replaced at an age or on failure.

    Parameters
    ----------
    shape, scale_years, age_years
        Weibull parameters and the age of planned replacement, above zero (the age may
        be infinite), broadcast against each other.
    costs
        Cost of a replacement after failure and of a planned one.

    Returns
    -------
    numpy.ndarray
        Cost per position and year, of the broadcast shape.
    """
    beta, eta, age = (
        np.asarray(value, dtype=float) for value in (shape, scale_years, age_years)
    )
    _check_positive(shape=beta, scale_years=eta, age_years=age)
    hazard = (age / eta) ** beta
    surviving = np.exp(-hazard)
    cycle = eta * gamma(1.0 + 1.0 / beta) * gammainc(1.0 / beta, hazard)
    return np.asarray(
        (costs.failure * (1.0 - surviving) + costs.planned * surviving) / cycle
    )


def cost_rate_of_curve(
    survival: Callable[[float], float], age_years: float, costs: ReplacementCosts
) -> float:
    """The same for any survival curve, by quadrature.

    Parameters
    ----------
    survival
        Share that survives to an age in years; continuous.
    age_years
        Age of planned replacement, above zero and finite.
    costs
        Cost of a replacement after failure and of a planned one.
    """
    _check_positive(age_years=np.asarray(age_years))
    cycle = quad(survival, 0.0, age_years, limit=200)[0]
    surviving = survival(age_years)
    return float(
        (costs.failure * (1.0 - surviving) + costs.planned * surviving) / cycle
    )


def optimal_age_years(
    shape: ArrayLike, scale_years: ArrayLike, costs: ReplacementCosts
) -> Array:
    """Age at which planned replacement of Weibull lives costs least.

    Parameters
    ----------
    shape, scale_years
        Weibull parameters, broadcast against each other.
    costs
        Cost of a replacement after failure and of a planned one.

    Returns
    -------
    numpy.ndarray
        Ages in years; infinite where the shape is 1 or less, where a planned
        replacement costs no less than a failure, or where so few would survive to the
        age that nothing is saved.
    """
    beta, eta = np.broadcast_arrays(
        np.asarray(shape, dtype=float), np.asarray(scale_years, dtype=float)
    )
    _check_positive(shape=beta, scale_years=eta)
    if costs.planned >= costs.failure:
        return np.full(beta.shape, math.inf)
    target = costs.planned / (costs.failure - costs.planned)
    # Bisection in the log of (age / scale): monotone, so all at once and safe.
    high = np.log(_ALL_FAILED) / beta
    low = np.full(beta.shape, -40.0)
    possible = (beta > 1.0) & (_balance(beta, np.exp(high)) > target)
    for _ in range(80):
        middle = (low + high) / 2.0
        above = _balance(beta, np.exp(middle)) > target
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    return np.where(possible, eta * np.exp(high), math.inf)


def _balance(beta: Array, ratio: Array) -> Array:
    """h(T) times the mean cycle, less F(T), for scale 1."""
    hazard = ratio**beta
    cycle = gamma(1.0 + 1.0 / beta) * gammainc(1.0 / beta, hazard)
    return np.asarray(beta * ratio ** (beta - 1.0) * cycle + np.expm1(-hazard))


def best_replacement_age(
    shape: float, scale_years: float, costs: ReplacementCosts, *, currency: str = "$"
) -> ReplacementAge:
    """The best age for one Weibull curve taken as known, with the sentence."""
    age = float(optimal_age_years(shape, scale_years, costs))
    on_failure = float(cost_rate(shape, scale_years, math.inf, costs))
    rate = float(cost_rate(shape, scale_years, age, costs))
    why = ""
    if costs.planned >= costs.failure:
        why = "a planned replacement costs no less than a failure"
    elif shape <= 1.0:
        why = "the hazard does not rise with age"
    elif math.isinf(age):
        why = "hardly any would reach an age at which it paid"
    return ReplacementAge(
        age, rate, on_failure, _sentence(age, rate, on_failure, why, currency)
    )


def best_age_of_draws(
    shapes: ArrayLike,
    scales_years: ArrayLike,
    costs: ReplacementCosts,
    *,
    level: float = 0.90,
    currency: str = "$",
) -> ReplacementAge:
    """The best age when the life curve is known only through draws.

    The age minimises the cost per year averaged over the draws, which is what the
    agency can expect to pay; it is not the average of the best ages.

    Parameters
    ----------
    shapes, scales_years
        Draws of the Weibull parameters, shape (n,), as from
        :func:`installs.calc.survival.parameter_draws`.
    costs
        Cost of a replacement after failure and of a planned one.
    level
        Level of the interval of the age.
    currency
        Its sign, for the sentence.
    """
    beta = np.atleast_1d(np.asarray(shapes, dtype=float))
    eta = np.atleast_1d(np.asarray(scales_years, dtype=float))
    ages = optimal_age_years(beta, eta, costs)
    on_failure = float(np.mean(cost_rate(beta, eta, math.inf, costs)))
    finite = ages[np.isfinite(ages)]
    best, rate = math.inf, on_failure
    if finite.size:
        grid = np.geomspace(finite.min(), finite.max(), _GRID_SIZE)
        means = np.array([np.mean(cost_rate(beta, eta, age, costs)) for age in grid])
        if means.min() < on_failure:
            best, rate = float(grid[means.argmin()]), float(means.min())
    # Quantiles by order, so that infinite ages may stand among them.
    tails = [(1.0 - level) / 2.0, (1.0 + level) / 2.0]
    low, high = np.quantile(ages, tails, method="inverted_cdf")
    never = float(np.mean(np.isinf(ages)))
    why = "the life curve does not show clearly enough that the hazard rises"
    sentence = _sentence(best, rate, on_failure, why, currency)
    return ReplacementAge(
        best,
        rate,
        on_failure,
        f"{sentence} {_reach(float(low), float(high), level, never)}",
        age_interval=Interval(float(low), float(high), level),
        never_share=never,
    )


def _sentence(
    age: float, rate: float, on_failure: float, why: str, currency: str
) -> str:
    dear = f"{currency}{format_number(on_failure, 0)}"
    if math.isinf(age):
        return (
            "Leave working sensors until they fail: "
            f"{why}. That costs {dear} a year for each position."
        )
    saved = 100.0 * (1.0 - rate / on_failure)
    return (
        f"Replacing at {format_number(age, 1)} years costs least: "
        f"{currency}{format_number(rate, 0)} a year for each position, against {dear} "
        f"on failure alone ({format_number(saved, 0)} % saved)."
    )


def _reach(low: float, high: float, level: float, never: float) -> str:
    share = format_number(100.0 * level, 0)
    if math.isinf(low):
        return f"In {format_number(100.0 * never, 0)} % of the likely life curves so."
    ends = (
        f"{format_number(low, 1)} years or more, in some curves never"
        if math.isinf(high)
        else f"{format_number(low, 1)} to {format_number(high, 1)} years"
    )
    return f"The best age lies at {ends} ({share} % of the likely life curves)."


def discounted_cost_per_year(
    shape: float,
    scale_years: float,
    age_years: float,
    costs: ReplacementCosts,
    *,
    rate_per_year: float,
) -> float:
    """Cost per year that is worth the same as all future replacements, discounted.

    The present value of all replacements to come, beginning with a new sensor already
    paid for, times the force of interest r = ln(1 + rate):

        (c_f * integral of exp(-r t) dF + c_p exp(-r T) R(T))
        / integral of exp(-r t) R dt,

    both integrals from 0 to T. It tends to :func:`cost_rate` as the rate tends to 0.

    Parameters
    ----------
    shape, scale_years, age_years
        Weibull parameters and the age, which may be infinite.
    costs
        Cost of a replacement after failure and of a planned one.
    rate_per_year
        Discount rate above inflation, such as 0.03; zero or more.
    """
    force = _force(rate_per_year)
    cycle, left = _discounted(shape, scale_years, age_years, force)
    failed = 1.0 - left - force * cycle
    return (costs.failure * failed + costs.planned * left) / cycle


def discounted_optimal_age_years(
    shape: float,
    scale_years: float,
    costs: ReplacementCosts,
    *,
    rate_per_year: float,
) -> float:
    """Age of least discounted cost; infinite under the conditions of the plain one.

    Solves h(T) * J - (1 - exp(-r T) R(T) - r J) = c_p / (c_f - c_p), J the integral of
    exp(-r t) R from 0 to T. Later than without discounting.
    """
    force = _force(rate_per_year)
    plain = float(optimal_age_years(shape, scale_years, costs))
    if math.isinf(plain):
        return math.inf
    target = costs.planned / (costs.failure - costs.planned)

    def excess(age: float) -> float:
        cycle, left = _discounted(shape, scale_years, age, force)
        hazard = shape / scale_years * (age / scale_years) ** (shape - 1.0)
        return hazard * cycle - (1.0 - left - force * cycle) - target

    latest = scale_years * _ALL_FAILED ** (1.0 / shape)
    if excess(latest) <= 0.0:
        return math.inf
    return float(brentq(excess, plain * (1.0 - 1e-6), latest, xtol=1e-9))


def _discounted(
    shape: float, scale_years: float, age_years: float, force: float
) -> tuple[float, float]:
    """Discounted years in service of a cycle, and discounted share planned."""
    _check_positive(
        shape=np.asarray(shape),
        scale_years=np.asarray(scale_years),
        age_years=np.asarray(age_years),
    )
    last = min(age_years, scale_years * _ALL_FAILED ** (1.0 / shape))
    cycle = quad(
        lambda t: math.exp(-force * t - (t / scale_years) ** shape),
        0.0,
        last,
        limit=200,
        epsabs=0.0,
        epsrel=1e-10,
    )[0]
    left = math.exp(-force * last - (last / scale_years) ** shape)
    return cycle, left


def _force(rate_per_year: float) -> float:
    if not (math.isfinite(rate_per_year) and rate_per_year >= 0):
        raise DomainError(
            f"A discount rate of {rate_per_year} a year cannot be; give a share such "
            "as 0.03."
        )
    return math.log1p(rate_per_year)


def _check_positive(**values: Any) -> None:
    for name, value in values.items():
        if not np.all(value > 0):
            raise DomainError(
                f"Age replacement: {name} must be above zero, not {value}."
            )
