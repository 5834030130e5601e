"""Words and results of the installs room: what the trade calls things, what calc says.

The enums are the choices of the models (``choices_of``): the stored word is the word
that people read. The dataclasses carry what ``survival``, ``forecast`` and
``electrical`` compute. Ages and horizons are in years of 365.25 days.

Models import this module, so it imports neither numpy nor scipy.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from statistics import NormalDist

from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Interval

DAYS_PER_YEAR = 365.25
ONE_DAY_YEARS = 1.0 / DAYS_PER_YEAR


def years_between(earlier: date, later: date) -> float:
    """Years of 365.25 days from one day to another (negative when out of order)."""
    return (later - earlier).days / DAYS_PER_YEAR


# --- words -------------------------------------------------------------------------


class Technology(StrEnum):
    """How a sensor senses."""

    POLYMER_PIEZO = "polymer piezo"
    QUARTZ_PIEZO = "quartz piezo"
    CERAMIC_PIEZO = "ceramic piezo"
    BENDING_PLATE = "bending plate"
    LOAD_CELL = "load cell"
    STRAIN_GAUGE_STRIP = "strain gauge strip"
    INDUCTIVE_LOOP = "inductive loop"
    TEMPERATURE_PROBE = "temperature probe"

    @property
    def weighs(self) -> bool:
        """Whether it gives a weight (loops and temperature probes do not)."""
        return self not in (Technology.INDUCTIVE_LOOP, Technology.TEMPERATURE_PROBE)


class EndReason(StrEnum):
    """Why an installation ended."""

    FAILED = "failed"
    REMOVED_WORKING = "removed while working"
    PAVEMENT_WORKS = "pavement works"
    SITE_RETIRED = "site retired"

    @property
    def is_failure(self) -> bool:
        """Only a failure counts as the end of a life; other endings censor it."""
        return self is EndReason.FAILED


class FailureMode(StrEnum):
    """What failed."""

    ELEMENT = "element"
    LEAD = "lead"
    SPLICE = "splice"
    GROUT_OR_BOND = "grout or bond"
    PAVEMENT = "pavement"
    SURGE = "surge"
    PLATE_OR_ANCHOR = "plate or anchor"
    UNKNOWN = "unknown"


class LifeOutcome(StrEnum):
    """How a life is known to have ended."""

    FAILED = "failed"
    CENSORED = "censored"


class ElectricalQuantity(StrEnum):
    """What is measured on a sensor, with its unit and the scale of its trend."""

    unit: str
    on_log_scale: bool

    INSULATION_RESISTANCE = "insulation resistance", "MΩ", True
    CAPACITANCE = "capacitance", "nF"
    DISSIPATION_FACTOR = "dissipation factor", ""
    SERIES_RESISTANCE = "series resistance", "Ω"
    INDUCTANCE = "inductance", "µH"
    QUALITY_FACTOR = "quality factor", ""
    BRIDGE_INPUT_RESISTANCE = "bridge input resistance", "Ω"
    BRIDGE_OUTPUT_RESISTANCE = "bridge output resistance", "Ω"
    PROBE_RESISTANCE = "probe resistance", "Ω"

    def __new__(
        cls, word: str, unit: str = "", on_log_scale: bool = False
    ) -> ElectricalQuantity:
        """Keep the word as the value, the rest as attributes."""
        quantity = str.__new__(cls, word)
        quantity._value_ = word
        quantity.unit = unit
        quantity.on_log_scale = on_log_scale
        return quantity


_Q = ElectricalQuantity
_PIEZO = (_Q.INSULATION_RESISTANCE, _Q.CAPACITANCE, _Q.DISSIPATION_FACTOR)
_BRIDGE = (
    _Q.INSULATION_RESISTANCE,
    _Q.BRIDGE_INPUT_RESISTANCE,
    _Q.BRIDGE_OUTPUT_RESISTANCE,
)
#: What is usually measured on each technology, in the order of the form.
USUAL_QUANTITIES: dict[Technology, tuple[ElectricalQuantity, ...]] = {
    Technology.POLYMER_PIEZO: _PIEZO,
    Technology.QUARTZ_PIEZO: (_Q.INSULATION_RESISTANCE, _Q.CAPACITANCE),
    Technology.CERAMIC_PIEZO: _PIEZO,
    Technology.BENDING_PLATE: _BRIDGE,
    Technology.LOAD_CELL: _BRIDGE,
    Technology.STRAIN_GAUGE_STRIP: _BRIDGE,
    Technology.INDUCTIVE_LOOP: (
        _Q.INSULATION_RESISTANCE,
        _Q.SERIES_RESISTANCE,
        _Q.INDUCTANCE,
        _Q.QUALITY_FACTOR,
    ),
    Technology.TEMPERATURE_PROBE: (_Q.INSULATION_RESISTANCE, _Q.PROBE_RESISTANCE),
}


class TestStage(StrEnum):
    """When in the life of an installation a test was made."""

    __test__ = False  # the name starts with Test, but pytest must not collect it

    BENCH = "bench"
    IN_SLOT = "in slot"
    AFTER_GROUT = "after grout"
    AFTER_LEAD_IN = "after lead-in"
    VISIT = "visit"


class VisitPurpose(StrEnum):
    """Why somebody went to the site."""

    ROUTINE_CHECK = "routine check"
    FAULT = "fault"
    REPAIR = "repair"
    INSTALLATION = "installation"
    REMOVAL = "removal"
    CALIBRATION = "calibration"
    CABINET_WORK = "cabinet work"
    OTHER = "other"


class FitMethod(StrEnum):
    """How a life curve was fitted."""

    MAXIMUM_LIKELIHOOD = "maximum likelihood"
    WITH_PRIOR = "with prior"


# --- lives -------------------------------------------------------------------------


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

    def __post_init__(self) -> None:
        """Refuse a life that cannot have been lived."""
        who = f"Life {self.key}: " if self.key else "A life: "
        given = (self.age_years, self.entry_age_years, self.low_years, self.high_years)
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
    """

    median_years: float
    source: str
    log_median_sd: float = 0.5
    shape: float = 2.0
    log_shape_sd: float = 0.4
    standing: str = "agency's own"

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
            f"expected median life {self.median_years:g} years "
            f"({self.source}; {self.standing}), shape about {self.shape:g}"
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


# --- forecasts ---------------------------------------------------------------------


@dataclass(frozen=True)
class FailureChance:
    """The chance that a sensor working today fails within a horizon."""

    horizon_years: float
    probability: float
    low: float
    high: float
    level: float = 0.90


@dataclass(frozen=True)
class SensorInService:
    """A sensor working today: the caller's key for it, its technology and its age."""

    key: str
    technology: Technology
    age_years: float

    def __post_init__(self) -> None:
        """Refuse an age that cannot be."""
        if not (math.isfinite(self.age_years) and self.age_years >= 0):
            raise DomainError(
                f"Sensor {self.key}: its age of {self.age_years} years cannot be; "
                "correct the day of its installation."
            )


@dataclass(frozen=True)
class SensorForecast:
    """One sensor's chances, and what they rest on."""

    key: str
    technology: Technology
    age_years: float
    chances: tuple[FailureChance, ...]
    median_remaining_years: float
    basis: str

    def within(self, horizon_years: float) -> FailureChance:
        """The chance within one of the horizons asked for.

        Raises
        ------
        KeyError
            When that horizon was not asked for.
        """
        for chance in self.chances:
            if chance.horizon_years == horizon_years:
                return chance
        raise KeyError(horizon_years)


@dataclass(frozen=True)
class ForecastPeriod:
    """A budget year, or what is left of it, as years from the day of the forecast."""

    label: str
    first_day: date
    last_day: date
    from_years: float
    to_years: float


@dataclass(frozen=True)
class Band:
    """Expected value with the 10, 50 and 90 % points of what may happen."""

    expected: float
    p10: float
    p50: float
    p90: float


@dataclass(frozen=True)
class YearForecast:
    """Replacements in one period, and their cost where prices were given."""

    period: ForecastPeriod
    replacements: Band
    expected_by_technology: tuple[tuple[Technology, float], ...]
    cost: Band | None = None


@dataclass(frozen=True)
class FleetForecast:
    """Replacements by period for the whole fleet.

    Attributes
    ----------
    years
        One entry a period, in order.
    total
        All periods together. Its band is simulated for the sum: the yearly bands do
        not add up to it.
    total_cost
        The same for cost; None when no price was given.
    n_sensors
        Sensors in service that were forecast.
    n_draws
        Simulated fleets behind the bands.
    bases
        What each technology's curve rests on, in a line.
    unpriced
        Technologies without a price: their replacements cost nothing in ``cost``,
        which is then too low, and must be said so.
    method
        The method in one line.
    """

    years: tuple[YearForecast, ...]
    total: Band
    total_cost: Band | None
    n_sensors: int
    n_draws: int
    bases: tuple[tuple[Technology, str], ...]
    unpriced: tuple[Technology, ...]
    method: str


# --- electrical tests --------------------------------------------------------------


@dataclass(frozen=True)
class AcceptanceLimit:
    """Lowest and highest acceptable value of a quantity, and where that is from."""

    low: float | None
    high: float | None
    source: str
    standing: str = "agency's own"

    def __post_init__(self) -> None:
        """Refuse a limit without a side or with its sides crossed."""
        if self.low is None and self.high is None:
            raise DomainError("A limit needs a lowest value, a highest value or both.")
        sides = [side for side in (self.low, self.high) if side is not None]
        if not all(math.isfinite(side) for side in sides):
            raise DomainError("A side of a limit is not a number.")
        if sides != sorted(sides):
            raise DomainError(
                f"The highest value {self.high:g} is below the lowest {self.low:g}."
            )


@dataclass(frozen=True)
class DatedReading:
    """One reading of a quantity; ``over_range`` if the meter said only "above"."""

    on: date
    value: float
    over_range: bool = False


@dataclass(frozen=True)
class ElectricalTrend:
    """A robust straight-line trend through the readings of one quantity.

    Attributes
    ----------
    quantity
        What was read.
    n, n_over_range, n_zero
        Readings used, readings left out because the meter was at its upper end, and
        readings of zero left out because a logarithm of zero does not exist.
    slope_per_year
        Unit a year; on a log scale, decades (powers of ten) a year. None when there
        are too few readings; so are the fields that follow from it.
    interval
        Interval of the slope at the level it carries.
    fitted_last
        The line's value on the day of the last reading used, in the quantity's unit.
    middle_days, middle_value
        The point that the lines turn about: days after ``first_on``, and the median
        value on the trend's own scale (log10 where that is used).
    first_on, last_on
        Days of the first and last reading used.
    sentence
        The trend in words.
    """

    quantity: ElectricalQuantity
    n: int
    n_over_range: int
    n_zero: int
    slope_per_year: float | None
    interval: Interval | None
    fitted_last: float | None
    middle_days: float | None
    middle_value: float | None
    first_on: date | None
    last_on: date | None
    sentence: str

    @property
    def is_known(self) -> bool:
        """Whether there were readings enough for a slope."""
        return self.slope_per_year is not None


@dataclass(frozen=True)
class LimitCrossing:
    """When a trend reaches a limit, as far as the readings carry.

    ``expected_on``, ``earliest_on`` and ``latest_on`` are None where that line does
    not reach the limit by ``reach_until``: the day as far after the last reading as
    the first is before it. No trend is drawn beyond that day.
    """

    expected_on: date | None
    earliest_on: date | None
    latest_on: date | None
    reach_until: date
    already_past: bool = False
    limit_value: float | None = None
