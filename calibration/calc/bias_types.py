"""What goes into the model of a lane's wandering bias, and what comes out of it.

Biases are in per cent of gross weight, at a pavement temperature named the reference.
Years are of 365.25 days.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Interval
from wimprog.lib.units import format_number

FloatArray = NDArray[np.float64]

DAYS_PER_YEAR = 365.25


def day_text(day: dt.date) -> str:
    """A day for people.

    >>> day_text(dt.date(2031, 5, 3))
    '3 May 2031'
    """
    return f"{day.day} {day:%b %Y}"


def counted(n: int, noun: str) -> str:
    """A number with its noun.

    >>> counted(1, "session"), counted(3, "session")
    ('1 session', '3 sessions')
    """
    return f"{n:,} {noun}" if n == 1 else f"{n:,} {noun}s"


@dataclass(frozen=True)
class BiasSession:
    """What one session showed of a lane's gross-weight bias.

    Attributes
    ----------
    held_on
        Day of the session.
    found_pct, found_se_pct
        Mean error of gross weight before any adjustment [%] and its standard error
        [%]; both None where no as-found runs were made.
    left_pct, left_se_pct
        The same after the adjustment.
    adjusted
        Whether the factor was changed. Without verification runs a changed factor is
        taken to have made the as-found error nought, to within its standard error.
    found_temp_c, left_temp_c
        Mean pavement temperature of the runs [°C]; None is taken as the reference.
    """

    held_on: dt.date
    found_pct: float | None = None
    found_se_pct: float | None = None
    left_pct: float | None = None
    left_se_pct: float | None = None
    adjusted: bool = True
    found_temp_c: float | None = None
    left_temp_c: float | None = None

    def __post_init__(self) -> None:
        """Refuse a mean without its standard error, and numbers that are none."""
        for stage in ("found", "left"):
            mean = getattr(self, f"{stage}_pct")
            se = getattr(self, f"{stage}_se_pct")
            if (mean is None) != (se is None):
                raise DomainError(
                    f"Session of {day_text(self.held_on)}: the as-{stage} bias and its "
                    "standard error go together; give both or neither."
                )
            if mean is not None and not math.isfinite(mean):
                raise DomainError(
                    f"Session of {day_text(self.held_on)}: the as-{stage} bias is "
                    f"{mean}; give a number in per cent."
                )
            if se is not None and not (math.isfinite(se) and se > 0):
                raise DomainError(
                    f"Session of {day_text(self.held_on)}: the standard error of the "
                    f"as-{stage} bias is {se}; it is greater than zero."
                )


@dataclass(frozen=True)
class LaneSessions:
    """One lane's sessions.

    Attributes
    ----------
    key
        What the caller knows the lane by.
    sessions
        Its sessions, in any order, one a day at most.
    broken_on
        Days on which sensors, electronics or pavement changed so that what was known
        of the bias is gone. An interval with such a day in it tells nothing of wander.
    """

    key: str
    sessions: tuple[BiasSession, ...]
    broken_on: tuple[dt.date, ...] = ()

    def __post_init__(self) -> None:
        """Order the sessions; refuse two on one day."""
        ordered = tuple(sorted(self.sessions, key=lambda one: one.held_on))
        days = [one.held_on for one in ordered]
        if len(set(days)) < len(days):
            twice = next(a for a, b in pairwise(days) if a == b)
            raise DomainError(
                f"Lane {self.key} has two sessions on {day_text(twice)}; join them "
                "into one."
            )
        object.__setattr__(self, "sessions", ordered)


@dataclass(frozen=True)
class SteeringDrift:
    """Change of the steering-axle mean of class 9 trucks since the last session.

    Attributes
    ----------
    day
        Day that the estimate is of.
    change_pct
        Change since the last session [%], positive when weights have risen.
    sd_pct
        Its standard deviation as a measure of the change of gross-weight bias [%]:
        sampling, and the steering axles of the fleet themselves changing.
    """

    day: dt.date
    change_pct: float
    sd_pct: float

    def __post_init__(self) -> None:
        """Refuse a spread that is none."""
        if not (math.isfinite(self.sd_pct) and self.sd_pct > 0):
            raise DomainError(
                f"The standard deviation of the steering-axle drift is {self.sd_pct}; "
                "it is greater than zero."
            )


@dataclass(frozen=True)
class WalkPrior:
    """What is believed of a technology's wander before the agency's own sessions.

    The defaults are common practice without a source: recalibration once a year and
    alarms at 3 to 5 % drift would make little sense for lanes that wandered much less
    or much more.

    Attributes
    ----------
    wander_pct
        Median of the wander: standard deviation that a year adds [%].
    log_wander_sd
        Spread of its logarithm; 0.7 says: two chances in three that the true value
        lies within a factor 2.
    drift_pct_per_year, drift_sd
        Steady drift expected [%/year] and its standard deviation.
    temperature_pct_per_c, temperature_sd
        Effect of pavement temperature expected [%/°C] and its standard deviation.
    session_sd_pct
        What a session's mean is off by beyond its standard error [%]: other trucks,
        another scale. Taken as known.
    unknown_sd_pct
        Spread of a bias of which nothing was measured [%]. Taken as known.
    source, standing
        Where this is from, and "from memory", "common practice, no source" or
        "agency's own".
    """

    wander_pct: float = 2.0
    log_wander_sd: float = 0.7
    drift_pct_per_year: float = 0.0
    drift_sd: float = 1.0
    temperature_pct_per_c: float = 0.0
    temperature_sd: float = 0.1
    session_sd_pct: float = 0.5
    unknown_sd_pct: float = 10.0
    source: str = "yearly recalibration and alarms at 3 to 5 % drift"
    standing: str = "common practice, no source"

    def __post_init__(self) -> None:
        """Refuse numbers that make no distribution."""
        for name in (
            "wander_pct",
            "log_wander_sd",
            "drift_sd",
            "temperature_sd",
            "unknown_sd_pct",
        ):
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0):
                raise DomainError(
                    f"Expected wander: {name} must be above zero, not {value}."
                )
        if not (math.isfinite(self.session_sd_pct) and self.session_sd_pct >= 0):
            raise DomainError(
                "Expected wander: session_sd_pct must be zero or more, not "
                f"{self.session_sd_pct}."
            )

    @property
    def text(self) -> str:
        """The prior in words."""
        factor = math.exp(self.log_wander_sd)
        return (
            f"before any session, wander of about {self.wander_pct:g} % in a year (two "
            f"chances in three: {format_number(self.wander_pct / factor, 1)} to "
            f"{format_number(self.wander_pct * factor, 1)} %), drift "
            f"{format_number(self.drift_pct_per_year, 1)} ± {self.drift_sd:g} % a "
            f"year, temperature {format_number(self.temperature_pct_per_c, 2)} ± "
            f"{self.temperature_sd:g} % per °C ({self.source}; {self.standing})"
        )


@dataclass(frozen=True)
class Estimate:
    """A parameter: its most likely value or mean, its spread and its interval."""

    value: float
    sd: float
    interval: Interval


@dataclass(frozen=True, eq=False)
class LaneEnd:
    """Where the filter leaves a lane: its bias just after its last session.

    For each of the G wander values of the fit, given drift and temperature effect
    (d, g), the bias is normal with mean ``mean + effect @ (d, g)`` and variance
    ``variance``.

    Attributes
    ----------
    key
        The lane.
    last_on
        Day of the last session; None where there is none, or where works since then
        ended what was known.
    broken_on
        Day of those works.
    n_sessions, n_intervals
        Its sessions, and the intervals between readings that tell of wander.
    misfit_p
        Chance of intervals as wild as this lane's, were it like the others of its
        kind; None without an interval.
    mean, variance
        Shape (G,) [%, %²].
    effect
        Shape (G, 2).
    """

    key: str
    last_on: dt.date | None
    broken_on: dt.date | None
    n_sessions: int
    n_intervals: int
    misfit_p: float | None
    mean: FloatArray
    variance: FloatArray
    effect: FloatArray


@dataclass(frozen=True, eq=False)
class BiasWalk:
    """How the biases of one technology's lanes wander.

    ``weights`` is the posterior of the wander on the values ``wander_grid_pct``; given
    each of these, (drift, temperature effect) is normal with mean ``effect_mean`` and
    covariance ``effect_covariance``.

    Attributes
    ----------
    technology
        Name of the technology.
    prior
        What was believed beforehand.
    reference_temp_c
        Temperature at which biases are given [°C]; None where no session has one.
    wander, drift, temperature
        Standard deviation that a year adds [%] (posterior mode of its logarithm),
        drift [%/year], effect of temperature [%/°C] (posterior means).
    n_lanes, n_sessions, n_intervals
        What the fit rests on; lanes without sessions are not counted.
    prior_share
        Share of what is known of the wander that the prior brought, 0 to 1.
    sentence
        The fit for people.
    """

    technology: str
    prior: WalkPrior
    reference_temp_c: float | None
    wander: Estimate
    drift: Estimate
    temperature: Estimate
    n_lanes: int
    n_sessions: int
    n_intervals: int
    prior_share: float
    sentence: str
    wander_grid_pct: FloatArray = field(repr=False)
    weights: FloatArray = field(repr=False)
    effect_mean: FloatArray = field(repr=False)
    effect_covariance: FloatArray = field(repr=False)
    lanes: tuple[LaneEnd, ...] = field(repr=False)

    @property
    def basis(self) -> str:
        """What the fit rests on, in one line."""
        return (
            f"{counted(self.n_intervals, 'interval')} of "
            f"{counted(self.n_lanes, f'{self.technology} lane')}; prior's share "
            f"{self.prior_share * 100:.0f} %"
        )


@dataclass(frozen=True)
class BiasOn:
    """A lane's bias on a day: mean, spread, interval and chance of being out.

    ``chance_out`` is the chance that the size of the bias exceeds the tolerance,
    ``expected_size_pct`` the mean of that size [%].
    """

    day: dt.date
    mean_pct: float
    sd_pct: float
    interval: Interval
    chance_out: float
    expected_size_pct: float


@dataclass(frozen=True)
class LaneBias:
    """What is believed of a lane's bias today and later.

    Attributes
    ----------
    key
        The lane.
    today
        Its bias today; None without a session that still holds.
    later
        On the further days asked for.
    passes_on
        First day on which the chance of being out reaches the level; may lie in the
        past. None when that does not happen within the longest interval.
    interval_ends_on
        Last day of the longest interval after the last session.
    worst
        The day of that search with the largest expected size of bias.
    tolerance_pct, level
        What was asked.
    sentence
        All of it for people, with what it rests on.
    """

    key: str
    today: BiasOn | None
    later: tuple[BiasOn, ...]
    passes_on: dt.date | None
    interval_ends_on: dt.date | None
    worst: BiasOn | None
    tolerance_pct: float
    level: float
    sentence: str
