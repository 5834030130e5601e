"""The filter and the forecast against the joint normal distribution, written out.

The readings of a lane are jointly normal; their mean vector and covariance matrix
follow from the definition of a random walk (covariance of b(s) and b(t) is u² + w²
min(s, t) since the last reset) without any filter. scipy's multivariate normal gives
the density; conditioning a normal on another (Anderson, An Introduction to Multivariate
Statistical Analysis, 3rd ed., 2003, theorem 2.5.1, from memory) gives the forecast.
"""

import datetime as dt
import math
from itertools import pairwise

import numpy as np
import pytest
from scipy import integrate
from scipy.stats import multivariate_normal, norm

from calibration.calc.bias_filter import log_likelihood
from calibration.calc.bias_forecast import forecast_bias
from calibration.calc.bias_types import (
    DAYS_PER_YEAR,
    BiasSession,
    LaneSessions,
    SteeringDrift,
    WalkPrior,
)
from calibration.calc.bias_walk import fit_bias_walk

PRIOR = WalkPrior(
    wander_pct=1.5,
    log_wander_sd=0.6,
    drift_pct_per_year=0.3,
    drift_sd=0.8,
    temperature_pct_per_c=0.05,
    temperature_sd=0.1,
    session_sd_pct=0.4,
    unknown_sd_pct=8.0,
)
START = dt.date(2030, 1, 1)
REFERENCE_C = 15.0


def on(days):
    return START + dt.timedelta(days=days)


LANES = [
    LaneSessions(
        "A",
        (
            BiasSession(on(0), 2.0, 0.5, 0.2, 0.4, True, 22.0, 24.0),
            BiasSession(on(300), 1.1, 0.6, None, None, False, 3.0),
            BiasSession(on(420), -2.5, 0.5, 0.1, 0.5, True, 0.0, None),
            BiasSession(on(800), 3.0, 0.4, -0.3, 0.3, True, 30.0, 31.0),
        ),
    ),
    LaneSessions(
        "B",
        (
            BiasSession(on(50), None, None, 0.3, 0.6, True, None, 20.0),
            BiasSession(on(400), 2.2, 0.7, None, None, True, 12.0),
            BiasSession(on(700), -0.8, 0.5, None, None, False, 9.0),
        ),
        broken_on=(on(500),),
    ),
]


# What each reading shows, written by hand from LANES: lane, stretch between resets,
# days, value, variance, °C. A lane adjusted without verification runs (B, day 400) is
# read as nought with the as-found error; nothing is known across B's works of day 500.
READINGS = [
    ("A", 0, 0, 2.0, 0.5**2, 22.0),
    ("A", 1, 0, 0.2, 0.4**2, 24.0),
    ("A", 1, 300, 1.1, 0.6**2, 3.0),
    ("A", 1, 420, -2.5, 0.5**2, 0.0),
    ("A", 2, 420, 0.1, 0.5**2, 0.0),
    ("A", 2, 800, 3.0, 0.4**2, 30.0),
    ("A", 3, 800, -0.3, 0.3**2, 31.0),
    ("B", 1, 50, 0.3, 0.6**2, 20.0),
    ("B", 1, 400, 2.2, 0.7**2, 12.0),
    ("B", 2, 400, 0.0, 0.7**2, 12.0),
    ("B", 3, 700, -0.8, 0.5**2, 9.0),
]
FIRST_DAY = {("A", 0): 0, ("A", 1): 0, ("A", 2): 420, ("A", 3): 800}
FIRST_DAY |= {("B", 1): 50, ("B", 2): 400, ("B", 3): 700}


def rows(extra=()):
    """Lane and stretch, years since the reset, and the rest, of readings and extras."""
    found = []
    for lane, stretch, day, value, variance, temp in [*READINGS, *extra]:
        years = (day - FIRST_DAY[lane, stretch]) / DAYS_PER_YEAR
        found.append(((lane, stretch), years, value, variance, temp - REFERENCE_C))
    return found


def joint(found, wander, noisy):
    """Values, covariance given the effects, and coefficients of the effects."""
    years = np.array([row[1] for row in found])
    stretch = np.array([f"{lane}{number}" for (lane, number), *_ in found])
    together = PRIOR.unknown_sd_pct**2 + wander**2 * np.minimum.outer(years, years)
    covariance = np.where(stretch[:, None] == stretch, together, 0.0)
    own = np.array([row[3] for row in found]) + PRIOR.session_sd_pct**2
    covariance += np.diag(np.where(noisy, own, 0.0))
    values = np.array([row[2] for row in found])
    effects = np.array([[row[1], row[4]] for row in found])
    return values, covariance, effects


@pytest.mark.parametrize("wander", [0.3, 1.7, 5.0])
def test_the_likelihood_is_that_of_the_joint_normal(wander):
    values, covariance, effects = joint(rows(), wander, [True] * len(READINGS))
    for drift, temperature in [(0.0, 0.0), (0.9, -0.07)]:
        expected = multivariate_normal(
            effects @ [drift, temperature], covariance
        ).logpdf(values)
        found = log_likelihood(
            LANES,
            wander_pct=wander,
            drift_pct_per_year=drift,
            temperature_pct_per_c=temperature,
            prior=PRIOR,
            reference_temp_c=REFERENCE_C,
        )
        assert found == pytest.approx(expected, abs=1e-9)


def posterior(extra, steering=None):
    """Mean and variance of the biases ``extra`` asks for, by brute force.

    Drift and temperature effect are random with their prior: they join the covariance.
    Wander is integrated by adaptive quadrature over its logarithm. A steering reading
    is left to one test: it is conditioned on after the sessions.
    """
    found = rows(extra)
    noisy = [True] * len(READINGS) + [False] * len(extra)
    n = len(READINGS)
    before = np.array([PRIOR.drift_pct_per_year, PRIOR.temperature_pct_per_c])
    spread = np.diag([PRIOR.drift_sd**2, PRIOR.temperature_sd**2])

    def given(log_wander):
        values, covariance, effects = joint(found, math.exp(log_wander), noisy)
        mean = effects @ before
        covariance = covariance + effects @ spread @ effects.T
        known, wanted = covariance[:n, :n], covariance[n:, :n]
        weight = multivariate_normal(mean[:n], known).pdf(values[:n])
        weight *= norm.pdf(log_wander, math.log(PRIOR.wander_pct), PRIOR.log_wander_sd)
        middle = mean[n:] + wanted @ np.linalg.solve(known, values[:n] - mean[:n])
        left = covariance[n:, n:] - wanted @ np.linalg.solve(known, wanted.T)
        variance = np.diag(left)
        return np.concatenate(
            [[weight], weight * middle, weight * (variance + middle**2)]
        )

    ends = math.log(PRIOR.wander_pct) + np.array([-8, 8]) * PRIOR.log_wander_sd
    whole, _ = integrate.quad_vec(given, *ends, epsrel=1e-12, epsabs=0.0)
    m = len(extra)
    mean = whole[1 : m + 1] / whole[0]
    return mean, whole[m + 1 :] / whole[0] - mean**2


def test_the_forecast_is_the_conditional_distribution():
    walk = fit_bias_walk(
        LANES, technology="quartz piezo", prior=PRIOR, reference_temp_c=REFERENCE_C
    )
    today = on(900)
    found = forecast_bias(
        walk, today, tolerance_pct=3.0, later_days=(200,), pavement_temp_c=28.0
    )
    wanted = [
        (lane, 3, day, 0.0, 0.0, 28.0) for lane in ("A", "B") for day in (900, 1100)
    ]
    mean, variance = posterior(wanted)
    got = [one for lane in found for one in (lane.today, *lane.later)]
    assert [one.mean_pct for one in got] == pytest.approx(mean, rel=1e-6)
    assert [one.sd_pct**2 for one in got] == pytest.approx(variance, rel=1e-6)


def test_a_steering_reading_is_the_conditional_distribution_given_the_pool():
    """With effects and wander all but known: condition on change + error by hand."""
    prior = WalkPrior(
        wander_pct=1.5,
        log_wander_sd=1e-5,
        drift_pct_per_year=0.6,
        drift_sd=1e-7,
        temperature_sd=1e-7,
        session_sd_pct=0.4,
        unknown_sd_pct=8.0,
    )
    lane = LaneSessions("A", (BiasSession(on(0), 2.0, 0.5, 0.2, 0.4),))
    walk = fit_bias_walk([lane], technology="load cell", prior=prior)
    reading = SteeringDrift(on(200), 2.4, 0.9)
    (found,) = forecast_bias(walk, on(300), tolerance_pct=3.0, steering={"A": reading})
    h, k = 200 / DAYS_PER_YEAR, 300 / DAYS_PER_YEAR
    # (b(k), left reading, steering reading), b(0) with spread 8 before the reading
    walk2, u2 = 1.5**2, 64.0
    known = np.array([[u2 + 0.4**2 + 0.4**2, 0.0], [0.0, walk2 * h + 0.9**2]])
    cross = np.array([u2, walk2 * h])
    seen = np.array([0.2, 2.4 - 0.6 * h])
    gain = np.linalg.solve(known, cross)
    assert found.today.mean_pct == pytest.approx(0.6 * k + gain @ seen, rel=1e-5)
    assert found.today.sd_pct**2 == pytest.approx(
        u2 + walk2 * k - gain @ cross, rel=1e-4
    )


def test_the_interval_of_wander_is_that_of_the_integrated_posterior():
    walk = fit_bias_walk(
        LANES, technology="quartz piezo", prior=PRIOR, reference_temp_c=REFERENCE_C
    )
    before = [PRIOR.drift_pct_per_year, PRIOR.temperature_pct_per_c]
    spread = np.diag([PRIOR.drift_sd**2, PRIOR.temperature_sd**2])

    def density(log_wander):
        values, covariance, effects = joint(
            rows(), math.exp(log_wander), [True] * len(READINGS)
        )
        covariance = covariance + effects @ spread @ effects.T
        weight = multivariate_normal(effects @ before, covariance).pdf(values)
        return weight * norm.pdf(
            log_wander, math.log(PRIOR.wander_pct), PRIOR.log_wander_sd
        )

    cuts = [math.log(x) for x in (0.01, walk.wander.interval.low)]
    cuts += [math.log(x) for x in (walk.wander.interval.high, 200.0)]
    parts = [
        integrate.quad(density, a, b, epsrel=1e-8, epsabs=0.0)[0]
        for a, b in pairwise(cuts)
    ]
    shares = np.array(parts) / sum(parts)
    assert shares == pytest.approx([0.05, 0.90, 0.05], abs=5e-4)
