"""Lives of sensors, the prior about them, and what was fitted to them."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date
from statistics import NormalDist

from installs.calc.types.words import FitMethod, LifeOutcome
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Interval

DAYS_PER_YEAR = 365.25
ONE_DAY_YEARS = 1.0 / DAYS_PER_YEAR


def years_between(earlier: date, later: date) -> float:
    """Years of 365.25 days from one day to another (negative when out of order)."""
    return (later - earlier).days / DAYS_PER_YEAR


@dataclass(frozen=True)
class Life:
    """One sensor's service in one position: until it failed, or until last known alive.

    Attributes
    ----------
    age_years
        Age at exit: at failure (or when the failure was found), or when last known to
        be working.
    failed
        Whether the exit was a failure; otherwise the life is right-censored.
    entry_age_years
        Age at which the records begin to watch this sensor (delayed entry): 0 for one
        watched since its installation.
    low_years, high_years
        For a failure found at a visit: the ages between which it happened (last good
        test, first bad). Both or neither.
    key
        The caller's name for the life, repeated in complaints.
    until_years
        Age to which it would have been watched, had it not failed: its age on the day
        of the forecast. None when not known.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When an age is negative or not a number, when exit is before entry, or when the
        bracket of a failure is half given, out of order, or not of a failure.
    """

    age_years: float
    failed: bool
    entry_age_years: float = 0.0
    low_years: float | None = None
    high_years: float | None = None
    key: str = ""
    until_years: float | None = None

    def __post_init__(self) -> None:
        """Refuse a life that cannot have been lived."""
        who = f"Life {self.key}: " if self.key else "A life: "
        given = (
            self.age_years,
            self.entry_age_years,
            self.low_years,
            self.high_years,
            self.until_years,
        )
        if any(age is not None and not math.isfinite(age) for age in given):
            raise DomainError(f"{who}an age is not a number; give ages in years.")
        if any(age is not None and age < 0 for age in given):
            raise DomainError(
                f"{who}an age is negative; a sensor cannot leave before it is "
                "installed. Correct the dates."
            )
        if self.age_years < self.entry_age_years:
            raise DomainError(
                f"{who}it leaves at {self.age_years:.2f} years, before the records "
                f"begin to watch it at {self.entry_age_years:.2f} years."
            )
        if self.until_years is not None and self.until_years < self.age_years - 1e-9:
            raise DomainError(
                f"{who}it leaves at {self.age_years:.2f} years, after the records stop "
                f"watching it at {self.until_years:.2f} years."
            )
        self._check_bracket(who)

    def _check_bracket(self, who: str) -> None:
        if self.low_years is None and self.high_years is None:
            return
        if self.low_years is None or self.high_years is None:
            raise DomainError(
                f"{who}a bracketed failure needs both the last good and the first bad "
                "age."
            )
        if not self.failed:
            raise DomainError(f"{who}only a failure can be bracketed between tests.")
        if self.high_years <= self.low_years:
            raise DomainError(
                f"{who}the last good age {self.low_years:.2f} is not before the first "
                f"bad age {self.high_years:.2f}."
            )
        if self.low_years < self.entry_age_years:
            raise DomainError(
                f"{who}its last good test at {self.low_years:.2f} years lies before "
                f"the records begin at {self.entry_age_years:.2f} years."
            )

    @property
    def outcome(self) -> LifeOutcome:
        """Failed or censored, in a word."""
        return LifeOutcome.FAILED if self.failed else LifeOutcome.CENSORED

    @property
    def is_bracketed(self) -> bool:
        """Whether the failure is known only to lie between two ages."""
        return self.low_years is not None

    @property
    def point_age_years(self) -> float:
        """One age for methods that need one: the middle of a bracket, else the exit.

        Dates are whole days, so a failure on the day that watching began counts as one
        day of service.
        """
        if self.low_years is not None and self.high_years is not None:
            return (self.low_years + self.high_years) / 2.0
        if self.failed:
            return max(self.age_years, self.entry_age_years + ONE_DAY_YEARS)
        return self.age_years


@dataclass(frozen=True)
class LifePrior:
    """What is believed about a technology's life before the agency's own failures.

    ``log(shape) ~ Normal(log(shape), log_shape_sd)`` and
    ``log(median life) ~ Normal(log(median_years), log_median_sd)``.

    Attributes
    ----------
    median_years
        Median life expected.
    source
        Where the expectation is from, shown with every number that rests on it.
    log_median_sd
        0.5 says: two chances in three that the true median lies within a factor 1.65.
    shape, log_shape_sd
        Weibull shape expected (2: wear-out) and its spread.
    standing
        "from memory", "common practice, no source" or "agency's own".
    borrowed_failures
        Failures of other groups that this expectation was moved by.
    """

    median_years: float
    source: str
    log_median_sd: float = 0.5
    shape: float = 2.0
    log_shape_sd: float = 0.4
    standing: str = "agency's own"
    borrowed_failures: int = 0

    def __post_init__(self) -> None:
        """Refuse numbers that make no distribution."""
        for name in ("median_years", "log_median_sd", "shape", "log_shape_sd"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0):
                raise DomainError(
                    f"Expected life: {name} must be a number above zero, not {value}."
                )

    @property
    def text(self) -> str:
        """The prior in one line."""
        return (
            f"expected median life {self.median_years:.3g} years "
            f"({self.source}; {self.standing}), shape about {self.shape:.2g}"
        )


@dataclass(frozen=True)
class SurvivalCurve:
    """Kaplan–Meier estimate, one entry for each age at which a failure happened.

    ``survival`` holds from its age (included) to the next; before the first it is 1.
    ``low`` and ``high`` are NaN where the log–log interval does not exist (survival 0).
    The curve says nothing beyond ``last_age_years``.
    """

    age_years: tuple[float, ...]
    at_risk: tuple[int, ...]
    failures: tuple[int, ...]
    survival: tuple[float, ...]
    standard_error: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    level: float
    n_units: int
    n_failures: int
    last_age_years: float
    notes: tuple[str, ...] = ()

    @property
    def median_years(self) -> float | None:
        """The first age at which half or fewer survive; None if that is not reached."""
        for age, survival in zip(self.age_years, self.survival, strict=True):
            if survival <= 0.5 + 1e-12:
                return age
        return None


@dataclass(frozen=True)
class IncidenceCurve:
    """Share ended by one cause, one entry for each age at which an end by it happened.

    ``share`` holds from its age (included) to the next; before the first it is 0.
    """

    cause: str
    age_years: tuple[float, ...]
    ended: tuple[int, ...]
    at_risk: tuple[int, ...]
    share: tuple[float, ...]
    standard_error: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    level: float
    n_ended: int
    n_units: int

    def at(self, age_years: float) -> float:
        """Share ended by this cause by an age."""
        before = [
            share
            for age, share in zip(self.age_years, self.share, strict=True)
            if age <= age_years
        ]
        return before[-1] if before else 0.0


@dataclass(frozen=True)
class IntervalSurvival:
    """Survival known at the ends of stretches of age only.

    Within a stretch (``from_years``, ``to_years``] the curve falls to ``survival``,
    nobody can say where; between stretches it is level.
    """

    from_years: tuple[float, ...]
    to_years: tuple[float, ...]
    survival: tuple[float, ...]
    n_units: int
    n_failures: int

    def bounds(self, age_years: float) -> tuple[float, float]:
        """Lowest and highest survival at an age that the brackets allow."""
        low = high = 1.0
        for begin, end, after in zip(
            self.from_years, self.to_years, self.survival, strict=True
        ):
            if age_years >= end:
                low = high = after
            elif age_years > begin:
                low = after
        return low, high


@dataclass(frozen=True)
class WeibullFit:
    """A Weibull life curve and how well it is known.

    Attributes
    ----------
    shape, scale_years
        Weibull shape and scale (63.2 % have failed by ``scale_years``).
    log_covariance
        Covariance of (log shape, log scale), 2 × 2.
    n_units, n_failures
        What the curve rests on.
    method
        Maximum likelihood, or with a prior.
    log_likelihood
        Of the lives alone, at the fitted values (natural logarithm; ages in years).
    prior
        The prior used, if any.
    notes
        Sentences that must stand beside the curve.
    refits
        (log shape, log scale) of refits to redrawn lives, which intervals are taken
        from; empty for a curve whose intervals rest on ``log_covariance``.
    """

    shape: float
    scale_years: float
    log_covariance: tuple[tuple[float, float], tuple[float, float]]
    n_units: int
    n_failures: int
    method: FitMethod
    log_likelihood: float
    prior: LifePrior | None = None
    notes: tuple[str, ...] = ()
    refits: tuple[tuple[float, float], ...] = field(default=(), repr=False)

    @property
    def median_years(self) -> float:
        """Age by which half have failed."""
        return float(self.scale_years * math.log(2.0) ** (1.0 / self.shape))

    @property
    def mean_years(self) -> float:
        """Mean life."""
        return float(self.scale_years * math.gamma(1.0 + 1.0 / self.shape))

    @property
    def prior_text(self) -> str:
        """The prior in one line; empty when there is none."""
        return self.prior.text if self.prior else ""

    @property
    def basis(self) -> str:
        """What the curve rests on, in one line for screens and reports."""
        counts = (
            f"{self.n_failures} failure{'' if self.n_failures == 1 else 's'} "
            f"in {self.n_units} li{'fe' if self.n_units == 1 else 'ves'}"
        )
        if self.prior:
            return f"Weibull {self.method}, {counts}; {self.prior.text}"
        return f"Weibull by {self.method}, {counts}"

    def standard_error_log(self) -> tuple[float, float]:
        """Standard errors of (log shape, log scale)."""
        (var_shape, _), (_, var_scale) = self.log_covariance
        return math.sqrt(var_shape), math.sqrt(var_scale)

    def shape_interval(self, level: float = 0.95) -> Interval:
        """Interval of the shape from its standard error on the log scale."""
        return _log_interval(self.shape, self.standard_error_log()[0], level)

    def scale_interval(self, level: float = 0.95) -> Interval:
        """Interval of the scale [years] from its standard error on the log scale."""
        return _log_interval(self.scale_years, self.standard_error_log()[1], level)


def _log_interval(value: float, standard_error_log: float, level: float) -> Interval:
    reach = math.exp(NormalDist().inv_cdf((1.0 + level) / 2.0) * standard_error_log)
    return Interval(value / reach, value * reach, level)
